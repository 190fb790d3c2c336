package quote_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Lines come piece by piece in the brief's order, stage by stage in working order, a
// piece's zones after its finish, the whole job last. What costs nothing has no line:
// piece b, which is bare, no finish, and both, which have no fixings, no more assembly
// than their seam.
func TestLinesInOrder(t *testing.T) {
	a := slabs("a", 2)
	a.Finish, a.Colour = "enamel", "red"
	gold := spots("dots", 1)
	gold.Colour = "gold"
	a.Zones = []brief.Zone{spots("spots", 3), gold}
	q := price(t, ratebooktest.Book(t), job(a, slabs("b", 1)))
	want := [][2]string{
		{"a/design", "Slab a: drawings and setting out"},
		{"a/pattern", "Slab a: pattern"},
		{"a/mould", "Slab a: mould in 2 pieces"},
		{"a/cast", "Slab a: laminate, Thin"},
		{"a/assembly", "Slab a: trimming, joining and fixings"},
		{"a/finish", "Slab a: finish, Enamel, red"},
		{"a/finish/1", "Slab a: spots, Flake"},
		{"a/finish/2", "Slab a: dots, Flake, gold"},
		{"a/dispatch", "Slab a: packing"},
		{"b/design", "Slab b: drawings and setting out"},
		{"b/pattern", "Slab b: pattern"},
		{"b/mould", "Slab b: mould in 2 pieces"},
		{"b/cast", "Slab b: laminate, Thin"},
		{"b/assembly", "Slab b: trimming, joining and fixings"},
		{"b/dispatch", "Slab b: packing"},
		{"job/design", "Management and design"},
		{"job/dispatch", "Delivery to the gate"},
	}
	var got [][2]string
	for i := range q.Lines {
		got = append(got, [2]string{q.Lines[i].Code, q.Lines[i].Description})
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
}

func TestDirectRouteNamesItsBody(t *testing.T) {
	b := slabs("a", 2)
	b.Route, b.Finish, b.Laminate = brief.Direct, "enamel", ""
	q := price(t, ratebooktest.Book(t), job(b))
	if got := line(t, q, "a/pattern").Description; got != "Slab a: foam body, carved" {
		t.Errorf("got %q", got)
	}
	if got := line(t, q, "a/pattern"); got.Quantity.String() != "2 each" || got.Derivation().Words() != "2 casts" {
		t.Errorf("got %s, %s; want one body for each of 2 casts", got.Quantity, got.Derivation().Words())
	}
}

func line(t *testing.T, q *quote.Quote, code string) *quote.Line {
	t.Helper()
	for i := range q.Lines {
		if q.Lines[i].Code == code {
			return &q.Lines[i]
		}
	}
	t.Fatalf("no line %q", code)
	return nil
}

// The shape of a trail: 8 casts with 9 spots, 6 with 7 and 4 with 5 are 72 + 42 + 20 =
// 134 spots.
func TestTrailOfSpots(t *testing.T) {
	var pieces []brief.Piece
	for i, n := range [][2]int{{8, 9}, {6, 7}, {4, 5}} {
		p := slabs(string(rune('a'+i)), n[0])
		p.Zones = []brief.Zone{spots("pale spots", n[1])}
		pieces = append(pieces, p)
	}
	q := price(t, ratebooktest.Book(t), job(pieces...))
	total := unit.Count(0)
	for code, words := range map[string]string{
		"a/finish/1": "8 casts × 9 pale spots on each = 72 pale spots",
		"b/finish/1": "6 casts × 7 pale spots on each = 42 pale spots",
		"c/finish/1": "4 casts × 5 pale spots on each = 20 pale spots",
	} {
		l := line(t, q, code)
		if got := l.Derivation().Words(); got != words {
			t.Errorf("%s: got %s, want %s", code, got, words)
		}
		var err error
		if total, err = total.Add(l.Quantity); err != nil {
			t.Fatal(err)
		}
	}
	if total != unit.Count(134) {
		t.Errorf("got %s spots, want 134", total)
	}
	words := "8 casts × 9 each = 72; 6 casts × 7 each = 42; 4 casts × 5 each = 20; 72 + 42 + 20 = 134 pale spots in all"
	if z := q.ByZone; len(z) != 1 || z[0].Count != 134 || z[0].Steps.Words() != words || z[0].Steps.Result() != 134 {
		t.Errorf("got %+v, want %s", z, words)
	}
}

// Zones are counted by name and finish: spots of two finishes are two counts, and a
// pair counts both its hands.
func TestZonesAreCountedByNameAndFinish(t *testing.T) {
	book := ratebooktest.Book(t)
	book.Finishes = append(book.Finishes, ratebook.Finish{Code: "masked", Name: "Masked", ZoneOperations: []string{"mask"}})
	b := slabs("a", 3)
	masked := spots("spots", 1)
	masked.Finish = "masked"
	b.Pair, b.Zones = true, []brief.Zone{spots("spots", 2), masked, spots("dots", 1)}
	var got []string
	for _, z := range price(t, book, job(b)).ByZone {
		got = append(got, fmt.Sprintf("%s, %s: %s", z.Name, z.Finish, z.Steps.Words()))
	}
	if want := []string{"spots, flake: 6 casts × 2 each = 12", "spots, masked: 6 casts × 1 each = 6", "dots, flake: 6 casts × 1 each = 6"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// How many each line is for, in words, for a pair of 25 casts of each hand. A mould
// gives 10 casts.
func TestQuantitiesInWords(t *testing.T) {
	b := slabs("a", 25)
	b.Pair, b.Zones = true, []brief.Zone{spots("spots", 3)}
	of := job(b)
	of.Delivery.Consignments = 2
	q := price(t, ratebooktest.Book(t), of)
	for code, words := range map[string]string{
		"a/design":     "1 piece",
		"a/pattern":    "2 patterns",
		"a/mould":      "25 casts ÷ 10 casts from a mould, rounded up = 3 moulds a hand; 2 hands × 3 moulds a hand = 6 moulds",
		"a/cast":       "2 hands × 25 casts = 50 casts",
		"a/finish/1":   "2 hands × 25 casts = 50 casts; 50 casts × 3 spots on each = 150 spots",
		"a/dispatch":   "2 hands × 25 casts = 50 casts",
		"job/design":   "1 job",
		"job/dispatch": "2 consignments",
	} {
		l := line(t, q, code)
		if got := l.Derivation().Words(); got != words {
			t.Errorf("%s:\n got %s\nwant %s", code, got, words)
		}
		if got := l.Derivation().Result(); got != l.Quantity.Float() {
			t.Errorf("%s: derived %v, printed %s", code, got, l.Quantity)
		}
	}
}

func TestOneOfEachInWords(t *testing.T) {
	b := slabs("a", 1)
	b.Zones = []brief.Zone{spots("spot", 1)}
	q := price(t, ratebooktest.Book(t), job(b))
	for code, words := range map[string]string{
		"a/pattern":    "1 pattern",
		"a/mould":      "1 cast ÷ 10 casts from a mould, rounded up = 1 mould",
		"a/cast":       "1 cast",
		"a/finish/1":   "1 cast × 1 spot on each = 1 spot",
		"job/dispatch": "1 consignment",
	} {
		if got := line(t, q, code).Derivation().Words(); got != words {
			t.Errorf("%s: got %s, want %s", code, got, words)
		}
	}
}

// More moulds than their life asks for, since the brief asks.
func TestMouldsAskedFor(t *testing.T) {
	b := slabs("a", 25)
	b.Pair, b.Mould.PerHand = true, 4
	q := price(t, ratebooktest.Book(t), job(b))
	if got, want := line(t, q, "a/mould").Derivation().Words(), "2 hands × 4 moulds a hand as asked for = 8 moulds"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// Over foam there are no moulds: work that a studio counts to that stage is for the
// casts.
func TestMouldStageOverFoam(t *testing.T) {
	book := ratebooktest.Book(t)
	ratebooktest.Operation(t, book, "lay-over").Stage = ratebook.MouldStage
	b := slabs("a", 3)
	b.Route, b.Finish = brief.Direct, "enamel"
	l := line(t, price(t, book, job(b)), "a/mould")
	if l.Quantity != unit.Count(3) || l.Derivation().Result() != 3 {
		t.Errorf("%s, derived as %s; want 3 casts", l.Quantity, l.Derivation().Words())
	}
}

// Subtotals by piece come in the order of the lines, those by stage in working order;
// both make the net.
func TestSubtotals(t *testing.T) {
	q := price(t, ratebooktest.Book(t), job(slabs("b", 2), slabs("a", 1)))
	var names []string
	var byPiece, byStage unit.Decimal
	for _, s := range q.ByPiece {
		names, byPiece = append(names, s.Description), byPiece.Add(s.Amount)
	}
	for _, s := range q.ByStage {
		names, byStage = append(names, s.Description), byStage.Add(s.Amount)
	}
	if want := []string{"Slab b", "Slab a", "Whole job", "design", "pattern", "mould", "cast", "assembly", "dispatch"}; !slices.Equal(names, want) {
		t.Errorf("got %q, want %q", names, want)
	}
	if !byPiece.Equal(q.Net) || !byStage.Equal(q.Net) {
		t.Errorf("net %s; by piece %s, by stage %s", q.Net, byPiece, byStage)
	}
	// The job's own line is 2 h at 20 and the drive: 30 km x 0.02 h at 10, 100, 30 km at 0.50.
	if whole := q.ByPiece[2].Amount; !whole.Equal(ratebooktest.Decimal(t, "161")) {
		t.Errorf("whole job: got %s, want 40 + 6 + 100 + 15 = 161", whole)
	}
}

// The stages of payment make the gross price, by 40, 40 and 20 percent.
func TestPaymentsMakeTheGross(t *testing.T) {
	q := price(t, ratebooktest.Book(t), job(slabs("a", 1)))
	var sum unit.Decimal
	for _, p := range q.Payments {
		sum = sum.Add(p.Amount)
	}
	if len(q.Payments) != 3 || !sum.Equal(q.Gross) || q.Payments[0].Name != "on order" {
		t.Errorf("gross %s paid as %+v", q.Gross, q.Payments)
	}
}

// Pieces may carry a tax of their own; the others and the job have the brief's.
func TestTaxOfPieces(t *testing.T) {
	a := slabs("a", 1)
	a.Tax = "zero"
	q := price(t, ratebooktest.Book(t), job(a, slabs("b", 1)))
	if got := line(t, q, "a/cast").Tax.Code + " " + line(t, q, "b/cast").Tax.Code + " " + line(t, q, "job/design").Tax.Code; got != "zero standard standard" {
		t.Errorf("got %s", got)
	}
	of := job(slabs("a", 1))
	of.Tax = "zero"
	if q := price(t, ratebooktest.Book(t), of); len(q.Taxes) != 1 || !q.Gross.Equal(q.Net) {
		t.Errorf("taxes %+v", q.Taxes)
	}
}

// Tooling spread over the casts leaves no line, and the other lines keep their places.
func TestSpreadToolingKeepsPlaces(t *testing.T) {
	book := ratebooktest.Book(t)
	apart := price(t, book, job(slabs("a", 5), slabs("b", 1)))
	book.Policies.Terms.SpreadTooling = true
	spread := price(t, book, job(slabs("a", 5), slabs("b", 1)))
	for i := range spread.Lines {
		l := &spread.Lines[i]
		if l.Stage == ratebook.PatternStage || l.Stage == ratebook.MouldStage {
			t.Errorf("%s stands on its own", l.Code)
		}
		if l.Piece != "" && (l.Of == nil || l.Of.Code != l.Piece) {
			t.Errorf("%s is matched to another piece", l.Code)
		}
	}
	if !spread.Net.Equal(apart.Net) {
		t.Errorf("net %s became %s", apart.Net, spread.Net)
	}
}

// 30 days from 1 March 2027 are 31 March; without a date there is no last day.
func TestValidUntil(t *testing.T) {
	b := job(slabs("a", 1))
	if until := price(t, ratebooktest.Book(t), b).ValidUntil(); !until.IsZero() {
		t.Errorf("got %s, want none", until)
	}
	b.PreparedOn = time.Date(2027, time.March, 1, 0, 0, 0, 0, time.UTC)
	if until := price(t, ratebooktest.Book(t), b).ValidUntil().Format(time.DateOnly); until != "2027-03-31" {
		t.Errorf("got %s, want 2027-03-31", until)
	}
}
