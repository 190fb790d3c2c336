// Package rows keeps what the store keeps in the tables of a database, in SQL that both
// engines read alike. An engine brings the transaction, and says what its errors mean.
package rows

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/mouldwright/mouldwright/internal/store"
)

// Querier is one transaction of an engine. Its parameters are written $1, $2, and its
// errors wrap those of package store, where they mean one. What waits for a row's lock waits
// the shorter, the fewer times its holder waits for answers: so each method takes several
// statements, and sends them in one go where that is faster.
type Querier interface {
	// Exec runs statements, and says how many rows each changed.
	Exec(ctx context.Context, statements ...Statement) (changed []int64, err error)
	// Each runs queries one after the other.
	Each(ctx context.Context, queries ...Query) error
	// Settle has Commit return only when what was read so far is on the disk.
	Settle(ctx context.Context) error
	// Commit runs statements that change one row each, and keeps all that was written. It
	// returns when that is on the disk. Where it is awaited, those who wait for its locks may
	// go on before.
	Commit(ctx context.Context, awaited bool, statements ...Statement) error
}

// Statement is a statement with its parameters.
type Statement struct {
	SQL  string
	Args []any
}

// Query is a statement whose rows are asked for. Row is called for each, which may be scanned
// into *int, *int64, *string and *[]byte.
type Query struct {
	Statement
	Row func(scan func(...any) error) error
}

func statement(sql string, args ...any) Statement { return Statement{SQL: sql, Args: args} }

// Tx is a transaction as the store knows it. It is used by one goroutine.
type Tx struct {
	ctx   context.Context // of the transaction, which ends with it
	q     Querier
	locks Locks
	later []Statement // change one row each, and need not be run before something is asked

	awaited bool // it holds the row of a year's numbers, for which every new quote waits
	doomed  error
}

// Locks end a query whose rows are to stay as they are until the transaction ends, but for
// what it does itself. They are empty where the whole database is locked.
type Locks struct {
	Change string // of a row that is to be changed: nobody else changes it or refers to it anew
	Refer  string // of a row that is to be referred to: nobody deletes it
}

// For returns the store's transaction in an engine's.
func For(ctx context.Context, q Querier, locks Locks) *Tx {
	return &Tx{ctx: ctx, q: q, locks: locks}
}

// Run does work in a transaction and keeps it, unless a write in it failed: one engine would
// refuse by itself to go on, and the other would not.
func Run(tx *Tx, do func(store.Tx) error) error {
	if err := do(tx); err != nil {
		return err
	}
	if tx.doomed != nil {
		return tx.doomed
	}
	return tx.q.Commit(tx.ctx, tx.awaited, tx.later...)
}

// Look reads in a transaction.
func Look(tx *Tx, do func(store.Reader) error) error {
	if err := do(tx); err != nil {
		return err
	}
	return tx.q.Commit(tx.ctx, false)
}

// write notes that a write failed.
func (tx *Tx) write(err error) error {
	if err != nil && tx.doomed == nil {
		tx.doomed = err
	}
	return err
}

// exec has statements run that change one row each, at the latest when all is kept.
func (tx *Tx) exec(statements ...Statement) { tx.later = append(tx.later, statements...) }

// try runs a statement that changes one row or none.
func (tx *Tx) try(sql string, args ...any) (done bool, err error) {
	n, err := tx.count(sql, args...)
	return n > 0, err
}

// count runs a statement that changes any number of rows, after those that were put off.
func (tx *Tx) count(sql string, args ...any) (int, error) {
	before := tx.later
	tx.later = nil
	changed, err := tx.q.Exec(tx.ctx, append(before, statement(sql, args...))...)
	if err == nil {
		err = OneEach(changed[:len(before)])
	}
	if err != nil {
		return 0, tx.write(err)
	}
	return int(changed[len(before)]), nil
}

// OneEach holds that statements that were to change one row each did.
func OneEach(changed []int64) error {
	for _, n := range changed {
		if n != 1 {
			return fmt.Errorf("%d rows changed where one was meant", n)
		}
	}
	return nil
}

// ask runs queries, after what was put off.
func (tx *Tx) ask(queries ...Query) error {
	if before := tx.later; len(before) > 0 {
		tx.later = nil
		changed, err := tx.q.Exec(tx.ctx, before...)
		if err == nil {
			err = OneEach(changed)
		}
		if err != nil {
			return tx.write(err)
		}
	}
	return tx.q.Each(tx.ctx, queries...)
}

// each runs a query and calls row for each of its rows.
func (tx *Tx) each(row func(scan func(...any) error) error, sql string, args ...any) error {
	return tx.ask(Query{Statement: statement(sql, args...), Row: row})
}

// one reads the one row of a query; found is false where there is none.
func (tx *Tx) one(sql string, args, into []any) (found bool, err error) {
	q := one(&found, into, sql, args...)
	err = tx.ask(q)
	return found, err
}

// one is a query of one row.
func one(found *bool, into []any, sql string, args ...any) Query {
	return Query{Statement: statement(sql, args...), Row: func(scan func(...any) error) error {
		*found = true
		return scan(into...)
	}}
}

// where is a condition that is put together term by term.
type where struct {
	terms []string
	args  []any
}

// and adds a term, in which each question mark stands for the next value.
func (w *where) and(term string, values ...any) {
	for _, value := range values {
		w.args = append(w.args, value)
		term = strings.Replace(term, "?", fmt.Sprintf("$%d", len(w.args)), 1)
	}
	w.terms = append(w.terms, term)
}

// String is the condition as a query has it: empty where everything meets it.
func (w *where) String() string {
	if len(w.terms) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(w.terms, " AND ")
}

// blob is bytes that are never NULL.
func blob(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

// micros is a time as it is kept: microseconds since 1970, and 0 for none.
func micros(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMicro()
}

func fromMicros(us int64) time.Time {
	if us == 0 {
		return time.Time{}
	}
	return time.UnixMicro(us).UTC()
}

// asKept is a time as it comes back.
func asKept(t time.Time) time.Time { return fromMicros(micros(t)) }

// flag is a truth as it is kept.
func flag(yes bool) int {
	if yes {
		return 1
	}
	return 0
}
