package estimate_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
)

// using is the studio of charged where each cast from a mould takes so many kg of flake
// too, which comes in packs of a kilogram at 60.
func using(t *testing.T, kg float64) *ratebook.Book {
	t.Helper()
	book := charged(t, "1800", "140", "620")
	cast := ratebooktest.Operation(t, book, "cast")
	cast.Materials = []ratebook.Use{{Material: "flake", Basis: ratebook.PerOccurrence, Amount: kg}}
	return book
}

func chosen(casts int) brief.Piece {
	b := slabs("a", casts)
	b.Route = brief.Choose
	return b
}

// Routes are compared as materials are charged. Three casts with half a kilogram each:
// 1800 + 3 x 140 + 1.5 x 60 = 2310 as used, with two whole packs 2340. The quantity from
// which a mould pays takes them as used either way: 1800 / (620 - 170) = 4.
func TestRoutesAreChargedAsTheStudioCharges(t *testing.T) {
	for charge, moulded := range map[ratebook.MaterialCharge]string{ratebook.ChargeUsed: "2310", ratebook.ChargeBought: "2340"} {
		book := using(t, 0.5)
		book.Policies.Charge = charge
		b := chosen(3)
		r, err := estimate.Compare(&b, ratebooktest.Open(t, book))
		if err != nil {
			t.Fatal(err)
		}
		same(t, "moulded", r.Moulded, moulded)
		same(t, "direct", r.Direct, "1860")
		if r.BreakEven != 4 {
			t.Errorf("break-even %d, want 4", r.BreakEven)
		}
	}
}

// Whole packs can turn the choice: eight casts with 0.51 kg each are 1800 + 8 x 140 +
// 4.08 x 60 = 3164.80 as used and 3220 in five packs. Carved each at 400 they are 3200.
func TestPacksTurnTheChoice(t *testing.T) {
	for charge, carved := range map[ratebook.MaterialCharge]bool{ratebook.ChargeUsed: false, ratebook.ChargeBought: true} {
		book := using(t, 0.51)
		book.Policies.Charge = charge
		ratebooktest.Operation(t, book, "carve").ChargeEach = ratebooktest.Decimal(t, "400")
		q := price(t, book, job(chosen(8)))
		if q.Pieces[0].Direct != carved {
			t.Errorf("charged by %v: carved each: %v, want %v", charge, q.Pieces[0].Direct, carved)
		}
	}
}

// tooLarge holds that an error says so, and what of.
func tooLarge(t *testing.T, err error, of string) {
	t.Helper()
	if !errors.Is(err, estimate.ErrTooLarge) || !strings.Contains(err.Error(), of) {
		t.Errorf("got %v, want too large, with %q", err, of)
	}
}

// Packs are found for up to a million kilograms. 1000 casts with 1001 kg each go past it,
// and 999 with 1000 kg do not.
func TestMorePacksThanCanBeFound(t *testing.T) {
	_, err := estimate.Price(job(slabs("a", 1000)), ratebooktest.Open(t, using(t, 1001)))
	tooLarge(t, err, `buying "flake"`)
	if _, err := estimate.Price(job(slabs("a", 999)), ratebooktest.Open(t, using(t, 1000))); err != nil {
		t.Errorf("999 000 kg: %v", err)
	}
}

// Where the studio charges whole packs, they are part of the comparison of routes: what is
// too much for them is the piece's fault, by its path.
func TestMorePacksThanCanBeCompared(t *testing.T) {
	book := using(t, 1001)
	book.Policies.Charge = ratebook.ChargeBought
	e := ratebooktest.Open(t, book)
	if got := faultsOf(t, e, job(slabs("b", 1), chosen(1000))); !slices.Equal(got, []string{"pieces[1]"}) {
		t.Errorf("got %q", got)
	}
	b := chosen(1000)
	if _, err := estimate.Compare(&b, e); err == nil || !strings.Contains(err.Error(), `buying "flake"`) {
		t.Errorf("compared: %v", err)
	}
}

