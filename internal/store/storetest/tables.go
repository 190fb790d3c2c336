package storetest

import (
	"context"
	"testing"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Tables holds that the database itself refuses what would rewrite the past, whoever asks it
// and by whatever program. Further statements may be given in an engine's own words.
func Tables(t *testing.T, s store.Store, exec func(ctx context.Context, statement string) error, further ...string) {
	t.Helper()
	q := must(t, s, must(t, s, create(t, s, ""), life.Issue(on(20)), 2), life.Revise(""), 3)
	for _, statement := range append(further,
		`UPDATE rate_books SET document = 'x'`,
		`UPDATE rate_books SET revision = 'other'`,
		`DELETE FROM rate_books`,
		`UPDATE serials SET last = 1 WHERE last = 1`,
		`UPDATE serials SET last = last + 2`,
		`UPDATE serials SET year = 2028`,
		`DELETE FROM serials`,
		`UPDATE quotes SET owner = 'other'`,
		`UPDATE quotes SET serial = 2`,
		`UPDATE quotes SET state = 'lost'`,
		`DELETE FROM quotes`,
		`INSERT INTO quotes (year, serial, owner, state, valid_until, etag) VALUES (2027, 1, '', 'draft', '', '')`,
		`INSERT INTO quotes (year, serial, owner, state, valid_until, etag) VALUES (2027, 0, '', 'draft', '', '')`,
		`UPDATE revisions SET brief = 'x' WHERE revision = 1`,
		`UPDATE revisions SET rate_book = 'x' WHERE revision = 1`,
		`UPDATE revisions SET engine = 2 WHERE revision = 1`,
		`UPDATE revisions SET fingerprint = 'x' WHERE revision = 1`,
		`UPDATE revisions SET document = 'x' WHERE revision = 1`,
		`UPDATE revisions SET sum = 'x' WHERE revision = 1`,
		`UPDATE revisions SET valid_until = '2027-12-31' WHERE revision = 1`,
		`UPDATE revisions SET state = 'draft' WHERE revision = 1`,
		`UPDATE revisions SET state = 'accepted' WHERE revision = 2`,
		`UPDATE revisions SET rate_book = 'not kept' WHERE revision = 2`,
		`UPDATE revisions SET revision = 3 WHERE revision = 2`,
		`DELETE FROM revisions WHERE revision = 2`,
		`INSERT INTO revisions (year, serial, revision, state, valid_until, brief, rate_book, engine, fingerprint, document, sum)
			SELECT year, serial, 3, 'issued', valid_until, brief, rate_book, engine, fingerprint, document, sum FROM revisions WHERE revision = 1`,
		`INSERT INTO revisions (year, serial, revision, state, valid_until, brief, rate_book, engine, fingerprint, document, sum)
			SELECT year, 7, 1, 'draft', valid_until, brief, rate_book, engine, fingerprint, document, sum FROM revisions WHERE revision = 1`,
		`UPDATE history SET actor_name = 'another'`,
		`UPDATE history SET at = at + 1`,
		`DELETE FROM history WHERE step = 3`,
		`INSERT INTO history (year, serial, step, act, revision, sum, valid_until, actor_kind, actor_name, at, on_day)
			SELECT year, 7, step, act, revision, sum, valid_until, actor_kind, actor_name, at, on_day FROM history`,
	) {
		if err := exec(t.Context(), statement); err == nil {
			t.Errorf("not refused: %s", statement)
		}
	}
	equal(t, "the quote after it all", read(t, s, q.Number), q)
	holds(t, s, q, 1, content("first"))
	holds(t, s, q, 2, content("second"))
	// A draft may be written and issued: the rules do not refuse everything.
	for _, statement := range []string{
		`UPDATE revisions SET fingerprint = 'x' WHERE revision = 2`,
		`UPDATE revisions SET state = 'superseded' WHERE revision = 1`,
		`UPDATE revisions SET state = 'issued', valid_until = '2027-12-31' WHERE revision = 2`,
		`UPDATE serials SET last = last + 1`,
	} {
		if err := exec(t.Context(), statement); err != nil {
			t.Errorf("%s: %v", statement, err)
		}
	}
}
