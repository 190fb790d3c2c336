// Package bookcase holds the studio's rate books, opened: revisions are read from the
// store once, and the newest of them is the one in force.
package bookcase

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// Resource names of rate books.
const (
	Prefix = "rateBooks/"
	// Current is the name that always stands for the book in force.
	Current = Prefix + "current"
)

// fresh is how long the book in force is believed to be so: another server may have kept a
// newer one meanwhile.
const fresh = 500 * time.Millisecond

// mostOpen bounds how many revisions are held open.
const mostOpen = 16

// Case finds rate books. It may be used by several callers at once.
type Case struct {
	store store.Store
	rules *wire.Validator
	now   func() time.Time
	open  *lru.Cache[string, *desk.Book] // by revision

	mu      sync.Mutex
	current string // the revision in force
	asOf    time.Time
	turn    int // counts how often it was forgotten
}

// New returns a case of what a store keeps.
func New(s store.Store, rules *wire.Validator, now func() time.Time) (*Case, error) {
	open, err := lru.New[string, *desk.Book](mostOpen)
	return &Case{store: s, rules: rules, now: now, open: open}, err
}

// MissingError says that there is no such rate book.
type MissingError struct {
	Name  string
	Known []string
}

// Error says which names there are.
func (e *MissingError) Error() string {
	return fmt.Sprintf("got %q, which is no rate book here; %s", e.Name, fault.Allowed(e.Name, e.Known))
}

// ErrNone says that no rate book was ever kept.
var ErrNone = errors.New("there is no rate book yet")

// Find returns the book of a resource name; the one in force for no name and for
// rateBooks/current. Its error is a *MissingError, or the store's.
func (c *Case) Find(ctx context.Context, name string) (*desk.Book, error) {
	if name != "" && name != Current {
		return c.Revision(ctx, strings.TrimPrefix(name, Prefix))
	}
	revision, err := c.inForce(ctx)
	if err != nil {
		return nil, err
	}
	return c.Revision(ctx, revision)
}

// Revision returns the book of a revision.
func (c *Case) Revision(ctx context.Context, revision string) (*desk.Book, error) {
	if book, ok := c.open.Get(revision); ok {
		return book, nil
	}
	return c.read(ctx, revision)
}

// inForce is the newest revision.
func (c *Case) inForce(ctx context.Context) (string, error) {
	c.mu.Lock()
	revision, age, turn := c.current, c.now().Sub(c.asOf), c.turn
	c.mu.Unlock()
	if revision != "" && age >= 0 && age < fresh {
		return revision, nil
	}
	asOf := c.now() // before it is looked up: it may be older than the answer, not newer
	var newest []store.RateBook
	err := c.store.View(ctx, func(r store.Reader) (err error) {
		newest, err = r.RateBooks(store.RateBook{}, 1, store.Studio())
		return err
	})
	if err != nil {
		return "", err
	}
	if len(newest) == 0 {
		return "", ErrNone
	}
	c.note(newest[0].Revision, asOf, turn)
	return newest[0].Revision, nil
}

// note believes what was looked up, unless it was forgotten meanwhile: it may be what was
// in force before.
func (c *Case) note(revision string, asOf time.Time, turn int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if turn == c.turn && !asOf.Before(c.asOf) {
		c.current, c.asOf = revision, asOf
	}
}

func (c *Case) read(ctx context.Context, revision string) (*desk.Book, error) {
	var kept store.RateBook
	err := c.store.View(ctx, func(r store.Reader) (err error) {
		kept, err = r.RateBook(revision, store.Studio())
		return err
	})
	if errors.Is(err, store.ErrNotFound) {
		return nil, c.missing(ctx, Prefix+revision)
	}
	if err != nil {
		return nil, err
	}
	book, err := c.reopened(kept)
	if err != nil {
		return nil, fmt.Errorf("rate book %s was usable when it was kept, and is not now: %w", revision, err)
	}
	c.open.Add(revision, book)
	return book, nil
}

// reopened opens a revision that was kept, however long its lists are. Its error is no
// fault.List: what is wrong with the book is no fault of whoever asks.
func (c *Case) reopened(kept store.RateBook) (*desk.Book, error) {
	pb := &mouldwrightv1.RateBook{}
	if err := wire.DecodeKept(kept.Document, pb); err != nil {
		return nil, err
	}
	edition, faults := desk.CheckBook(pb, nil, c.rules)
	if len(faults) > 0 {
		return nil, errors.New(faults.Error())
	}
	return &desk.Book{Edition: edition, Document: pb, Sum: kept.Sum}, nil
}

// missing lists the newest revisions beside the name that was asked for.
func (c *Case) missing(ctx context.Context, name string) error {
	const most = 50
	known := []string{Current}
	err := c.store.View(ctx, func(r store.Reader) error {
		books, err := r.RateBooks(store.RateBook{}, most, store.Studio())
		for _, b := range books {
			known = append(known, Prefix+b.Revision)
		}
		return err
	})
	if err != nil {
		return err
	}
	slices.Sort(known)
	return &MissingError{Name: name, Known: known}
}

// Rehearse writes a book as Keep does, and opens what it wrote as a file or a request is
// opened. A book that comes back can be kept; else the faults say why it could never be used,
// printed and taken in again.
func (c *Case) Rehearse(pb *mouldwrightv1.RateBook) (*desk.Book, fault.List) {
	doc, err := wire.Encode(pb)
	if err != nil {
		return nil, fault.List{{Message: "it cannot be written out: " + err.Error()}}
	}
	return desk.OpenBook(doc, c.rules)
}

// Keep keeps a book that was rehearsed as a new revision, which is the one in force from then on, also where
// the clock of whoever kept the last one was ahead. A revision that is kept is store.ErrTaken.
func (c *Case) Keep(tx store.Tx, book *desk.Book) (store.RateBook, error) {
	doc, err := wire.Encode(book.Document)
	if err != nil {
		return store.RateBook{}, err
	}
	last, err := tx.RateBooks(store.RateBook{}, 1, store.Studio())
	if err != nil {
		return store.RateBook{}, err
	}
	at := store.Moment(c.now())
	if len(last) > 0 && !at.After(last[0].At) {
		at = last[0].At.Add(time.Microsecond) // as fine as times are kept
	}
	return tx.AddRateBook(store.RateBook{Revision: book.Edition.Revision, Document: doc, At: at})
}

// Forget has the book in force looked up again. Who keeps a book calls it afterwards.
func (c *Case) Forget() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.current = ""
	c.turn++
}

// Begin keeps a book unless its revision is kept already. One that is kept with other
// content is store.ErrTaken: a revision is never edited.
// One that could not be opened again is not kept: its error is a fault.List.
func (c *Case) Begin(ctx context.Context, book *desk.Book) error {
	if _, faults := c.Rehearse(book.Document); len(faults) > 0 {
		return faults
	}
	defer c.Forget()
	err := c.begin(ctx, book)
	if errors.Is(err, store.ErrTaken) {
		err = c.begin(ctx, book) // another server that began at the same time may have kept the same
	}
	return err
}

func (c *Case) begin(ctx context.Context, book *desk.Book) error {
	return c.store.Update(ctx, func(tx store.Tx) error {
		kept, err := tx.RateBook(book.Edition.Revision, store.Studio())
		switch {
		case errors.Is(err, store.ErrNotFound):
			_, err = c.Keep(tx, book)
		case err == nil && kept.Sum != book.Sum:
			err = fmt.Errorf("rate book %s: %w by another of other content; give it a revision of its own", book.Edition.Revision, store.ErrTaken)
		}
		return err
	})
}
