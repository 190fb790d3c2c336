package storetest

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

func rateBooks(t *testing.T, s store.Store) {
	at := january(1).At
	add := func(revision string, document []byte) error {
		return s.Update(t.Context(), func(tx store.Tx) error {
			_, err := tx.AddRateBook(store.RateBook{Revision: revision, Document: document, At: at})
			return err
		})
	}
	// The SHA-256 of "abc" is the first example of FIPS 180-2, appendix B.1.
	if err := add("first", []byte("abc")); err != nil {
		t.Fatal(err)
	}
	fails(t, add("first", []byte("another")), store.ErrTaken)
	fails(t, add("first", []byte("abc")), store.ErrTaken)
	fails(t, add("", nil), store.ErrUnfit)
	view(t, s, func(r store.Reader) error {
		got, err := r.RateBook("first", store.Studio())
		equal(t, "the revision", got, store.RateBook{
			Revision: "first", Document: []byte("abc"), At: at, Sum: "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
		})
		return err
	})
	fails(t, s.View(t.Context(), func(r store.Reader) error { _, err := r.RateBook("FIRST", store.Studio()); return err }), store.ErrNotFound)
}

func ties(t *testing.T, s store.Store) {
	early, late := january(1).At, january(2).At
	for _, b := range []store.RateBook{{Revision: "b", At: early}, {Revision: "d", At: early}, {Revision: "a", At: late}, {Revision: "c", At: early}} {
		update(t, s, func(tx store.Tx) error { _, err := tx.AddRateBook(b); return err })
	}
	var got string
	after := store.RateBook{}
	for range 5 {
		view(t, s, func(r store.Reader) error {
			page, err := r.RateBooks(after, 1, store.Studio())
			for _, b := range page {
				got, after = got+b.Revision, b
			}
			return err
		})
	}
	equal(t, "the newest first, then by name", got, "adcb")
}

// begin claims a request after some minutes, with a patience of ten.
func begin(t *testing.T, s store.Store, r store.Request, minutes int) (claim store.Claim, err error) {
	t.Helper()
	err = s.Update(t.Context(), func(tx store.Tx) (err error) {
		claim, err = tx.Begin(r, january(1).At.Add(time.Duration(minutes)*time.Minute), 10*time.Minute)
		return err
	})
	return claim, err
}

func finish(t *testing.T, s store.Store, claim store.Claim, answer string) error {
	t.Helper()
	return s.Update(t.Context(), func(tx store.Tx) error { return tx.Finish(claim, []byte(answer)) })
}

func requests(t *testing.T, s store.Store) {
	r := store.Request{Caller: "fair", ID: "1", Body: [32]byte{1}}
	_, err := answered(t, s, r)
	fails(t, err, store.ErrNotFound)
	claim, err := begin(t, s, r, 0)
	if err != nil || claim.Done {
		t.Fatal(claim, err)
	}
	_, err = begin(t, s, r, 9)
	fails(t, err, store.ErrInFlight)
	other := r
	other.Body = [32]byte{2}
	_, err = begin(t, s, other, 9)
	fails(t, err, store.ErrOtherBody)
	if err := finish(t, s, claim, "the answer"); err != nil {
		t.Fatal(err)
	}
	for _, minutes := range []int{0, 9, 10, 100_000} {
		again, err := begin(t, s, r, minutes)
		equal(t, "the kept answer", []any{again.Done, string(again.Answer), err}, []any{true, "the answer", nil})
	}
	_, err = begin(t, s, other, 100_000)
	fails(t, err, store.ErrOtherBody)
	fails(t, finish(t, s, claim, "another answer"), store.ErrInFlight)
	another := other
	another.Caller = "pier" // may use the same id
	if claim, err := begin(t, s, another, 1); err != nil || claim.Done {
		t.Error(claim, err)
	}
	fails(t, finish(t, s, store.Claim{Request: store.Request{Caller: "fair", ID: "never begun"}, Attempt: 1}, ""), store.ErrInFlight)
}

// answered asks for the answer of a request, which claims nothing.
func answered(t testing.TB, s store.Store, r store.Request) (claim store.Claim, err error) {
	t.Helper()
	err = s.View(t.Context(), func(tx store.Reader) (err error) {
		claim, err = tx.Answered(r)
		return err
	})
	return claim, err
}

func answers(t *testing.T, s store.Store) {
	r := store.Request{Caller: "fair", ID: "1", Body: [32]byte{1}}
	another, other := r, r
	another.Caller, other.Body = "pier", [32]byte{2}
	says := func(when string, r store.Request, want error) {
		t.Helper()
		if claim, err := answered(t, s, r); !errors.Is(err, want) || claim.Done || claim.Answer != nil {
			t.Errorf("%s: got %v, %v, want %v", when, claim, err, want)
		}
	}
	says("never sent", r, store.ErrNotFound)
	for name, unfit := range map[string]store.Request{"empty": {}, "NUL": {Caller: "fair", ID: "a\x00"}, "long": {Caller: strings.Repeat("a", 256), ID: "1"}} {
		says(name, unfit, store.ErrNotFound)
	}
	claim, err := begin(t, s, r, 0)
	if err != nil {
		t.Fatal(err)
	}
	says("claimed", r, store.ErrInFlight)
	says("claimed with another body", other, store.ErrOtherBody)
	says("of another caller", another, store.ErrNotFound)
	if err := finish(t, s, claim, "the answer"); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		got, err := answered(t, s, r)
		equal(t, "the answer", []any{got.Request, got.Attempt, got.Done, string(got.Answer), err}, []any{r, 1, true, "the answer", nil})
		got.Answer[0] = 'x' // is the caller's
	}
	says("answered, with another body", other, store.ErrOtherBody)
	says("still of another caller", another, store.ErrNotFound)
	update(t, s, func(tx store.Tx) error {
		got, err := tx.Answered(r)
		equal(t, "the answer beside writes", string(got.Answer), "the answer")
		if _, err := tx.ForgetRequests(january(9).At); err != nil {
			return err
		}
		_, forgotten := tx.Answered(r)
		fails(t, forgotten, store.ErrNotFound)
		return err
	})
	says("forgotten", r, store.ErrNotFound)
}

