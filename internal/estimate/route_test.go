package estimate_test

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
)

// charged is a studio where everything is bought in: a mould at one price, a cast from
// it at another, and one that is carved on its own at a third. A mould lasts.
func charged(t *testing.T, mould, cast, oneOff string) *ratebook.Book {
	t.Helper()
	op := func(code string, s ratebook.Stage, per ratebook.Per, charge string) ratebook.Operation {
		return ratebook.Operation{Code: code, Name: code, Stage: s, Per: per, Coats: 1, LearningRate: 1, ChargeEach: ratebooktest.Decimal(t, charge)}
	}
	book := ratebooktest.Book(t)
	book.Operations = []ratebook.Operation{
		op("mould", ratebook.MouldStage, ratebook.PerMould, mould), op("cast", ratebook.CastStage, ratebook.PerCast, cast),
		op("carve", ratebook.CastStage, ratebook.PerCast, oneOff),
	}
	book.Method = ratebook.Method{Moulded: []string{"mould", "cast"}, Direct: []string{"carve"}}
	book.Finishes = []ratebook.Finish{{Code: "bare", Name: "Bare", ForCasts: true}}
	book.Fixings = nil
	book.Policies.MouldLife = 10_000
	return book
}

// The quantity from which a mould pays is its cost over what each cast saves, rounded
// up: N* = ceil(tool / (one-off - cast)).
func TestBreakEvenCheckValues(t *testing.T) {
	const own, saylor = "own", `Saylor "Small Business Management in the 21st Century" Table 10.1, read`
	const lembke = "Lembke lecture (slidegur 169865), read"
	for _, c := range []struct {
		id, source          string
		mould, cast, oneOff string
		want                int
	}{
		{"COM-12", own, "1800", "140", "620", 4}, // 3.75
		{"COM-07, new kit", saylor, "33000", "9.25", "23", 2400},
		{"COM-07, second-hand", saylor, "15000", "11", "23", 1250},
		{"COM-09, lathe against buying", lembke, "80000", "75", "200", 640},
		{"COM-09, CNC against lathe", lembke, "120000", "15", "75", 2000}, // what it costs more, over what each saves
		{"moulds that save nothing", own, "1800", "620", "620", 0},
		{"moulds that cost nothing", own, "0", "620", "620", 1},
	} {
		t.Run(c.id, func(t *testing.T) {
			b := slabs("a", 1)
			r, err := estimate.Compare(&b, ratebooktest.Open(t, charged(t, c.mould, c.cast, c.oneOff)))
			if err != nil || r.BreakEven != c.want {
				t.Errorf("got %d, %v; want %d (%s)", r.BreakEven, err, c.want, c.source)
			}
		})
	}
}

// COM-11: a mould of 1800 over N casts of 140 each (own; computed), through the whole
// engine with the tooling in the price of the casts.
func TestToolingPerCastCheckValues(t *testing.T) {
	for casts, each := range map[int]string{1: "1940", 5: "500", 25: "212"} {
		book := charged(t, "1800", "140", "620")
		book.Policies.Terms.SpreadTooling = true
		q := price(t, book, job(slabs("a", casts)))
		if len(q.Lines) != 1 {
			t.Fatalf("%d lines, want the casts alone", len(q.Lines))
		}
		same(t, "COM-11", q.Lines[0].UnitPrice, each)
	}
}

