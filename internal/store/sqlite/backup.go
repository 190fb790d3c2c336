package sqlite

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Backup writes a copy as of this moment to a file that there is not yet, while others read
// and write. The copy appears under its name only when it is whole and on the disk: SQLite
// itself leaves it to the caller to see to that ("VACUUM", sqlite.org/lang_vacuum.html).
func (s *Store) Backup(ctx context.Context, path string) (err error) {
	if _, err := os.Lstat(path); !errors.Is(err, os.ErrNotExist) {
		return errors.Join(fmt.Errorf("back up to %s: %w", path, os.ErrExist), err)
	}
	folder, err := os.MkdirTemp(filepath.Dir(path), ".backup-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	partial := filepath.Join(folder, "copy")
	if err := s.vacuum(ctx, partial); err != nil {
		return meaning(ctx, fmt.Errorf("back up to %s: %w", path, err))
	}
	if err := flush(partial); err != nil {
		return err
	}
	// A link, unlike a rename, does not replace what came there meanwhile.
	if err := os.Link(partial, path); err != nil {
		return err
	}
	return flush(filepath.Dir(path))
}

// vacuum copies over a connection of its own: readers may not write even elsewhere, and the
// writer must not wait.
func (s *Store) vacuum(ctx context.Context, path string) error {
	db, err := pool(s.path, writing(), 1)
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, `VACUUM INTO $1`, path)
	return errors.Join(err, db.Close())
}

// flush puts a file, or a folder's entries, onto the disk.
func flush(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(file.Sync(), file.Close())
}
