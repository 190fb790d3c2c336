package quote_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// triggered is the tiny studio's book with such triggers, and a caution for each;
// before them stands the one for every quote that a book must have.
func triggered(t *testing.T, triggers ...ratebook.Trigger) *ratebook.Book {
	book := ratebooktest.Book(t)
	book.Cautions = []ratebook.Caution{{Code: "every-quote", Title: "Caution", Trigger: ratebook.Trigger{Always: true}}}
	for i, trigger := range triggers {
		book.Cautions = append(book.Cautions, ratebook.Caution{Code: fmt.Sprint("caution-", i), Title: "Caution", Trigger: trigger})
	}
	return book
}

func because(q *quote.Quote) []string {
	var out []string
	for _, c := range q.Cautions {
		if c.Code != "every-quote" {
			out = append(out, c.Because)
		}
	}
	return out
}

func of[T any](v T) *T { return &v }

// What calls for a caution and what does not, on one enamelled slab outdoors, 0.5 m
// high and 14.4 + 0.2 = 14.6 kg.
func TestTriggers(t *testing.T) {
	b := slabs("a", 1)
	b.Finish = "enamel"
	for _, c := range []struct {
		name    string
		trigger ratebook.Trigger
		because string // empty where nothing calls
	}{
		{"always", ratebook.Trigger{Always: true}, "every quote"},
		{"kind used", ratebook.Trigger{Kinds: []ratebook.MaterialKind{ratebook.GlassKind}}, "Mat 450"},
		{"kind in a mix", ratebook.Trigger{Kinds: []ratebook.MaterialKind{ratebook.Hardener}}, "Enamel hardener"},
		{"second kind", ratebook.Trigger{Kinds: []ratebook.MaterialKind{ratebook.Steel, ratebook.Catalyst}}, "Catalyst"},
		{"kind not used", ratebook.Trigger{Kinds: []ratebook.MaterialKind{ratebook.Decoration}}, ""},
		{"first of two of a kind, in the book's order", ratebook.Trigger{Kinds: []ratebook.MaterialKind{ratebook.Colour}}, "Enamel, mixed"},
		{"material used", ratebook.Trigger{Materials: []string{"resin"}}, "Resin"},
		{"mix, which is bought as its components", ratebook.Trigger{Materials: []string{"enamel"}}, "Enamel, mixed"},
		{"material not used", ratebook.Trigger{Materials: []string{"roving-600"}}, ""},
		{"operation done", ratebook.Trigger{Operations: []string{"spray"}}, "Spray"},
		{"operation for other bodies", ratebook.Trigger{Operations: []string{"trim"}}, ""},
		{"over a mass", ratebook.Trigger{OverMass: of(14.5)}, "Slab a weighs 14.6 kg"},
		{"under a mass", ratebook.Trigger{OverMass: of(14.7)}, ""},
		{"over a height", ratebook.Trigger{OverHeight: of(0.4)}, "Slab a stands 0.50 m high"},
		{"as high, and not over", ratebook.Trigger{OverHeight: of(0.5)}, ""},
		{"exposed so", ratebook.Trigger{Exposures: []ratebook.Exposure{ratebook.Outdoor}}, "Slab a stands outdoors"},
		{"exposed otherwise", ratebook.Trigger{Exposures: []ratebook.Exposure{ratebook.Indoor}}, ""},
		{"any one is enough", ratebook.Trigger{OverMass: of(100.0), Materials: []string{"resin"}}, "Resin"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var want []string
			if c.because != "" {
				want = []string{c.because}
			}
			if got := because(price(t, triggered(t, c.trigger), job(b))); !slices.Equal(got, want) {
				t.Errorf("got %q, want %q", got, want)
			}
		})
	}
}

