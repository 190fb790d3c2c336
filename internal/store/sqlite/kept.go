package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"io"
	"slices"
)

// mostKept bounds how many statements a connection keeps.
const mostKept = 100

// connection is what the driver's own connections are.
type connection interface {
	driver.Conn
	driver.Pinger
	driver.ExecerContext
	driver.QueryerContext
	driver.ConnPrepareContext
	driver.ConnBeginTx
	driver.SessionResetter
	driver.Validator
}

// keeping is a connection that keeps statements once they are prepared, since preparing one
// often takes longer than running it. SQLite prepares one again by itself where the tables have
// changed meanwhile ("sqlite3_prepare_v2", sqlite.org/c3ref/prepare.html).
type keeping struct {
	connection
	idle []prepared // the one that was used last at the end; one that is running is not among them
}

type prepared struct {
	sql string
	driver.Stmt
}

// take returns a statement that was kept, or prepares it.
func (k *keeping) take(ctx context.Context, sql string) (prepared, error) {
	at := slices.IndexFunc(k.idle, func(p prepared) bool { return p.sql == sql })
	if at < 0 {
		s, err := k.PrepareContext(ctx, sql)
		return prepared{sql, s}, err
	}
	p := k.idle[at]
	k.idle = slices.Delete(k.idle, at, at+1)
	return p, nil
}

// put keeps a statement that ran well, and drops one that did not, or else the one whose last
// use is the longest ago.
func (k *keeping) put(p prepared, err error) error {
	if err != nil {
		return errors.Join(err, p.Close())
	}
	k.idle = append(k.idle, p)
	if len(k.idle) <= mostKept {
		return nil
	}
	oldest := k.idle[0]
	k.idle = slices.Delete(k.idle, 0, 1)
	return oldest.Close()
}

// Close closes the connection.
func (k *keeping) Close() error {
	var errs []error
	for _, p := range k.idle {
		errs = append(errs, p.Close())
	}
	k.idle = nil
	return errors.Join(append(errs, k.connection.Close())...)
}

// ExecContext runs a statement.
func (k *keeping) ExecContext(ctx context.Context, sql string, args []driver.NamedValue) (driver.Result, error) {
	p, err := k.take(ctx, sql)
	if err != nil {
		return nil, err
	}
	result, err := p.exec(ctx, args)
	return result, k.put(p, err)
}

func (p prepared) exec(ctx context.Context, args []driver.NamedValue) (driver.Result, error) {
	s, ok := p.Stmt.(driver.StmtExecContext)
	if !ok {
		return nil, errors.New("the driver does not run statements that are prepared")
	}
	return s.ExecContext(ctx, args)
}

// QueryContext runs a query. Its statement is kept once its rows are closed.
func (k *keeping) QueryContext(ctx context.Context, sql string, args []driver.NamedValue) (driver.Rows, error) {
	p, err := k.take(ctx, sql)
	if err != nil {
		return nil, err
	}
	found, err := p.query(ctx, args)
	if err != nil {
		return nil, k.put(p, err)
	}
	return &answer{Rows: found, of: p, keep: k}, nil
}

func (p prepared) query(ctx context.Context, args []driver.NamedValue) (driver.Rows, error) {
	s, ok := p.Stmt.(driver.StmtQueryContext)
	if !ok {
		return nil, errors.New("the driver does not run queries that are prepared")
	}
	return s.QueryContext(ctx, args)
}

// answer is the rows of a query.
type answer struct {
	driver.Rows
	of   prepared
	keep *keeping
	err  error // why there was no next row
}

// Next reads a row.
func (a *answer) Next(into []driver.Value) error {
	err := a.Rows.Next(into)
	if err != nil && !errors.Is(err, io.EOF) {
		a.err = err
	}
	return err
}

// Close ends the query.
func (a *answer) Close() error {
	return a.keep.put(a.of, errors.Join(a.err, a.Rows.Close()))
}

// BeginTx begins a transaction, as a statement that is kept.
func (k *keeping) BeginTx(ctx context.Context, options driver.TxOptions) (driver.Tx, error) {
	begin := "BEGIN IMMEDIATE"
	if options.ReadOnly {
		begin = "BEGIN"
	}
	if _, err := k.ExecContext(ctx, begin, nil); err != nil {
		_ = transaction{k}.Rollback() // it may have begun all the same, when the caller left at that moment
		return nil, err
	}
	return transaction{k}, nil
}

// transaction ends what a connection began. It asks nobody whether they are still there: the
// end of a transaction waits for the disk, and for no lock.
type transaction struct{ conn *keeping }

// Commit keeps what was written.
func (t transaction) Commit() error {
	_, err := t.conn.ExecContext(context.Background(), "COMMIT", nil)
	if err != nil {
		_ = t.Rollback() // where it is still open, the connection must not go back with it
	}
	return err
}

// Rollback drops what was written.
func (t transaction) Rollback() error {
	_, err := t.conn.ExecContext(context.Background(), "ROLLBACK", nil)
	return err
}
