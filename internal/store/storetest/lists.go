package storetest

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// pages come to every quote once, the highest number first, although others are added between.
func pages(t *testing.T, s store.Store) {
	withBook(t, s)
	for _, year := range []int{2026, 2028, 2027, 2027, 2026, 2027} {
		update(t, s, func(tx store.Tx) error {
			_, err := tx.Create("", year, content("any"), january(1))
			return err
		})
	}
	var got []string
	for after := (life.Number{}); ; {
		var page []store.Head
		view(t, s, func(r store.Reader) (err error) {
			page, err = r.Quotes(store.Filter{}, after, 2, store.Studio())
			return err
		})
		if len(page) == 0 {
			break
		}
		for _, h := range page {
			got = append(got, h.Number.String())
		}
		after = page[len(page)-1].Number
		update(t, s, func(tx store.Tx) error {
			_, err := tx.Create("", 2030, content("any"), january(1))
			return err
		})
	}
	equal(t, "numbers", got, strings.Fields("Q-2028-0001 Q-2027-0003 Q-2027-0002 Q-2027-0001 Q-2026-0002 Q-2026-0001"))
	view(t, s, func(r store.Reader) error {
		for _, limit := range []int{0, -1} {
			page, _ := r.Quotes(store.Filter{}, life.Number{}, limit, store.Studio())
			equal(t, fmt.Sprintf("at most %d", limit), len(page), 0)
		}
		return nil
	})
}

func filters(t *testing.T, s store.Store) {
	studio, fair := create(t, s, ""), create(t, s, "fair")
	must(t, s, fair, life.Issue(on(10)), 2)
	later := must(t, s, create(t, s, "fair"), life.Issue(on(20)), 2)
	nobody, owner, wild := "", "fair", "%"
	reference, other := "PO first", "po first"
	for name, c := range map[string]struct {
		by   store.Filter
		want []life.Number
	}{
		"state":                   {store.Filter{State: life.Draft}, []life.Number{studio.Number}},
		"the studio's own":        {store.Filter{Owner: &nobody}, []life.Number{studio.Number}},
		"owner":                   {store.Filter{Owner: &owner}, []life.Number{later.Number, fair.Number}},
		"owner and state":         {store.Filter{Owner: &owner, State: life.Draft}, nil},
		"no pattern":              {store.Filter{Owner: &wild}, nil},
		"year":                    {store.Filter{Year: 2027}, []life.Number{later.Number, fair.Number, studio.Number}},
		"another year":            {store.Filter{Year: 2026}, nil},
		"no year":                 {store.Filter{Year: 1 << 40}, nil},
		"no state":                {store.Filter{State: "Draft"}, nil},
		"reference":               {store.Filter{Reference: &reference}, []life.Number{later.Number, fair.Number, studio.Number}},
		"reference and owner":     {store.Filter{Reference: &reference, Owner: &owner}, []life.Number{later.Number, fair.Number}},
		"another reference":       {store.Filter{Reference: &other}, nil},
		"no reference":            {store.Filter{Reference: &nobody}, nil},
		"on its last day":         {store.Filter{LapsedBy: on(10)}, nil},
		"the day after":           {store.Filter{LapsedBy: on(11)}, []life.Number{fair.Number}},
		"both are past":           {store.Filter{LapsedBy: on(21)}, []life.Number{later.Number, fair.Number}},
		"issued on its last day":  {store.Filter{State: life.Issued, On: on(10)}, []life.Number{later.Number, fair.Number}},
		"issued the day after":    {store.Filter{State: life.Issued, On: on(11)}, []life.Number{later.Number}},
		"expired on its last day": {store.Filter{State: life.Expired, On: on(10)}, nil},
		"expired the day after":   {store.Filter{State: life.Expired, On: on(11)}, []life.Number{fair.Number}},
		"expired as recorded":     {store.Filter{State: life.Expired}, nil},
		"drafts do not lapse":     {store.Filter{State: life.Draft, On: on(31)}, []life.Number{studio.Number}},
		"not what was issued":     {store.Filter{LapsedBy: on(21), State: life.Draft}, nil},
	} {
		equal(t, name, numbers(list(t, s, c.by, store.Studio())), c.want)
	}
}

// variants are keys that a database might take for one another.
func variants() []string {
	return []string{"a", "A", "ä", "a\u0308", "ss", "ß", "a ", " a", "a_", "a%", "ａ", "i", "ı", "I", "İ", "1", "01", "1.0", "NULL", "null", "😀"}
}

