package memory

import (
	"context"
	"errors"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/storetest"
)

func open(t testing.TB) store.Store {
	t.Helper()
	s := New()
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func TestStore(t *testing.T) { storetest.Run(t, open) }

var errNo = errors.New("no")

func update(t *testing.T, s store.Store, do func(store.Tx) error) {
	t.Helper()
	if err := s.Update(t.Context(), do); err != nil {
		t.Fatal(err)
	}
}

func addPartner(id string) func(store.Tx) error {
	return func(tx store.Tx) error {
		_, err := tx.AddPartner(store.Partner{ID: id})
		return err
	}
}

// partners lists what there is after something went wrong.
func partners(t *testing.T, s store.Store) (ids []string) {
	t.Helper()
	err := s.View(t.Context(), func(r store.Reader) error {
		all, err := r.Partners("", 100, store.Studio())
		for _, p := range all {
			ids = append(ids, p.ID)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return ids
}

// A writer who leaves while waiting for another is not kept waiting.
func TestAWriterWhoLeavesTheLine(t *testing.T) {
	s := open(t)
	gone, leave := context.WithCancel(t.Context())
	update(t, s, func(tx store.Tx) error {
		second := make(chan error)
		go func() { second <- s.Update(gone, addPartner("second")) }()
		leave()
		if err := <-second; !errors.Is(err, context.Canceled) {
			t.Errorf("got %v, want %v", err, context.Canceled)
		}
		return addPartner("first")(tx)
	})
	if got := partners(t, s); !slices.Equal(got, []string{"first"}) {
		t.Errorf("kept: %v", got)
	}
}

// What is under way while the store is closed is not kept, and says so; what reads has its moment.
func TestClosedMeanwhile(t *testing.T) {
	s := New()
	err := s.View(t.Context(), func(r store.Reader) error {
		err := s.Update(t.Context(), func(tx store.Tx) error { return errors.Join(addPartner("late")(tx), s.Close()) })
		if !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("got %v, want %v", err, store.ErrUnavailable)
		}
		_, err = r.Partners("", 1, store.Studio())
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

// After a function ended, however it did, the next one has its turn.
func TestTheTurnGoesOn(t *testing.T) {
	s := open(t)
	gone, leave := context.WithCancel(t.Context())
	for name, end := range map[string]func(){
		"an error": func() {
			_ = s.Update(t.Context(), func(tx store.Tx) error { return errors.Join(addPartner("a")(tx), errNo) })
		},
		"a caller who left": func() {
			_ = s.Update(gone, func(tx store.Tx) error { leave(); return addPartner("a")(tx) })
		},
		"a panic": func() {
			defer func() { _ = recover() }()
			_ = s.Update(t.Context(), func(tx store.Tx) error { panic(addPartner("a")(tx)) })
		},
		"a goroutine that exits": func() {
			done := make(chan struct{})
			go func() {
				defer close(done)
				_ = s.Update(t.Context(), func(tx store.Tx) error {
					defer runtime.Goexit() // as a test that fails does
					return addPartner("a")(tx)
				})
			}()
			<-done
		},
	} {
		t.Run(name, func(t *testing.T) {
			end()
			if got := partners(t, s); got != nil {
				t.Errorf("kept: %v", got)
			}
			update(t, s, func(store.Tx) error { return nil })
		})
	}
}

// A transaction that is used after its end changes nothing.
func TestATransactionThatWasLeftOver(t *testing.T) {
	s := open(t)
	var left store.Tx
	update(t, s, func(tx store.Tx) error {
		left = tx
		return addPartner("a")(tx)
	})
	_ = addPartner("b")(left)
	if got := partners(t, s); !slices.Equal(got, []string{"a"}) {
		t.Errorf("kept: %v", got)
	}
}

// From beyond a key that cannot be there is nothing to list, as in the databases.
func TestListsBeyondWhatCannotBe(t *testing.T) {
	s := open(t)
	update(t, s, func(tx store.Tx) error {
		_, book := tx.AddRateBook(store.RateBook{Revision: "z"})
		_, key := tx.AddKey(store.Key{ID: "z"})
		_, mesh := tx.KeepMesh(store.Mesh{Name: "z", Sum: "z"}, 1, 1)
		_, quote := tx.Create("", 2027, store.Content{RateBook: "z"}, life.Mark{On: "2027-01-01"})
		_, issued := tx.Change(life.Number{Year: 2027, Serial: 1}, "", store.Studio(), life.Issue("2027-01-20"), store.Content{}, life.Mark{On: "2027-01-01"})
		return errors.Join(book, key, mesh, quote, issued, addPartner("z")(tx))
	})
	list := func(key string, when time.Time) (lengths [5]int) {
		err := s.View(t.Context(), func(r store.Reader) error {
			books, book := r.RateBooks(store.RateBook{Revision: key, At: when}, 9, store.Studio())
			keys, k := r.Keys(nil, key, 9, store.Studio())
			meshes, mesh := r.Meshes("", key, 9, store.Studio())
			partners, partner := r.Partners(key, 9, store.Studio())
			quotes, quote := r.Quotes(store.Filter{LapsedBy: life.Day(key)}, life.Number{}, 9, store.Studio())
			lengths = [5]int{len(books), len(keys), len(meshes), len(partners), len(quotes)}
			return errors.Join(book, k, mesh, partner, quote)
		})
		if err != nil {
			t.Fatal(err)
		}
		return lengths
	}
	late := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	if got := list("3", late); got != [5]int{1, 1, 1, 1, 1} {
		t.Errorf("beyond what could be: %v", got)
	}
	if got := list("3\n", late); got != [5]int{} {
		t.Errorf("beyond what cannot be: %v", got)
	}
}
