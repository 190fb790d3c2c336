package cost_test

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/cost"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
	"github.com/mouldwright/mouldwright/internal/unit"
)

func (b bill) purchases() []cost.Purchase {
	b.Helper()
	out, err := cost.Purchases(b.lines, b.edition)
	if err != nil {
		b.Fatal(err)
	}
	return out
}

func (b bill) purchase(material string) *cost.Purchase {
	b.Helper()
	out := b.purchases()
	for i := range out {
		if out[i].Material.Code == material {
			return &out[i]
		}
	}
	b.Fatalf("no %q is bought", material)
	return nil
}

// used is a bill with one line of a material.
func used(t *testing.T, e *ratebook.Edition, material string, amount float64) bill {
	t.Helper()
	m, _ := e.Material(material)
	q, err := unit.Measure(amount, m.Unit)
	if err != nil {
		t.Fatal(err)
	}
	return bill{t, e, []cost.Line{{Kind: cost.Material, Material: m, Quantity: q, UnitCost: m.UnitPrice, Cost: unit.Extend(q, m.UnitPrice, e.Currency)}}}
}

// PCK-07: packs of 1 kg at 12, 5 at 45 and 25 at 165 (own dynamic program; computed).
// Any part of a kilogram takes a pack.
func TestCheapestPacks(t *testing.T) {
	e := ratebooktest.Tiny(t)
	for _, c := range []struct {
		need         float64
		cost         string
		counts       []int
		bought, left string
	}{
		{8, "81", []int{3, 1, 0}, "8.000 kg", "0.000 kg"},
		{17, "159", []int{2, 3, 0}, "17.000 kg", "0.000 kg"},
		{18, "165", []int{0, 0, 1}, "25.000 kg", "7.000 kg"},
		{43, "330", []int{0, 0, 2}, "50.000 kg", "7.000 kg"},
		{0.001, "12", []int{1, 0, 0}, "1.000 kg", "0.999 kg"},
	} {
		p := used(t, e, "resin", c.need).purchase("resin")
		if !p.Cost.Equal(ratebooktest.Decimal(t, c.cost)) || !slices.Equal(p.Counts, c.counts) {
			t.Errorf("PCK-07, %v kg: %v at %s, want %v at %s", c.need, p.Counts, p.Cost, c.counts, c.cost)
		}
		if p.Bought.String() != c.bought || p.LeftOver.String() != c.left {
			t.Errorf("%v kg: bought %s, left over %s; want %s, %s", c.need, p.Bought, p.LeftOver, c.bought, c.left)
		}
	}
}

// The list has each material once, in the rate book's order, with what all lines of
// it use: gelcoat of the mould 5.34 kg and of 5 casts 12 kg.
func TestPurchasesAddUpOverTheJob(t *testing.T) {
	b := reckon(t, ratebooktest.Book(t), finished(), false)
	place := -1
	for _, p := range b.purchases() {
		if p.Material.Place <= place {
			t.Errorf("%q comes out of its order", p.Material.Code)
		}
		place = p.Material.Place
	}
	if got := b.purchase("gelcoat").Used.String(); got != "17.340 kg" {
		t.Errorf("gelcoat: got %s, want 17.340 kg", got)
	}
}

// Blanks of a block's own size take a block each; on the direct route there is one for
// every cast. A slab of 0.6 m of height is more than a block: it is bonded up from two
// pieces, and they do not share a block.
func TestFoamIsBoughtInWholeBlocks(t *testing.T) {
	tall, flat, wide := slabs(3), slabs(3), slabs(3)
	tall.Form.Solids[0].Shape = geometry.Block{Width: 1, Depth: 1, Height: 0.6}
	flat.Form.Solids[0].Shape = geometry.Block{Width: 1, Depth: 1, Height: 0.2}
	wide.Form.Solids[0].Shape = geometry.Block{Width: 0.6, Depth: 0.6, Height: 0.5}
	for _, c := range []struct {
		name               string
		piece              *brief.Piece
		direct             bool
		used, bought, left string
	}{
		{"one pattern", slabs(3), false, "0.5000 m³", "0.5000 m³", "0.0000 m³"},
		{"three cores", slabs(3), true, "1.5000 m³", "1.5000 m³", "0.0000 m³"},
		// 0.6 m3 are in two blocks by volume, and one pattern is cut from no fewer.
		{"a tall pattern", tall, false, "0.6000 m³", "1.0000 m³", "0.4000 m³"},
		// Two cores of 0.2 m go into a block of 0.5 m, so three take two blocks.
		{"flat cores", flat, true, "0.6000 m³", "1.0000 m³", "0.4000 m³"},
		// Two of 0.6 m do not lie side by side in 1 m, so three take three, though 0.54 m3 are in two.
		{"wide cores", wide, true, "0.5400 m³", "1.5000 m³", "0.9600 m³"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := reckon(t, ratebooktest.Book(t), c.piece, c.direct).purchase("foam")
			if p.Used.String() != c.used || p.Bought.String() != c.bought || p.LeftOver.String() != c.left {
				t.Errorf("used %s, bought %s, left %s; want %s, %s, %s", p.Used, p.Bought, p.LeftOver, c.used, c.bought, c.left)
			}
		})
	}
}

