package storetest

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

func wholeLife(t *testing.T, s store.Store) {
	q := create(t, s, "")
	equal(t, "the first number", q.Number, life.Number{Year: 2027, Serial: 1})
	equal(t, "state", q.State(), life.Draft)
	q = must(t, s, q, life.Issue(on(20)), 2)
	q = must(t, s, q, life.Revise("named by the store"), 3)
	q = must(t, s, q, life.Issue(on(25)), 4)
	q = must(t, s, q, life.Accept(), 25)
	equal(t, "as read again", read(t, s, q.Number), q)
	replayed, err := life.Replay(q.Number, q.History)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "as replayed", replayed, q.Quote)
	equal(t, "in the list", list(t, s, store.Filter{}, store.Studio()),
		[]store.Head{{
			Number: q.Number, State: life.Accepted, ValidUntil: on(25), Etag: q.Etag(),
			At: january(1).At, Revisions: 2, Summary: content("second").Summary,
		}})
	equal(t, "history", len(q.History), 5)
	equal(t, "revisions", []life.State{q.Revisions[0].State, q.Revisions[1].State}, []life.State{life.Superseded, life.Accepted})
}

func contents(t *testing.T, s store.Store) {
	q := create(t, s, "")
	holds(t, s, q, 1, content("first"))
	q = must(t, s, q, life.Revise(""), 1) // a draft is replaced
	holds(t, s, q, 1, content("second"))
	q = must(t, s, q, life.Issue(on(20)), 2)
	update(t, s, func(tx store.Tx) error {
		_, err := tx.Change(q.Number, "", store.Studio(), life.Revise(""), content("third"), january(3))
		return err
	})
	holds(t, s, q, 1, content("second")) // an issued revision is not
	holds(t, s, q, 2, content("third"))
	for _, none := range []int{-1, 0, 3, 1 << 40} {
		fails(t, s.View(t.Context(), func(r store.Reader) error {
			_, err := r.Content(q.Number, none, store.Studio())
			return err
		}), store.ErrNotFound)
	}
	missing := content("fourth")
	missing.RateBook = "not kept"
	fails(t, s.Update(t.Context(), func(tx store.Tx) error {
		_, err := tx.Change(q.Number, "", store.Studio(), life.Revise(""), missing, january(3))
		return err
	}), store.ErrNotFound)
}

func holds(t *testing.T, s store.Store, q store.Quote, revision int, want store.Content) {
	t.Helper()
	view(t, s, func(r store.Reader) error {
		got, err := r.Content(q.Number, revision, store.Studio())
		equal(t, fmt.Sprintf("revision %d", revision), got, asRead(want))
		return err
	})
}

func refusal(t *testing.T, s store.Store) {
	q := create(t, s, "")
	_, err := change(t.Context(), s, q.Number, q.Etag(), life.Accept(), 2)
	var refused life.Refused
	if !errors.As(err, &refused) || refused.State != life.Draft {
		t.Errorf("a draft was accepted: %v", err)
	}
	q = must(t, s, q, life.Issue(on(2)), 2)
	if _, err = change(t.Context(), s, q.Number, q.Etag(), life.Accept(), 3); !errors.As(err, &refused) || refused.State != life.Expired {
		t.Errorf("accepted a day late: %v", err)
	}
	equal(t, "after the refusals", read(t, s, q.Number), q)
}

func stale(t *testing.T, s store.Store) {
	draft := create(t, s, "")
	issued := must(t, s, draft, life.Issue(on(20)), 2)
	_, err := change(t.Context(), s, draft.Number, draft.Etag(), life.Accept(), 3)
	fails(t, err, store.ErrStale)
	equal(t, "after it", read(t, s, draft.Number), issued)
	if _, err := change(t.Context(), s, draft.Number, "", life.Accept(), 3); err != nil {
		t.Errorf("without an etag: %v", err)
	}
}

