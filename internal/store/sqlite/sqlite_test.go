package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/migration"
	"github.com/mouldwright/mouldwright/internal/store/storetest"
)

func TestMain(m *testing.M) {
	storetest.Writer(func(ctx context.Context, path string) (store.Store, error) { return Open(ctx, path) })
	os.Exit(m.Run())
}

func open(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func fresh(t testing.TB) *Store {
	t.Helper()
	return open(t, filepath.Join(t.TempDir(), "quotes.db"))
}

// Whatever was done to a store, its file is sound.
func TestStore(t *testing.T) {
	storetest.Run(t, func(t testing.TB) store.Store {
		s := fresh(t)
		t.Cleanup(func() {
			if err := Check(context.WithoutCancel(t.Context()), s.path); err != nil {
				t.Error(err)
			}
		})
		return s
	})
}

func TestTheTablesKeepThePast(t *testing.T) {
	s := fresh(t)
	storetest.Tables(t, s, func(ctx context.Context, statement string) error {
		_, err := s.writer.ExecContext(ctx, statement)
		return err
	},
		// A replacement deletes, which a trigger sees only where recursive triggers are on.
		`INSERT OR REPLACE INTO rate_books (revision, document, sum, at) SELECT revision, x'00', sum, at FROM rate_books`,
		`INSERT OR REPLACE INTO serials (year, last) VALUES (2027, 0)`,
		`INSERT OR REPLACE INTO revisions (year, serial, revision, brief, rate_book, engine, fingerprint, document, sum, title, client, reference, currency, net)
			SELECT year, serial, revision, brief, rate_book, engine, 'x', document, sum, title, client, reference, currency, net FROM revisions WHERE revision = 1`,
		`INSERT OR REPLACE INTO history (year, serial, step, act, revision, sum, valid_until, actor_kind, actor_name, at, on_day)
			SELECT year, serial, step, act, revision, sum, valid_until, actor_kind, 'another', at, on_day FROM history`,
		`INSERT OR REPLACE INTO keys (id, owner, title, scopes, digest, made, expires, revoked, used)
			SELECT id, owner, title, scopes, digest, made, expires, 0, used FROM keys`,
		`INSERT OR REPLACE INTO revision_meshes (year, serial, revision, name, sum) SELECT year, serial, 1, name, 'sum of b' FROM revision_meshes`,
		`INSERT OR REPLACE INTO mesh_files (sum, file_sum, format, reading, size, file) SELECT sum, 'x', format, reading, size, file FROM mesh_files`,
		// What is of the right type is refused as well.
		`UPDATE rate_books SET document = x'00'`,
		`UPDATE revisions SET brief = x'00' WHERE revision = 1`,
		`UPDATE revisions SET document = x'00' WHERE revision = 1`,
		`UPDATE keys SET digest = randomblob(32)`,
		`UPDATE mesh_files SET file = x'00'`,
		`INSERT INTO actuals (year, serial, step, actor_kind, actor_name, at, document) VALUES (2027, 7, 1, '', '', 0, x'00')`,
		`INSERT OR REPLACE INTO actuals (year, serial, step, actor_kind, actor_name, at, document)
			SELECT year, serial, step, actor_kind, 'another', at, document FROM actuals`,
		`UPDATE actuals SET document = x'00'`,
		`UPDATE enquiries SET document = x'00'`,
		// Columns are of their types.
		`UPDATE quotes SET etag = x'00'`,
	)
}

// A name with the signs of an address is still a name.
func TestAFileOfAnyName(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a b?mode=ro#c%41&d.db")
	open(t, path)
	if _, err := os.Stat(path); err != nil {
		t.Error(err)
	}
}

func TestWhatIsKeptIsThereAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "quotes.db")
	first, err := Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	want := storetest.Fill(t, first)
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	storetest.Holds(t, open(t, path), want)
}

