// Package memory keeps what the store keeps in memory, for tests and for trying the service
// out. It is gone with the program.
package memory

import (
	"context"
	"fmt"
	"sync/atomic"

	"github.com/mouldwright/mouldwright/internal/store"
)

// Store keeps things in memory.
type Store struct {
	turn chan struct{}         // holds one while somebody writes
	now  atomic.Pointer[state] // what is kept, of which nothing is changed in place; nil once the store is closed
}

// New makes an empty store.
func New() *Store {
	s := &Store{turn: make(chan struct{}, 1)}
	s.now.Store(empty())
	return s
}

// Update runs a function whose writes are kept all together. They are made to a state of its
// own, which becomes the store's where all is well and is dropped where it is not. One
// writes at a time, so nothing has to be tried again.
func (s *Store) Update(ctx context.Context, do func(store.Tx) error) error {
	select {
	case s.turn <- struct{}{}:
		defer func() { <-s.turn }()
	case <-ctx.Done():
		return ctx.Err()
	}
	before, err := s.open(ctx)
	if err != nil {
		return err
	}
	after, err := changed(*before, do)
	if err != nil {
		return err
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if !s.now.CompareAndSwap(before, &after) { // nobody else writes, so it was closed
		return errClosed()
	}
	return nil
}

// View runs a function whose reads all see the same moment. It holds nobody up.
func (s *Store) View(ctx context.Context, do func(store.Reader) error) error {
	now, err := s.open(ctx)
	if err != nil {
		return err
	}
	if err := do(now); err != nil {
		return err
	}
	return ctx.Err()
}

// open returns what is kept now.
func (s *Store) open(ctx context.Context) (*state, error) {
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	now := s.now.Load()
	if now == nil {
		return nil, errClosed()
	}
	return now, nil
}

func errClosed() error { return fmt.Errorf("%w: the store is closed", store.ErrUnavailable) }

// Close ends the use of the store. It does not wait: an update that is under way is not kept.
func (s *Store) Close() error {
	s.now.Store(nil)
	return nil
}

// transaction reads and writes a state of its own. It is used by one goroutine.
type transaction struct {
	state
	doomed error // why it may not be kept
}

// changed returns a state as a function changes it.
func changed(before state, do func(store.Tx) error) (state, error) {
	tx := &transaction{state: before}
	if err := do(tx); err != nil {
		return state{}, err
	}
	return tx.state, tx.doomed
}

// write notes that a write failed.
func (tx *transaction) write(err error) error {
	if err != nil && tx.doomed == nil {
		tx.doomed = err
	}
	return err
}