func whoseEyes(t *testing.T, s store.Store) {
	own, other, studio := create(t, s, "fair"), create(t, s, "pier"), create(t, s, "")
	partner := store.EyesOf("fair")
	for _, hidden := range []store.Quote{other, studio} {
		for _, eyes := range []store.Eyes{partner, store.EyesOf(""), {}} {
			fails(t, s.View(t.Context(), func(r store.Reader) error { _, err := r.Quote(hidden.Number, eyes); return err }), store.ErrNotFound)
			fails(t, s.View(t.Context(), func(r store.Reader) error { _, err := r.Content(hidden.Number, 1, eyes); return err }), store.ErrNotFound)
			fails(t, s.View(t.Context(), func(r store.Reader) error { _, err := r.RateBook(book, eyes); return err }), store.ErrNotFound)
			fails(t, s.Update(t.Context(), func(tx store.Tx) error {
				_, err := tx.Change(hidden.Number, "", eyes, life.Issue(on(20)), store.Content{}, january(2))
				return err
			}), store.ErrNotFound)
		}
	}
	equal(t, "the partner's list", numbers(list(t, s, store.Filter{}, partner)), []life.Number{own.Number})
	pier := "pier"
	equal(t, "another's, asked for", len(list(t, s, store.Filter{Owner: &pier}, partner)), 0)
	equal(t, "nobody's list", len(list(t, s, store.Filter{}, store.EyesOf("")))+len(list(t, s, store.Filter{}, store.Eyes{})), 0)
	equal(t, "the studio's list", len(list(t, s, store.Filter{}, store.Studio())), 3)
	view(t, s, func(r store.Reader) error {
		q, err := r.Quote(own.Number, partner)
		equal(t, "the partner's own", q, own)
		books, _ := r.RateBooks(store.RateBook{}, 10, partner)
		equal(t, "rate books that a partner sees", len(books), 0)
		return err
	})
}

func numbers(heads []store.Head) []life.Number {
	var ns []life.Number
	for _, h := range heads {
		ns = append(ns, h.Number)
	}
	return ns
}

func allOrNothing(t *testing.T, s store.Store) {
	withBook(t, s)
	no := errors.New("no")
	fails(t, s.Update(t.Context(), func(tx store.Tx) error {
		if _, err := tx.Create("", 2027, content("lost"), january(1)); err != nil {
			return err
		}
		if _, err := tx.AddRateBook(store.RateBook{Revision: "lost"}); err != nil {
			return err
		}
		return no
	}), no)
	equal(t, "quotes", len(list(t, s, store.Filter{}, store.Studio())), 0)
	equal(t, "the next number", create(t, s, "").Number.Serial, 1)
	fails(t, s.View(t.Context(), func(r store.Reader) error { _, err := r.RateBook("lost", store.Studio()); return err }), store.ErrNotFound)
}

func doomed(t *testing.T, s store.Store) {
	q := create(t, s, "")
	fails(t, s.Update(t.Context(), func(tx store.Tx) error {
		if _, err := tx.Create("", 2027, content("lost"), january(1)); err != nil {
			return err
		}
		_, _ = tx.Change(q.Number, "another etag", store.Studio(), life.Issue(on(20)), store.Content{}, january(2))
		return nil
	}), store.ErrStale)
	equal(t, "quotes", len(list(t, s, store.Filter{}, store.Studio())), 1)
}

func panics(t *testing.T, s store.Store) {
	withBook(t, s)
	func() {
		defer func() { equal(t, "what was thrown", recover(), "slip") }()
		_ = s.Update(t.Context(), func(tx store.Tx) error {
			_, _ = tx.Create("", 2027, content("lost"), january(1))
			panic("slip")
		})
	}()
	equal(t, "the next number", create(t, s, "").Number.Serial, 1)
}

// writers is how many write at once.
const writers = 8

func together(do func(writer int)) {
	var all sync.WaitGroup
	for w := range writers {
		all.Go(func() { do(w) })
	}
	all.Wait()
}

