package sqlite

import (
	"context"
	"errors"
	"os"

	"github.com/mouldwright/mouldwright/internal/store/migration"
)

// Version says of which version a file is, 0 for one that was just made, and which is the
// newest that this program knows. Like Open it makes a file where there is none; unlike Open
// it leaves one of the version that it is.
func Version(ctx context.Context, path string) (current, newest int64, err error) {
	db, err := pool(path, writing(), 1)
	if err != nil {
		return 0, 0, err
	}
	current, newest, err = migration.Version(ctx, db, migration.SQLite)
	if err != nil {
		err = notOpened(ctx, path, err)
	}
	return current, newest, errors.Join(err, db.Close())
}

// Copy is Backup of a file that need not be opened, and stays of the version that it is: a copy
// from before a new program brings it to another.
func Copy(ctx context.Context, from, path string) error {
	if _, err := os.Stat(from); err != nil {
		return err // SQLite would make a file and copy that
	}
	return (&Store{path: from}).Backup(ctx, path)
}
