package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// Backup writes a copy as of this moment to a file that there is not yet, while others read
// and write.
func (s *Store) Backup(ctx context.Context, path string) error {
	// A connection of its own: readers may not write even elsewhere, and the writer must not wait.
	db, err := pool(s.path, writing(), 1)
	if err != nil {
		return err
	}
	err = copied(ctx, db, path)
	if err = errors.Join(err, db.Close()); err != nil {
		return fmt.Errorf("back up to %s: %w", path, err)
	}
	return nil
}

// Restore copies a backup, or another database that nobody writes to, to a file that there is
// not yet, and which appears only when it is whole. What is not sound is refused. So is a name
// that has what another database left beside it, which SQLite would take for the rest of this
// one ("How To Corrupt An SQLite Database File", "Mispairing database files and hot journals",
// sqlite.org/howtocorrupt.html).
func Restore(ctx context.Context, backup, path string) error {
	for _, rest := range []string{"", "-wal", "-shm", "-journal"} {
		if err := free(path + rest); err != nil { // before the check, which takes its time
			return fmt.Errorf("restore to %s: %w", path, err)
		}
	}
	if err := Check(ctx, backup); err != nil {
		return err
	}
	db, err := connect(backup, "ro", looking(), 1)
	if err != nil {
		return err
	}
	err = copied(ctx, db, path)
	if err = errors.Join(err, db.Close()); err != nil {
		return fmt.Errorf("restore %s to %s: %w", backup, path, err)
	}
	return nil
}

// copied copies a database to a file that there is not yet, which appears under its name only
// when it is whole and on the disk: SQLite itself leaves it to the caller to see to that
// ("VACUUM", sqlite.org/lang_vacuum.html).
func copied(ctx context.Context, db *sql.DB, path string) (err error) {
	if err := free(path); err != nil {
		return err
	}
	folder, err := os.MkdirTemp(filepath.Dir(path), ".backup-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	partial := filepath.Join(folder, "copy")
	if err := private(partial); err != nil {
		return err
	}
	if _, err := db.ExecContext(ctx, `VACUUM INTO $1`, partial); err != nil {
		return meaning(ctx, err)
	}
	if err := flush(partial); err != nil {
		return err
	}
	if err := place(partial, path, os.Link); err != nil {
		return err
	}
	return flush(filepath.Dir(path))
}

// place gives a whole file its name. A link, unlike a rename, does not replace what came there
// meanwhile. Some disks have none, such as exFAT and those of some networks: there it is written
// once more under its name, which goes again where that fails.
func place(partial, path string, link func(from, to string) error) error {
	err := link(partial, path)
	if err == nil || !errors.Is(err, errors.ErrUnsupported) && !errors.Is(err, os.ErrPermission) {
		return err
	}
	from, err := os.Open(partial)
	if err != nil {
		return err
	}
	defer func() { _ = from.Close() }() // it was only read
	to, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, ownersOnly)
	if err != nil {
		return err
	}
	_, err = io.Copy(to, from)
	if err = errors.Join(err, to.Sync(), to.Close()); err != nil {
		return errors.Join(err, os.Remove(path))
	}
	return nil
}

// free holds that there is nothing under a name.
func free(path string) error {
	if _, err := os.Lstat(path); !errors.Is(err, os.ErrNotExist) {
		return errors.Join(fmt.Errorf("%s: %w", path, os.ErrExist), err)
	}
	return nil
}

// flush puts a file, or a folder's entries, onto the disk.
func flush(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(file.Sync(), file.Close())
}
