package rows

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"github.com/mouldwright/mouldwright/internal/store"
)

// AddRateBook keeps a revision of the rate book for good.
func (tx *Tx) AddRateBook(book store.RateBook) (store.RateBook, error) {
	book, err := tx.addRateBook(book)
	return book, tx.write(err)
}

func (tx *Tx) addRateBook(book store.RateBook) (store.RateBook, error) {
	if err := book.Fit(); err != nil {
		return store.RateBook{}, err
	}
	book.Document, book.At, book.Sum = blob(book.Document), store.Moment(book.At), sumOf(book.Document)
	added, err := tx.try(`INSERT INTO rate_books (revision, document, sum, at) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`,
		book.Revision, book.Document, book.Sum, book.At.UnixMicro())
	if err == nil && !added {
		err = fmt.Errorf("rate book revision %s: %w", book.Revision, store.ErrTaken)
	}
	if err != nil {
		return store.RateBook{}, err
	}
	return book, nil
}

func sumOf(document []byte) string {
	sum := sha256.Sum256(document)
	return hex.EncodeToString(sum[:])
}

// booked holds that a revision of the rate book is kept.
func (tx *Tx) booked(revision string) error {
	var one int
	found, err := tx.one(`SELECT 1 FROM rate_books WHERE revision = $1`, []any{revision}, []any{&one})
	if err == nil && !found {
		err = unbooked(revision)
	}
	return err
}

func unbooked(revision string) error {
	return fmt.Errorf("rate book revision %s: %w", revision, store.ErrNotFound)
}

// RateBook returns a revision of the rate book.
func (tx *Tx) RateBook(revision string, eyes store.Eyes) (store.RateBook, error) {
	if !eyes.Sees("") || !store.Readable(revision) {
		return store.RateBook{}, unbooked(revision)
	}
	book := store.RateBook{Revision: revision}
	var at int64
	found, err := tx.one(`SELECT document, sum, at FROM rate_books WHERE revision = $1`, []any{revision}, []any{&book.Document, &book.Sum, &at})
	book.At = time.UnixMicro(at).UTC()
	switch {
	case err != nil:
		return store.RateBook{}, err
	case !found:
		return store.RateBook{}, unbooked(revision)
	case sumOf(book.Document) != book.Sum:
		return store.RateBook{}, fmt.Errorf("%w: rate book revision %s is not as its sum says", store.ErrDamaged, revision)
	}
	return book, nil
}

// RateBooks lists revisions without their documents.
func (tx *Tx) RateBooks(after store.RateBook, limit int, eyes store.Eyes) ([]store.RateBook, error) {
	if !eyes.Sees("") || limit < 1 || !store.Readable(after.Revision) {
		return nil, nil
	}
	var w where
	if after.Revision != "" {
		w.and("(at, revision) < (?, ?)", after.At.UnixMicro(), after.Revision)
	}
	var books []store.RateBook
	err := tx.each(func(scan func(...any) error) error {
		var book store.RateBook
		var at int64
		err := scan(&book.Revision, &book.Sum, &at)
		book.At = time.UnixMicro(at).UTC()
		books = append(books, book)
		return err
	}, fmt.Sprintf(`SELECT revision, sum, at FROM rate_books%s ORDER BY at DESC, revision DESC LIMIT %d`, &w, limit), w.args...)
	return books, err
}
