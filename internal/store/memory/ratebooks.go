package memory

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"github.com/mouldwright/mouldwright/internal/store"
)

// AddRateBook keeps a revision of the rate book for good.
func (tx *transaction) AddRateBook(book store.RateBook) (store.RateBook, error) {
	book, err := tx.addRateBook(book)
	return book, tx.write(err)
}

func (tx *transaction) addRateBook(book store.RateBook) (store.RateBook, error) {
	if err := book.Fit(); err != nil {
		return store.RateBook{}, err
	}
	if tx.rateBooks.has(book.Revision) {
		return store.RateBook{}, fmt.Errorf("rate book revision %s: %w", book.Revision, store.ErrTaken)
	}
	book.Document, book.At, book.Sum = blob(book.Document), store.Moment(book.At), sumOf(book.Document)
	tx.rateBooks.put(book.Revision, book)
	return copyOfBook(book), nil
}

func sumOf(document []byte) string {
	sum := sha256.Sum256(document)
	return hex.EncodeToString(sum[:])
}

func copyOfBook(book store.RateBook) store.RateBook {
	book.Document = blob(book.Document)
	return book
}

// RateBook returns a revision of the rate book.
func (s *state) RateBook(revision string, eyes store.Eyes) (store.RateBook, error) {
	book, found := s.rateBooks.get(revision)
	if !found || !eyes.Sees("") {
		return store.RateBook{}, unbooked(revision)
	}
	return copyOfBook(book), nil
}

func unbooked(revision string) error {
	return fmt.Errorf("rate book revision %s: %w", revision, store.ErrNotFound)
}

// RateBooks lists revisions without their documents.
func (s *state) RateBooks(after store.RateBook, limit int, eyes store.Eyes) ([]store.RateBook, error) {
	if !eyes.Sees("") || !store.Readable(after.Revision) {
		return nil, nil
	}
	when := func(book store.RateBook) moment { return moment{book.At.UnixMicro(), book.Revision} }
	books := newest(s.rateBooks, when(after), limit, when)
	for i := range books {
		books[i].Document = nil
	}
	return books, nil
}
