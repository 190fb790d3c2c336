package storetest

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// enquiry came on a day of January 2027 and may be kept for ten more.
func enquiry(id string, day int) store.Enquiry {
	return store.Enquiry{ID: id, At: january(day).At, Until: on(day + 10), Document: []byte(`{"wanted":"a hare"}`)}
}

func addEnquiry(t testing.TB, s store.Store, e store.Enquiry) error {
	t.Helper()
	return s.Update(t.Context(), func(tx store.Tx) error { return tx.AddEnquiry(e) })
}

func mustAddEnquiry(t testing.TB, s store.Store, e store.Enquiry) {
	t.Helper()
	if err := addEnquiry(t, s, e); err != nil {
		t.Fatal(err)
	}
}

func readEnquiry(t testing.TB, s store.Store, id string) (e store.Enquiry) {
	t.Helper()
	view(t, s, func(r store.Reader) (err error) {
		e, err = r.Enquiry(id, store.Studio())
		return err
	})
	return e
}

func enquiries(t *testing.T, s store.Store) {
	first := enquiry("e", 1)
	zoned := first
	zoned.At = first.At.In(time.FixedZone("", 3600)).Add(999)
	mustAddEnquiry(t, s, zoned)
	equal(t, "as read", readEnquiry(t, s, "e"), first)
	fails(t, addEnquiry(t, s, enquiry("e", 2)), store.ErrTaken)
	for name, e := range map[string]store.Enquiry{
		"no id": {Until: on(1)}, "no day": {ID: "a"}, "no such day": {ID: "a", Until: "2027-02-30"}, "NUL": {ID: "a\x00", Until: on(1)}, "long": {ID: strings.Repeat("a", 256), Until: on(1)},
	} {
		if err := addEnquiry(t, s, e); !errors.Is(err, store.ErrUnfit) {
			t.Errorf("%s: %v", name, err)
		}
	}
	forget := func(id string, eyes store.Eyes) error {
		return s.Update(t.Context(), func(tx store.Tx) error { return tx.ForgetEnquiry(id, eyes) })
	}
	for _, eyes := range []store.Eyes{store.EyesOf("tamsin-row"), store.EyesOf(""), {}} {
		for _, id := range []string{"e", "none", "a\x00"} {
			read := s.View(t.Context(), func(r store.Reader) error { _, err := r.Enquiry(id, eyes); return err })
			for _, err := range []error{read, forget(id, eyes)} {
				fails(t, err, store.ErrNotFound)
				equal(t, "the words", err.Error(), "enquiry "+id+": not found")
			}
		}
		view(t, s, func(r store.Reader) error {
			list, err := r.Enquiries(store.Enquiry{}, 10, eyes)
			equal(t, "listed", len(list), 0)
			return err
		})
	}
	equal(t, "still there", readEnquiry(t, s, "e"), first)
	if err := forget("e", store.Studio()); err != nil {
		t.Error(err)
	}
	fails(t, forget("e", store.Studio()), store.ErrNotFound)
	mustAddEnquiry(t, s, enquiry("e", 2)) // the id is free again
}

func enquiryPages(t *testing.T, s store.Store) {
	for _, e := range []store.Enquiry{enquiry("b", 1), enquiry("d", 1), enquiry("a", 2), enquiry("c", 1)} {
		mustAddEnquiry(t, s, e)
	}
	var got string
	after := store.Enquiry{}
	for n := range 5 {
		view(t, s, func(r store.Reader) error {
			page, err := r.Enquiries(after, 1, store.Studio())
			for _, e := range page {
				got, after = got+e.ID, e
			}
			return err
		})
		mustAddEnquiry(t, s, enquiry(fmt.Sprint("z", n), 9)) // newer than all that are looked at
	}
	equal(t, "the newest first, then by id", got, "adcb")
	view(t, s, func(r store.Reader) error {
		for _, limit := range []int{0, -1} {
			page, err := r.Enquiries(store.Enquiry{}, limit, store.Studio())
			equal(t, fmt.Sprintf("at most %d", limit), []any{len(page), err}, []any{0, error(nil)})
		}
		page, err := r.Enquiries(store.Enquiry{ID: "a\x00"}, 10, store.Studio())
		equal(t, "beyond what cannot be", []any{len(page), err}, []any{0, error(nil)})
		return nil
	})
}

