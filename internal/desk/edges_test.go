package desk_test

import (
	"math"
	"math/big"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/desk/desktest"
)

func halfBox(rimMM float64) *mouldwrightv1.Brief {
	return &mouldwrightv1.Brief{Title: "Half a box", Pieces: []*mouldwrightv1.Piece{{
		Code: "a", Name: "Half a box", Quantity: 1, Route: mouldwrightv1.Route_ROUTE_MOULDED,
		Mould: &mouldwrightv1.MouldChoice{Pieces: proto.Int32(2), PartingLengthMm: proto.Float64(2000)},
		Form: &mouldwrightv1.Form{Solids: []*mouldwrightv1.Solid{{
			Halved: true, ContactRimMm: proto.Float64(rimMM),
			Shape: &mouldwrightv1.Solid_Box{Box: &mouldwrightv1.Block{WidthMm: 373, DepthMm: 100, HeightMm: 313}},
		}}},
	}}}
}

// A solid may lose all of its rim, 2 x (373 + 313) = 1372 mm here: its flange along
// the parting line, 2 x 2 m x 75 mm = 0.3 m2, stays.
func TestAllOfARimMayBeJoined(t *testing.T) {
	book, _ := demoBook(t)
	for _, rim := range []float64{1372, 1371.9999} {
		if got, want := price(t, book, halfBox(rim)).GetPieces()[0].GetFlange().GetQuantity().GetValue(), "0.300"; got != want {
			t.Errorf("flange %s m2 with %g mm of rim joined, want %s", got, rim, want)
		}
	}
	if _, err := book.Price(halfBox(1372 * (1 + 1e-12))); err != nil {
		t.Errorf("the last digit of a rim is refused: %v", err)
	}
	if _, err := book.Price(halfBox(1373)); err == nil {
		t.Error("more rim than there is is accepted")
	}
}

// Whatever a currency's minor unit is, a rate book in it prices and sums.
func TestQuotesInOtherCurrencies(t *testing.T) {
	book, rules := demoBook(t)
	for code, decimals := range map[string]int{"JPY": 0, "KWD": 3, "EUR": 2} {
		doc := proto.CloneOf(book.Document)
		doc.CurrencyCode = code
		doc.Policies.Margin.MinimumCharge = "100000"
		q := price(t, reopened(t, doc, rules), demoBrief(t, "gate-snails"))
		lines := sum(q.GetLines(), func(l *mouldwrightv1.PriceLine) *big.Rat { return audit{t, q}.money(l.GetAmount()) })
		audit{t, q}.same(code, lines, audit{t, q}.money(q.GetNet()))
		_, after, _ := strings.Cut(q.GetNet().GetAmount(), ".")
		if len(after) != decimals {
			t.Errorf("%s: net %s, want %d decimals", code, q.GetNet().GetAmount(), decimals)
		}
	}
}

// An alternative brings its own cautions: moving a piece into one hides nothing.
func TestAnOptionBringsItsCautions(t *testing.T) {
	book, _ := demoBook(t)
	ball := func(mm float64) *mouldwrightv1.Piece {
		return &mouldwrightv1.Piece{Code: "ball", Name: "Ball", Quantity: 1, Route: mouldwrightv1.Route_ROUTE_MOULDED, Form: &mouldwrightv1.Form{Solids: []*mouldwrightv1.Solid{{
			Shape: &mouldwrightv1.Solid_Sphere{Sphere: &mouldwrightv1.Sphere{DiameterMm: mm}},
		}}}}
	}
	small := &mouldwrightv1.Brief{Title: "Ball", Pieces: []*mouldwrightv1.Piece{ball(400)}}
	large := &mouldwrightv1.Brief{Title: "Ball", Pieces: []*mouldwrightv1.Piece{ball(6000)}}
	offered := clone(small)
	offered.Options = []*mouldwrightv1.Option{{Code: "large", Name: "A large one", Pieces: large.GetPieces()}}
	codes := map[string]bool{}
	for _, c := range price(t, book, offered).GetCautions() {
		codes[c.GetCode()] = true
	}
	for _, c := range price(t, book, large).GetCautions() {
		if !codes[c.GetCode()] {
			t.Errorf("the alternative lacks caution %s", c.GetCode())
		}
	}
	offered.Options[0].Without = []string{"ball"}
	if _, err := book.Price(offered); err == nil || !strings.Contains(err.Error(), "options[0].without[0]") {
		t.Errorf("a piece both replaced and left out: %v", err)
	}
}

// Every figure of the smallest cast and of a wide one can be redone too.
func TestTinyAndLargePieces(t *testing.T) {
	book, _ := demoBook(t)
	for _, mm := range []float64{6, 9, 15_000} {
		b := &mouldwrightv1.Brief{Title: "Ball", Pieces: []*mouldwrightv1.Piece{{
			Code: "ball", Name: "Ball", Quantity: 3, Route: mouldwrightv1.Route_ROUTE_MOULDED, Form: &mouldwrightv1.Form{Solids: []*mouldwrightv1.Solid{{
				Shape: &mouldwrightv1.Solid_Sphere{Sphere: &mouldwrightv1.Sphere{DiameterMm: mm}},
			}}},
		}}}
		q := price(t, book, b)
		audit{t, q}.all()
		surface, _ := audit{t, q}.rat(q.GetPieces()[0].GetSurface().GetQuantity().GetValue()).Float64()
		if want := math.Pi * mm * mm / 1e6; math.Abs(surface-want) > 0.0005 {
			t.Errorf("ball of %g mm: surface %g m2, want %g", mm, surface, want)
		}
	}
}

// A minimum charge finer than the currency would make a total that no line can.
func TestAMinimumChargeIsInWholePennies(t *testing.T) {
	book, rules := demoBook(t)
	doc := proto.CloneOf(book.Document)
	doc.Policies.Margin.MinimumCharge = "99999.005"
	if _, faults := desk.CheckBook(doc, nil, rules); len(faults) != 1 || faults[0].Path != "policies.margin.minimumCharge" {
		t.Errorf("got %v", faults)
	}
}

// A gelcoat finish of a zone comes out of a mould like that of a cast.
func TestAGelcoatZoneNeedsAMould(t *testing.T) {
	book, rules := demoBook(t)
	doc := proto.CloneOf(book.Document)
	for _, f := range doc.GetFinishes() {
		if f.GetCode() == "polished-gelcoat" {
			f.ZoneOperations = []string{"zone-flake-lay"}
		}
	}
	open := reopened(t, doc, rules)
	b := desktest.New(open, 1).Brief()
	p := b.GetPieces()[0]
	b.Pieces = b.Pieces[:1]
	p.Finish, p.Route = "gloss", mouldwrightv1.Route_ROUTE_DIRECT
	p.Zones = []*mouldwrightv1.Zone{{Name: "badge", Finish: "polished-gelcoat", Shape: &mouldwrightv1.Zone_Spot{Spot: &mouldwrightv1.Spot{DiameterMm: 20}}}}
	if _, err := open.Price(b); err == nil || !strings.Contains(err.Error(), "pieces[0].zones[0].finish") {
		t.Errorf("direct: %v", err)
	}
	p.Route, p.Quantity = mouldwrightv1.Route_ROUTE_CHOOSE, 1
	if got := price(t, open, b).GetPieces()[0].GetRoute(); got != mouldwrightv1.Route_ROUTE_MOULDED {
		t.Errorf("chosen: %s", got)
	}
}
