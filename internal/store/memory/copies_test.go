package memory

import (
	"errors"
	"fmt"
	"reflect"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// spoil writes over all that a caller could write over in what it has: whatever slices hold.
func spoil(v reflect.Value) {
	switch v.Kind() {
	case reflect.Interface:
		spoil(v.Elem())
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			return
		}
		for _, field := range v.Fields() {
			spoil(field)
		}
	case reflect.Slice:
		for i := range v.Len() {
			spoil(v.Index(i))
			v.Index(i).SetZero()
		}
	default: // the rest goes in and out as a value
	}
}

// write makes a write, and returns what went in and what came out.
type write func(store.Tx) (in, out any, err error)

// writes are of every kind that takes or gives something that could be written over, in an
// order in which they succeed.
func writes() []write {
	n := life.Number{Year: 2027, Serial: 1}
	at := time.Date(2027, 1, 1, 9, 30, 0, 0, time.UTC)
	mark := life.Mark{By: life.Actor{Kind: "studio", Name: "Wren"}, At: at, On: "2027-01-01"}
	content := func() store.Content {
		return store.Content{Brief: []byte("brief"), Document: []byte("document"), RateBook: "2027-01", Meshes: []store.MeshRef{{Name: "b", Sum: "s"}, {Name: "a", Sum: "s"}}}
	}
	request := store.Request{Caller: "tamsin-row", ID: "1"}
	return []write{
		func(tx store.Tx) (any, any, error) {
			in := store.RateBook{Revision: "2027-01", Document: []byte("book"), At: at}
			out, err := tx.AddRateBook(in)
			return in, out, err
		},
		func(tx store.Tx) (any, any, error) {
			in := store.Mesh{Name: "a", Sum: "s", Reading: []byte("reading"), File: []byte("file"), At: at}
			out, err := tx.KeepMesh(in, 1, 1)
			return in, out, err
		},
		func(tx store.Tx) (any, any, error) { // what is kept already
			in := store.Mesh{Name: "a", Sum: "s", File: []byte("file")}
			out, err := tx.KeepMesh(in, 1, 1)
			return in, out, err
		},
		func(tx store.Tx) (any, any, error) {
			in := content()
			out, err := tx.Create("", 2027, in, mark)
			return in, out, err
		},
		func(tx store.Tx) (any, any, error) {
			in := content()
			out, err := tx.Change(n, "", store.Studio(), life.Revise(""), in, mark)
			return in, out, err
		},
		func(tx store.Tx) (any, any, error) {
			out, err := tx.Change(n, "", store.Studio(), life.Issue("2027-01-20"), store.Content{}, mark)
			return nil, out, err
		},
		func(tx store.Tx) (any, any, error) {
			in := store.Partner{ID: "tamsin-row", Terms: []byte("terms")}
			out, err := tx.AddPartner(in)
			return in, out, err
		},
		func(tx store.Tx) (any, any, error) {
			in := store.Partner{ID: "tamsin-row", Terms: []byte("other")}
			out, err := tx.ChangePartner(in, 1)
			return in, out, err
		},
		func(tx store.Tx) (any, any, error) {
			in := store.Key{ID: "k", Scopes: []string{"read", "write"}}
			out, err := tx.AddKey(in)
			return in, out, err
		},
		func(tx store.Tx) (any, any, error) {
			out, err := tx.RevokeKey("k", at, store.Studio())
			return nil, out, err
		},
		func(tx store.Tx) (any, any, error) {
			claim, err := tx.Begin(request, at, time.Hour)
			answer := []byte("answer")
			return answer, claim, errors.Join(err, tx.Finish(claim, answer))
		},
		func(tx store.Tx) (any, any, error) {
			claim, err := tx.Begin(request, at, time.Hour)
			return nil, claim, err
		},
		func(tx store.Tx) (any, any, error) {
			in := store.Enquiry{ID: "e", Until: "2027-01-20", Document: []byte("enquiry")}
			return in, nil, tx.AddEnquiry(in)
		},
		func(tx store.Tx) (any, any, error) {
			in := []byte("actual")
			out, err := tx.AddActual(n, in, mark, store.Studio())
			return in, out, err
		},
	}
}

// all is everything that is kept and could be written over, as it is read.
func all(t *testing.T, s store.Store) []any {
	t.Helper()
	var got []any
	err := s.Update(t.Context(), func(r store.Tx) error {
		see, n := store.Studio(), life.Number{Year: 2027, Serial: 1}
		for _, one := range []func() (any, error){
			func() (any, error) { return r.RateBook("2027-01", see) },
			func() (any, error) { return r.RateBooks(store.RateBook{}, 9, see) },
			func() (any, error) { return r.MeshHead("", "a", see) },
			func() (any, error) { return r.Meshes("", "", 9, see) },
			func() (any, error) { return r.MeshOf("s") },
			func() (any, error) { return r.Quote(n, see) },
			func() (any, error) { return r.Content(n, 1, see) },
			func() (any, error) { return r.Quotes(store.Filter{}, life.Number{}, 9, see) },
			func() (any, error) { return r.Partner("tamsin-row", see) },
			func() (any, error) { return r.Partners("", 9, see) },
			func() (any, error) { return r.Key("k") },
			func() (any, error) { return r.Keys(nil, "", 9, see) },
			func() (any, error) { return r.Enquiry("e", see) },
			func() (any, error) { return r.Enquiries(store.Enquiry{}, 9, see) },
			func() (any, error) { return r.Actuals(n, 0, 9, see) },
			func() (any, error) { return r.Answered(store.Request{Caller: "tamsin-row", ID: "1"}) },
			func() (any, error) { return r.Begin(store.Request{Caller: "tamsin-row", ID: "1"}, time.Time{}, 0) },
		} {
			v, err := one()
			if err != nil && !errors.Is(err, store.ErrNotFound) { // it is not there yet
				return err
			}
			got = append(got, v)
		}
		return errNo // for the request
	})
	if !errors.Is(err, errNo) {
		t.Fatal(err)
	}
	return got
}

func TestNothingThatACallerHasIsTheStores(t *testing.T) {
	s := open(t)
	for i, write := range writes() {
		var in, out any
		update(t, s, func(tx store.Tx) (err error) {
			in, out, err = write(tx)
			return err
		})
		want := fmt.Sprintf("%+v", all(t, s))
		for name, theirs := range map[string]any{"went in": in, "came out": out, "was read": all(t, s)} {
			if theirs != nil {
				spoil(reflect.ValueOf(theirs))
			}
			if got := fmt.Sprintf("%+v", all(t, s)); got != want {
				t.Errorf("write %d: with what %s the store changed:\n got %s\nwant %s", i, name, got, want)
			}
		}
	}
}
