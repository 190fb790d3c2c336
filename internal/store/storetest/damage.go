package storetest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Damage holds that what was changed in the tables behind the store's back is ErrDamaged where it
// is read, and is not given out. Unlock is how an engine drops a trigger: its words with %[1]s for
// the table and %[2]s for the trigger.
func Damage(t *testing.T, s store.Store, exec func(ctx context.Context, statement string) error, unlock string) {
	t.Helper()
	do := func(statement string) {
		t.Helper()
		if err := exec(t.Context(), statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
	for _, trigger := range []string{"rate_books_frozen", "revisions_frozen", "history_frozen", "history_stays", "mesh_files_frozen", "revision_meshes_frozen"} {
		do(fmt.Sprintf(unlock, trigger[:strings.LastIndex(trigger, "_")], trigger))
	}
	withBook(t, s)
	mustKeep(t, s, hare("", "x", "a"))
	for _, statement := range damages() {
		n := issuedWithMesh(t, s)
		if err := readBoth(t.Context(), s, n); err != nil {
			t.Fatalf("before %s: %v", statement, err)
		}
		do(strings.ReplaceAll(statement, "OF", fmt.Sprintf("WHERE year = %d AND serial = %d", n.Year, n.Serial)))
		if err := readBoth(t.Context(), s, n); !errors.Is(err, store.ErrDamaged) || errors.Is(err, store.ErrUnavailable) {
			t.Errorf("%s: %v", statement, err)
		}
	}
	do(`UPDATE mesh_files SET file_sum = 'x'`)
	do(`UPDATE rate_books SET sum = 'x'`)
	fails(t, s.View(t.Context(), func(r store.Reader) error { _, err := r.MeshOf("sum of a"); return err }), store.ErrDamaged)
	fails(t, s.View(t.Context(), func(r store.Reader) error { _, err := r.RateBook(book, store.Studio()); return err }), store.ErrDamaged)
}

// damages change one quote each, which stands for OF.
func damages() []string {
	return []string{
		`UPDATE revisions SET fingerprint = 'x' OF`,
		`UPDATE revisions SET engine = engine + 1 OF`,
		`UPDATE revisions SET sum = 'x' OF`,
		`UPDATE revision_meshes SET name = 'x' OF`,
		`UPDATE history SET actor_name = 'another' OF`,
		`UPDATE history SET at = at + 1 OF AND step = 1`,
		`UPDATE history SET act = 'accept' OF AND step = 1`,
		`UPDATE history SET valid_until = '2027-01-30' OF AND step = 2`,
		`DELETE FROM history OF AND step = 2`,
		`DELETE FROM history OF`,
		`UPDATE quotes SET etag = 'x' OF`,
	}
}

func issuedWithMesh(t *testing.T, s store.Store) life.Number {
	t.Helper()
	var q store.Quote
	update(t, s, func(tx store.Tx) (err error) {
		q, err = tx.Create("", 2027, pricedWith("a"), january(1))
		return err
	})
	return must(t, s, q, life.Issue(on(20)), 2).Number
}

// readBoth reads a quote with its history, and what it holds.
func readBoth(ctx context.Context, s store.Store, n life.Number) error {
	return s.View(ctx, func(r store.Reader) error {
		if _, err := r.Quote(n, store.Studio()); err != nil {
			return err
		}
		_, err := r.Content(n, 1, store.Studio())
		return err
	})
}
