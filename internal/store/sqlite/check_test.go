package sqlite

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/migration"
	"github.com/mouldwright/mouldwright/internal/store/storetest"
)

// backedUp is a backup in a folder of its own, and what it holds.
func backedUp(t *testing.T) (path string, want []store.Quote) {
	t.Helper()
	s := fresh(t)
	want = storetest.Fill(t, s)
	path = filepath.Join(t.TempDir(), "backup.db")
	if err := s.Backup(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	return path, want
}

// names are those of a folder's files.
func names(t *testing.T, folder string) string {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

func TestSoundFilesAreLeftAsTheyAre(t *testing.T) {
	path, _ := backedUp(t)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := Check(t.Context(), path); err != nil {
		t.Errorf("a backup: %v", err)
	}
	after, err := os.ReadFile(path)
	if err != nil || string(before) != string(after) || names(t, filepath.Dir(path)) != "backup.db" {
		t.Errorf("after the check: %v, %s", err, names(t, filepath.Dir(path)))
	}
	s := fresh(t)
	storetest.Fill(t, s)
	if err := Check(t.Context(), s.path); err != nil {
		t.Errorf("a file in use: %v", err)
	}
	storetest.Fill(t, s) // it goes on
	first, err := Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	if err := Check(t.Context(), path); err != nil {
		t.Errorf("a file that was used: %v", err)
	}
}

// write changes a database by a program that asks for no references and no rules.
func write(t *testing.T, path string, statements ...string) {
	t.Helper()
	db, err := connect(path, "rwc", nil, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, statement := range statements {
		if _, err := db.ExecContext(t.Context(), statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestUnsoundFilesAreRefused(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(t *testing.T, path string)
		says  string
	}{
		"no database": {func(t *testing.T, path string) {
			t.Helper()
			if err := os.WriteFile(path, []byte(strings.Repeat("not a database ", 1000)), 0o600); err != nil {
				t.Fatal(err)
			}
		}, "not a database"},
		"empty": {func(t *testing.T, path string) {
			t.Helper()
			if err := os.Truncate(path, 0); err != nil {
				t.Fatal(err)
			}
		}, "marked as 0x0"},
		"of another program": {func(t *testing.T, path string) {
			t.Helper()
			write(t, path, `PRAGMA application_id = 7`)
		}, "marked as 0x7"},
		"a reference to nothing": {func(t *testing.T, path string) {
			t.Helper()
			write(t, path, `DROP TRIGGER rate_books_stay`, `DELETE FROM rate_books`)
		}, "revisions 1 rate_books"},
		"an index that lacks a row": {func(t *testing.T, path string) {
			t.Helper()
			write(t, path, `PRAGMA writable_schema = ON`,
				`UPDATE sqlite_schema SET sql = replace(sql, 'at, revision', 'at, revision DESC') WHERE name = 'rate_books_newest'`,
				`PRAGMA writable_schema = RESET`, `INSERT INTO rate_books (revision, document, sum, at) VALUES ('x', x'', '', 0), ('y', x'', '', 0)`,
				`PRAGMA writable_schema = ON`,
				`UPDATE sqlite_schema SET sql = replace(sql, 'at, revision DESC', 'at, revision') WHERE name = 'rate_books_newest'`)
		}, "rate_books_newest"},
		"cut short": {func(t *testing.T, path string) {
			t.Helper()
			info, err := os.Stat(path)
			if err == nil {
				err = os.Truncate(path, info.Size()-4096)
			}
			if err != nil {
				t.Fatal(err)
			}
		}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			path, _ := backedUp(t)
			c.spoil(t, path)
			to := filepath.Join(t.TempDir(), "restored.db")
			for what, err := range map[string]error{"checked": Check(t.Context(), path), "restored": Restore(t.Context(), path, to)} {
				if !errors.Is(err, ErrUnsound) || !strings.Contains(err.Error(), c.says) {
					t.Errorf("%s: %v", what, err)
				}
			}
			if left := names(t, filepath.Dir(to)); left != "" {
				t.Errorf("left: %s", left)
			}
		})
	}
}

func TestFilesThatCannotBeChecked(t *testing.T) {
	path, _ := backedUp(t)
	if err := Check(t.Context(), path+" not"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("not there: %v", err)
	}
	if err := Check(t.Context(), filepath.Dir(path)); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("a folder: %v", err)
	}
	gone, leave := context.WithCancel(t.Context())
	leave()
	if err := Check(gone, path); !errors.Is(err, context.Canceled) {
		t.Errorf("a caller who left: %v", err)
	}
	if err := Restore(gone, path, path+"2"); !errors.Is(err, context.Canceled) {
		t.Errorf("a restorer who left: %v", err)
	}
	write(t, path, `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9000, 1)`)
	var newer migration.NewerError
	if err := Check(t.Context(), path); !errors.As(err, &newer) {
		t.Errorf("newer: %v", err)
	}
	if left := names(t, filepath.Dir(path)); left != "backup.db" {
		t.Errorf("left: %s", left)
	}
}

// rich is a backup of quotes in several states, many priced with a mesh, and how many
// there are: more than are listed at once.
func rich(t *testing.T) (path string, quotes int) {
	t.Helper()
	s := fresh(t)
	want := storetest.Fill(t, s)
	storetest.Many(t, s, 210)
	path = filepath.Join(t.TempDir(), "backup.db")
	if err := s.Backup(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	return path, len(want) + 210
}

// What reads otherwise than it was written is named, and not restored.
func TestDamagedContents(t *testing.T) {
	backup, quotes := rich(t)
	if err := Check(t.Context(), backup); err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	free := func(trigger string) string { return "DROP TRIGGER " + trigger }
	last := fmt.Sprintf("Q-2027-%04d", quotes)
	for name, c := range map[string]struct {
		spoil []string
		says  []string
	}{
		"a document":     {[]string{free("revisions_frozen"), `UPDATE revisions SET document = x'00' WHERE serial = 1`}, []string{"revision 1 of quote Q-2027-0001 is not as its sum says"}},
		"two revisions":  {[]string{free("revisions_frozen"), `UPDATE revisions SET fingerprint = 'x' WHERE serial IN (2, 3)`}, []string{"revision 1 of quote Q-2027-0003", "; revision 1 of quote Q-2027-0002"}},
		"sum and all":    {[]string{free("revisions_frozen"), `UPDATE revisions SET engine = 7, sum = 'SUM' WHERE serial = 2`}, []string{"revision 1 of quote Q-2027-0002 is not as its history says"}},
		"no revision":    {[]string{free("revisions_stay"), `DELETE FROM revisions WHERE serial = 1`}, []string{"quote Q-2027-0001 has 0 revisions, and its history tells of 1"}},
		"a history":      {[]string{free("history_frozen"), `UPDATE history SET actor_name = 'x' WHERE serial = 3 AND step = 2`}, []string{"quote Q-2027-0003 and its history differ"}},
		"no history":     {[]string{free("history_stays"), `DELETE FROM history WHERE serial = 3`}, []string{"quote Q-2027-0003 and its history differ"}},
		"a state":        {[]string{`UPDATE quotes SET state = 'accepted' WHERE serial = 2`}, []string{"lists show quote Q-2027-0002 otherwise than it is"}},
		"a price":        {[]string{`UPDATE quotes SET net = '0.01' WHERE serial = 2`}, []string{"lists show quote Q-2027-0002 otherwise than it is"}},
		"a last day":     {[]string{`UPDATE quotes SET valid_until = '2027-01-31' WHERE serial = 2`}, []string{"lists show quote Q-2027-0002 otherwise than it is"}},
		"a rate book":    {[]string{free("rate_books_frozen"), `UPDATE rate_books SET document = x'00'`}, []string{"rate book revision 2027-01 is not as its sum says"}},
		"a mesh":         {[]string{free("mesh_files_frozen"), `UPDATE mesh_files SET file = x'00'`}, []string{"the file of the mesh of sum sum of a is not as its own sum says"}},
		"a mesh's size":  {[]string{free("mesh_files_frozen"), `UPDATE mesh_files SET size = size + 1`}, []string{"the mesh of sum sum of a has another size"}},
		"a mesh's name":  {[]string{free("revision_meshes_frozen"), `UPDATE revision_meshes SET name = 'x' WHERE serial = 200`}, []string{"revision 1 of quote Q-2027-0200 is not as its sum says"}},
		"all":            {[]string{free("history_frozen"), `UPDATE history SET actor_name = 'x'`}, []string{last + " and its history differ", "and perhaps more"}},
		"the rate books": {[]string{`PRAGMA writable_schema = ON`, `UPDATE sqlite_schema SET sql = replace(sql, 'sum TEXT', 'sum BLOB') WHERE name = 'rate_books'`}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "backup.db")
			if err := os.WriteFile(path, good, 0o600); err != nil {
				t.Fatal(err)
			}
			c.spoil[len(c.spoil)-1] = strings.Replace(c.spoil[len(c.spoil)-1], "SUM", otherwise(t, backup).Sum(), 1)
			write(t, path, c.spoil...)
			to := filepath.Join(t.TempDir(), "restored.db")
			for what, err := range map[string]error{"checked": Check(t.Context(), path), "restored": Restore(t.Context(), path, to)} {
				if !errors.Is(err, ErrUnsound) || !errors.Is(err, store.ErrDamaged) || errors.Is(err, store.ErrUnavailable) {
					t.Errorf("%s: %v", what, err)
					continue
				}
				for _, says := range c.says {
					if !strings.Contains(err.Error(), says) || len(err.Error()) > 2000 {
						t.Errorf("%s: %v", what, err)
					}
				}
			}
			if left := names(t, filepath.Dir(to)); left != "" {
				t.Errorf("left: %s", left)
			}
		})
	}
}

// otherwise is what the second quote holds, priced by another engine.
func otherwise(t *testing.T, path string) (c store.Content) {
	t.Helper()
	db, err := connect(path, "ro", looking(), 1)
	if err != nil {
		t.Fatal(err)
	}
	s := &Store{reader: db, writer: db}
	err = s.View(t.Context(), func(r store.Reader) (err error) {
		c, err = r.Content(life.Number{Year: 2027, Serial: 2}, 1, store.Studio())
		return err
	})
	if err = errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	c.Engine = 7
	return c
}

// What an older program kept is restored as it is: it cannot be read as the store reads now.
func TestOlderFilesAreCheckedAsFiles(t *testing.T) {
	path, _ := backedUp(t)
	write(t, path, `DELETE FROM goose_db_version WHERE version_id = (SELECT MAX(version_id) FROM goose_db_version)`, `DROP TABLE actuals`, `ALTER TABLE revisions DROP COLUMN net`)
	if err := Check(t.Context(), path); err != nil {
		t.Error(err)
	}
}

// Whatever byte of a document is changed, the file is refused.
func TestChangedBytesOfDocuments(t *testing.T) {
	backup, _ := backedUp(t)
	good, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, document := range []string{"document of first", `{"title":"first"}`, "fingerprint of first"} {
		for from := 0; ; found++ {
			at := bytes.Index(good[from:], []byte(document))
			if at < 0 {
				break
			}
			from += at + 1
			bad := bytes.Clone(good)
			bad[from+found%(len(document)-1)] ^= 1
			path := filepath.Join(t.TempDir(), "bad.db")
			if err := os.WriteFile(path, bad, 0o600); err != nil {
				t.Fatal(err)
			}
			if err := Restore(t.Context(), path, path+".restored"); !errors.Is(err, store.ErrDamaged) {
				t.Errorf("%s at %d: %v", document, from, err)
			}
		}
	}
	if found < 9 { // three quotes
		t.Errorf("%d documents were found", found)
	}
}

// Whatever byte of a file is changed, the file is refused, or it cannot be opened, or the quotes
// have the histories and contents that they had.
func TestChangedBytes(t *testing.T) {
	backup, want := backedUp(t)
	good, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	tries := 20
	if testing.Short() {
		tries = 3
	}
	var used []int // most of it is room
	for i, b := range good {
		if b != 0 {
			used = append(used, i)
		}
	}
	refused, closed := 0, 0
	for range tries {
		bad := append([]byte(nil), good...)
		bad[used[random.IntN(len(used))]] ^= byte(1 + random.IntN(255))
		path := filepath.Join(t.TempDir(), "bad.db")
		if err := os.WriteFile(path, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := Check(t.Context(), path); err != nil {
			refused++
			continue
		}
		if !readsAsBefore(t, path, want) {
			closed++
		}
	}
	t.Logf("%d of %d were refused, %d could not be opened", refused, tries, closed)
}

// readsAsBefore reads all quotes of a file that can be opened.
func readsAsBefore(t *testing.T, path string, want []store.Quote) bool {
	t.Helper()
	s, err := Open(t.Context(), path)
	if err != nil {
		return false
	}
	defer func() { _ = s.Close() }() // what was damaged may not be closed well
	err = s.View(t.Context(), func(r store.Reader) error {
		for _, q := range want {
			got, err := r.Quote(q.Number, store.Studio())
			if err != nil {
				return err
			}
			if got.Etag() != q.Etag() {
				t.Errorf("%s is read as another", q.Number)
			}
			if _, err := r.Content(q.Number, 1, store.Studio()); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	return true
}

func TestRestore(t *testing.T) {
	backup, want := backedUp(t)
	to := filepath.Join(t.TempDir(), "it's restored.db")
	if err := Restore(t.Context(), backup, to); err != nil {
		t.Fatal(err)
	}
	if left := names(t, filepath.Dir(to)); left != "it's restored.db" {
		t.Errorf("left: %s", left)
	}
	storetest.Holds(t, open(t, to), want)
	for _, rest := range []string{"", "-wal", "-shm", "-journal"} {
		path := filepath.Join(t.TempDir(), "quotes.db")
		if err := os.WriteFile(path+rest, []byte("mine"), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := Restore(t.Context(), backup, path); !errors.Is(err, fs.ErrExist) {
			t.Errorf("over %q: %v", rest, err)
		}
		if left := names(t, filepath.Dir(path)); left != "quotes.db"+rest {
			t.Errorf("left: %s", left)
		}
	}
	if err := Restore(t.Context(), backup+" not", to+"2"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("from nothing: %v", err)
	}
	if err := Restore(t.Context(), backup, filepath.Join(t.TempDir(), "no folder", "copy.db")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("to nowhere: %v", err)
	}
}

// Where a disk has no hard links, a copy gets its name all the same, and replaces nothing.
func TestWhereThereAreNoLinks(t *testing.T) {
	for _, says := range []error{syscall.EPERM, syscall.ENOTSUP, syscall.ENOSYS, syscall.EOPNOTSUPP} {
		none := func(from, to string) error { return &os.LinkError{Op: "link", Old: from, New: to, Err: says} }
		backup, want := backedUp(t)
		to := filepath.Join(t.TempDir(), "copy.db")
		if err := place(backup, to, none); err != nil {
			t.Fatalf("%v: %v", says, err)
		}
		mode(t, to, 0o600)
		if err := place(backup, to, none); !errors.Is(err, fs.ErrExist) {
			t.Errorf("%v, over another: %v", says, err)
		}
		storetest.Holds(t, open(t, to), want)
		if err := place(filepath.Dir(backup), to+"2", none); err == nil {
			t.Error("a folder was copied")
		}
		if _, err := os.Stat(to + "2"); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("what could not be copied was left: %v", err)
		}
		if err := place(backup, filepath.Join(to, "x"), none); err == nil {
			t.Error("copied into a file")
		}
	}
	other := func(string, string) error { return syscall.EIO }
	if err := place("any", filepath.Join(t.TempDir(), "copy.db"), other); !errors.Is(err, syscall.EIO) {
		t.Errorf("another error: %v", err)
	}
}

func mode(t *testing.T, path string, want fs.FileMode) {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if got := info.Mode(); got != want {
		t.Errorf("%s: %v, want %v", filepath.Base(path), got, want)
	}
}

// What is made is its owner's only, whatever the umask; what was there keeps its mode.
func TestModes(t *testing.T) {
	for _, mask := range []int{0, 0o022, 0o077, 0o777} {
		path := filepath.Join(t.TempDir(), "quotes.db")
		before := syscall.Umask(mask)
		s, err := Open(t.Context(), path)
		if mask == 0o777 {
			syscall.Umask(0) // else there is no folder for a copy
		}
		if err == nil {
			storetest.Fill(t, s)
			err = errors.Join(s.Backup(t.Context(), path+".backup"), Copy(t.Context(), path, path+".copy"), Restore(t.Context(), path+".backup", path+".restored"))
		}
		if err == nil {
			_, _, err = Version(t.Context(), path+".version")
		}
		syscall.Umask(before)
		if err != nil {
			t.Fatalf("umask %o: %v", mask, err)
		}
		for _, rest := range []string{"", "-wal", "-shm", ".backup", ".copy", ".restored", ".version"} {
			mode(t, path+rest, 0o600)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
	path := filepath.Join(t.TempDir(), "quotes.db")
	if err := os.Symlink("beyond.db", path); err != nil {
		t.Fatal(err)
	}
	if err := open(t, path).Close(); err != nil {
		t.Fatal(err)
	}
	mode(t, path, 0o600)
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	storetest.Fill(t, open(t, path))
	for _, rest := range []string{"", "-wal", "-shm"} {
		mode(t, filepath.Join(filepath.Dir(path), "beyond.db"+rest), 0o640)
	}
}

// A file whose program was killed still has a log beside it, which is restored as well.
func TestRestoreWithALog(t *testing.T) {
	s := fresh(t)
	want := storetest.Fill(t, s)
	folder := t.TempDir()
	for _, rest := range []string{"", "-wal"} {
		bytes, err := os.ReadFile(s.path + rest)
		if err == nil {
			err = os.WriteFile(filepath.Join(folder, "killed.db"+rest), bytes, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	to := filepath.Join(t.TempDir(), "restored.db")
	if err := Restore(t.Context(), filepath.Join(folder, "killed.db"), to); err != nil {
		t.Fatal(err)
	}
	storetest.Holds(t, open(t, to), want)
}

// Files are found from the folder that the program is in, as every program finds them.
func TestRelativePaths(t *testing.T) {
	backup, want := backedUp(t)
	t.Chdir(filepath.Dir(filepath.Dir(backup)))
	backup = filepath.Join(filepath.Base(filepath.Dir(backup)), "backup.db")
	for what, err := range map[string]error{
		"check": Check(t.Context(), backup), "restore": Restore(t.Context(), backup, "restored.db"), "copy": Copy(t.Context(), backup, "copied.db"),
	} {
		if err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
	for _, path := range []string{backup, "restored.db", "copied.db"} {
		if current, newest, err := Version(t.Context(), path); err != nil || current != newest {
			t.Errorf("%s: version %d of %d, %v", path, current, newest, err)
		}
		storetest.Holds(t, open(t, path), want)
	}
}
