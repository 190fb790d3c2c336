// Package migration brings a database to the form that this program knows. The two engines
// have migrations of the same numbers and names.
package migration

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed sqlite postgres
var folders embed.FS

// An Engine is a kind of database.
type Engine string

// The engines, named as their folders are.
const (
	SQLite   Engine = "sqlite"
	Postgres Engine = "postgres"
)

// NewerError says that a database was written by a later program.
type NewerError struct{ Database, Program int64 }

// Error says what to do.
func (e NewerError) Error() string {
	return fmt.Sprintf("the database is of version %d, and this program knows versions up to %d: use the program that wrote it, or a later one",
		e.Database, e.Program)
}

// Up brings a database to the newest version, once however many ask for it.
func Up(ctx context.Context, db *sql.DB, engine Engine) error {
	provider, err := provider(db, engine)
	if err != nil {
		return err
	}
	current, newest, err := versions(ctx, provider)
	if err != nil || current == newest {
		return err
	}
	if _, err := provider.Up(ctx); err != nil {
		return fmt.Errorf("bring the database from version %d to %d: %w", current, newest, err)
	}
	return nil
}

// Known holds that a database with a version has one that this program knows, and leaves it
// as it is. It says whether that is the newest.
func Known(ctx context.Context, db *sql.DB, engine Engine) (isNewest bool, err error) {
	provider, err := provider(db, engine)
	if err != nil {
		return false, err
	}
	current, newest, err := versions(ctx, provider)
	return current == newest, err
}

func versions(ctx context.Context, provider *goose.Provider) (current, newest int64, err error) {
	current, newest, err = provider.GetVersions(ctx)
	if err != nil {
		return 0, 0, fmt.Errorf("read the database's version: %w", err)
	}
	if current > newest {
		return 0, 0, NewerError{Database: current, Program: newest}
	}
	return current, newest, nil
}

func provider(db *sql.DB, engine Engine) (*goose.Provider, error) {
	files, err := fs.Sub(folders, string(engine))
	if err != nil {
		return nil, err
	}
	if engine == SQLite {
		return goose.NewProvider(goose.DialectSQLite3, db, files, goose.WithDisableGlobalRegistry(true))
	}
	// Several servers may start at once: one migrates, the others ask each second whether it is done.
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 300))
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(goose.DialectPostgres, db, files, goose.WithDisableGlobalRegistry(true), goose.WithSessionLocker(locker))
}
