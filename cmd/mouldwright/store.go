package main

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/postgres"
	"github.com/mouldwright/mouldwright/internal/store/sqlite"
	"github.com/mouldwright/mouldwright/internal/wire"
)

const (
	defaultStore = "mouldwright.db"
	storeHelp    = "where quotes are kept: a SQLite `file`, or PostgreSQL at postgres://…"
)

// openStore opens a store by where it is, and brings it to the newest version.
func openStore(ctx context.Context, at string) (store.Store, error) {
	if inPostgres(at) {
		return postgres.Open(ctx, at) // its errors do not repeat a password
	}
	if err := isFile(at); err != nil {
		return nil, err
	}
	return sqlite.Open(ctx, at)
}

// openKept opens a store that there is: who wants to read would not find anything in a new one.
func openKept(ctx context.Context, at string) (store.Store, error) {
	if err := isThere(at); err != nil {
		return nil, err
	}
	return openStore(ctx, at)
}

func inPostgres(at string) bool {
	return strings.HasPrefix(at, "postgres://") || strings.HasPrefix(at, "postgresql://")
}

// isFile refuses what is no name of a file. An address may hold a password, so it is not repeated.
func isFile(at string) error {
	if scheme, _, found := strings.Cut(at, "://"); found {
		return fmt.Errorf("--store: got an address that begins with %s://, allowed: a file, or postgres://…", scheme)
	}
	if at == "" {
		return errors.New("--store: got nothing, allowed: a file, or postgres://…")
	}
	return nil
}

func isThere(at string) error {
	if inPostgres(at) {
		return nil
	}
	if err := isFile(at); err != nil {
		return err
	}
	if info, err := os.Stat(at); err != nil || info.IsDir() {
		return fmt.Errorf("--store: there is no store %s", at)
	}
	return nil
}

// shown is where a store is, for people and logs: without a password.
func shown(at string) string {
	if !inPostgres(at) {
		return at
	}
	address, err := url.Parse(at)
	if err != nil {
		return "postgres://…"
	}
	if address.User != nil {
		address.User = url.User(address.User.Username())
	}
	query := address.Query()
	for name := range query {
		if strings.Contains(strings.ToLower(name), "password") { // password, sslpassword
			query.Del(name)
		}
	}
	address.RawQuery = query.Encode()
	return address.String()
}

// furnish keeps the rate book of a file in a store, unless its revision is there. Without a file
// a store that has none gets the demo's. It returns the revision that was asked for, which is
// the one in force where none was, and the book in force.
func furnish(ctx context.Context, kept store.Store, file string, rules *wire.Validator) (asked string, inForce *desk.Book, err error) {
	books, err := bookcase.New(kept, rules, time.Now)
	if err != nil {
		return "", nil, err
	}
	if file == "" {
		inForce, err = books.Find(ctx, bookcase.Current)
		if err == nil {
			return inForce.Edition.Revision, inForce, nil
		}
		if !errors.Is(err, bookcase.ErrNone) {
			return "", nil, err
		}
	}
	book, err := openBook(file, rules)
	if err != nil {
		return "", nil, err
	}
	if err := begin(ctx, books, book); err != nil {
		return "", nil, err
	}
	inForce, err = books.Find(ctx, bookcase.Current)
	return book.Edition.Revision, inForce, err
}

// begin keeps a book unless it is kept. Of several servers that start at once with a new book
// one keeps it; the others find it when they look again.
func begin(ctx context.Context, books *bookcase.Case, book *desk.Book) error {
	err := books.Begin(ctx, book)
	if errors.Is(err, store.ErrTaken) {
		err = books.Begin(ctx, book)
	}
	if errors.Is(err, store.ErrTaken) {
		return fmt.Errorf("the store holds another rate book as revision %s, and a revision is never changed: give this one a revision of its own", book.Edition.Revision)
	}
	return err
}
