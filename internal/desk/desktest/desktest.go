// Package desktest makes briefs for tests. Nothing outside tests knows it.
package desktest

import (
	"fmt"
	"math/rand/v2"

	"google.golang.org/protobuf/proto"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
)

// Chance makes random briefs that are sound by construction: a book prices each of them.
// The same seed makes the same briefs.
type Chance struct {
	*rand.Rand
	book *desk.Book
}

// New returns the chance of a seed. Its briefs are for the book.
func New(book *desk.Book, seed uint64) Chance {
	return Chance{rand.New(rand.NewPCG(seed, 1)), book}
}

// In is a number from low up to, but without, high.
func (c Chance) In(low, high float64) float64 { return low + (high-low)*c.Float64() }

func (c Chance) odds(p float64) bool { return c.Float64() < p }

// Pick picks one of a list, which is not empty.
func Pick[T any](c Chance, list []T) T { return list[c.IntN(len(list))] }

// Brief makes a brief of one to four pieces.
func (c Chance) Brief() *mouldwrightv1.Brief {
	b := &mouldwrightv1.Brief{Title: "Random trail", Client: "Fernhollow Arboretum", PreparedOn: "2027-03-01"}
	for i := range 1 + c.IntN(4) {
		b.Pieces = append(b.Pieces, c.Piece(fmt.Sprintf("piece-%d", i)))
	}
	if c.odds(0.6) {
		b.Delivery = &mouldwrightv1.Delivery{DistanceKm: proto.Float64(c.In(0, 600)), Consignments: proto.Int32(int32(1 + c.IntN(3)))}
	}
	if rush := c.book.Document.GetPolicies().GetRushTerms(); len(rush) > 0 && c.odds(0.2) {
		b.Rush = Pick(c, rush).GetCode()
	}
	if c.odds(0.2) {
		b.PartnerTerms = &mouldwrightv1.PartnerTerms{DiscountPercent: fmt.Sprintf("%.2f", c.In(0, 40))}
	}
	if c.odds(0.3) {
		b.Tax = Pick(c, c.book.Document.GetPolicies().GetTaxRates()).GetCode()
	}
	return b
}

// Piece makes a piece.
func (c Chance) Piece(code string) *mouldwrightv1.Piece {
	p := &mouldwrightv1.Piece{
		Code: code, Name: "Piece " + code, Quantity: int32(1 + c.IntN(60)), Form: &mouldwrightv1.Form{},
		Handing: mouldwrightv1.Handing(c.IntN(3)), Exposure: mouldwrightv1.Exposure(c.IntN(3)),
		Route: Pick(c, []mouldwrightv1.Route{1, 1, 1, 2, 2, 3}),
	}
	halved := c.odds(0.3)
	for range 1 + c.IntN(3) {
		s := c.solid()
		s.Halved = halved
		p.Form.Solids = append(p.Form.Solids, s)
	}
	if c.odds(0.8) {
		p.Finish = Pick(c, c.finishes(true))
	}
	if t, _ := c.book.Edition.Treatment(p.GetFinish()); t.NeedsGelcoat && p.GetRoute() == mouldwrightv1.Route_ROUTE_DIRECT {
		p.Route = mouldwrightv1.Route_ROUTE_MOULDED
	}
	if c.odds(0.5) {
		p.Laminate = Pick(c, c.book.Document.GetLaminates()).GetCode()
	}
	if c.odds(0.2) {
		p.TextureFactor = proto.Float64(c.In(1, 3))
	}
	if c.odds(0.2) {
		p.Mould = &mouldwrightv1.MouldChoice{Pieces: proto.Int32(int32(1 + c.IntN(5))), MouldsPerHand: proto.Int32(min(p.Quantity, int32(1+c.IntN(4))))}
	}
	if c.odds(0.1) {
		p.Tax = Pick(c, c.book.Document.GetPolicies().GetTaxRates()).GetCode()
	}
	for i := range c.IntN(4) {
		p.Zones = append(p.Zones, c.Zone(fmt.Sprintf("zone %d", i)))
	}
	if fixings := c.book.Document.GetFixings(); c.odds(0.4) {
		p.Fixings = append(p.Fixings, &mouldwrightv1.Fixing{Code: Pick(c, fixings).GetCode(), CountPerCast: int32(1 + c.IntN(6))})
	}
	return p
}

func (c Chance) finishes(onCasts bool) []string {
	var codes []string
	for _, f := range c.book.Document.GetFinishes() {
		t, _ := c.book.Edition.Treatment(f.GetCode())
		if onCasts && t.OnCasts() || !onCasts && t.OnZones() {
			codes = append(codes, f.GetCode())
		}
	}
	return codes
}

func (c Chance) solid() *mouldwrightv1.Solid {
	d := func() float64 { return c.In(150, 1500) }
	s := &mouldwrightv1.Solid{Count: proto.Int32(int32(1 + c.IntN(2)))}
	switch c.IntN(6) {
	case 0:
		s.Shape = &mouldwrightv1.Solid_Sphere{Sphere: &mouldwrightv1.Sphere{DiameterMm: d()}}
	case 1:
		s.Shape = &mouldwrightv1.Solid_Dome{Dome: &mouldwrightv1.Dome{DiameterMm: d(), HeightMm: d(), Curve: mouldwrightv1.DomeCurve(c.IntN(3)), Ends: mouldwrightv1.Ends(c.IntN(5))}}
	case 2:
		s.Shape = &mouldwrightv1.Solid_Frustum{Frustum: &mouldwrightv1.Frustum{BaseDiameterMm: d(), TopDiameterMm: d(), HeightMm: d(), Ends: mouldwrightv1.Ends(c.IntN(5))}}
	case 3:
		s.Shape = &mouldwrightv1.Solid_Box{Box: &mouldwrightv1.Block{WidthMm: d(), DepthMm: d(), HeightMm: d(), Ends: mouldwrightv1.Ends(c.IntN(5))}}
	case 4:
		r := c.In(100, 500)
		s.Shape = &mouldwrightv1.Solid_BentTube{BentTube: &mouldwrightv1.BentTube{BendRadiusMm: r, TubeDiameterMm: c.In(40, 1.9*r), AngleDeg: c.In(10, 350), Ends: mouldwrightv1.Ends(c.IntN(5))}}
	default:
		s.Shape = &mouldwrightv1.Solid_Ellipsoid{Ellipsoid: &mouldwrightv1.Ellipsoid{WidthMm: d(), DepthMm: d(), HeightMm: d()}}
	}
	return s
}

// Zone makes a zone small enough for any solid of a piece to hold four of its kind.
func (c Chance) Zone(name string) *mouldwrightv1.Zone {
	z := &mouldwrightv1.Zone{Name: name, Finish: Pick(c, c.finishes(false)), CountPerCast: proto.Int32(int32(1 + c.IntN(2)))}
	switch c.IntN(3) {
	case 0:
		z.Shape = &mouldwrightv1.Zone_Spot{Spot: &mouldwrightv1.Spot{DiameterMm: c.In(10, 40)}}
	case 1:
		z.Shape = &mouldwrightv1.Zone_Band{Band: &mouldwrightv1.Band{WidthMm: c.In(1, 5), DiameterMm: proto.Float64(c.In(50, 150))}}
	default:
		z.Shape = &mouldwrightv1.Zone_Panel{Panel: &mouldwrightv1.Panel{SharePercent: c.In(0.1, 10)}}
	}
	return z
}