func TestABackupHoldsAll(t *testing.T) {
	s := fresh(t)
	want := storetest.Fill(t, s)
	path := filepath.Join(t.TempDir(), "it's a copy.db")
	if err := s.Backup(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	storetest.Fill(t, s) // is not in the copy
	if err := s.Backup(t.Context(), path); !errors.Is(err, os.ErrExist) {
		t.Errorf("a second backup to the same file: %v", err)
	}
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(entries) != 1 {
		t.Errorf("left beside it: %v, %v", entries, err)
	}
	copied := open(t, path)
	var sound string
	if err := copied.reader.QueryRowContext(t.Context(), `PRAGMA integrity_check`).Scan(&sound); err != nil || sound != "ok" {
		t.Errorf("integrity: %s, %v", sound, err)
	}
	storetest.Holds(t, copied, want)
	storetest.Fill(t, copied) // and it goes on from there
}

func TestABackupToNowhere(t *testing.T) {
	s := fresh(t)
	if err := s.Backup(t.Context(), filepath.Join(t.TempDir(), "no folder", "copy.db")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v", err)
	}
}

// Each connection says that it is as it was told to be, and one that is not is refused.
func TestSettingsAreReadBack(t *testing.T) {
	path := filepath.Join(t.TempDir(), "quotes.db")
	for name, settings := range map[string][]setting{
		"another answer": append(common(), setting{"synchronous", "NORMAL", "2"}),
		"no such pragma": append(common(), setting{"sinchronous", "FULL", "2"}),
	} {
		db, err := pool(path, settings, 1)
		if err != nil {
			t.Fatal(err)
		}
		if err := db.PingContext(t.Context()); err == nil || !strings.Contains(err.Error(), "and must be 2") {
			t.Errorf("%s: %v", name, err)
		}
		_ = db.Close()
	}
}

func TestReadersCannotWrite(t *testing.T) {
	s := fresh(t)
	_, err := s.reader.ExecContext(t.Context(), `INSERT INTO serials (year, last) VALUES (2027, 1)`)
	if !errors.Is(meaning(t.Context(), err), store.ErrUnavailable) { // as of a file that is read-only
		t.Errorf("got %v", err)
	}
}

func TestANewerDatabase(t *testing.T) {
	path := filepath.Join(t.TempDir(), "quotes.db")
	s := open(t, path)
	if _, err := s.writer.ExecContext(t.Context(), `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9000, 1)`); err != nil {
		t.Fatal(err)
	}
	_, err := Open(t.Context(), path)
	var newer migration.NewerError
	if !errors.As(err, &newer) || newer.Database != 9000 || !strings.Contains(err.Error(), "use the program that wrote it") {
		t.Errorf("got %v", err)
	}
}

func TestWhatIsNoDatabase(t *testing.T) {
	path := filepath.Join(t.TempDir(), "quotes.db")
	if err := os.WriteFile(path, []byte(strings.Repeat("not a database ", 1000)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), path); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("got %v", err)
	}
	if _, err := Open(t.Context(), filepath.Dir(path)); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("a folder: %v", err)
	}
}

// A folder that takes no files is named, since SQLite says only that it cannot open the file.
func TestAFolderThatIsNotThere(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "no folder")
	_, err := Open(t.Context(), filepath.Join(folder, "quotes.db"))
	_, _, version := Version(t.Context(), filepath.Join(folder, "quotes.db"))
	for _, err := range []error{err, version} {
		if !errors.Is(err, store.ErrUnavailable) || !strings.Contains(err.Error(), "the folder "+folder+" must be there and be writable") {
			t.Errorf("got %v", err)
		}
	}
}

// Connections that cannot write are replaced: they were perhaps opened while the disk was
// read-only.
func TestReadOnlyForAWhile(t *testing.T) {
	s := fresh(t)
	insert(t, s.writer, `PRAGMA query_only = ON`) // of this connection, as it would be on such a disk
	err := s.Update(t.Context(), func(tx store.Tx) error { return tx.AddEnquiry(store.Enquiry{ID: "e", Until: "2027-01-20"}) })
	if err != nil {
		t.Error(err)
	}
}

