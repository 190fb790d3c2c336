package storetest

import (
	"context"
	"crypto/rand"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Fill keeps some quotes in several states, and returns them.
func Fill(t testing.TB, s store.Store) []store.Quote {
	t.Helper()
	draft := create(t, s, "")
	issued := must(t, s, create(t, s, "fair"), life.Issue(on(20)), 2)
	accepted := must(t, s, must(t, s, create(t, s, ""), life.Issue(on(20)), 2), life.Accept(), 3)
	return []store.Quote{draft, issued, accepted}
}

// Many keeps many drafts more, priced with a mesh.
func Many(t testing.TB, s store.Store, count int) {
	t.Helper()
	mustKeep(t, s, hare("", "x", "a"))
	update(t, s, func(tx store.Tx) error {
		for range count {
			if _, err := tx.Create("", 2027, pricedWith("a"), january(1)); err != nil {
				return err
			}
		}
		return nil
	})
}

// Holds holds that a store has the quotes and what they hold, and a rate book.
func Holds(t testing.TB, s store.Store, quotes []store.Quote) {
	t.Helper()
	equal(t, "quotes", len(list(t, s, store.Filter{}, store.Studio())), len(quotes))
	for _, q := range quotes {
		equal(t, q.Number.String(), read(t, s, q.Number), q)
		view(t, s, func(r store.Reader) error {
			c, err := r.Content(q.Number, 1, store.Studio())
			equal(t, "its content", c, asRead(content("first")))
			return err
		})
	}
	view(t, s, func(r store.Reader) error { _, err := r.RateBook(book, store.Studio()); return err })
}

// Several writes through several stores of one database at once.
func Several(t *testing.T, stores ...store.Store) {
	t.Helper()
	withBook(t, stores[0])
	var mu sync.Mutex
	var got []int
	together(func(w int) {
		for range 5 {
			q, err := tryCreate(t.Context(), stores[w%len(stores)], "")
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
}

// Ratio measures quotes created and issued by some writers against bare inserts of a document
// of the same size, turn by turn in one run. A quote is two transactions, so the ratio is of
// its time to that of two inserts; 1 would be as fast.
func Ratio(b *testing.B, s store.Store, writers int, insert func(document []byte) error) {
	b.Helper()
	withBook(b, s)
	document := make([]byte, hareBytes)
	_, _ = rand.Read(document) // it never fails
	c := content("any")
	c.Document = document
	const turn = 16 // short, so that what else the disk does falls on both
	var quotes, bare time.Duration
	for rest := b.N; rest > 0; rest -= turn {
		n := min(rest, turn)
		quotes += timed(b, writers, n, func() error { return createAndIssue(b.Context(), s, c) })
		bare += timed(b, writers, 2*n, func() error { return insert(document) })
	}
	b.ReportMetric(float64(bare)/float64(quotes), "of-bare")
	b.ReportMetric(float64(b.N)/quotes.Seconds(), "quotes/s")
	b.ReportMetric(2*float64(b.N)/bare.Seconds(), "inserts/s")
}

// hareBytes is how long a quote's document is: that of testdata/quotes/hare-from-maquette, the
// shortest of the golden ones.
const hareBytes = 45 << 10

// timed does work n times, shared among writers.
func timed(b *testing.B, writers, n int, work func() error) time.Duration {
	b.Helper()
	var left atomic.Int64
	left.Store(int64(n))
	var all sync.WaitGroup
	start := time.Now()
	for range writers {
		all.Go(func() {
			for left.Add(-1) >= 0 {
				if err := work(); err != nil {
					b.Error(err)
				}
			}
		})
	}
	all.Wait()
	return time.Since(start)
}

func createAndIssue(ctx context.Context, s store.Store, c store.Content) error {
	var q store.Quote
	err := s.Update(ctx, func(tx store.Tx) (err error) {
		q, err = tx.Create("", 2027, c, january(1))
		return err
	})
	if err != nil {
		return err
	}
	_, err = change(ctx, s, q.Number, q.Etag(), life.Issue(on(20)), 1)
	return err
}
