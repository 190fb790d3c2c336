// Package sqlite keeps what the store keeps in one SQLite file: the default, for one machine.
package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"

	driver "modernc.org/sqlite"

	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/migration"
	"github.com/mouldwright/mouldwright/internal/store/rows"
)

// readers is how many connections read at once. Reading does not wait for the writer in the
// write-ahead log's mode ("Write-Ahead Logging", sqlite.org/wal.html).
const readers = 4

// Store keeps things in a file. One connection writes, so that writers of one program wait in
// line here rather than for a lock in the file.
type Store struct {
	path           string
	writer, reader *sql.DB
}

// Open opens a file, which is made where there is none, and brings it to the newest form.
func Open(ctx context.Context, path string) (*Store, error) {
	path, err := filepath.Abs(path) // also if the program goes to another folder
	if err != nil {
		return nil, err
	}
	s := &Store{path: path}
	if s.writer, err = pool(path, writing(), 1); err != nil {
		return nil, err
	}
	if s.reader, err = pool(path, reading(), readers); err != nil {
		return nil, errors.Join(err, s.writer.Close())
	}
	if err := migration.Up(ctx, s.writer, migration.SQLite); err != nil {
		return nil, errors.Join(notOpened(ctx, path, err), s.Close())
	}
	return s, nil
}

// pool opens a file to be written, which is made where there is none.
func pool(path string, settings []setting, most int) (*sql.DB, error) {
	if err := private(path); err != nil {
		return nil, err
	}
	return connect(path, "rwc", settings, most)
}

// mostLinks bounds through how many symbolic links a file that is to be made is looked for.
const mostLinks = 40

// private makes a file that only its owner may read, since it will hold margins and the digests
// of keys. One that there is stays as it is, and is not even opened: closing it would let go of
// the locks that others here have on it ("How To Corrupt An SQLite Database File", "POSIX advisory
// locks", sqlite.org/howtocorrupt.html). SQLite makes its log with the mode of the file that it
// belongs to. Where none can be made, SQLite will say so in its own words.
func private(path string) error {
	for range mostLinks {
		file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, ownersOnly)
		if err == nil {
			return errors.Join(file.Chmod(ownersOnly), file.Close()) // whatever the umask took away
		}
		to, err := os.Readlink(path)
		if err != nil {
			return nil //nolint:nilerr // it is there, or cannot be made
		}
		if !filepath.IsAbs(to) {
			to = filepath.Join(filepath.Dir(path), to)
		}
		path = to
	}
	return nil
}

// ownersOnly is the mode of what is made here.
const ownersOnly = 0o600

// connect opens a file in a mode ("Uniform Resource Identifiers", sqlite.org/uri.html): ro reads
// a file that there is, rwc writes it and makes it where there is none.
func connect(path, mode string, settings []setting, most int) (*sql.DB, error) {
	path, err := filepath.Abs(path) // else its first folder would be read as a host
	if err != nil {
		return nil, err
	}
	values := url.Values{"mode": {mode}, "_txlock": {"immediate"}, "_dqs": {"0"}}
	for _, s := range settings {
		values.Add("_pragma", fmt.Sprintf("%s(%s)", s.pragma, s.value))
	}
	file := url.URL{Scheme: "file", Path: filepath.ToSlash(path), RawQuery: values.Encode()}
	base, err := driver.NewConnector(file.String())
	if err != nil {
		return nil, err
	}
	db := sql.OpenDB(checked{Connector: base, settings: settings})
	db.SetMaxOpenConns(most)
	db.SetMaxIdleConns(most) // opening one again means setting it up again
	return db, nil
}

// Close ends the use of the store.
func (s *Store) Close() error { return errors.Join(s.reader.Close(), s.writer.Close()) }

// Update runs a function whose writes are kept all together. It begins with the lock that
// writing takes: a transaction that reads first and asks for the lock afterwards fails where
// another wrote in between ("Transaction", sqlite.org/lang_transaction.html), so there is
// nothing here that would have to be tried again, but for a disk that was read-only when the
// file was opened and need not be any more.
func (s *Store) Update(ctx context.Context, do func(store.Tx) error) error {
	err := s.update(ctx, do)
	if readOnly(err) {
		s.renew()
		err = s.update(ctx, do)
	}
	return err
}

func (s *Store) update(ctx context.Context, do func(store.Tx) error) error {
	return within(ctx, s.writer, nil, func(tx *rows.Tx) error { return rows.Run(tx, do) })
}

// renew closes the connections that nobody uses, so that new ones are opened. Also those that
// read: all that one program has to a file share its index of the log, which cannot be written
// where the first of them could not write it.
func (s *Store) renew() {
	for db, most := range map[*sql.DB]int{s.writer: 1, s.reader: readers} {
		db.SetMaxIdleConns(0)
		db.SetMaxIdleConns(most)
	}
}

// View runs a function whose reads all see the same moment.
func (s *Store) View(ctx context.Context, do func(store.Reader) error) error {
	// The driver begins a read-only transaction without taking a lock.
	return within(ctx, s.reader, &sql.TxOptions{ReadOnly: true}, func(tx *rows.Tx) error { return rows.Look(tx, do) })
}

func within(ctx context.Context, db *sql.DB, options *sql.TxOptions, do func(*rows.Tx) error) error {
	tx, err := db.BeginTx(ctx, options)
	if err != nil {
		return meaning(ctx, err)
	}
	defer func() { _ = tx.Rollback() }() // after a commit it does nothing; after a failure there is nothing to add
	return do(rows.For(ctx, querier{tx}, rows.Locks{}))
}

// querier runs the rows' statements in a transaction.
type querier struct{ tx *sql.Tx }

// Exec runs statements one after the other.
func (q querier) Exec(ctx context.Context, statements ...rows.Statement) ([]int64, error) {
	changed := make([]int64, len(statements))
	for i, s := range statements {
		result, err := q.tx.ExecContext(ctx, s.SQL, s.Args...)
		if err != nil {
			return nil, meaning(ctx, err)
		}
		if changed[i], err = result.RowsAffected(); err != nil {
			return nil, err
		}
	}
	return changed, nil
}

// Each runs queries one after the other.
func (q querier) Each(ctx context.Context, queries ...rows.Query) error {
	for _, query := range queries {
		if err := q.each(ctx, query); err != nil {
			return err
		}
	}
	return nil
}

func (q querier) each(ctx context.Context, query rows.Query) error {
	found, err := q.tx.QueryContext(ctx, query.SQL, query.Args...)
	if err != nil {
		return meaning(ctx, err)
	}
	defer func() { _ = found.Close() }() // what went wrong is in Err
	for found.Next() {
		if err := query.Row(found.Scan); err != nil {
			return misread(ctx, err)
		}
	}
	return meaning(ctx, found.Err())
}

// Settle does nothing: nobody sees what is not on the disk.
func (querier) Settle(context.Context) error { return nil }

// Commit runs statements and keeps all that was written. Nobody goes on before it is on the
// disk: there is one writer.
func (q querier) Commit(ctx context.Context, _ bool, statements ...rows.Statement) error {
	changed, err := q.Exec(ctx, statements...)
	if err == nil {
		err = rows.OneEach(changed)
	}
	if err != nil {
		return err
	}
	return meaning(ctx, q.tx.Commit())
}
