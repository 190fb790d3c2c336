package storetest

import (
	"context"
	"slices"
	"testing"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Tables holds that the database itself refuses what would rewrite the past, whoever asks it
// and by whatever program. Further statements may be given in an engine's own words.
func Tables(t *testing.T, s store.Store, exec func(ctx context.Context, statement string) error, further ...string) {
	t.Helper()
	for _, file := range []string{"a", "b", "free"} {
		mustKeep(t, s, hare("tamsin-row", file, file))
	}
	q := create(t, s, "")
	for day, c := range []store.Content{pricedWith("a"), pricedWith("b")} {
		if err := revise(t.Context(), s, q.Number, c, 1+day); err != nil {
			t.Fatal(err)
		}
		if day == 0 {
			must(t, s, read(t, s, q.Number), life.Issue(on(20)), 1)
		}
	}
	mustDrop(t, s, "tamsin-row", "a")
	accepted := acceptedBesideDraft(t, s)
	q = read(t, s, q.Number)
	key := usedAndRevoked(t, s)
	mustAddEnquiry(t, s, enquiry("e", 1))
	actual := addActual(t, s, q.Number, "took a day", 3)
	for _, statement := range slices.Concat(further, pastOfQuotes(), pastOfRevisions(), pastOfMeshes(), pastOfBooks()) {
		if err := exec(t.Context(), statement); err == nil {
			t.Errorf("not refused: %s", statement)
		}
	}
	equal(t, "the quote after it all", read(t, s, q.Number), q)
	holds(t, s, q, 1, pricedWith("a"))
	holds(t, s, q, 2, pricedWith("b"))
	equal(t, "the accepted quote after it all", read(t, s, accepted.Number), accepted)
	equal(t, "the key after it all", readKey(t, s, "k"), key)
	equal(t, "the enquiry after it all", readEnquiry(t, s, "e"), enquiry("e", 1))
	equal(t, "the actuals after it all", readActuals(t, s, q.Number, 0), []store.Actual{actual})
	mayBeWritten(t, exec)
}

// acceptedBesideDraft is a quote that was accepted while its next revision was a draft.
func acceptedBesideDraft(t *testing.T, s store.Store) store.Quote {
	t.Helper()
	q := create(t, s, "")
	for _, c := range []life.Change{life.Issue(on(20)), life.Revise(""), life.Accept()} {
		q = must(t, s, q, c, 2)
	}
	return q
}

// usedAndRevoked is a key of a partner's.
func usedAndRevoked(t *testing.T, s store.Store) (key store.Key) {
	t.Helper()
	add(t, s, store.Partner{ID: "tamsin-row"})
	addKey(t, s, store.Key{ID: "k", Owner: "tamsin-row", Scopes: []string{"read"}, Expires: january(20).At})
	update(t, s, func(tx store.Tx) (err error) {
		if err := tx.UseKey("k", january(2).At); err != nil {
			return err
		}
		key, err = tx.RevokeKey("k", january(3).At, store.Studio())
		return err
	})
	return key
}

// A draft may be written and issued: the rules do not refuse everything.
func mayBeWritten(t *testing.T, exec func(ctx context.Context, statement string) error) {
	t.Helper()
	for _, statement := range []string{
		`UPDATE revisions SET fingerprint = 'x' WHERE serial = 1 AND revision = 2`,
		`DELETE FROM revision_meshes WHERE serial = 1 AND revision = 2`,
		`INSERT INTO revision_meshes (year, serial, revision, name, sum) VALUES (2027, 1, 2, 'x', 'sum of a')`,
		`UPDATE serials SET last = last + 1`,
		`UPDATE partners SET title = 'x', version = version + 1`,
		`UPDATE keys SET used = used + 1`,
		`DELETE FROM enquiries`,
		`DELETE FROM meshes`,
		`DELETE FROM mesh_files WHERE sum = 'sum of free'`,
	} {
		if err := exec(t.Context(), statement); err != nil {
			t.Errorf("%s: %v", statement, err)
		}
	}
}

// pastOfQuotes would give numbers twice and quotes away.
func pastOfQuotes() []string {
	return []string{
		`UPDATE serials SET last = last`,
		`UPDATE serials SET last = last + 2`,
		`UPDATE serials SET year = 2028`,
		`DELETE FROM serials`,
		`UPDATE quotes SET owner = 'other'`,
		`UPDATE quotes SET serial = 2`,
		`UPDATE quotes SET state = 'lost'`,
		`DELETE FROM quotes`,
		`UPDATE quotes SET created = created + 1`,
		`UPDATE quotes SET revisions = 0`,
		`INSERT INTO quotes (year, serial, owner, created, state, valid_until, etag, revisions, title, client, reference, currency, net)
			VALUES (2027, 1, '', 0, 'draft', '', '', 1, '', '', '', '', '')`,
		`INSERT INTO quotes (year, serial, owner, created, state, valid_until, etag, revisions, title, client, reference, currency, net)
			VALUES (2027, 0, '', 0, 'draft', '', '', 1, '', '', '', '', '')`,
	}
}

// pastOfRevisions would change what was issued, and who did it.
func pastOfRevisions() []string {
	return []string{
		`UPDATE revisions SET brief = 'x' WHERE revision = 1`,
		`UPDATE revisions SET rate_book = 'x' WHERE revision = 1`,
		`UPDATE revisions SET engine = 2 WHERE revision = 1`,
		`UPDATE revisions SET fingerprint = 'x' WHERE revision = 1`,
		`UPDATE revisions SET document = 'x' WHERE revision = 1`,
		`UPDATE revisions SET sum = 'x' WHERE revision = 1`,
		`UPDATE revisions SET net = '0.01' WHERE revision = 1`,
		`UPDATE revisions SET fingerprint = 'x' WHERE serial = 2 AND revision = 2`, // a draft that an acceptance superseded
		`UPDATE revisions SET rate_book = 'not kept' WHERE serial = 1 AND revision = 2`,
		`UPDATE revisions SET revision = 3 WHERE serial = 1 AND revision = 2`,
		`DELETE FROM revisions WHERE serial = 1 AND revision = 2`,
		`INSERT INTO revisions (year, serial, revision, brief, rate_book, engine, fingerprint, document, sum, title, client, reference, currency, net)
			SELECT year, 7, 1, brief, rate_book, engine, fingerprint, document, sum, title, client, reference, currency, net FROM revisions WHERE revision = 1`,
		`UPDATE history SET actor_name = 'another'`,
		`UPDATE history SET at = at + 1`,
		`DELETE FROM history WHERE step = 3`,
		`INSERT INTO history (year, serial, step, act, revision, sum, valid_until, actor_kind, actor_name, at, on_day)
			SELECT year, 7, step, act, revision, sum, valid_until, actor_kind, actor_name, at, on_day FROM history`,
	}
}

// pastOfMeshes would change what was priced with what.
func pastOfMeshes() []string {
	return []string{
		`UPDATE mesh_files SET file = 'x'`,
		`UPDATE mesh_files SET sum = 'x' WHERE sum = 'sum of free'`,
		`DELETE FROM mesh_files WHERE sum = 'sum of a'`,
		`DELETE FROM mesh_files WHERE sum = 'sum of free'`, // it has a name
		`UPDATE meshes SET sum = 'sum of a'`,
		`UPDATE meshes SET owner = 'quillmere'`,
		`UPDATE meshes SET reading = 'x'`,
		`INSERT INTO meshes (owner, name, sum, reading, room, at) VALUES ('', 'x', 'not kept', '', 1, 0)`,
		`INSERT INTO meshes (owner, name, sum, reading, room, at) VALUES ('', 'x', 'sum of a', '', -1, 0)`,
		`UPDATE revision_meshes SET name = 'x' WHERE revision = 1`,
		`UPDATE revision_meshes SET sum = 'sum of a' WHERE serial = 1 AND revision = 2`,
		`DELETE FROM revision_meshes WHERE revision = 1`,
		`INSERT INTO revision_meshes (year, serial, revision, name, sum) VALUES (2027, 1, 1, 'x', 'sum of a')`,
		`INSERT INTO revision_meshes (year, serial, revision, name, sum) VALUES (2027, 1, 3, 'x', 'sum of a')`, // no such revision
		`INSERT INTO revision_meshes (year, serial, revision, name, sum) VALUES (2027, 2, 2, 'x', 'sum of a')`, // superseded
		`INSERT INTO revision_meshes (year, serial, revision, name, sum) VALUES (2027, 1, 2, 'x', 'not kept')`,
	}
}

// pastOfBooks would change what was priced by, who is let in, and what is noted beside quotes.
func pastOfBooks() []string {
	return []string{
		`UPDATE rate_books SET document = 'x'`,
		`UPDATE rate_books SET revision = 'other'`,
		`DELETE FROM rate_books`,
		`UPDATE enquiries SET at = 1`,
		`UPDATE enquiries SET until = '2027-12-31'`,
		`DELETE FROM actuals`,
		`UPDATE actuals SET actor_name = 'another'`,
		`INSERT INTO actuals (year, serial, step, actor_kind, actor_name, at, document) VALUES (2027, 7, 1, '', '', 0, '')`,
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
	}
}
