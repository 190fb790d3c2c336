package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"

	driver "modernc.org/sqlite"
	codes "modernc.org/sqlite/lib"

	"github.com/mouldwright/mouldwright/internal/store"
)

// meaning wraps an error of the engine in what it means for the store.
func meaning(ctx context.Context, err error) error {
	switch {
	case err == nil || errors.Is(err, store.ErrUnavailable) || errors.Is(err, store.ErrDamaged):
		return err
	case ctx.Err() != nil: // an interrupted statement does not say why
		return fmt.Errorf("%w: %w", ctx.Err(), err)
	case damaged(err):
		return fmt.Errorf("%w: %w", store.ErrDamaged, err)
	case closed(err) || away(err):
		return fmt.Errorf("%w: %w", store.ErrUnavailable, err)
	}
	return err
}

// is reports whether an error is of a primary code ("Result and Error Codes",
// sqlite.org/rescode.html).
func is(err error, code int) bool {
	var failed *driver.Error
	return errors.As(err, &failed) && failed.Code()&0xff == code
}

// damaged reports whether an error is the file's.
func damaged(err error) bool { return is(err, codes.SQLITE_NOTADB) || is(err, codes.SQLITE_CORRUPT) }

// misread says why a row could not be read: every column has the type that it was given, unless
// it is damaged.
func misread(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return fmt.Errorf("%w: %w", ctx.Err(), err)
	}
	return fmt.Errorf("%w: %w", store.ErrDamaged, err)
}

// readOnly reports whether a connection could not write.
func readOnly(err error) bool { return is(err, codes.SQLITE_READONLY) }

// notOpened says why a file was not opened. SQLite keeps its log beside the file, and makes it
// anew even to read; where it cannot, it says only that it cannot open the file.
func notOpened(ctx context.Context, path string, err error) error {
	err = fmt.Errorf("open %s: %w", path, err)
	if is(err, codes.SQLITE_CANTOPEN) {
		err = fmt.Errorf("%w: the folder %s must be there and be writable", err, filepath.Dir(path))
	}
	return meaning(ctx, err)
}

// closed reports whether the store was closed. The standard library keeps that error to itself.
func closed(err error) bool {
	return errors.Is(err, sql.ErrConnDone) || err.Error() == "sql: database is closed"
}

// away reports whether an error is the machine's and not the statement's ("Result and Error
// Codes", sqlite.org/rescode.html).
func away(err error) bool {
	var failed *driver.Error
	if !errors.As(err, &failed) {
		return false
	}
	switch failed.Code() & 0xff { // the primary code: the rest says more of the same
	case codes.SQLITE_BUSY, codes.SQLITE_LOCKED, codes.SQLITE_READONLY, codes.SQLITE_IOERR, codes.SQLITE_FULL,
		codes.SQLITE_CANTOPEN, codes.SQLITE_PROTOCOL, codes.SQLITE_PERM, codes.SQLITE_AUTH, codes.SQLITE_NOMEM, codes.SQLITE_NOLFS:
		return true
	}
	return false
}
