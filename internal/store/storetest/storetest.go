// Package storetest holds every store to the same behaviour.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Open makes an empty store, which is closed when the test ends.
type Open func(testing.TB) store.Store

// Run runs every case on stores of a kind.
func Run(t *testing.T, open Open) {
	t.Helper()
	for _, c := range slices.Concat(ofQuotes(), ofTheRest()) {
		t.Run(c.name, func(t *testing.T) { c.run(t, open(t)) })
	}
}

// oneCase is a case, which is run on a store of its own.
type oneCase struct {
	name string
	run  func(*testing.T, store.Store)
}

// ofQuotes are the cases of quotes, rate books and requests.
func ofQuotes() []oneCase {
	return []oneCase{
		{"a quote from draft to acceptance", wholeLife},
		{"content of each revision", contents},
		{"a rule of life is given as the reason", refusal},
		{"a stale etag", stale},
		{"whose eyes", whoseEyes},
		{"all or nothing", allOrNothing},
		{"a failed write dooms the rest", doomed},
		{"a panic keeps nothing", panics},
		{"numbers under concurrent writers", concurrentNumbers},
		{"one of many takes an offer", oneAccepts},
		{"a change waits for another", changeWaits},
		{"changes that cross", crossing},
		{"a view is of one moment", oneMoment},
		{"lists page by page", pages},
		{"filters", filters},
		{"keys differ in case, accents and spaces", keys},
		{"keys that are not kept", unfit},
		{"times to the microsecond in UTC", times},
		{"empty and none", empties},
		{"summaries", summaries},
		{"summaries of what is offered", summariesOfOffers},
		{"a summary that changes alone", summaryAlone},
		{"rate books", rateBooks},
		{"rate books of one moment", ties},
		{"requests that are sent again", requests},
		{"requests that were answered", answers},
		{"requests that were left", takeOver},
		{"a request at the same time", sameRequest},
		{"requests that are forgotten", forgottenRequests},
	}
}

// ofTheRest are the cases of what is beside quotes, and of all together.
func ofTheRest() []oneCase {
	return []oneCase{
		{"partners", partners},
		{"partners whose change is stale", partnersChange},
		{"partners that others see", partnersEyes},
		{"access keys", accessKeys},
		{"access keys that others see", accessKeysEyes},
		{"access keys revoked and used", accessKeysEnd},
		{"partners and keys that are not kept", partnersUnfit},
		{"meshes", meshes},
		{"meshes page by page", meshLists},
		{"meshes that others see", meshEyes},
		{"room for meshes", meshRoom},
		{"meshes of one file", meshShared},
		{"the words of meshes of one file", meshWords},
		{"meshes of revisions", meshesOfRevisions},
		{"meshes that are not referred to", refsUnfit},
		{"meshes at the same time", meshesTogether},
		{"enquiries", enquiries},
		{"enquiries page by page", enquiryPages},
		{"enquiries that are forgotten", forgottenEnquiries},
		{"what the work took", actuals},
		{"notes of what it took at the same time", actualsTogether},
		{"after it is closed", closed},
		{"a caller who left", cancelled},
		{"anything, beside a model", likeTheModel},
	}
}

// january is a moment of the studio's on a day of January 2027.
func january(day int) life.Mark {
	return life.Mark{
		By: life.Actor{Kind: "studio", Name: "Wren"},
		At: time.Date(2027, 1, day, 9, 30, 0, 123456000, time.UTC), On: on(day),
	}
}

func on(day int) life.Day { return life.Day(fmt.Sprintf("2027-01-%02d", day)) }

// book is the rate book revision that the cases price by.
const book = "2027-01"

func content(text string) store.Content {
	return store.Content{
		Brief: []byte(`{"title":"` + text + `"}`), RateBook: book, Engine: 1,
		Fingerprint: "fingerprint of " + text, Document: []byte("document of " + text),
		Summary: store.Summary{Title: text, Client: "Fernhollow Arboretum", Reference: "PO " + text, Currency: "GBP", Net: "1.00"},
	}
}

// asRead is content as it comes back.
func asRead(c store.Content) store.Content {
	c.Summary = store.Summary{}
	return c
}

// update does work that must be kept.
func update(t testing.TB, s store.Store, do func(store.Tx) error) {
	t.Helper()
	if err := s.Update(t.Context(), do); err != nil {
		t.Fatal(err)
	}
}

func view(t testing.TB, s store.Store, do func(store.Reader) error) {
	t.Helper()
	if err := s.View(t.Context(), do); err != nil {
		t.Fatal(err)
	}
}

// fails holds that an error is of a kind.
func fails(t testing.TB, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Errorf("got %v, want %v", err, want)
	}
}

func withBook(t testing.TB, s store.Store) {
	t.Helper()
	update(t, s, func(tx store.Tx) error {
		_, err := tx.AddRateBook(store.RateBook{Revision: book, Document: []byte("{}"), At: january(1).At})
		return err
	})
}

// create keeps a draft of January 2027, and the rate book where that is not there yet.
func create(t testing.TB, s store.Store, owner string) store.Quote {
	t.Helper()
	q, err := tryCreate(t.Context(), s, owner)
	if errors.Is(err, store.ErrNotFound) {
		withBook(t, s)
		q, err = tryCreate(t.Context(), s, owner)
	}
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func tryCreate(ctx context.Context, s store.Store, owner string) (q store.Quote, err error) {
	err = s.Update(ctx, func(tx store.Tx) (err error) {
		q, err = tx.Create(owner, 2027, content("first"), january(1))
		return err
	})
	return q, err
}

// change makes a change with the studio's eyes.
func change(ctx context.Context, s store.Store, n life.Number, etag string, c life.Change, day int) (q store.Quote, err error) {
	err = s.Update(ctx, func(tx store.Tx) (err error) {
		q, err = tx.Change(n, etag, store.Studio(), c, content("second"), january(day))
		return err
	})
	return q, err
}

func must(t testing.TB, s store.Store, q store.Quote, c life.Change, day int) store.Quote {
	t.Helper()
	next, err := change(t.Context(), s, q.Number, q.Etag(), c, day)
	if err != nil {
		t.Fatal(err)
	}
	return next
}

func read(t testing.TB, s store.Store, n life.Number) (q store.Quote) {
	t.Helper()
	view(t, s, func(r store.Reader) (err error) {
		q, err = r.Quote(n, store.Studio())
		return err
	})
	return q
}

func list(t testing.TB, s store.Store, by store.Filter, eyes store.Eyes) (heads []store.Head) {
	t.Helper()
	view(t, s, func(r store.Reader) (err error) {
		heads, err = r.Quotes(by, life.Number{}, 1000, eyes)
		return err
	})
	return heads
}

func equal(t testing.TB, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}