// Of several pieces the heaviest and the highest call.
func TestTheHeaviestAndTheHighestCall(t *testing.T) {
	low, high := slabs("low", 1), slabs("high", 1)
	low.Texture, high.Standing = 2, 3
	q := price(t, triggered(t, ratebook.Trigger{OverMass: of(1.0)}, ratebook.Trigger{OverHeight: of(0.1)}), job(high, low))
	if got, want := because(q), []string{"Slab low weighs 28.8 kg", "Slab high stands 3.00 m high"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// A trace is handled all the same: a spot of a millimetre takes a seventh of a
// milligram of flake, which is nothing on the shopping list, and still calls.
func TestATraceCalls(t *testing.T) {
	b := slabs("a", 1)
	b.Zones = []brief.Zone{{Name: "spot", Finish: "flake", Count: 1, Shape: brief.ZoneShape{Spot: &geometry.Spot{Diameter: 0.001}}}}
	q := price(t, triggered(t, ratebook.Trigger{Materials: []string{"flake"}}), job(b))
	if got := because(q); !slices.Equal(got, []string{"Flake"}) {
		t.Errorf("got %q", got)
	}
	for _, p := range q.Workings.Purchases {
		if p.Material.Code == "flake" {
			t.Errorf("%s of flake is bought: this looks at no trace", p.Used)
		}
	}
}

// No field of a brief takes a caution away that the work calls for: whatever else is
// asked for, those of the plain job stand.
func TestNothingInTheBriefRemovesACaution(t *testing.T) {
	book := func() *ratebook.Book {
		return triggered(
			t, ratebook.Trigger{Always: true}, ratebook.Trigger{Kinds: []ratebook.MaterialKind{ratebook.Hardener}}, ratebook.Trigger{Materials: []string{"resin"}},
			ratebook.Trigger{Operations: []string{"spray"}}, ratebook.Trigger{OverMass: of(14.0)}, ratebook.Trigger{OverHeight: of(0.4)},
			ratebook.Trigger{Exposures: []ratebook.Exposure{ratebook.Outdoor}},
		)
	}
	plain := func() *brief.Brief {
		b := slabs("a", 1)
		b.Finish = "enamel"
		return job(b)
	}
	codes := func(b *brief.Brief) []string {
		var out []string
		for _, c := range price(t, book(), b).Cautions {
			out = append(out, c.Code)
		}
		return out
	}
	all := codes(plain())
	if len(all) != 8 {
		t.Fatalf("the plain job has %d of 8 cautions", len(all))
	}
	for name, change := range map[string]func(*brief.Brief){
		"title, client and reference": func(b *brief.Brief) { b.Title, b.Client, b.Reference = "", "", "no cautions" },
		"collection":                  func(b *brief.Brief) { b.Delivery = nil },
		"rush":                        func(b *brief.Brief) { b.Rush = "fast" },
		"tax":                         func(b *brief.Brief) { b.Tax = "zero" },
		"partner terms":               func(b *brief.Brief) { b.Partner = &brief.PartnerTerms{Discount: of(ratebooktest.Decimal(t, "90"))} },
		"an option without the piece": func(b *brief.Brief) {
			b.Options = []brief.Option{{Code: "o", Without: []string{"a"}, Pieces: []brief.Piece{slabs("b", 1)}}}
		},
		"more casts":     func(b *brief.Brief) { b.Pieces[0].Quantity = 40 },
		"a pair":         func(b *brief.Brief) { b.Pieces[0].Pair = true },
		"a low standing": func(b *brief.Brief) { b.Pieces[0].Standing = 0.1 },
		"a colour":       func(b *brief.Brief) { b.Pieces[0].Colour = "none" },
		"another piece":  func(b *brief.Brief) { b.Pieces = append(b.Pieces, slabs("b", 1)) },
		"an indoor piece": func(b *brief.Brief) {
			in := slabs("b", 1)
			in.Exposure = ratebook.Indoor
			b.Pieces = append(b.Pieces, in)
		},
		"zones":            func(b *brief.Brief) { b.Pieces[0].Zones = []brief.Zone{spots("spots", 2)} },
		"fixings":          func(b *brief.Brief) { b.Pieces[0].Fixings = []brief.Fixing{{Code: "stud", Count: 1}} },
		"a mould asked so": func(b *brief.Brief) { b.Pieces[0].Mould = brief.Mould{Pieces: 4, PerHand: 1} },
	} {
		b := plain()
		change(b)
		if got := codes(b); !slices.Equal(got, all) {
			t.Errorf("%s: got %q, want %q", name, got, all)
		}
	}
}

// Left to itself a price of nothing keeps its cautions too.
func TestCautionsDoNotDependOnMoney(t *testing.T) {
	book := triggered(t, ratebook.Trigger{Materials: []string{"resin"}})
	for i := range book.Materials {
		for j := range book.Materials[i].Packs {
			book.Materials[i].Packs[j].Price = unit.Decimal{}
		}
	}
	if got := because(price(t, book, job(slabs("a", 1)))); !slices.Equal(got, []string{"Resin"}) {
		t.Errorf("got %q", got)
	}
}
