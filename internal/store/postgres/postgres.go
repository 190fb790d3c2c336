// Package postgres keeps what the store keeps in PostgreSQL: for more than one server.
package postgres

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"

	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/migration"
	"github.com/mouldwright/mouldwright/internal/store/rows"
)

// tries bounds how often an Update is run whose transaction the database broke off.
const tries = 10

// Store keeps things in a database.
type Store struct {
	pool    *pgxpool.Pool
	writing atomic.Int64 // how many updates are under way
}

// Open connects to a database, by a URL or a list of settings, and brings it to the newest form.
func Open(ctx context.Context, address string) (*Store, error) {
	config, err := pgxpool.ParseConfig(address)
	if err != nil {
		return nil, err // it does not repeat a password
	}
	config.AfterConnect = durable
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, err
	}
	db := stdlib.OpenDBFromPool(pool)
	err = migration.Up(ctx, db, migration.Postgres)
	if err = errors.Join(err, db.Close()); err != nil {
		pool.Close()
		return nil, meaning(ctx, fmt.Errorf("open the database: %w", err))
	}
	return &Store{pool: pool}, nil
}

// durable refuses a connection that would acknowledge what is not on the disk yet, by whatever
// role, database or address it was told to. What it says of itself holds for as long as it is
// open, also where the server is told otherwise meanwhile; a setting that waits for more than
// the disk is left as it is ("synchronous_commit", "Write Ahead Log" in PostgreSQL's manual).
func durable(ctx context.Context, conn *pgx.Conn) error {
	var waits string
	err := conn.QueryRow(ctx, `SELECT set_config('synchronous_commit', current_setting('synchronous_commit'), false)`).Scan(&waits)
	if err == nil && waits == "off" {
		err = fmt.Errorf("%w: its synchronous_commit is off, so that a crash would lose quotes that were acknowledged; set it to on, or to what waits for more, for its role, its database and the address", store.ErrUnavailable)
	}
	return err
}

// Close ends the use of the store, once what is under way has ended.
func (s *Store) Close() error {
	s.pool.Close()
	return nil
}

// Update runs a function whose writes are kept all together.
//
// What a write depends on, it locks: a quote's row and the row of a year's numbers, so that
// writers wait for each other there, and each statement sees what was committed before it
// began ("Read Committed Isolation Level" and "Explicit Locking" in PostgreSQL's manual).
// Serializable isolation would hold the same, but every quote takes its number from one row:
// all but one of the writers at a time would be broken off and run again, where here they wait.
// What is left to run again are deadlocks, of functions that change several quotes in
// different orders. Nothing of what was broken off is kept; a connection that breaks at the
// commit is another matter, and is not tried again.
func (s *Store) Update(ctx context.Context, do func(store.Tx) error) error {
	s.writing.Add(1)
	defer s.writing.Add(-1)
	var err error
	for n := range tries {
		err = s.within(ctx, "BEGIN ISOLATION LEVEL READ COMMITTED", func(tx *rows.Tx) error { return rows.Run(tx, do) })
		if !brokenOff(err) {
			return err
		}
		if err := pause(ctx, n); err != nil {
			return err
		}
	}
	return fmt.Errorf("%w: broken off %d times: %w", store.ErrUnavailable, tries, err)
}

// pause waits for up to 1, 2, 4, ... ms, by chance, so that those that were broken off for each
// other do not meet again.
func pause(ctx context.Context, n int) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(rand.N(time.Millisecond << n)):
		return nil
	}
}

// View runs a function whose reads all see the same moment.
func (s *Store) View(ctx context.Context, do func(store.Reader) error) error {
	return s.within(ctx, "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY", func(tx *rows.Tx) error { return rows.Look(tx, do) })
}

func (s *Store) within(ctx context.Context, begin string, do func(*rows.Tx) error) error {
	conn, err := s.pool.Acquire(ctx)
	if err != nil {
		return meaning(ctx, err)
	}
	q := querier{conn: conn.Conn(), begin: begin, alone: func() bool { return s.writing.Load() == 1 }}
	defer func() {
		q.rollback(ctx)
		conn.Release() // and closed where it is not as it was
	}()
	return do(rows.For(ctx, &q, rows.Locks{Change: " FOR UPDATE", Refer: " FOR KEY SHARE"}))
}
