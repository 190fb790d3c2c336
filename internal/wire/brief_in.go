package wire

import (
	"math"
	"time"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

const (
	degree  = math.Pi / 180 // rad
	isoDate = "2006-01-02"  // ISO 8601
)

// metres divides, since a product with 0.001 would be rounded twice.
func metres(mm float64) float64 { return mm / 1000 }

// Brief translates a brief. Its faults are what has no translation: days that no
// calendar has, numbers that are none. Paths start at the brief.
func Brief(pb *mouldwrightv1.Brief) (*brief.Brief, fault.List) {
	t := translation{}
	var root fault.Path
	b := &brief.Brief{
		Title: pb.GetTitle(), Client: pb.GetClient(), Reference: pb.GetReference(),
		PreparedOn: t.date(root.Field("preparedOn"), pb.GetPreparedOn()),
		Deadline:   t.date(root.Field("deadline"), pb.GetDeadline()),
		Pieces:     pieces(pb.GetPieces()),
		Delivery:   delivery(pb.GetDelivery()),
		Rush:       pb.GetRush(), Tax: pb.GetTax(),
		Partner: t.partner(root.Field("partnerTerms"), pb.GetPartnerTerms()),
	}
	for _, o := range pb.GetOptions() {
		b.Options = append(b.Options, brief.Option{
			Code: o.GetCode(), Name: o.GetName(), Pieces: pieces(o.GetPieces()), Without: o.GetWithout(),
			Delivery: delivery(o.GetDelivery()), Rush: o.Rush,
		})
	}
	return b, t.faults
}

// translation gathers what has no translation.
type translation struct{ faults fault.List }

func (t *translation) date(p fault.Path, text string) time.Time {
	if text == "" {
		return time.Time{}
	}
	day, err := time.Parse(isoDate, text)
	if err != nil || day.Year() < 1 {
		t.faults.Add(p, "got %q, allowed: a day as ISO 8601 writes it, such as 2027-03-01", clip(text))
	}
	return day
}

func (t *translation) decimal(p fault.Path, text string) unit.Decimal {
	if text == "" {
		return unit.Decimal{}
	}
	d, err := unit.ParseDecimal(text)
	if err != nil {
		t.faults.Add(p, "got %q, allowed: a decimal number such as \"12.50\"", clip(text))
	}
	return d
}

func (t *translation) partner(p fault.Path, pb *mouldwrightv1.PartnerTerms) *brief.PartnerTerms {
	if pb == nil {
		return nil
	}
	terms := &brief.PartnerTerms{Currency: pb.GetCurrencyCode(), Tax: pb.GetTax(), Finishes: pb.GetFinishes()}
	if pb.GetDiscountPercent() != "" {
		d := t.decimal(p.Field("discountPercent"), pb.GetDiscountPercent())
		terms.Discount = &d
		t.atMost(p.Field("discountPercent"), d, 90)
	}
	if pb.GetMarginPercent() != "" {
		d := t.decimal(p.Field("marginPercent"), pb.GetMarginPercent())
		terms.Margin = &d
		t.atMost(p.Field("marginPercent"), d, 95)
	}
	if pb.GetExchangeRate() != "" {
		d := t.decimal(p.Field("exchangeRate"), pb.GetExchangeRate())
		terms.Exchange = &d
	}
	return terms
}

func (t *translation) atMost(p fault.Path, d unit.Decimal, most int) {
	if d.GreaterThan(unit.Count(most).Decimal()) {
		t.faults.Add(p, "got %s percent, allowed: 0 to %d", d, most)
	}
}

func delivery(pb *mouldwrightv1.Delivery) *brief.Delivery {
	if pb == nil {
		return nil
	}
	// The contract's rules name a missing distance.
	return &brief.Delivery{Distance: pb.GetDistanceKm(), Consignments: countOr1(pb.Consignments), Place: pb.GetPlace()}
}

// countOr1 is a count where absent means one and zero is a fault.
func countOr1(n *int32) int {
	if n == nil {
		return 1
	}
	return int(*n)
}

func pieces(pbs []*mouldwrightv1.Piece) []brief.Piece {
	out := make([]brief.Piece, len(pbs))
	for i, pb := range pbs {
		out[i] = piece(pb)
	}
	return out
}

func piece(pb *mouldwrightv1.Piece) brief.Piece {
	p := brief.Piece{
		Code: pb.GetCode(), Name: pb.GetName(), Quantity: int(pb.GetQuantity()),
		Pair: pb.GetHanding() == mouldwrightv1.Handing_HANDING_PAIR,
		Body: ratebook.Body(pb.GetBody()), Route: routeIn(pb.GetRoute()), Form: form(pb.GetForm()),
		Laminate: pb.GetLaminate(), Finish: pb.GetFinish(), Colour: pb.GetColour(),
		Exposure: exposureIn(pb.GetExposure()), Unsaid: pb.GetExposure() == mouldwrightv1.Exposure_EXPOSURE_UNSPECIFIED, Mould: mould(pb.GetMould()), Texture: 1,
		Size: size(pb.GetOverallSize()), Standing: metres(pb.GetInstalledHeightMm()), Tax: pb.GetTax(),
	}
	if pb.TextureFactor != nil {
		p.Texture = pb.GetTextureFactor()
	}
	for _, z := range pb.GetZones() {
		p.Zones = append(p.Zones, zone(z))
	}
	for _, f := range pb.GetFixings() {
		p.Fixings = append(p.Fixings, brief.Fixing{Code: f.GetCode(), Count: int(f.GetCountPerCast())})
	}
	return p
}

func mould(pb *mouldwrightv1.MouldChoice) brief.Mould {
	m := brief.Mould{Pieces: int(pb.GetPieces()), PerHand: int(pb.GetMouldsPerHand())}
	if pb != nil && pb.PartingLengthMm != nil {
		length := metres(pb.GetPartingLengthMm())
		m.Parting = &length
	}
	return m
}

func size(pb *mouldwrightv1.Size) *geometry.Extent {
	if pb == nil {
		return nil
	}
	return &geometry.Extent{Width: metres(pb.GetWidthMm()), Depth: metres(pb.GetDepthMm()), Height: metres(pb.GetHeightMm())}
}

func form(pb *mouldwrightv1.Form) brief.Form {
	f := brief.Form{Later: laterForm(pb)}
	for _, s := range pb.GetSolids() {
		f.Solids = append(f.Solids, solid(s))
	}
	if s, ok := wholeForm(pb); ok {
		f.Whole, f.Solids = s.Kind, append(f.Solids, s)
	}
	if m := pb.GetMeasured(); m != nil {
		f.Measured = measured(m)
	}
	if m := pb.GetMesh(); m != nil {
		f.Mesh = &brief.MeshForm{Name: m.GetMesh(), Scale: m.GetScale(), Pulls: Directions(m.GetPulls())}
	}
	return f
}

// laterForm names the form that the engine does not reckon yet.
func laterForm(pb *mouldwrightv1.Form) string {
	if pb.GetLikeness() != nil {
		return "likeness"
	}
	return ""
}

func measured(pb *mouldwrightv1.Measured) *brief.Measured {
	m := &brief.Measured{Surface: pb.GetSurfaceM2(), Volume: pb.GetVolumeM3(), Rim: pb.GetRimM(), Silhouette: pb.GetSilhouetteM2()}
	if x := size(pb.GetSize()); x != nil {
		m.Size = *x
	}
	return m
}

func solid(pb *mouldwrightv1.Solid) brief.Solid {
	s := brief.Solid{Count: countOr1(pb.Count), Halved: pb.GetHalved(), Contact: pb.GetContactAreaM2(), Joined: metres(pb.GetContactRimMm())}
	s.Kind, s.Shape = shape(pb)
	return s
}

func shape(pb *mouldwrightv1.Solid) (string, geometry.Solid) {
	switch x := pb.GetShape().(type) {
	case *mouldwrightv1.Solid_Sphere:
		return "sphere", geometry.Sphere{Diameter: metres(x.Sphere.GetDiameterMm())}
	case *mouldwrightv1.Solid_Spheroid:
		return "spheroid", geometry.Spheroid{Diameter: metres(x.Spheroid.GetDiameterMm()), Height: metres(x.Spheroid.GetHeightMm())}
	case *mouldwrightv1.Solid_Ellipsoid:
		e := x.Ellipsoid
		return "ellipsoid", geometry.Ellipsoid{Width: metres(e.GetWidthMm()), Depth: metres(e.GetDepthMm()), Height: metres(e.GetHeightMm())}
	case *mouldwrightv1.Solid_Dome:
		d := x.Dome
		return "dome", geometry.Dome{
			Diameter: metres(d.GetDiameterMm()), Height: metres(d.GetHeightMm()), Profile: curveIn(d.GetCurve()), Ends: endsIn(d.GetEnds()),
		}
	case *mouldwrightv1.Solid_Ring:
		return "ring", geometry.Ring{CentreDiameter: metres(x.Ring.GetCentreDiameterMm()), TubeDiameter: metres(x.Ring.GetTubeDiameterMm())}
	case *mouldwrightv1.Solid_BentTube:
		b := x.BentTube
		return "bentTube", geometry.BentTube{
			BendRadius: metres(b.GetBendRadiusMm()), TubeDiameter: metres(b.GetTubeDiameterMm()), Angle: b.GetAngleDeg() * degree, Ends: endsIn(b.GetEnds()),
		}
	default:
		return uprightShape(pb)
	}
}

// uprightShape translates the solids that stand on a flat base.
func uprightShape(pb *mouldwrightv1.Solid) (string, geometry.Solid) {
	switch x := pb.GetShape().(type) {
	case *mouldwrightv1.Solid_Cylinder:
		c := x.Cylinder
		return "cylinder", geometry.Cylinder{Diameter: metres(c.GetDiameterMm()), Height: metres(c.GetHeightMm()), Ends: endsIn(c.GetEnds())}
	case *mouldwrightv1.Solid_Frustum:
		f := x.Frustum
		return "frustum", geometry.Frustum{
			BaseDiameter: metres(f.GetBaseDiameterMm()), TopDiameter: metres(f.GetTopDiameterMm()), Height: metres(f.GetHeightMm()), Ends: endsIn(f.GetEnds()),
		}
	case *mouldwrightv1.Solid_Cone:
		c := x.Cone
		return "cone", geometry.Cone{Diameter: metres(c.GetDiameterMm()), Height: metres(c.GetHeightMm()), Ends: endsIn(c.GetEnds())}
	case *mouldwrightv1.Solid_Box:
		b := x.Box
		return "box", geometry.Block{Width: metres(b.GetWidthMm()), Depth: metres(b.GetDepthMm()), Height: metres(b.GetHeightMm()), Ends: endsIn(b.GetEnds())}
	case *mouldwrightv1.Solid_Prism:
		p := x.Prism
		return "prism", geometry.Prism{Sides: int(p.GetSides()), SideLength: metres(p.GetSideLengthMm()), Height: metres(p.GetHeightMm()), Ends: endsIn(p.GetEnds())}
	case *mouldwrightv1.Solid_Pyramid:
		p := x.Pyramid
		return "pyramid", geometry.Pyramid{Sides: int(p.GetSides()), SideLength: metres(p.GetSideLengthMm()), Height: metres(p.GetHeightMm()), Ends: endsIn(p.GetEnds())}
	default:
		return "", nil // the contract's own rules name the missing shape
	}
}

func zone(pb *mouldwrightv1.Zone) brief.Zone {
	return brief.Zone{Name: pb.GetName(), Finish: pb.GetFinish(), Count: countOr1(pb.CountPerCast), Colour: pb.GetColour(), Shape: zoneShape(pb)}
}

func zoneShape(pb *mouldwrightv1.Zone) brief.ZoneShape {
	switch x := pb.GetShape().(type) {
	case *mouldwrightv1.Zone_Spot:
		return brief.ZoneShape{Spot: &geometry.Spot{Diameter: metres(x.Spot.GetDiameterMm())}}
	case *mouldwrightv1.Zone_Band:
		return brief.ZoneShape{Band: band(x.Band)}
	case *mouldwrightv1.Zone_Panel:
		return brief.ZoneShape{Panel: &brief.Panel{Share: x.Panel.GetSharePercent() / 100, Edge: metres(x.Panel.GetEdgeMm())}}
	case *mouldwrightv1.Zone_MeshArea:
		return brief.ZoneShape{MeshArea: x.MeshArea.GetName()}
	case *mouldwrightv1.Zone_Lettering:
		return brief.ZoneShape{Lettering: lettering(x.Lettering)}
	case *mouldwrightv1.Zone_Stripe:
		return brief.ZoneShape{Stripe: stripe(x.Stripe)}
	default:
		return brief.ZoneShape{}
	}
}

func band(pb *mouldwrightv1.Band) *brief.Band {
	b := &brief.Band{Width: metres(pb.GetWidthMm()), Diameter: metres(pb.GetDiameterMm()), Height: metres(pb.GetAtHeightMm())}
	if pb.Solid != nil {
		n := int(pb.GetSolid())
		b.Solid = &n
	}
	return b
}