// Some give up after the number was taken, which leaves no gap.
func concurrentNumbers(t *testing.T, s store.Store) {
	const each = 12
	withBook(t, s)
	no := errors.New("no")
	var mu sync.Mutex
	var got []int
	together(func(w int) {
		for i := range each {
			var q store.Quote
			err := s.Update(t.Context(), func(tx store.Tx) (err error) {
				if q, err = tx.Create("", 2027, content("any"), january(1)); err == nil && (w+i)%4 == 0 {
					err = no
				}
				return err
			})
			if errors.Is(err, no) {
				continue
			}
			if err != nil {
				t.Error(err)
			}
			mu.Lock()
			got = append(got, q.Number.Serial)
			mu.Unlock()
		}
	})
	slices.Sort(got)
	for i, serial := range got {
		if serial != i+1 {
			t.Fatalf("numbers with gaps or repeats: %v", got)
		}
	}
	equal(t, "how many", len(got), writers*each*3/4)
	equal(t, "how many are kept", len(list(t, s, store.Filter{}, store.Studio())), len(got))
}

func oneAccepts(t *testing.T, s store.Store) {
	q := must(t, s, create(t, s, ""), life.Issue(on(20)), 2)
	errs := make([]error, writers)
	together(func(w int) { _, errs[w] = change(t.Context(), s, q.Number, q.Etag(), life.Accept(), 3) })
	won := 0
	for _, err := range errs {
		if err == nil {
			won++
		} else {
			fails(t, err, store.ErrStale)
		}
	}
	equal(t, "how many accepted", won, 1)
	equal(t, "history", len(read(t, s, q.Number).History), 3)
}

// soon is long enough for somebody else to do something, where nothing hinders them. No test
// fails for its being too short: then it sees less.
const soon = 100 * time.Millisecond

// A change waits for another of the same quote that is under way, and then sees what it did.
func changeWaits(t *testing.T, s store.Store) {
	q := must(t, s, create(t, s, ""), life.Issue(on(20)), 2)
	second := make(chan error, 1)
	update(t, s, func(tx store.Tx) error {
		_, err := tx.Change(q.Number, q.Etag(), store.Studio(), life.Accept(), store.Content{}, january(3))
		go func() {
			_, err := change(t.Context(), s, q.Number, q.Etag(), life.Decline(), 3)
			second <- err
		}()
		select {
		case err := <-second:
			t.Errorf("it did not wait: %v", err)
			second <- err
		case <-time.After(soon):
		}
		return err
	})
	fails(t, <-second, store.ErrStale)
	equal(t, "state", read(t, s, q.Number).State(), life.Accepted)
}

// Changes of two quotes that are made in one order and in the other are all kept: where two
// updates wait for each other, one is run again.
func crossing(t *testing.T, s store.Store) {
	a, b := create(t, s, ""), create(t, s, "")
	var met [2]chan struct{}
	var once [2]sync.Once
	for i := range met {
		met[i] = make(chan struct{})
	}
	together(func(w int) {
		order, mine := []life.Number{a.Number, b.Number}, w%2
		if mine == 1 {
			slices.Reverse(order)
		}
		err := s.Update(t.Context(), func(tx store.Tx) error {
			for _, n := range order {
				if _, err := tx.Change(n, "", store.Studio(), life.Revise(""), content(fmt.Sprint("writer ", w)), january(2)); err != nil {
					return err
				}
				once[mine].Do(func() { close(met[mine]) })
				select { // until a writer of the other order has changed its first
				case <-met[1-mine]:
				case <-time.After(soon):
				}
			}
			return nil
		})
		if err != nil {
			t.Errorf("writer %d: %v", w, err)
		}
	})
	equal(t, "changes of the first", len(read(t, s, a.Number).History), 1+writers)
	equal(t, "changes of the second", len(read(t, s, b.Number).History), 1+writers)
}

func oneMoment(t *testing.T, s store.Store) {
	q := create(t, s, "")
	view(t, s, func(r store.Reader) error {
		before, err := r.Quote(q.Number, store.Studio())
		must(t, s, q, life.Issue(on(20)), 2) // by somebody else
		create(t, s, "")
		after, again := r.Quote(q.Number, store.Studio())
		equal(t, "the quote", after, before)
		heads, listed := r.Quotes(store.Filter{}, life.Number{}, 10, store.Studio())
		equal(t, "quotes", len(heads), 1)
		return errors.Join(err, again, listed)
	})
}