// What a claim that was taken over wrote beside its answer is not kept.
func takeOver(t *testing.T, s store.Store) {
	withBook(t, s)
	r := store.Request{Caller: "fair", ID: "left"}
	left, err := begin(t, s, r, 0)
	if err != nil {
		t.Fatal(err)
	}
	_, err = begin(t, s, r, 9)
	fails(t, err, store.ErrInFlight)
	taken, err := begin(t, s, r, 10)
	if err != nil || taken.Done || taken.Attempt == left.Attempt {
		t.Fatal(taken, err)
	}
	_, err = begin(t, s, r, 19) // counted from the last claim
	fails(t, err, store.ErrInFlight)
	fails(t, createFor(t.Context(), s, left), store.ErrInFlight)
	if err := createFor(t.Context(), s, taken); err != nil {
		t.Fatal(err)
	}
	equal(t, "quotes", len(list(t, s, store.Filter{}, store.Studio())), 1)
}

func createFor(ctx context.Context, s store.Store, claim store.Claim) error {
	return s.Update(ctx, func(tx store.Tx) error {
		q, err := tx.Create("fair", 2027, content("any"), january(1))
		if err != nil {
			return err
		}
		return tx.Finish(claim, []byte(q.Number.String()))
	})
}

// A request that comes several times at once is answered by one and the same quote, where
// claim, quote and answer are written together.
func sameRequest(t *testing.T, s store.Store) {
	withBook(t, s)
	r := store.Request{Caller: "fair", ID: "thrice", Body: [32]byte{7}}
	answers := make([]string, writers)
	together(func(w int) {
		err := s.Update(t.Context(), func(tx store.Tx) error {
			claim, err := tx.Begin(r, january(1).At, time.Hour)
			if err != nil || claim.Done {
				answers[w] = string(claim.Answer)
				return err
			}
			q, err := tx.Create("fair", 2027, content("any"), january(1))
			if err != nil {
				return err
			}
			answers[w] = q.Number.String()
			return tx.Finish(claim, []byte(answers[w]))
		})
		if err != nil {
			t.Error(err)
		}
	})
	for _, answer := range answers {
		equal(t, "the answer", answer, "Q-2027-0001")
	}
	equal(t, "quotes", len(list(t, s, store.Filter{}, store.Studio())), 1)
}

// What is forgotten may be asked again, and a claim that was forgotten is not answered.
func forgottenRequests(t *testing.T, s store.Store) {
	ask := func(id string, minutes int) store.Claim {
		claim, err := begin(t, s, store.Request{Caller: "fair", ID: id}, minutes)
		if err != nil {
			t.Fatal(err)
		}
		return claim
	}
	forget := func(minutes int) (count int) {
		update(t, s, func(tx store.Tx) (err error) {
			count, err = tx.ForgetRequests(january(1).At.Add(time.Duration(minutes) * time.Minute))
			return err
		})
		return count
	}
	answered, left := ask("answered", 0), ask("left", 1)
	if err := finish(t, s, answered, "the answer"); err != nil {
		t.Fatal(err)
	}
	ask("again", 0)
	ask("again", 20) // counts from when it was claimed last
	equal(t, "older than the first", forget(0), 0)
	equal(t, "older than the second", forget(1), 1)
	equal(t, "asked anew", ask("answered", 2).Done, false)
	equal(t, "older than the last", forget(20), 2)
	fails(t, finish(t, s, left, "late"), store.ErrInFlight)
	equal(t, "what was left", forget(100_000), 1)
	equal(t, "nothing", forget(100_000), 0)
}

func closed(t *testing.T, s store.Store) {
	q := create(t, s, "")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	fails(t, s.View(t.Context(), func(r store.Reader) error { _, err := r.Quote(q.Number, store.Studio()); return err }), store.ErrUnavailable)
	_, err := tryCreate(t.Context(), s, "")
	fails(t, err, store.ErrUnavailable)
	if err := s.Close(); err != nil {
		t.Errorf("closed twice: %v", err)
	}
}

// A caller who leaves before the end leaves nothing, and is told that they left and not that
// the database is away.
func cancelled(t *testing.T, s store.Store) {
	withBook(t, s)
	gone, leave := context.WithCancel(t.Context())
	err := s.Update(gone, func(tx store.Tx) error {
		_, err := tx.Create("", 2027, content("lost"), january(1))
		leave()
		return err
	})
	left(t, err)
	_, err = tryCreate(gone, s, "")
	left(t, err)
	left(t, s.View(gone, func(r store.Reader) error {
		_, err := r.Quote(life.Number{Year: 2027, Serial: 1}, store.Studio())
		return err
	}))
	equal(t, "the next number", create(t, s, "").Number.Serial, 1)
}

func left(t *testing.T, err error) {
	t.Helper()
	if !errors.Is(err, context.Canceled) || errors.Is(err, store.ErrUnavailable) {
		t.Errorf("got %v, want %v", err, context.Canceled)
	}
}