// A statement is prepared once for each use of it at a time, and no more are kept than so many.
func TestStatementsAreKept(t *testing.T) {
	s := fresh(t)
	conn, err := s.writer.Conn(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	kept := func() (n int) {
		if err := conn.Raw(func(c any) error { n = len(c.(*keeping).idle); return nil }); err != nil {
			t.Fatal(err)
		}
		return n
	}
	ask := func(sql string) *sql.Rows {
		rows, err := conn.QueryContext(t.Context(), sql)
		if err != nil {
			t.Fatal(err)
		}
		return rows
	}
	before := kept()
	one, other := ask(`SELECT 1`), ask(`SELECT 1`)
	if kept() != before {
		t.Error("a query that runs is among those that do not")
	}
	for _, rows := range []*sql.Rows{one, other} {
		if !rows.Next() || rows.Next() || rows.Err() != nil {
			t.Errorf("not one row: %v", rows.Err())
		}
	}
	_ = ask(`SELECT 1`).Close()
	if kept() != before+2 {
		t.Errorf("%d are kept after %d", kept(), before)
	}
	for i := range 2 * mostKept {
		_ = ask(fmt.Sprintf(`SELECT %d`, i)).Close()
	}
	if kept() != mostKept {
		t.Errorf("%d are kept", kept())
	}
}

// A full disk, as SQLite itself sees one, loses nothing and says what it is.
func TestAFullDisk(t *testing.T) {
	s := fresh(t)
	want := storetest.Fill(t, s)
	pages := func(most int) {
		var got int
		if err := s.writer.QueryRowContext(t.Context(), fmt.Sprintf(`PRAGMA max_page_count = %d`, most)).Scan(&got); err != nil {
			t.Fatal(err)
		}
	}
	pages(1) // SQLite makes it as many as there are
	large := make([]byte, 1<<20)
	add := func() error {
		return s.Update(t.Context(), func(tx store.Tx) error {
			_, err := tx.AddRateBook(store.RateBook{Revision: "large", Document: large, At: time.Unix(0, 0)})
			return err
		})
	}
	if err := add(); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("got %v", err)
	}
	storetest.Holds(t, s, want)
	pages(1 << 30)
	if err := add(); err != nil {
		t.Errorf("with room again: %v", err)
	}
}

// Two programs on one file take numbers without gaps or repeats.
func TestTwoOnOneFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "quotes.db")
	storetest.Several(t, open(t, path), open(t, path))
}

func TestKilled(t *testing.T) {
	path := filepath.Join(t.TempDir(), "quotes.db")
	storetest.Crash(t, path, func(t testing.TB) store.Store { return open(t, path) })
}

// What is on the disk and was changed there is not given out as what was kept.
func TestDamage(t *testing.T) {
	s := fresh(t)
	storetest.Damage(t, s, func(ctx context.Context, statement string) error {
		_, err := s.writer.ExecContext(ctx, statement)
		return err
	}, `DROP TRIGGER %[2]s`)
}

// A file that SQLite itself does not understand any more is damaged, and not away.
func TestADamagedFile(t *testing.T) {
	s := fresh(t)
	storetest.Fill(t, s)
	for _, statement := range []string{
		`PRAGMA writable_schema = ON`, `UPDATE sqlite_schema SET rootpage = (SELECT rootpage FROM sqlite_schema WHERE name = 'rate_books') WHERE name = 'quotes'`,
	} {
		if _, err := s.writer.ExecContext(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	again, err := Open(t.Context(), s.path)
	if err == nil {
		err = again.View(t.Context(), func(r store.Reader) error {
			_, err := r.Quotes(store.Filter{}, life.Number{}, 10, store.Studio())
			return err
		})
		_ = again.Close()
	}
	if !errors.Is(err, store.ErrDamaged) || errors.Is(err, store.ErrUnavailable) {
		t.Errorf("got %v", err)
	}
}

// BenchmarkQuote creates and issues a quote; its two transactions are set against two bare
// inserts of as many bytes, each as durable.
func BenchmarkQuote(b *testing.B) {
	for _, writers := range []int{1, 8} {
		b.Run(fmt.Sprintf("%d writers", writers), func(b *testing.B) {
			s := fresh(b)
			bare, err := pool(filepath.Join(b.TempDir(), "bare.db"), writing(), 1)
			if err != nil {
				b.Fatal(err)
			}
			defer func() { _ = bare.Close() }()
			insert(b, bare, `CREATE TABLE bare (id INTEGER PRIMARY KEY, document BLOB NOT NULL) STRICT`)
			storetest.Ratio(b, s, writers, func(document []byte) error {
				_, err := bare.ExecContext(b.Context(), `INSERT INTO bare (document) VALUES ($1)`, document)
				return err
			})
		})
	}
}

func insert(b testing.TB, db *sql.DB, statement string) {
	b.Helper()
	if _, err := db.ExecContext(b.Context(), statement); err != nil {
		b.Fatal(err)
	}
}
