package migration

import (
	"context"
	"database/sql"
	"fmt"
)

// Version says of which version a database is, 0 for one that is empty, and which is the newest
// that this program knows. It notes in an empty one that it is empty, and changes nothing else.
func Version(ctx context.Context, db *sql.DB, engine Engine) (current, newest int64, err error) {
	provider, err := provider(db, engine)
	if err != nil {
		return 0, 0, err
	}
	current, newest, err = provider.GetVersions(ctx)
	if err != nil {
		return 0, 0, fmt.Errorf("read the database's version: %w", err)
	}
	return current, newest, nil
}