// Both routes by hand. Three casts: 1800 + 3 x 140 = 2220 against 1860. Four: 2360
// against 2480. A pair of two of each hand needs two moulds: 4160 against 2480. Where a
// mould gives five casts, six take two: 4440 against 3720.
func TestRoutesByHand(t *testing.T) {
	for _, c := range []struct {
		name            string
		casts, life     int
		pair            bool
		moulded, direct string
		carved          bool
	}{
		{"three", 3, 100, false, "2220", "1860", true},
		{"four", 4, 100, false, "2360", "2480", false},
		{"two of each hand", 2, 100, true, "4160", "2480", true},
		{"six, and a second mould", 6, 5, false, "4440", "3720", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			book := charged(t, "1800", "140", "620")
			book.Policies.MouldLife = c.life
			b := slabs("a", c.casts)
			b.Pair, b.Route = c.pair, brief.Choose
			q := price(t, book, job(b))
			r := q.Workings.Routes[0]
			same(t, "moulded", r.Moulded, c.moulded)
			same(t, "direct", r.Direct, c.direct)
			if q.Pieces[0].Direct != c.carved {
				t.Errorf("carved each: %v, want %v", q.Pieces[0].Direct, c.carved)
			}
			if c.carved {
				same(t, "net", q.Net, c.direct)
			} else {
				same(t, "net", q.Net, c.moulded)
			}
		})
	}
}

// The quote and the comparison say the same.
func TestTheQuoteHasTheComparison(t *testing.T) {
	book := charged(t, "1800", "140", "620")
	b := slabs("a", 3)
	b.Route = brief.Choose
	q := price(t, book, job(b))
	r, err := estimate.Compare(&b, ratebooktest.Open(t, book))
	if err != nil || q.Workings.Routes[0] != r || r.BreakEven != 4 {
		t.Errorf("quote has %+v, comparison %+v, %v; want the same, from 4", q.Workings.Routes[0], r, err)
	}
}

// Where both cost the same the moulds are made: they are there for the next job.
func TestEvenCostsAreMoulded(t *testing.T) {
	b := slabs("a", 10)
	b.Route = brief.Choose
	q := price(t, charged(t, "100", "10", "20"), job(b)) // 100 + 10 x 10 = 10 x 20
	if q.Pieces[0].Direct || q.Workings.Routes[0].BreakEven != 10 {
		t.Errorf("carved each: %v, break-even %d; want moulded, from 10", q.Pieces[0].Direct, q.Workings.Routes[0].BreakEven)
	}
}

// Overhead counts, by the hour and in percent. A mould and its cast cost 110, bought in;
// carving takes 5 h at 20 = 100. With 3 an hour carving comes to 115 and is the dearer;
// with 50 % on top, 165 against 150 + 15 = 165 is even, and with 60 %, 176 against 175 not.
func TestOverheadCountsBetweenRoutes(t *testing.T) {
	for _, c := range []struct {
		perHour, percent string
		moulded, direct  string
		carved           bool
	}{
		{"0", "0", "110", "100", true},
		{"3", "0", "110", "115", false},
		{"3", "50", "165", "165", false},
		{"3", "60", "176", "175", true},
	} {
		book := charged(t, "60", "50", "0")
		carve := ratebooktest.Operation(t, book, "carve")
		carve.Skill, carve.SetupHours = "sculptor", 5
		book.Policies.Terms = ratebook.Terms{OverheadPerHour: ratebooktest.Decimal(t, c.perHour), OverheadPercent: ratebooktest.Decimal(t, c.percent)}
		b := slabs("a", 1)
		b.Route = brief.Choose
		q := price(t, book, job(b))
		same(t, "moulded", q.Workings.Routes[0].Moulded, c.moulded)
		same(t, "direct", q.Workings.Routes[0].Direct, c.direct)
		if q.Pieces[0].Direct != c.carved {
			t.Errorf("%s an hour and %s %%: carved each: %v, want %v", c.perHour, c.percent, q.Pieces[0].Direct, c.carved)
		}
	}
}

// A finish that is the gelcoat of a mould leaves nothing to choose.
func TestGelcoatFinishIsMoulded(t *testing.T) {
	book := charged(t, "1800", "140", "1")
	book.Finishes[0].NeedsGelcoat = true
	b := slabs("a", 1)
	b.Route = brief.Choose
	q := price(t, book, job(b))
	if q.Pieces[0].Direct || len(q.Workings.Routes) != 0 {
		t.Errorf("carved each: %v, compared: %v", q.Pieces[0].Direct, q.Workings.Routes)
	}
}