func forgottenEnquiries(t *testing.T, s store.Store) {
	for day := range 5 {
		mustAddEnquiry(t, s, enquiry(fmt.Sprint(day), 1+day))
	}
	for _, c := range []struct {
		before life.Day
		count  int
	}{{on(11), 0}, {on(12), 1}, {on(12), 0}, {on(14), 2}, {"9999-12-31", 2}} {
		update(t, s, func(tx store.Tx) error {
			count, err := tx.ForgetEnquiries(c.before)
			equal(t, "before "+string(c.before), count, c.count)
			return err
		})
	}
	for _, day := range []life.Day{"", "2027-02-30", "tomorrow"} {
		fails(t, s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.ForgetEnquiries(day); return err }), store.ErrUnfit)
	}
}

func addActual(t testing.TB, s store.Store, n life.Number, document string, day int) (a store.Actual) {
	t.Helper()
	update(t, s, func(tx store.Tx) (err error) {
		a, err = tx.AddActual(n, []byte(document), january(day), store.Studio())
		return err
	})
	return a
}

func readActuals(t testing.TB, s store.Store, n life.Number, after int) (list []store.Actual) {
	t.Helper()
	view(t, s, func(r store.Reader) (err error) {
		list, err = r.Actuals(n, after, 100, store.Studio())
		return err
	})
	return list
}

func actuals(t *testing.T, s store.Store) {
	own, other := create(t, s, "fair"), create(t, s, "")
	var want []store.Actual
	for step := 1; step <= 3; step++ {
		document := fmt.Sprint("took ", step)
		got := addActual(t, s, own.Number, document, step)
		want = append(want, store.Actual{Step: step, By: january(1).By, At: january(step).At, Document: []byte(document)})
		equal(t, "as added", got, want[step-1])
	}
	equal(t, "of another quote", addActual(t, s, other.Number, "took", 1).Step, 1)
	for after, left := range map[int][]store.Actual{-1 << 40: want, 0: want, 1: want[1:], 3: nil, math.MaxInt32: nil, 1 << 40: nil} {
		equal(t, fmt.Sprint("after ", after), readActuals(t, s, own.Number, after), left)
	}
	view(t, s, func(r store.Reader) error {
		some, err := r.Actuals(own.Number, 1, 1, store.Studio())
		equal(t, "one", some, want[1:2])
		none, nothing := r.Actuals(own.Number, 0, 0, store.Studio())
		equal(t, "none", len(none), 0)
		return errors.Join(err, nothing)
	})
	missing := life.Number{Year: 2027, Serial: 9}
	for _, eyes := range []store.Eyes{store.EyesOf("fair"), store.EyesOf(""), {}, store.Studio()} {
		n := own.Number
		if eyes.Sees("") {
			n = missing
		}
		read := s.View(t.Context(), func(r store.Reader) error { _, err := r.Actuals(n, 0, 10, eyes); return err })
		added := s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.AddActual(n, nil, january(1), eyes); return err })
		for _, err := range []error{read, added} {
			fails(t, err, store.ErrNotFound)
			equal(t, "the words", err.Error(), "quote "+n.String()+": not found")
		}
	}
	bad := january(1)
	bad.By.Name = "a\nb"
	fails(t, s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.AddActual(own.Number, nil, bad, store.Studio()); return err }), store.ErrUnfit)
	equal(t, "the quote's history", len(read(t, s, own.Number).History), 1)
}

func actualsTogether(t *testing.T, s store.Store) {
	q := create(t, s, "")
	together(func(w int) {
		err := s.Update(t.Context(), func(tx store.Tx) error {
			_, err := tx.AddActual(q.Number, []byte(fmt.Sprint(w)), january(1), store.Studio())
			return err
		})
		if err != nil {
			t.Error(err)
		}
	})
	seen := map[string]bool{}
	for i, a := range readActuals(t, s, q.Number, 0) {
		equal(t, "step", a.Step, i+1)
		seen[string(a.Document)] = true
	}
	equal(t, "notes", len(seen), writers)
}