func keys(t *testing.T, s store.Store) {
	for _, owner := range variants() {
		create(t, s, owner)
	}
	at := january(1).At.Add(-time.Hour)
	for i, name := range variants() {
		equal(t, "quotes of "+name, len(list(t, s, store.Filter{}, store.EyesOf(name))), 1)
		update(t, s, func(tx store.Tx) error {
			_, err := tx.AddRateBook(store.RateBook{Revision: name, Document: []byte(name), At: at})
			if err == nil {
				_, err = tx.Begin(store.Request{Caller: name, ID: name, Body: [32]byte{byte(i)}}, at, time.Hour)
			}
			return err
		})
		add(t, s, store.Partner{ID: name, Title: name})
		addKey(t, s, store.Key{ID: name, Owner: name})
	}
	var got []string
	view(t, s, func(r store.Reader) error {
		books, err := r.RateBooks(store.RateBook{}, 100, store.Studio())
		for _, b := range books[1:] {
			got = append(got, b.Revision)
		}
		return err
	})
	want := slices.Sorted(slices.Values(variants())) // Go compares bytes
	equal(t, "order of partners", idsOfPartners(t, s, store.Studio()), want)
	equal(t, "order of keys", idsOfKeys(t, s, nil, store.Studio()), want)
	for _, name := range variants() {
		equal(t, "keys of "+name, idsOfKeys(t, s, &name, store.EyesOf(name)), []string{name})
	}
	slices.Reverse(want)
	equal(t, "order", got, want)
}

func unfit(t *testing.T, s store.Store) {
	create(t, s, "")
	for name, key := range map[string]string{
		"NUL": "a\x00b", "not UTF-8": "a\xff", "a surrogate": "\xed\xa0\x80", "two lines": "a\nb", "too long": strings.Repeat("a", 256), "too long in bytes": strings.Repeat("ä", 128),
	} {
		t.Run(name, func(t *testing.T) { neverKept(t, s, key) })
	}
	update(t, s, func(tx store.Tx) error {
		_, err := tx.Create(strings.Repeat("a", 255), 2027, content("any"), january(1))
		return err
	})
	for _, year := range []int{-1, 0, 10_000, 1 << 40} {
		fails(t, s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.Create("", year, content("any"), january(1)); return err }), store.ErrUnfit)
	}
	for _, engine := range []int{-1, 1 << 40} {
		c := content("any")
		c.Engine = engine
		fails(t, s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.Create("", 2027, c, january(1)); return err }), store.ErrUnfit)
	}
}

func neverKept(t *testing.T, s store.Store, key string) {
	mark, c := january(1), content("any")
	mark.By.Kind, c.RateBook = key, key
	for what, write := range map[string]func(store.Tx) error{
		"owner":     func(tx store.Tx) error { _, err := tx.Create(key, 2027, content("any"), january(1)); return err },
		"actor":     func(tx store.Tx) error { _, err := tx.Create("", 2027, content("any"), mark); return err },
		"rate book": func(tx store.Tx) error { _, err := tx.Create("", 2027, c, january(1)); return err },
		"revision":  func(tx store.Tx) error { _, err := tx.AddRateBook(store.RateBook{Revision: key}); return err },
		"request": func(tx store.Tx) error {
			_, err := tx.Begin(store.Request{Caller: "a", ID: key}, mark.At, time.Hour)
			return err
		},
	} {
		if err := s.Update(t.Context(), write); err == nil {
			t.Errorf("%s was kept", what)
		} else {
			fails(t, err, store.ErrUnfit)
		}
	}
	fails(t, s.View(t.Context(), func(r store.Reader) error { _, err := r.RateBook(key, store.Studio()); return err }), store.ErrNotFound)
	equal(t, "quotes", len(list(t, s, store.Filter{Owner: &key}, store.Studio()))+len(list(t, s, store.Filter{}, store.EyesOf(key))), 0)
	equal(t, "quotes in a state", len(list(t, s, store.Filter{State: life.State(key)}, store.Studio())), 0)
}

// A list shows what is offered, and a draft only where nothing is: not a price that nobody was given.
func summariesOfOffers(t *testing.T, s store.Store) {
	for name, end := range map[string]life.Change{"accepted": life.Accept(), "declined": life.Decline(), "expired": life.Expire()} {
		q := create(t, s, "")
		second := content("second of " + name)
		shows := func(when string, want store.Content) {
			t.Helper()
			equal(t, name+": "+when, list(t, s, store.Filter{}, store.Studio())[0].Summary, want.Summary)
			for _, c := range []store.Content{content("first"), second} {
				heads := list(t, s, store.Filter{Reference: &c.Summary.Reference}, store.Studio())
				found := len(heads) > 0 && heads[0].Number == q.Number
				equal(t, name+", by reference: "+when, found, c.Summary == want.Summary)
			}
		}
		write := func(c store.Content) {
			t.Helper()
			if err := revise(t.Context(), s, q.Number, c, 2); err != nil {
				t.Fatal(err)
			}
		}
		shows("a draft", content("first"))
		must(t, s, q, life.Issue(on(2)), 2)
		write(content("another"))
		write(second) // over that draft
		shows("a draft beside the offer", content("first"))
		last := 2
		if end.Act == life.Expiring {
			last = 3
		}
		ended := must(t, s, read(t, s, q.Number), end, last)
		shows("the offer's end", content("first"))
		if end.Act != life.Accepting {
			must(t, s, ended, life.Issue(on(20)), 3)
			shows("the draft is issued", second)
		}
	}
}