// A block of 2.44 x 1.22 x 0.61 m is 1.815848 m3 and sold as 1.8158. Three of them are
// 5.447544 m3: rounded only now they would be 5.4475, a litre more than three packs.
func TestBlocksAreCountedAsTheyAreSold(t *testing.T) {
	book := ratebooktest.Book(t)
	foam := ratebooktest.Material(t, book, "foam")
	foam.StockBlock = &ratebook.Block{Width: 2.44, Depth: 1.22, Height: 0.61}
	size, err := unit.Measure(foam.StockBlock.Volume(), unit.CubicMetre)
	if err != nil {
		t.Fatal(err)
	}
	foam.Packs = []ratebook.Pack{{Size: size, Price: ratebooktest.Decimal(t, "100")}}
	b := slabs(3)
	b.Form.Solids[0].Shape = geometry.Block{Width: 2.4, Depth: 1.2, Height: 0.6}
	if p := reckon(t, book, b, true).purchase("foam"); p.Counts[0] != 3 {
		t.Errorf("three blanks from %d blocks, bought %s; want 3", p.Counts[0], p.Bought)
	}
}

// Foam that no blank is cut from is bought by its volume.
func TestFoamWithoutBlanks(t *testing.T) {
	book := ratebooktest.Book(t)
	ratebooktest.Operation(t, book, "carve").Materials[0] = ratebook.Use{Material: "foam", Basis: ratebook.PerOccurrence, Amount: 0.7}
	p := reckon(t, book, slabs(3), false).purchase("foam")
	if p.Used.String() != "0.7000 m³" || p.Counts[0] != 2 {
		t.Errorf("used %s in %d packs, want 0.7 m³ in 2", p.Used, p.Counts[0])
	}
}

// A need past what packs are reckoned for is an error that names the material.
func TestBuyingTooMuch(t *testing.T) {
	b := used(t, ratebooktest.Tiny(t), "resin", 2_000_000)
	if _, err := cost.Purchases(b.lines, b.edition); err == nil || !strings.HasPrefix(err.Error(), `buying "resin"`) {
		t.Errorf("got %v", err)
	}
}

func TestKindsInWords(t *testing.T) {
	for kind, words := range map[cost.Kind]string{
		cost.Labour: "labour", cost.Material: "material", cost.Equipment: "equipment", cost.BoughtIn: "bought in", cost.LeftOver: "left over",
	} {
		if kind.String() != words {
			t.Errorf("got %s, want %s", kind, words)
		}
	}
}

// What whole packs leave over is a line of what they cost beyond what the lines
// charge: max(0, bought - charged). 18 kg of resin are charged at 6.60 = 118.80 and
// bought for 165; 25 kg are bought for what they are charged.
func TestLeftOvers(t *testing.T) {
	e := ratebooktest.Tiny(t)
	for _, c := range []struct {
		material string
		amount   float64
		want     string // empty for no line
	}{
		{"resin", 18, "46.20"},
		{"resin", 25, ""},
		{"brush", 3, ""}, // bought by the ten, and kept in stock
		{"screw", 3, "1.50"},
	} {
		lines := cost.LeftOvers(used(t, e, c.material, c.amount).purchases())
		switch {
		case c.want == "" && len(lines) > 0:
			t.Errorf("%v of %s leave a line of %s, want none", c.amount, c.material, lines[0].Cost)
		case c.want != "" && (len(lines) != 1 || !lines[0].Cost.Equal(ratebooktest.Decimal(t, c.want))):
			t.Errorf("%v of %s leave %+v, want one line of %s", c.amount, c.material, lines, c.want)
		}
	}
	left := cost.LeftOvers(used(t, e, "resin", 18).purchases())[0]
	if got := left.Description(); got != "Resin: left over from whole packs" || left.Item() != "resin" || left.Quantity.String() != "1 lot" {
		t.Errorf("%s of %q: %q", left.Quantity, left.Item(), got)
	}
}

// What is bought covers what is used and costs no less than it does at the least unit
// price; with the left-over line the job pays for every pack.
func TestPurchasesCoverTheNeed(t *testing.T) {
	e := ratebooktest.Tiny(t)
	resin, _ := e.Material("resin")
	rapid.Check(t, func(r *rapid.T) {
		b := used(t, e, "resin", float64(rapid.IntRange(1, 300_000).Draw(r, "grams"))/1000)
		p := b.purchase("resin")
		if p.Bought.Float() < p.Used.Float() || !p.Bought.Decimal().Sub(p.Used.Decimal()).Equal(p.LeftOver.Decimal()) {
			r.Fatalf("used %s, bought %s, left %s", p.Used, p.Bought, p.LeftOver)
		}
		if least := resin.UnitPrice.Mul(p.Used.Decimal()); p.Cost.LessThan(least) {
			r.Fatalf("%s bought for %s, below %s", p.Used, p.Cost, least)
		}
		paid := cost.Total(append(b.lines, cost.LeftOvers([]cost.Purchase{*p})...))
		if !paid.Equal(p.Cost) && !paid.GreaterThan(p.Cost) {
			r.Fatalf("paid %s for packs of %s", paid, p.Cost)
		}
	})
}
