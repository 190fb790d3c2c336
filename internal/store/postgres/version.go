package postgres

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"

	"github.com/mouldwright/mouldwright/internal/store/migration"
)

// Version says of which version a database is, 0 for one that is empty, and which is the newest
// that this program knows. Unlike Open it leaves the database of that version.
func Version(ctx context.Context, address string) (current, newest int64, err error) {
	config, err := pgx.ParseConfig(address)
	if err != nil {
		return 0, 0, err // it does not repeat a password
	}
	db := stdlib.OpenDB(*config)
	current, newest, err = migration.Version(ctx, db, migration.Postgres)
	if err != nil {
		err = meaning(ctx, fmt.Errorf("open the database: %w", err))
	}
	return current, newest, errors.Join(err, db.Close())
}