// A summary may change where nothing else does: no sum names it.
func summaryAlone(t *testing.T, s store.Store) {
	q := create(t, s, "")
	c := content("first")
	for _, reference := range []string{"PO 2", "PO 3"} {
		c.Summary.Reference = reference
		if err := revise(t.Context(), s, q.Number, c, 2); err != nil {
			t.Fatal(err)
		}
		must(t, s, read(t, s, q.Number), life.Issue(on(20)), 2)
		equal(t, "the reference", list(t, s, store.Filter{}, store.Studio())[0].Summary.Reference, reference)
	}
}

// summaries are in the caller's words.
func summaries(t *testing.T, s store.Store) {
	q := create(t, s, "")
	long := strings.Repeat("😀", 200)
	for _, want := range []store.Summary{
		{Title: "two\nlines", Client: long, Reference: long, Currency: "EUR", Net: "12.50"},
		{Title: long, Reference: "100%\t_"},
		{},
	} {
		c := content("second")
		c.Summary = want
		if err := revise(t.Context(), s, q.Number, c, 2); err != nil {
			t.Fatal(err)
		}
		equal(t, "the summary", list(t, s, store.Filter{}, store.Studio())[0].Summary, want)
		equal(t, "by reference", len(list(t, s, store.Filter{Reference: &want.Reference}, store.Studio())), 1)
	}
	must(t, s, read(t, s, q.Number), life.Issue(on(20)), 3)
	for name, bad := range map[string]store.Summary{
		"long": {Title: long + "a"}, "NUL": {Client: "a\x00"}, "not UTF-8": {Reference: "\xff"}, "currency": {Currency: "a\nb"}, "net": {Net: long},
	} {
		c := content("third")
		c.Summary = bad
		if err := revise(t.Context(), s, q.Number, c, 4); !errors.Is(err, store.ErrUnfit) {
			t.Errorf("%s: %v", name, err)
		}
		equal(t, name+" as a filter", len(list(t, s, store.Filter{Reference: &bad.Title}, store.EyesOf("a"))), 0)
	}
	for _, bad := range []string{"a\x00", "\xff", long + "a"} {
		equal(t, "a filter", len(list(t, s, store.Filter{Reference: &bad}, store.Studio())), 0)
	}
}

// times come back in UTC and cut to the microsecond, whatever zone and fraction they had.
func times(t *testing.T, s store.Store) {
	q := create(t, s, "")
	zone := time.FixedZone("", 5*3600+45*60)
	for _, at := range []time.Time{
		time.Date(2027, 1, 1, 0, 0, 0, 999_999_999, zone),
		time.Date(1969, 12, 31, 23, 59, 59, 1, time.UTC), // before the year that is counted from
		time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC),
		time.Date(9999, 12, 31, 23, 59, 59, 999_999_000, time.UTC),
	} {
		mark := january(2)
		mark.At = at
		var changed store.Quote
		update(t, s, func(tx store.Tx) (err error) {
			changed, err = tx.Change(q.Number, "", store.Studio(), life.Revise(""), content("any"), mark)
			return err
		})
		got := read(t, s, q.Number)
		equal(t, "as returned and as read", got, changed)
		last := got.History[len(got.History)-1].At
		if last.Location() != time.UTC || last.Nanosecond()%1000 != 0 || at.Sub(last) < 0 || at.Sub(last) >= time.Microsecond {
			t.Errorf("%v is kept as %v", at, last)
		}
	}
}

func empties(t *testing.T, s store.Store) {
	withBook(t, s)
	for _, none := range [][]byte{nil, {}} {
		var q store.Quote
		update(t, s, func(tx store.Tx) (err error) {
			q, err = tx.Create("", 2027, store.Content{RateBook: book, Brief: none, Document: none}, life.Mark{On: on(1)})
			return err
		})
		view(t, s, func(r store.Reader) error {
			c, err := r.Content(q.Number, 1, store.Studio())
			equal(t, "bytes", len(c.Brief)+len(c.Document), 0)
			equal(t, "fingerprint", c.Fingerprint, "")
			return err
		})
		equal(t, "the actor", read(t, s, q.Number).History[0].By, life.Actor{})
	}
	r := store.Request{Caller: "a", ID: "empty answer"}
	update(t, s, func(tx store.Tx) error {
		claim, err := tx.Begin(r, january(1).At, time.Hour)
		if err != nil {
			return err
		}
		return tx.Finish(claim, nil)
	})
	update(t, s, func(tx store.Tx) error {
		claim, err := tx.Begin(r, january(1).At, time.Hour)
		equal(t, "answered with nothing", claim.Done && len(claim.Answer) == 0, true)
		return err
	})
}
