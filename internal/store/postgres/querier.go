package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/mouldwright/mouldwright/internal/store/rows"
)

// querier is one transaction. What waits for answers holds locks meanwhile, so statements go
// out together: the beginning with the first, the end with the last.
type querier struct {
	conn  *pgx.Conn
	begin string      // what the transaction begins with; empty once it has
	alone func() bool // whether nobody else here writes
}

// send sends what is queued, after the beginning where that is due.
func (q *querier) send(ctx context.Context, queued *pgx.Batch) (pgx.BatchResults, error) {
	if q.begin == "" {
		return q.conn.SendBatch(ctx, queued), nil
	}
	first := &pgx.Batch{QueuedQueries: append([]*pgx.QueuedQuery{{SQL: q.begin}}, queued.QueuedQueries...)}
	q.begin = ""
	answers := q.conn.SendBatch(ctx, first)
	if _, err := answers.Exec(); err != nil {
		_ = answers.Close() // says the same again
		return nil, meaning(ctx, err)
	}
	return answers, nil
}

func batch(statements []rows.Statement) *pgx.Batch {
	var queued pgx.Batch
	for _, s := range statements {
		queued.Queue(s.SQL, s.Args...)
	}
	return &queued
}

// Exec runs statements.
func (q *querier) Exec(ctx context.Context, statements ...rows.Statement) ([]int64, error) {
	answers, err := q.send(ctx, batch(statements))
	if err != nil {
		return nil, err
	}
	changed := make([]int64, len(statements))
	for i := range changed {
		tag, err := answers.Exec()
		if err != nil {
			_ = answers.Close() // says the same again
			return nil, meaning(ctx, err)
		}
		changed[i] = tag.RowsAffected()
	}
	return changed, meaning(ctx, answers.Close())
}

// Commit runs statements and keeps all that was written. Its locks are free early only where
// somebody here may wait for them: to wait for the disk in a step of its own takes a little
// longer. A writer of another server waits, as for any row. PostgreSQL reads nothing further of
// what was sent together once a statement failed, so it does not come to the end then. Whether
// each changed one row is known only afterwards; they are rows that are new or locked.
func (q *querier) Commit(ctx context.Context, awaited bool, statements ...rows.Statement) error {
	if q.begin != "" && len(statements) == 0 {
		return nil // nothing was asked
	}
	queued := batch(statements)
	ending := []string{"COMMIT"}
	if awaited && !q.alone() {
		ending = early()
	}
	for _, sql := range ending {
		queued.Queue(sql)
	}
	answers, err := q.send(ctx, queued)
	if err != nil {
		return err
	}
	changed, err := ended(answers, len(statements), ending)
	if err = meaning(ctx, err); err != nil {
		return err
	}
	return rows.OneEach(changed)
}

// message writes to the log and nowhere else ("pg_logical_emit_message", "System Administration
// Functions" in PostgreSQL's manual).
const message = "SELECT pg_logical_emit_message(true, '', '')"

// early ends a transaction so that its locks are free before it is on the disk, and waits for
// the disk afterwards: else new quotes would take their numbers one disk write after another,
// where many fit into one. A message that is written to the log and committed as ever comes
// after all that was committed before it ("Asynchronous Commit" in PostgreSQL's manual).
// It waits as the connection was found to, which is never not at all.
// Nobody is told that a quote is kept before it is on the disk, and whoever writes after
// having seen it waits for the disk as well; only a reader may for that moment see what a
// crash of the database would undo, unless it asks for what it read to be settled.
func early() []string {
	return []string{"SET LOCAL synchronous_commit = off", "COMMIT", message}
}

// ended reads the answers to so many statements and to what ends the transaction.
func ended(answers pgx.BatchResults, statements int, ending []string) (changed []int64, err error) {
	for i := 0; err == nil && i < statements+len(ending); i++ {
		var tag pgconn.CommandTag
		tag, err = answers.Exec()
		switch {
		case i < statements:
			changed = append(changed, tag.RowsAffected())
		case err == nil && ending[i-statements] == "COMMIT" && tag.String() != "COMMIT":
			err = pgx.ErrTxCommitRollback
		}
	}
	if closed := answers.Close(); err == nil {
		err = closed
	}
	return changed, err
}

// Settle writes a message to the log, for which the end of a transaction waits as for any other
// write, also where it may not write to tables.
func (q *querier) Settle(ctx context.Context) error {
	_, err := q.Exec(ctx, rows.Statement{SQL: message})
	return err
}

// rollback ends a transaction that was not kept.
func (q *querier) rollback(ctx context.Context) {
	const idle = 'I' // "ReadyForQuery" in PostgreSQL's manual: not in a transaction
	if conn := q.conn.PgConn(); conn.IsClosed() || conn.TxStatus() == idle {
		return
	}
	_, _ = q.conn.Exec(context.WithoutCancel(ctx), "ROLLBACK") // a connection that cannot is closed on its release
}

// Each runs queries.
func (q *querier) Each(ctx context.Context, queries ...rows.Query) error {
	var queued pgx.Batch
	for _, query := range queries {
		queued.Queue(query.SQL, query.Args...)
	}
	answers, err := q.send(ctx, &queued)
	if err != nil {
		return err
	}
	for _, query := range queries {
		if err := each(ctx, answers, query); err != nil {
			_ = answers.Close() // there is nothing to add
			return err
		}
	}
	return meaning(ctx, answers.Close())
}

func each(ctx context.Context, answers pgx.BatchResults, query rows.Query) error {
	found, err := answers.Query()
	if err != nil {
		return meaning(ctx, err)
	}
	defer found.Close()
	for found.Next() {
		if err := query.Row(found.Scan); err != nil {
			return err
		}
	}
	found.Close()
	return meaning(ctx, found.Err())
}
