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
	add(t, s, store.Partner{ID: "tamsin-row"})
	key := addKey(t, s, store.Key{ID: "k", Owner: "tamsin-row", Scopes: []string{"read"}, Expires: january(20).At})
	update(t, s, func(tx store.Tx) (err error) {
		if err := tx.UseKey("k", january(2).At); err != nil {
			return err
		}
		key, err = tx.RevokeKey("k", january(3).At, store.Studio())
		return err
	})
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
		`DELETE FROM partners`,
		`UPDATE partners SET id = 'quillmere', version = 2`,
		`UPDATE partners SET at = 1, version = 2`,
		`UPDATE partners SET title = 'x'`, // without a version
		`UPDATE partners SET closed = 2, version = 2`,
		`DELETE FROM keys`,
		`UPDATE keys SET id = 'x'`,
		`UPDATE keys SET owner = ''`,
		`UPDATE keys SET scopes = 'read write'`,
		`UPDATE keys SET digest = '12345678901234567890123456789012'`,
		`UPDATE keys SET expires = 0`,
		`UPDATE keys SET made = 1`,
		`UPDATE keys SET revoked = 0`,
		`UPDATE keys SET revoked = revoked + 1`,
		`UPDATE keys SET used = used - 1`,
		`INSERT INTO keys (id, owner, title, scopes, digest, made, expires, revoked, used) VALUES ('short', '', '', '', 'x', 0, 0, 0, 0)`,
	) {
		if err := exec(t.Context(), statement); err == nil {
			t.Errorf("not refused: %s", statement)
		}
	}
	equal(t, "the quote after it all", read(t, s, q.Number), q)
	holds(t, s, q, 1, content("first"))
	holds(t, s, q, 2, content("second"))
	equal(t, "the key after it all", readKey(t, s, "k"), key)
	// A draft may be written and issued: the rules do not refuse everything.
	for _, statement := range []string{
		`UPDATE revisions SET fingerprint = 'x' WHERE revision = 2`,
		`UPDATE revisions SET state = 'superseded' WHERE revision = 1`,
		`UPDATE revisions SET state = 'issued', valid_until = '2027-12-31' WHERE revision = 2`,
		`UPDATE serials SET last = last + 1`,
		`UPDATE partners SET title = 'x', version = version + 1`,
		`UPDATE keys SET used = used + 1`,
	} {
		if err := exec(t.Context(), statement); err != nil {
			t.Errorf("%s: %v", statement, err)
		}
	}
}
