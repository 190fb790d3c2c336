package estimate_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/cost"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// slabs are casts of one block, 1 x 1 x 0.5 m, of 4 m2.
func slabs(code string, casts int) brief.Piece {
	return brief.Piece{
		Code: code, Name: "Slab " + code, Quantity: casts, Texture: 1, Exposure: ratebook.Outdoor, Route: brief.Moulded,
		Form: brief.Form{Solids: []brief.Solid{{Kind: "box", Shape: geometry.Block{Width: 1, Depth: 1, Height: 0.5}, Count: 1}}},
	}
}

func job(pieces ...brief.Piece) *brief.Brief { return &brief.Brief{Title: "Slabs", Pieces: pieces} }

func price(t *testing.T, book *ratebook.Book, b *brief.Brief) *quote.Quote {
	t.Helper()
	q, err := estimate.Price(b, ratebooktest.Open(t, book))
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func same(t *testing.T, what string, got unit.Decimal, want string) {
	t.Helper()
	if !got.Equal(ratebooktest.Decimal(t, want)) {
		t.Errorf("%s: got %s, want %s", what, got, want)
	}
}

// The whole pipeline on one slab in bare gelcoat, collected, by hand:
//
//	manage         2 h at 20                                             40.00
//	draw           1 h at 20                                             20.00
//	carve          0.5 + 0.5 m3 x 10 = 5.5 h at 20                      110.00
//	foam           0.5 m3 at 100                                         50.00
//	seal           4 m2 x 0.25 h x 2 coats = 2 h at 30                   60.00
//	barrier, brush 4 m2 x 2 x 0.5 kg = 4 kg at 2; one brush at 0.50       8.50
//	flange         3 m x 2 x 75 mm = 0.45 m2 x 1 h = 0.45 h at 10         4.50
//	mould gelcoat  4.45 m2 x 0.2 h = 0.89 h at 10                         8.90
//	its gelcoat    4.45 m2 x 1.2 kg = 5.34 kg at 10, catalyst 0.107 kg   54.47
//	mould lay-up   4.45 m2 x 0.1 h x 6 = 2.67 h at 10                    26.70
//	its glass      4.45 m2 x 2.7 kg = 12.015 kg at 4                     48.06
//	its resin      28.035 kg / 0.9 = 31.15 kg at 6.60                   205.59
//	its catalyst   31.15 kg x 2 % = 0.623 kg at 10                        6.23
//	gelcoat        4 m2 x 0.2 h = 0.8 h at 10                             8.00
//	its gelcoat    4 m2 x 0.6 kg = 2.4 kg at 10, catalyst 0.048 kg       24.48
//	lay-up         4 m2 x 0.25 h x 2 = 2 h at 10                         20.00
//	its glass      4 m2 x 0.9 kg = 3.6 kg at 4                           14.40
//	its resin      8.4 kg / 0.9 = 9.333 kg at 6.60 = 61.5978             61.60
//	its catalyst   0.187 kg at 10                                         1.87
//	seam           3 m x 0.2 h = 0.6 h at 10                              6.00
//	lift           14.4 kg x 0.01 h = 0.144, 0.14 h at 10                 1.40
//	crate          0.5 m3 at 40                                          20.00
func TestOneSlabByHand(t *testing.T) {
	q := price(t, ratebooktest.Book(t), job(slabs("a", 1)))
	same(t, "net", q.Net, "800.70")
	same(t, "VAT of 20 %", q.Taxes[0].Tax, "160.14")
	same(t, "gross", q.Gross, "960.84")
	for i, want := range []struct{ code, amount string }{
		{"a/design", "20"}, {"a/pattern", "228.50"}, {"a/mould", "354.45"}, {"a/cast", "130.35"}, {"a/assembly", "6"}, {"a/dispatch", "21.40"}, {"job/design", "40"},
	} {
		if q.Lines[i].Code != want.code {
			t.Fatalf("line %d is %q, want %q", i, q.Lines[i].Code, want.code)
		}
		same(t, want.code, q.Lines[i].Amount, want.amount)
	}
	// 2 + 1 + 5.5; 0.45 + 0.89 + 2.67 + 0.8 + 2 + 0.6 + 0.14; 2.
	var hours []string
	for _, s := range q.Workings.Skills {
		hours = append(hours, s.Name+" "+s.Hours.String())
	}
	if want := []string{"Sculptor 8.50 h", "Laminator 7.55 h", "Painter 2.00 h"}; !slices.Equal(hours, want) {
		t.Errorf("got %q, want %q", hours, want)
	}
}

// Materials charged as bought pay for whole packs. Of the slab above: gelcoat 7.74 kg
// in two packs at 50 less 77.40; glass 15.615 kg in two at 40 less 62.46; resin 40.483
// kg in 25 + 3 x 5 + 1 = 312 less 267.19; barrier 4 kg of ten at 20 less 8. The foam is one whole
// block, catalyst and brushes are kept in stock.
func TestChargedAsBought(t *testing.T) {
	book := ratebooktest.Book(t)
	book.Policies.Charge = ratebook.ChargeBought
	q := price(t, book, job(slabs("a", 1)))
	left := map[string]string{}
	for i := range q.Workings.Costs {
		if l := &q.Workings.Costs[i]; l.Kind == cost.LeftOver {
			left[l.Item()] = l.Cost.StringFixed(2)
		}
	}
	want := map[string]string{"gelcoat": "22.60", "mat-450": "17.54", "resin": "44.81", "barrier": "12.00"}
	for code, amount := range want {
		if left[code] != amount {
			t.Errorf("%s: left over %q, want %q", code, left[code], amount)
		}
	}
	if len(left) != len(want) {
		t.Errorf("got %v, want %v", left, want)
	}
	same(t, "net", q.Net, "897.65") // 800.70 + 96.95
}

// The terms of the brief on a cost of 100: a mould for 60 and a cast for 40.
func TestTermsOfTheBrief(t *testing.T) {
	pounds := func(s string) *unit.Decimal { d := ratebooktest.Decimal(t, s); return &d }
	for _, c := range []struct {
		name string
		set  func(*brief.Brief)
		net  string
	}{
		{"the rate book's: 25 % markup, 10 % discount", func(*brief.Brief) {}, "112.50"},
		{"rush of 10 %", func(b *brief.Brief) { b.Rush = "fast" }, "123.75"},
		{"a partner's discount in place of the book's", func(b *brief.Brief) { b.Partner = &brief.PartnerTerms{Discount: pounds("20")} }, "100"},
		{"no discount at all", func(b *brief.Brief) { b.Partner = &brief.PartnerTerms{Discount: pounds("0")} }, "125"},
		{"a partner's margin in place of the markup", func(b *brief.Brief) { b.Partner = &brief.PartnerTerms{Margin: pounds("50")} }, "180"},
	} {
		t.Run(c.name, func(t *testing.T) {
			book := charged(t, "60", "40", "1000")
			book.Policies.Terms = ratebook.Terms{Markup: *pounds("25"), Discount: *pounds("10")}
			b := job(slabs("a", 1))
			c.set(b)
			q := price(t, book, b)
			same(t, "net", q.Net, c.net)
			same(t, "the book's own terms", book.Policies.Terms.Discount, "10")
		})
	}
}

// An option is the brief as it would be: three casts for one, and 10 % for speed.
func TestOptions(t *testing.T) {
	book := charged(t, "60", "40", "1000")
	b, fast := job(slabs("a", 1)), "fast"
	b.Options = []brief.Option{{Code: "three", Name: "Three", Pieces: []brief.Piece{slabs("a", 3)}}, {Code: "fast", Name: "Sooner", Rush: &fast}}
	q := price(t, book, b)
	same(t, "net", q.Net, "100")
	same(t, "three", q.Options[0].Net, "180")
	same(t, "three, more", q.Options[0].Difference, "80")
	same(t, "sooner, more", q.Options[1].Difference, "10")
}

// Every form that the contract has and this engine does not is named with its path,
// in the options too.
func TestLaterForms(t *testing.T) {
	e := ratebooktest.Tiny(t)
	for _, form := range []string{"likeness"} {
		p := slabs("a", 1)
		p.Form = brief.Form{Later: form}
		later(t, e, job(p), "pieces[0].form."+form)
		b := job(slabs("a", 1))
		b.Options = []brief.Option{{Code: "o", Pieces: []brief.Piece{p}}}
		later(t, e, b, "options[0].pieces[0].form."+form)
	}
}

func later(t *testing.T, e *ratebook.Edition, b *brief.Brief, path string) {
	t.Helper()
	_, err := estimate.Price(b, e)
	var of estimate.LaterError
	if !errors.As(err, &of) || len(of.Faults) != 1 || of.Faults[0].Path != path {
		t.Errorf("got %v, want one fault at %s", err, path)
	}
	if errors.Is(err, estimate.ErrTooLarge) || !strings.Contains(err.Error(), "not reckoned yet") {
		t.Errorf("got %v", err)
	}
}

// faultsOf is what is wrong with a brief, by path.
func faultsOf(t *testing.T, e *ratebook.Edition, b *brief.Brief) []string {
	t.Helper()
	_, err := estimate.Price(b, e)
	var faults fault.List
	if !errors.As(err, &faults) {
		t.Fatalf("got %v, want faults", err)
	}
	var paths []string
	for _, f := range faults {
		paths = append(paths, f.Path)
	}
	return paths
}

func TestFaultsNameTheirPlace(t *testing.T) {
	e := ratebooktest.Tiny(t)
	covered := slabs("b", 1)
	covered.Zones = []brief.Zone{{Name: "z", Finish: "flake", Count: 2, Shape: brief.ZoneShape{Panel: &brief.Panel{Share: 0.6}}}}
	unknown := slabs("c", 1)
	unknown.Finish = "velvet"
	option := func(pieces ...brief.Piece) *brief.Brief {
		b := job(slabs("a", 1), slabs("b", 1))
		b.Options = []brief.Option{{Code: "o", Pieces: pieces}}
		return b
	}
	for _, c := range []struct {
		name string
		b    *brief.Brief
		want []string
	}{
		{"nothing asked for", job(), []string{"pieces"}},
		{"a finish that is none", job(slabs("a", 1), unknown), []string{"pieces[1].finish"}},
		{"zones that cover too much", job(slabs("a", 1), covered), []string{"pieces[1].zones[0]"}},
		// In the option the piece stands first; in the brief that it makes, second.
		{"the same in an option", option(covered), []string{"options[0].pieces[0].zones[0]"}},
		{"and in one that adds a piece", option(slabs("x", 1), covered), []string{"options[0].pieces[1].zones[0]"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := faultsOf(t, e, c.b); !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// A job of 50 000 m2 is the largest: 5 m2 x 10 000 casts. A casting more of 4 m2 goes past it.
func TestLargestJob(t *testing.T) {
	book := charged(t, "60", "40", "1000")
	e := ratebooktest.Open(t, book)
	most := slabs("a", 10_000)
	most.Texture = 1.25
	if _, err := estimate.Price(job(most), e); err != nil {
		t.Errorf("50 000 m2: %v", err)
	}
	if got := faultsOf(t, e, job(most, slabs("b", 1))); !slices.Equal(got, []string{"pieces"}) {
		t.Errorf("50 004 m2: got %q", got)
	}
	b := job(most)
	b.Options = []brief.Option{{Code: "o", Pieces: []brief.Piece{slabs("b", 1)}}}
	if got := faultsOf(t, e, b); !slices.Equal(got, []string{"options[0].pieces"}) {
		t.Errorf("50 004 m2 by an option: got %q", got)
	}
}

// What is sound in every part, and too much as a whole, says so: 60 pieces with 180
// zones of two operations each are 21 600 operations.
func TestTooLarge(t *testing.T) {
	var pieces []brief.Piece
	for i := range 60 {
		p := slabs(fmt.Sprint(i), 1)
		for range 180 {
			p.Zones = append(p.Zones, brief.Zone{Name: "z", Finish: "flake", Count: 1, Shape: brief.ZoneShape{Spot: &geometry.Spot{Diameter: 0.01}}})
		}
		pieces = append(pieces, p)
	}
	_, err := estimate.Price(job(pieces...), ratebooktest.Tiny(t))
	if !errors.Is(err, estimate.ErrTooLarge) || !strings.Contains(err.Error(), "at most 20000") {
		t.Errorf("got %v", err)
	}
	if _, err := estimate.Price(job(pieces[:50]...), ratebooktest.Tiny(t)); err != nil {
		t.Errorf("50 of them: %v", err)
	}
}
