package main

import (
	"context"
	"errors"
	"strings"
	"time"

	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/postgres"
	"github.com/mouldwright/mouldwright/internal/store/sqlite"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// openStore opens a store by where it is.
func openStore(ctx context.Context, at string) (store.Store, error) {
	if strings.HasPrefix(at, "postgres://") || strings.HasPrefix(at, "postgresql://") {
		return postgres.Open(ctx, at)
	}
	return sqlite.Open(ctx, at)
}

// keep opens a store that holds a rate book.
func (p *program) keep(ctx context.Context, at string, book *desk.Book, rules *wire.Validator) (store.Store, error) {
	kept, err := openStore(ctx, at)
	if err != nil {
		return nil, err
	}
	books, err := bookcase.New(kept, rules, time.Now)
	if err == nil {
		err = books.Begin(ctx, book)
	}
	if err != nil {
		return nil, errors.Join(err, kept.Close())
	}
	return kept, nil
}