// An option that makes the job too large is named: the brief without it is sound.
func TestAnOptionThatIsTooLarge(t *testing.T) {
	b := job(slabs("a", 999))
	b.Options = []brief.Option{{Code: "few", Name: "Few", Pieces: []brief.Piece{slabs("a", 9)}}, {Code: "many", Name: "Many", Pieces: []brief.Piece{slabs("a", 1001)}}}
	_, err := estimate.Price(b, ratebooktest.Open(t, using(t, 1000)))
	tooLarge(t, err, `option "many"`)
}

// strewn is a studio whose spots take 10 000 kg of flake each, of which nine tenths are
// lost, so that 100 000 are bought; and a piece with 1000 of them on each cast.
func strewn(t *testing.T, piece brief.Piece) (*brief.Brief, *ratebook.Edition) {
	t.Helper()
	book := charged(t, "1800", "140", "620")
	strew := ratebook.Operation{Code: "strew", Name: "Strew", Stage: ratebook.FinishStage, Per: ratebook.PerZone, Coats: 1, LearningRate: 1}
	strew.Materials = []ratebook.Use{{Material: "flake", Basis: ratebook.PerOccurrence, Amount: 10_000}}
	book.Operations = append(book.Operations, strew)
	book.Finishes = append(book.Finishes, ratebook.Finish{Code: "flake", Name: "Flake", ZoneOperations: []string{"strew"}})
	ratebooktest.Material(t, book, "flake").Wastage = 0.9
	piece.Zones = []brief.Zone{{Name: "spots", Finish: "flake", Count: 1000, Shape: brief.ZoneShape{Spot: &geometry.Spot{Diameter: 0.001}}}}
	return job(piece), ratebooktest.Open(t, book)
}

// 10 000 casts take 10^12 kg, which is past what a quantity holds.
func TestAQuantityPastItsLimit(t *testing.T) {
	b, e := strewn(t, slabs("a", 10_000))
	_, err := estimate.Price(b, e)
	tooLarge(t, err, "")
}

// Where moulds never pay, the search for the quantity from which they do goes up to
// 10 000 pairs, and so past the limit that one pair is far from.
func TestABreakEvenPastItsLimit(t *testing.T) {
	piece := chosen(1)
	piece.Pair = true
	b, e := strewn(t, piece)
	if _, err := estimate.Compare(&b.Pieces[0], e); err == nil {
		t.Error("a search past the limit came to an end")
	}
}

// Compare takes a piece that was checked. What was not is an error with its place, and no
// wrong figure: zones that cover too much, a formula's limit, hours past theirs.
func TestComparingWhatWasNotChecked(t *testing.T) {
	covered := slabs("a", 1)
	covered.Zones = []brief.Zone{{Name: "z", Finish: "flake", Count: 2, Shape: brief.ZoneShape{Panel: &brief.Panel{Share: 0.6}}}}
	_, err := estimate.Compare(&covered, ratebooktest.Tiny(t))
	var faults fault.List
	if !errors.As(err, &faults) || faults[0].Path != "zones[0]" {
		t.Errorf("zones that cover too much: %v", err)
	}

	vast := slabs("a", 1)
	vast.Texture = 1e12
	if _, err := estimate.Compare(&vast, ratebooktest.Tiny(t)); err == nil || !strings.HasPrefix(err.Error(), "operation ") {
		t.Errorf("a formula's limit: %v", err)
	}

	// 4e12 m2 at 0.3 h are 1.2e12 h; at 0.2 h for each of two operations, 8e11 h and 1.6e12.
	for hours, operations := range map[float64][]string{0.3: {"cast"}, 0.2: {"cast", "mould"}} {
		book := charged(t, "0", "0", "0")
		for _, code := range operations {
			o := ratebooktest.Operation(t, book, code)
			o.Skill, o.Measure = "laminator", ratebook.Surface
			o.HoursPerUnit.Low, o.HoursPerUnit.Likely, o.HoursPerUnit.High = hours, hours, hours
		}
		if r, err := estimate.Compare(&vast, ratebooktest.Open(t, book)); err == nil {
			t.Errorf("%v h by %d operations: %+v", hours, len(operations), r)
		}
	}
}
