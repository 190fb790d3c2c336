package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"strings"

	codes "modernc.org/sqlite/lib"

	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/migration"
	"github.com/mouldwright/mouldwright/internal/store/rows"
)

// ErrUnsound says that a file is no database, another program's, or damaged.
var ErrUnsound = errors.New("not a sound database of quotes")

// mark is the application id of our files: the letters Mldw, set by the first migration.
const mark = 0x4d6c6477

// Check says what is wrong with a file, if it is not a sound database of a version that this
// program knows. The file may be in use. It is left as it is; beside one that was opened since
// it was backed up, SQLite leaves the files of its log, as for any reader. All of it is read:
// rate books, revisions, meshes and histories as the store reads them, with their sums, where the
// file is of the newest version. What has no sum may still be another: partners, keys, enquiries,
// answers, notes of what work took.
func Check(ctx context.Context, path string) error {
	if _, err := os.Stat(path); err != nil {
		return err // SQLite would only say that it cannot open it
	}
	db, err := connect(path, "ro", append(looking(), setting{"query_only", "ON", "1"}), 1)
	if err != nil {
		return err
	}
	err = errors.Join(sound(ctx, db), db.Close())
	if err != nil {
		err = fmt.Errorf("check %s: %w", path, err)
	}
	return err
}

func sound(ctx context.Context, db *sql.DB) error {
	var whose int64
	err := db.QueryRowContext(ctx, `PRAGMA application_id`).Scan(&whose)
	if is(err, codes.SQLITE_NOTADB) {
		return fmt.Errorf("%w: %w", ErrUnsound, err)
	}
	if err == nil && whose != mark {
		return fmt.Errorf("%w: it is marked as %#x, and ours are as %#x", ErrUnsound, whose, mark)
	}
	for _, pragma := range []string{`PRAGMA integrity_check(10)`, `PRAGMA foreign_key_check`} {
		if err == nil {
			err = quiet(ctx, db, pragma)
		}
	}
	if err == nil {
		err = legible(ctx, db)
	}
	if damaged(err) {
		err = fmt.Errorf("%w: %w", ErrUnsound, err)
	}
	return meaning(ctx, err)
}

// mostTold bounds how many damages are named.
const mostTold = 10

// legible holds that what is kept reads as it was written.
func legible(ctx context.Context, db *sql.DB) error {
	newest, err := migration.Known(ctx, db, migration.SQLite)
	if err != nil || !newest {
		return err
	}
	var found []error
	err = within(ctx, db, &sql.TxOptions{ReadOnly: true}, func(tx *rows.Tx) (err error) {
		found, err = tx.Damages(mostTold)
		return err
	})
	if err != nil || len(found) == 0 {
		return err
	}
	said := make([]string, len(found))
	for i, err := range found {
		said[i] = strings.TrimPrefix(err.Error(), store.ErrDamaged.Error()+": ")
	}
	if len(found) == mostTold {
		said = append(said, "and perhaps more")
	}
	return unsound(said)
}

func unsound(said []string) error {
	return fmt.Errorf("%w: %w: %s", ErrUnsound, store.ErrDamaged, strings.Join(said, "; "))
}

// quiet runs a check that says nothing where all is well, or only that it is.
func quiet(ctx context.Context, db *sql.DB, pragma string) error {
	answers, err := db.QueryContext(ctx, pragma)
	if err != nil {
		return err
	}
	defer func() { _ = answers.Close() }() // what went wrong is in Err
	var said []string
	for answers.Next() && len(said) < 10 {
		columns, err := answers.Columns()
		if err != nil {
			return err
		}
		values, into := make([]any, len(columns)), make([]any, len(columns))
		for i := range values {
			into[i] = &values[i]
		}
		if err := answers.Scan(into...); err != nil {
			return err
		}
		said = append(said, strings.TrimSpace(fmt.Sprintln(values...)))
	}
	if err := answers.Err(); err != nil || len(said) == 0 || len(said) == 1 && said[0] == "ok" {
		return err
	}
	return unsound(said)
}
