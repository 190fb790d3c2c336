package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/puddle/v2"

	"github.com/mouldwright/mouldwright/internal/store"
)

// meaning wraps an error of the engine in what it means for the store.
func meaning(ctx context.Context, err error) error {
	switch {
	case err == nil || errors.Is(err, store.ErrUnavailable) || errors.Is(err, store.ErrDamaged):
		return err
	case ctx.Err() != nil:
		return fmt.Errorf("%w: %w", ctx.Err(), err)
	case damaged(err):
		return fmt.Errorf("%w: %w", store.ErrDamaged, err)
	case away(err):
		return fmt.Errorf("%w: %w", store.ErrUnavailable, err)
	}
	return err
}

// away reports whether an error is the machine's or the connection's, and not the statement's.
func away(err error) bool {
	var failed *pgconn.PgError
	if errors.As(err, &failed) {
		return unavailable(failed.Code)
	}
	var connect *pgconn.ConnectError
	var network net.Error
	return errors.As(err, &connect) || errors.As(err, &network) || errors.Is(err, puddle.ErrClosedPool) || errors.Is(err, net.ErrClosed) ||
		errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, pgx.ErrTxCommitRollback) || pgconn.SafeToRetry(err)
}

// damaged reports whether an error is the files' of the database: data_corrupted and
// index_corrupted, from "PostgreSQL Error Codes" in its manual.
func damaged(err error) bool {
	var failed *pgconn.PgError
	return errors.As(err, &failed) && (failed.Code == "XX001" || failed.Code == "XX002")
}

// unavailable reports whether an error code is of a class that says so: connection, resources,
// operator intervention, system, or a database that takes no writes (25006) and no logins
// (28, 3D). From "PostgreSQL Error Codes" in its manual.
func unavailable(code string) bool {
	for _, class := range []string{"08", "28", "3D", "53", "57", "58", "25006"} {
		if strings.HasPrefix(code, class) {
			return true
		}
	}
	return false
}

// brokenOff reports whether the database undid a transaction in favour of another: for a
// deadlock, or because the two could not have run one after the other.
func brokenOff(err error) bool {
	var failed *pgconn.PgError
	return errors.As(err, &failed) && (failed.Code == "40001" || failed.Code == "40P01")
}
