package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/sqlite"
)

// withStore opens a store between two runs of the command.
func withStore(t *testing.T, at string, do func(store.Store)) {
	t.Helper()
	s, err := sqlite.Open(t.Context(), at)
	if err != nil {
		t.Fatal(err)
	}
	do(s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

func takeOn(t *testing.T, at, id, title string) {
	t.Helper()
	withStore(t, at, func(s store.Store) {
		err := s.Update(t.Context(), func(tx store.Tx) error {
			_, err := tx.AddPartner(store.Partner{ID: id, Title: title, At: time.Now()})
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	})
}

func closePartner(t *testing.T, at, id string) {
	t.Helper()
	withStore(t, at, func(s store.Store) {
		err := s.Update(t.Context(), func(tx store.Tx) error {
			p, err := tx.Partner(id, store.Studio())
			p.Closed = true
			if err == nil {
				_, err = tx.ChangePartner(p, 0)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	})
}

func keptKey(t *testing.T, at, id string) (k store.Key) {
	t.Helper()
	withStore(t, at, func(s store.Store) {
		err := s.View(t.Context(), func(r store.Reader) (err error) {
			k, err = r.Key(id)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	})
	return k
}

// The text of a key is all that goes to standard output, and it goes nowhere else.
func TestKeyCreate(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	first := run(t, nil, "key", "create", "--store", at, "--scope", "admin", "--title", "The office") // of a store that is not there yet
	if first.status != 0 {
		t.Fatalf("%d: %s", first.status, first.errors)
	}
	takeOn(t, at, "tamsin-row", "Tamsin Row Events")
	for _, args := range [][]string{
		{"--scope", "write", "--title", "Tamsin's laptop", "--partner", "tamsin-row", "--days", "30"},
		{"--scope", "read", "--title", "Tamsin's till", "--partner", "partners/tamsin-row"},
	} {
		got := run(t, nil, append([]string{"key", "create", "--store", at}, args...)...)
		if got.status != 0 {
			t.Fatalf("%d: %s", got.status, got.errors)
		}
		key, err := access.ParseKey(strings.TrimSuffix(got.out, "\n"))
		if err != nil {
			t.Fatalf("%q: %v", got.out, err)
		}
		for _, said := range []string{"once", "Authorization: Bearer", key.ID(), "partners/tamsin-row"} {
			if !strings.Contains(got.errors, said) {
				t.Errorf("%q does not say %q", got.errors, said)
			}
		}
		secret := strings.Split(got.out, "_")[2]
		if strings.Contains(got.errors, secret) {
			t.Errorf("the secret is in %q", got.errors)
		}
		kept := keptKey(t, at, key.ID())
		if kept.Digest != sha256.Sum256([]byte(secret)) || kept.Owner != "tamsin-row" || kept.Title != args[3] {
			t.Errorf("kept as %+v", kept)
		}
		lifetime := kept.Expires.Sub(kept.Made)
		if days := args[len(args)-1] == "30"; days && lifetime != 30*24*time.Hour || !days && !kept.Expires.IsZero() {
			t.Errorf("made %s, expires %s", kept.Made, kept.Expires)
		}
		all, err := os.ReadFile(at)
		if err != nil || strings.Contains(string(all), secret) {
			t.Errorf("the secret is in the store (%v)", err)
		}
	}
}

func TestKeyRefusals(t *testing.T) {
	dir := t.TempDir()
	at, missing := filepath.Join(dir, "studio.db"), filepath.Join(dir, "missing.db")
	takeOn(t, at, "quillmere", "Quillmere Displays")
	closePartner(t, at, "quillmere")
	for _, one := range []struct {
		args   string
		status int
		says   string
	}{
		{"create --title x", 2, "--scope"},
		{"create --title x --scope all", 2, "read, write, admin"},
		{"create --title x --scope admin --partner quillmere", 2, "read, write"},
		{"create --scope read", 2, "--title"},
		{"create --scope read --title " + strings.Repeat("x", 101), 2, "1 to 100"},
		{"create --scope read --title x --days -1", 2, "--days"},
		{"create --scope read --title x --days 0", 2, "got 0, allowed: 1 to 3650; left out, the key does not expire"},
		{"create --scope read --title x --days soon", 2, "1 to 3650"},
		{"create --scope read --title x --partner quillmere", 1, `"quillmere", which is closed`},
		{"create --scope read --title x --days 3651", 2, "1 to 3650"},
		{"create --scope read --title x --partner tamsin-row", 1, `"tamsin-row", which is no partner`},
		{"create twice --scope read --title x", 2, "key --help"},
		{"", 2, "key --help"},
		{"lend", 2, "key --help"},
		{"list all", 2, "key --help"},
		{"list --store " + missing, 1, "no such file"},
		{"revoke", 2, "key --help"},
		{"revoke mwk_aaaqeayeaudaocaj_x", 2, "16 small letters"},
		{"revoke aaaaaaaaaaaaaaaa", 1, "no key aaaaaaaaaaaaaaaa"},
		{"revoke aaaaaaaaaaaaaaaa --store " + missing, 1, "no such file"},
	} {
		got := run(t, map[string]string{"MOULDWRIGHT_STORE": at}, append([]string{"key"}, strings.Fields(one.args)...)...)
		if got.status != one.status || !strings.Contains(got.errors, one.says) || got.out != "" {
			t.Errorf("%s: %d, %q, %q", one.args, got.status, got.out, got.errors)
		}
	}
	if _, err := os.Stat(missing); err == nil {
		t.Error("a store was made only to look into it")
	}
	if got := run(t, map[string]string{"MOULDWRIGHT_STORE": at}, "key", "list"); strings.Count(got.out, "\n") != 1 {
		t.Errorf("keys were made:\n%s", got.out)
	}
	if got := run(t, nil, "key", "--help"); got.status != 0 || !strings.Contains(got.out, "--help") && !strings.Contains(got.out, "-scope") {
		t.Errorf("%d: %s", got.status, got.out)
	}
}

func TestKeyListAndRevoke(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	takeOn(t, at, "tamsin-row", "Tamsin Row Events")
	noon := time.Date(2020, 3, 1, 13, 0, 0, 0, time.FixedZone("", 3600)) // long past, whatever the day is
	withStore(t, at, func(s store.Store) {
		err := s.Update(t.Context(), func(tx store.Tx) error {
			var failed error
			for n := range 120 { // more than a page
				id := "aaaaaaaaaaaaaa" + string(rune('a'+n/20)) + string(rune('a'+n%20))
				_, err := tx.AddKey(store.Key{ID: id, Title: "Spare", Scopes: access.Read.Names(), Made: noon})
				failed = errors.Join(failed, err)
			}
			_, err := tx.AddKey(store.Key{ID: "zzzzzzzzzzzzzzzz", Owner: "tamsin-row", Title: "Tamsin's laptop", Scopes: access.Write.Names(), Made: noon, Expires: noon.Add(time.Hour)})
			return errors.Join(failed, err, tx.UseKey("zzzzzzzzzzzzzzzz", noon.Add(time.Minute)))
		})
		if err != nil {
			t.Fatal(err)
		}
	})
	all := run(t, nil, "key", "list", "--store", at)
	if lines := strings.Split(all.out, "\n"); all.status != 0 || len(lines) != 123 {
		t.Errorf("%d, %d lines: %s", all.status, len(lines), all.errors)
	}
	hers := run(t, nil, "key", "list", "--store", at, "--partner", "tamsin-row")
	lines := strings.Split(hers.out, "\n")
	want := "zzzzzzzzzzzzzzzz partners/tamsin-row write expired 2020-03-01T12:00:00Z 2020-03-01T13:00:00Z - 2020-03-01T12:01:00Z Tamsin's laptop"
	if len(lines) != 3 || strings.Join(strings.Fields(lines[1]), " ") != want {
		t.Errorf("%s", hers.out)
	}
	for _, id := range []string{"zzzzzzzzzzzzzzzz", "keys/zzzzzzzzzzzzzzzz"} {
		got := run(t, nil, "key", "revoke", id, "--store", at)
		if kept := keptKey(t, at, "zzzzzzzzzzzzzzzz"); got.status != 0 || kept.Revoked.IsZero() || !strings.Contains(got.out, when(kept.Revoked)) || !strings.Contains(got.out, "Tamsin's laptop") {
			t.Errorf("%d: %s %s", got.status, got.out, got.errors)
		}
	}
}

// Whether a key opens anything is told in a word of its own.
func TestKeyListSaysWhatOpens(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	takeOn(t, at, "tamsin-row", "Tamsin Row Events")
	takeOn(t, at, "quillmere", "Quillmere Displays")
	noon := time.Now().Add(-time.Hour)
	withStore(t, at, func(s store.Store) {
		err := s.Update(t.Context(), func(tx store.Tx) error {
			var failed error
			for _, k := range []store.Key{
				{ID: "aaaaaaaaaaaaaaaa", Owner: "tamsin-row"},
				{ID: "bbbbbbbbbbbbbbbb", Owner: "tamsin-row", Expires: noon},
				{ID: "cccccccccccccccc", Owner: "tamsin-row", Expires: time.Now().Add(24 * time.Hour)},
				{ID: "dddddddddddddddd", Owner: "quillmere"},
				{ID: "eeeeeeeeeeeeeeee", Owner: "quillmere"},
				{ID: "ffffffffffffffff"},
			} {
				k.Title, k.Scopes, k.Made = "Spare", access.Read.Names(), noon.Add(-time.Hour)
				_, err := tx.AddKey(k)
				failed = errors.Join(failed, err)
			}
			_, err := tx.RevokeKey("eeeeeeeeeeeeeeee", noon, store.Studio())
			return errors.Join(failed, err)
		})
		if err != nil {
			t.Fatal(err)
		}
	})
	closePartner(t, at, "quillmere")
	got := run(t, nil, "key", "list", "--store", at)
	for i, want := range []string{"STATE", " open ", " expired ", " open ", " partner closed ", " revoked ", " open "} {
		if lines := strings.Split(got.out, "\n"); got.status != 0 || len(lines) != 8 || !strings.Contains(lines[i], want) {
			t.Errorf("line %d does not say %q:\n%s%s", i, want, got.out, got.errors)
		}
	}
}

// broken takes nothing.
type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errors.New("nobody listens") }

func TestAKeyThatNobodySees(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	var said log
	p := program{stdout: broken{}, stderr: &said, env: func(string) string { return "" }}
	if status := p.run(context.Background(), []string{"key", "create", "--store", at, "--scope", "read", "--title", "x"}); status != 1 {
		t.Errorf("status %d", status)
	}
	if text := said.String(); !strings.Contains(text, "revoke") || strings.Contains(text, "mwk_") {
		t.Errorf("%s", text)
	}
}
