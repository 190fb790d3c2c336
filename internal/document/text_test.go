package document_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/document"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
)

// tiny is the quote of enamelled slabs by the tiny studio.
func tiny(t *testing.T, casts int, change func(*ratebook.Book, *brief.Brief)) *quote.Quote {
	t.Helper()
	book := ratebooktest.Book(t)
	b := &brief.Brief{Title: "Slabs", Pieces: []brief.Piece{{
		Code: "slab", Name: "Slab", Quantity: casts, Texture: 1, Exposure: ratebook.Outdoor, Finish: "enamel",
		Form: brief.Form{Solids: []brief.Solid{{Kind: "box", Shape: geometry.Block{Width: 1, Depth: 1, Height: 0.5}, Count: 1}}},
	}}}
	change(book, b)
	q, err := estimate.Price(b, ratebooktest.Open(t, book))
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func unchanged(*ratebook.Book, *brief.Brief) {}

// has looks for whole lines, in their order.
func has(t *testing.T, text string, lines ...string) {
	t.Helper()
	rest := "\n" + text
	for _, line := range lines {
		i := strings.Index(rest, "\n"+line+"\n")
		if i < 0 {
			t.Fatalf("no line %q after those before it, in\n%s", line, text)
		}
		rest = rest[i+len(line)+1:]
	}
}

// A brief that says who it is for and when, and one that does not.
func TestHead(t *testing.T) {
	plain := written(t, tiny(t, 1, unchanged), false)
	has(t, plain, "Slabs", "by Ash & Ember Fabrication", "Stands 30 days from the day it is sent", "All prices in GBP, by rate book tiny-1")
	for _, absent := range []string{"\nfor ", "Reference"} {
		if strings.Contains(plain, absent) {
			t.Errorf("says %q of nobody", absent)
		}
	}
}

// Both routes and from where moulds pay, for the studio: as the estimate has them.
func TestRouteWords(t *testing.T) {
	routed := func(t *testing.T, mould string) string {
		return written(t, tiny(t, 1, func(book *ratebook.Book, _ *brief.Brief) {
			op := ratebooktest.Operation(t, book, "flange")
			op.ChargeEach = ratebooktest.Decimal(t, mould)
		}), false)
	}
	if text := routed(t, "0"); !strings.Contains(text, "slab by itself, work, materials and overhead: moulded ") || !strings.Contains(text, "of each hand") {
		t.Errorf("no route in\n%s", text)
	}
	if text := routed(t, "999999999"); !strings.Contains(strings.Join(strings.Fields(text), " "), "; moulds do not pay for any quantity up to 10,000") {
		t.Errorf("moulds pay in\n%s", text)
	}
}

// An alternative that costs more, less and the same.
func TestAlternatives(t *testing.T) {
	text := written(t, tiny(t, 2, func(_ *ratebook.Book, b *brief.Brief) {
		b.Pieces[0].Route = brief.Moulded
		fewer, same, fast := b.Pieces[0], b.Pieces[0], "fast"
		fewer.Quantity = 1
		b.Options = []brief.Option{
			{Code: "fast", Name: "Sooner", Rush: &fast}, {Code: "fewer", Name: "One", Pieces: []brief.Piece{fewer}}, {Code: "same", Name: "The same", Pieces: []brief.Piece{same}},
		}
	}), false)
	for name, sign := range map[string]string{"Sooner": " +", "One": " -", "The same": " +0.00"} {
		i := strings.Index(text, "\n"+name+" ")
		if i < 0 {
			t.Fatalf("no alternative %q", name)
		}
		if line, _, _ := strings.Cut(text[i+1:], "\n"); !strings.Contains(line, sign) {
			t.Errorf("got %q, want%s", line, sign)
		}
	}
}

// What a book and a brief leave out has no heading.
func TestEmptyListsHaveNoHeading(t *testing.T) {
	text := written(t, tiny(t, 1, func(book *ratebook.Book, _ *brief.Brief) { book.Policies.Exclusions = nil }), true)
	for _, heading := range []string{"LEFT OUT", "TO LOOK AT AGAIN", "ALTERNATIVES"} {
		if strings.Contains(text, heading) {
			t.Errorf("%s, of nothing", heading)
		}
	}
}

// Packs without a name go by their size, and stock is said to be stock.
func TestWhatToBuy(t *testing.T) {
	text := written(t, tiny(t, 1, func(_ *ratebook.Book, b *brief.Brief) { b.Pieces[0].Route = brief.Moulded }), true)
	for _, words := range []string{"1 × 25.000 kg", "Catalyst, from stock"} {
		if !strings.Contains(text, words) {
			t.Errorf("no %q in\n%s", words, text)
		}
	}
}

// full is a writer that takes nothing.
type full struct{}

var errFull = errors.New("full")

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestAWriterThatFails(t *testing.T) {
	if err := document.Text(full{}, tiny(t, 1, unchanged), true); !errors.Is(err, errFull) {
		t.Errorf("got %v, want %v", err, errFull)
	}
}
