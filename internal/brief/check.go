package brief

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
)

// Limits of a brief. They bound the work and the size of every figure.
const (
	MostPieces   = 200
	MostSolids   = 200
	MostZones    = 200
	MostFixings  = 50
	MostOptions  = 10
	MostQuantity = 10_000
	MostCount    = 1_000      // of one solid or zone on a cast
	MostSurface  = 1_000      // m2 of one cast
	MostAreas    = 10_000_000 // zones on all casts of a brief
)

// leastSurface is the smallest cast that is reckoned, in m2: a square centimetre.
const leastSurface = 1e-4

// Check finds every fault of the brief against the rate book. What it says of
// a field it says once, it needs no field to be sound to look at another, and
// faults come in the order of the contract's fields.
func (b *Brief) Check(e *ratebook.Edition) fault.List {
	c := checker{edition: e, terms: b.Partner}
	var root fault.Path
	c.deadline(root.Field("deadline"), b)
	c.preparedOn(root.Field("preparedOn"), b)
	c.number(root.Field("pieces"), float64(len(b.Pieces)), 1, MostPieces, "pieces")
	c.pieces(root, b.Pieces)
	c.meshes(root.Field("pieces"), b)
	if b.Delivery != nil {
		c.delivery(root.Field("delivery"), b.Delivery)
	}
	c.rush(root.Field("rush"), b.Rush)
	c.taxed(root.Field("tax"), b.Tax)
	c.partner(root.Field("partnerTerms"), b.Partner)
	c.options(root, b)
	return c.faults
}

type checker struct {
	edition *ratebook.Edition
	terms   *PartnerTerms
	faults  fault.List
}

func (c *checker) number(p fault.Path, v, low, high float64, what string) {
	// Written so that NaN is refused too.
	if !(v >= low && v <= high) {
		// Ten digits, since metres turned into millimetres may end in binary noise.
		c.faults.Add(p, "got %.10g, allowed: %s", v, strings.TrimRight(fmt.Sprintf("%.10g to %.10g %s", low, high, what), " "))
	}
}

func (c *checker) above(p fault.Path, v, high float64, what string) {
	if !(v > 0 && v <= high) {
		c.faults.Add(p, "got %.10g, allowed: above 0, at most %g %s", v, high, what)
	}
}

func (c *checker) deadline(p fault.Path, b *Brief) {
	if !b.PreparedOn.IsZero() && !b.Deadline.IsZero() && b.Deadline.Before(b.PreparedOn) {
		c.faults.Add(p, "got %s, allowed: on or after preparedOn %s", b.Deadline.Format(day), b.PreparedOn.Format(day))
	}
}

// lastYear is the last whose offers end in a year of four digits, however long they stand.
const lastYear = 9900

func (c *checker) preparedOn(p fault.Path, b *Brief) {
	if b.PreparedOn.Year() > lastYear {
		c.faults.Add(p, "got %s, allowed: up to the year %d", b.PreparedOn.Format(day), lastYear)
	}
}

const day = "2006-01-02"

func (c *checker) tax(p fault.Path, code string) {
	if _, ok := c.edition.Tax(code); !ok {
		c.unknown(p, "tax rate", code, codesOf(c.edition.Policies.TaxRates, func(t ratebook.TaxRate) string { return t.Code }))
	}
}

func (c *checker) rush(p fault.Path, code string) {
	if _, ok := c.edition.Rush(code); !ok && code != "" {
		c.unknown(p, "rush term", code, codesOf(c.edition.Policies.RushTerms, func(r ratebook.RushTerm) string { return r.Code }))
	}
}

func (c *checker) delivery(p fault.Path, d *Delivery) {
	c.number(p.Field("distanceKm"), d.Distance, 0, 20_000, "km")
	c.number(p.Field("consignments"), float64(d.Consignments), 1, 100, "consignments")
}

func (c *checker) unknown(p fault.Path, what, code string, allowed []string) {
	c.faults.Add(p, "got %q, which is no %s of rate book %s; %s", code, what, c.edition.Revision, fault.Allowed(code, allowed))
}

func codesOf[T any](list []T, code func(T) string) []string {
	codes := make([]string, len(list))
	for i := range list {
		codes[i] = code(list[i])
	}
	sort.Strings(codes)
	return codes
}

func (c *checker) pieces(at fault.Path, pieces []Piece) {
	seen := make(map[string]int, len(pieces))
	for i := range pieces {
		p := at.Item("pieces", i)
		if first, ok := seen[pieces[i].Code]; ok {
			c.faults.Add(p.Field("code"), "got %q, which pieces[%d] has already; codes are unique in a brief", pieces[i].Code, first)
		} else {
			seen[pieces[i].Code] = i
		}
		c.piece(p, &pieces[i])
	}
	c.areas(at.Field("pieces"), pieces)
}

// areas bounds the zones on all casts, as a number that every answer can hold.
func (c *checker) areas(p fault.Path, pieces []Piece) {
	areas := 0.0
	for i := range pieces {
		for j := range pieces[i].Zones {
			areas += float64(pieces[i].Casts()) * float64(pieces[i].Zones[j].Count)
		}
	}
	if areas > MostAreas {
		c.faults.Add(p, "got %.0f zones on all casts, allowed: at most %d in a brief", areas, MostAreas)
	}
}

func (c *checker) piece(p fault.Path, b *Piece) {
	c.number(p.Field("quantity"), float64(b.Quantity), 1, MostQuantity, "casts")
	c.body(p, b)
	c.form(p.Field("form"), &b.Form)
	c.laminate(p.Field("laminate"), b.Laminate)
	c.finish(p.Field("finish"), b)
	c.zones(p, b)
	c.fixings(p, b)
	c.mould(p.Field("mould"), b)
	c.number(p.Field("textureFactor"), b.Texture, 1, 10, "")
	if b.Size != nil {
		c.size(p.Field("overallSize"), *b.Size)
		c.holds(p.Field("overallSize"), b)
	}
	c.number(p.Field("installedHeightMm"), 1000*b.Standing, 0, 100_000, "mm")
	c.taxed(p.Field("tax"), b.Tax)
}

func (c *checker) laminate(p fault.Path, code string) {
	if _, ok := c.edition.Schedule(code); !ok {
		c.unknown(p, "laminate", code, codesOf(c.edition.Laminates, func(l ratebook.Laminate) string { return l.Code }))
	}
}

func (c *checker) finish(p fault.Path, b *Piece) {
	code := b.Finish
	t, ok := c.edition.Treatment(code)
	switch {
	case !c.ordered(t, code):
		c.unordered(p, code, (*ratebook.Treatment).OnCasts)
	case ok && t.NeedsGelcoat && b.Route == Direct:
		c.faults.Add(p, "got %q, which is the gelcoat of a mould; allowed direct over foam: a finish that is put on afterwards", t.Code)
	case !ok:
		c.unknown(p, "finish", code, c.finishCodes((*ratebook.Treatment).OnCasts))
	case !t.OnCasts():
		c.faults.Add(p, "got %q, which is for zones only; %s", code, fault.Allowed(code, c.finishCodes((*ratebook.Treatment).OnCasts)))
	}
}

// finishCodes lists the finishes that may be ordered and used in one way.
func (c *checker) finishCodes(usable func(*ratebook.Treatment) bool) []string {
	var codes []string
	for i := range c.edition.Finishes {
		code := c.edition.Finishes[i].Code
		if t, ok := c.edition.Treatment(code); ok && usable(t) && c.terms.orders(code) {
			codes = append(codes, code)
		}
	}
	sort.Strings(codes)
	return codes
}

func (c *checker) form(p fault.Path, f *Form) {
	c.number(p.Field("solids"), float64(len(f.Solids)), 0, MostSolids, "solids")
	before := len(c.faults)
	sound := true
	var surface float64
	for i := range f.Solids {
		item := p.Item("solids", i)
		if f.Whole != "" {
			item = p
		}
		surface += c.solid(item, &f.Solids[i])
		sound = sound && f.Solids[i].Shape != nil
	}
	sound = sound && len(c.faults) == before
	shape := p.Field("solids")
	if f.Whole != "" {
		shape = p.Field(f.Whole)
	}
	switch {
	case f.Measured != nil:
		c.measured(p.Field("measured"), f.Measured)
	case f.Mesh != nil:
		c.mesh(p.Field("mesh"), f.Mesh)
	case surface > MostSurface:
		c.faults.Add(shape, "got a surface of %.0f m2, allowed: at most %d m2 a cast", surface, MostSurface)
	case surface < leastSurface && len(f.Solids) > 0 && sound:
		c.faults.Add(shape, "got a surface of %g m2 after contact areas, allowed: at least %g m2", surface, leastSurface)
	}
}

// solid checks one entry of the list and returns the surface it adds.
func (c *checker) solid(p fault.Path, s *Solid) float64 {
	c.number(p.Field("count"), float64(s.Count), 1, MostCount, "solids")
	shape := p.Field(s.Kind)
	if s.Unread != "" {
		c.faults.Add(shape.Field("pathData"), "%s", s.Unread)
	}
	if s.Shape == nil {
		return 0 // the missing shape is named by the door that read it
	}
	dims := s.Shape.Faults()
	for _, d := range dims {
		c.dimension(shape, d)
	}
	if len(dims) > 0 {
		return 0
	}
	m := s.Measure()
	c.part(p.Field("contactAreaM2"), s.Contact, m.Surface, "m2, the solid's own surface")
	c.part(p.Field("contactRimMm"), 1000*s.Joined, 1000*m.Rim, "mm, the solid's own rim")
	return math.Max(0, m.Surface-s.Contact) * float64(s.Count)
}

// part checks what is lost of a whole: all of it may be, and what is written out
// of it in decimal may be a last digit more.
func (c *checker) part(p fault.Path, v, whole float64, what string) {
	if v > whole && v <= whole*(1+1e-9) {
		return
	}
	c.number(p, v, 0, whole, what)
}

// dimension reports a fault of a solid at the field that the caller wrote.
func (c *checker) dimension(p fault.Path, d geometry.DimensionError) {
	c.faults.Add(p.Field(asWritten(d.Field)), "got %s, allowed: %s", d.Got(), d.Allowed)
}

// asWritten returns the name that a caller writes a dimension by.
func asWritten(dimension string) string {
	switch dimension {
	case "sides", "ends", "points", "stations", "turns":
		return dimension
	case "region":
		return "pathData"
	case "profile":
		return "curve"
	case "angle":
		return "angleDeg"
	default:
		if strings.HasSuffix(dimension, "]") { // an item of a list, and not one length of it
			return dimension
		}
		return dimension + "Mm"
	}
}

func (c *checker) size(p fault.Path, x geometry.Extent) {
	c.above(p.Field("widthMm"), 1000*x.Width, 20_000, "mm")
	c.above(p.Field("depthMm"), 1000*x.Depth, 20_000, "mm")
	c.above(p.Field("heightMm"), 1000*x.Height, 20_000, "mm")
}

func (c *checker) measured(p fault.Path, m *Measured) {
	c.above(p.Field("surfaceM2"), m.Surface, MostSurface, "m2")
	c.above(p.Field("volumeM3"), m.Volume, 1000, "m3")
	c.number(p.Field("rimM"), m.Rim, 0, 10_000, "m")
	c.size(p.Field("size"), m.Size)
	c.number(p.Field("silhouetteM2"), m.Silhouette, 0, 400, "m2")
	if inside := m.Size.Width * m.Size.Depth * m.Size.Height; inside > 0 && m.Volume > inside*(1+1e-9) {
		c.faults.Add(p.Field("volumeM3"), "got %g m3, allowed: at most the %.4g m3 that the size holds", m.Volume, inside)
	}
	// Of all bodies of a volume the ball has the least surface (isoperimetric
	// inequality), and an open back can take at most half of it away.
	if least := math.Cbrt(36*math.Pi*m.Volume*m.Volume) / 2; m.Surface > 0 && m.Surface < least*(1-1e-9) {
		c.faults.Add(p.Field("surfaceM2"), "got %g m2, allowed: at least %.4g m2 round %.6g m3, even with an open back", m.Surface, least, m.Volume)
	}
}

func (c *checker) body(p fault.Path, b *Piece) {
	open := b.opensAnywhere()
	switch {
	case b.Body == ratebook.OpenBacked && !open && b.Form.Later == "":
		c.faults.Add(p.Field("body"), "got an open-backed body with nothing open; allowed: halve a solid, open an end, or give a rim")
	case b.Body == ratebook.Closed && b.hasHalf():
		c.faults.Add(p.Field("body"), "got a closed body with a halved solid; allowed: open-backed, or whole solids")
	case b.Body == ratebook.Closed && b.opensAtBack():
		c.faults.Add(p.Field("body"), "got a closed body of an outline without a back; allowed: set closedBack, or leave body out")
	}
}

// opensAtBack reports whether the form is an outline without a back. Turned and swept
// forms with an open end are whole bodies all the same, made of halves that are joined:
// a stem that is open where it stands.
func (p *Piece) opensAtBack() bool {
	return slices.ContainsFunc(p.Form.Solids, func(s Solid) bool {
		letter, ok := s.Shape.(geometry.ExtrudedOutline)
		return ok && !letter.Ends.BaseMoulded()
	})
}

func (p *Piece) hasHalf() bool {
	for i := range p.Form.Solids {
		if p.Form.Solids[i].Halved {
			return true
		}
	}
	return false
}

// opensAnywhere reports whether the form has a rim to trim.
func (p *Piece) opensAnywhere() bool {
	if m := p.Form.Measured; m != nil {
		return m.Rim > 0
	}
	if m := p.Form.Mesh; m != nil {
		return m.Model == nil || m.Model.Opens() // a mesh that is not there is named elsewhere
	}
	for i := range p.Form.Solids {
		s := &p.Form.Solids[i]
		if s.Shape == nil || len(s.Shape.Faults()) > 0 || s.Measure().Rim > 0 {
			return true // a faulty solid is named elsewhere
		}
	}
	return false
}

// BodyTaken returns the body as asked, or what the form makes it.
func (p *Piece) BodyTaken() ratebook.Body {
	switch {
	case p.Body != ratebook.BodyUnknown:
		return p.Body
	case p.opensAnywhere():
		return ratebook.OpenBacked
	default:
		return ratebook.Closed
	}
}

func (c *checker) zones(at fault.Path, b *Piece) {
	c.number(at.Field("zones"), float64(len(b.Zones)), 0, MostZones, "zones")
	for i := range b.Zones {
		p, z := at.Item("zones", i), &b.Zones[i]
		c.number(p.Field("countPerCast"), float64(z.Count), 1, MostCount, "zones of this kind on a cast")
		t, ok := c.edition.Treatment(z.Finish)
		switch {
		case z.Finish == "":
			c.faults.Add(p.Field("finish"), "missing, a zone needs a finish")
		case !c.ordered(t, z.Finish):
			c.unordered(p.Field("finish"), z.Finish, (*ratebook.Treatment).OnZones)
		case ok && t.NeedsGelcoat && b.Route == Direct:
			c.faults.Add(p.Field("finish"), "got %q, which is the gelcoat of a mould; allowed direct over foam: a finish that is put on afterwards", t.Code)
		case !ok:
			c.unknown(p.Field("finish"), "finish", z.Finish, c.finishCodes((*ratebook.Treatment).OnZones))
		case !t.OnZones():
			c.faults.Add(p.Field("finish"), "got %q, which is for whole casts only; %s", z.Finish, fault.Allowed(z.Finish, c.finishCodes((*ratebook.Treatment).OnZones)))
		}
		c.zoneShape(p, b, z)
	}
}

func (c *checker) zoneShape(p fault.Path, b *Piece, z *Zone) {
	switch s := z.Shape; {
	case s.Spot != nil:
		spot := p.Field("spot")
		c.above(spot.Field("diameterMm"), 1000*s.Spot.Diameter, 20_000, "mm")
	case s.Band != nil:
		c.band(p.Field("band"), b, s.Band)
	case s.Panel != nil:
		panel := p.Field("panel")
		c.above(panel.Field("sharePercent"), 100*s.Panel.Share, 100, "percent")
		c.number(panel.Field("edgeMm"), 1000*s.Panel.Edge, 0, 1_000_000, "mm")
	case s.MeshArea != "":
		c.meshArea(p.Field("meshArea"), b, s.MeshArea)
	case s.Lettering != nil:
		lettering := p.Field("lettering")
		if s.Lettering.Unread != "" {
			c.faults.Add(lettering.Field("pathData"), "%s", s.Lettering.Unread)
		}
	case s.Stripe != nil:
		c.stripe(p.Field("stripe"), &b.Form, s.Stripe)
	}
}

// stripe checks the contract's limits, and then what only the dimensions together
// show: a stripe that overlaps itself, or that is too big for the form.
func (c *checker) stripe(p fault.Path, f *Form, s *geometry.HelicalStripe) {
	before := len(c.faults)
	c.above(p.Field("widthMm"), 1000*s.Width, 20_000, "mm")
	c.above(p.Field("diameterMm"), 1000*s.Diameter, 20_000, "mm")
	c.above(p.Field("pitchMm"), 1000*s.Pitch, 20_000, "mm")
	c.above(p.Field("turns"), s.Turns, 1000, "turns")
	if len(c.faults) > before {
		return
	}
	for _, d := range s.Faults() {
		c.dimension(p, d)
	}
	c.stripeRound(p, f, s)
}

// stripeRound checks that a stripe winds up no further than the form goes, and round
// nothing wider. Its ends run out at the ends of the form, so that its middle climbs the
// form's whole height and no more.
func (c *checker) stripeRound(p fault.Path, f *Form, s *geometry.HelicalStripe) {
	const spare = 1.001 // for what was rounded before it was typed
	room, widest, along := f.room()
	if climb := s.Pitch * s.Turns; room > 0 && climb > room*spare {
		c.faults.Add(p.Field("turns"), "got %.6g, which climbs %.6g mm at %.6g mm a turn, allowed: a climb of at most %s, %.6g mm",
			s.Turns, 1000*climb, 1000*s.Pitch, along, 1000*room)
	}
	if widest > 0 && s.Diameter > widest*spare {
		c.faults.Add(p.Field("diameterMm"), "got %.6g mm, allowed: at most the form's greatest width, %.6g mm", 1000*s.Diameter, 1000*widest)
	}
}

// room is how far a stripe can climb a form of solids and how wide it can be there, in m,
// and what it climbs. Solids are taken as stacked. Both are 0 where the form does not say:
// it is another kind of form, or a solid has a fault, which is named elsewhere.
func (f *Form) room() (climb, widest float64, along string) {
	along = "the form's height"
	for i := range f.Solids {
		s := &f.Solids[i]
		if s.Shape == nil || len(s.Shape.Faults()) > 0 {
			return 0, 0, ""
		}
		far, wide := s.winds()
		climb, widest = climb+float64(s.Count)*far, max(widest, wide)
		if s.Kind == "sweep" {
			along = "the length of the sweep's centre line"
		}
	}
	return climb, widest, along
}

// winds is how far a stripe can climb one solid and the greatest width that it can wind
// round, in m. A solid that is not turned may be bent or lie: half its outline is no
// shorter than the way along it, and its diagonal than its width.
func (s *Solid) winds() (far, wide float64) {
	if sweep, ok := geometry.AsSweep(s.Shape); ok {
		return sweep.Length(), sweep.Widest()
	}
	m := s.Shape.Measure()
	x := m.Extent
	if _, turned := s.Shape.(geometry.Turned); turned {
		return x.Height, x.Width
	}
	return m.Outline / 2, math.Sqrt(x.Width*x.Width + x.Depth*x.Depth + x.Height*x.Height)
}

func (c *checker) band(p fault.Path, b *Piece, z *Band) {
	c.above(p.Field("widthMm"), 1000*z.Width, 20_000, "mm")
	switch {
	case z.Solid != nil && z.Diameter != 0:
		c.faults.Add(p.Field("solid"), "got %d beside a diameter; allowed: one of the two", *z.Solid)
	case z.Solid != nil:
		c.bandRound(p, &b.Form, z)
	case z.Diameter == 0:
		c.faults.Add(p.Field("diameterMm"), "missing, a band needs a diameter, or the solid it runs round and its height")
	default:
		c.above(p.Field("diameterMm"), 1000*z.Diameter, 20_000, "mm")
	}
}

// bandRound checks a band that names the solid it runs round.
func (c *checker) bandRound(p fault.Path, f *Form, z *Band) {
	at := p.Field("solid")
	switch last := len(f.Solids) - 1; {
	case last < 0:
		c.faults.Add(at, "got %d, allowed: none, since this form has no solids; give the band a diameter", *z.Solid)
		return
	case *z.Solid < 0 || *z.Solid > last:
		c.faults.Add(at, "got %d, allowed: 0 to %d, a solid of this form", *z.Solid, last)
		return
	}
	s := &f.Solids[*z.Solid]
	if s.Shape == nil || len(s.Shape.Faults()) > 0 {
		return // named where the solid stands
	}
	if _, turned := s.Shape.(geometry.Turned); !turned {
		c.faults.Add(at, "got %d, which is a %s and not turned; allowed: a turned solid, or a diameter instead", *z.Solid, s.Kind)
		return
	}
	if _, err := z.DiameterOn(f); err != nil {
		c.faults.Add(p.Field("atHeightMm"), "got %.10g: %v", 1000*z.Height, err)
	}
}

func (c *checker) fixings(at fault.Path, b *Piece) {
	c.number(at.Field("fixings"), float64(len(b.Fixings)), 0, MostFixings, "kinds of fixing")
	for i, f := range b.Fixings {
		p := at.Item("fixings", i)
		if _, ok := c.edition.BuiltIn(f.Code); !ok {
			c.unknown(p.Field("code"), "fixing", f.Code, codesOf(c.edition.Fixings, func(x ratebook.Fixing) string { return x.Code }))
		}
		c.number(p.Field("countPerCast"), float64(f.Count), 1, 200, "fixings in a cast")
	}
}

// holds: whichever way round its solids lie, a size that holds them has a
// diagonal no shorter than the longest of them and a volume no smaller than any.
// Neither can it do with less for a mesh.
func (c *checker) holds(p fault.Path, b *Piece) {
	x := *b.Size
	if !(x.Width > 0 && x.Depth > 0 && x.Height > 0) {
		return // named already
	}
	diagonal, volume := math.Sqrt(x.Width*x.Width+x.Depth*x.Depth+x.Height*x.Height), x.Width*x.Depth*x.Height
	if m := b.Form.Mesh; m != nil && m.Model != nil {
		own := m.Extent()
		if longest := max(own.Width, own.Depth, own.Height); longest > diagonal*(1+1e-9) {
			c.faults.Add(p, "got %.10g x %.10g x %.10g mm, allowed: a size that holds the mesh, which is %.10g mm long",
				1000*x.Width, 1000*x.Depth, 1000*x.Height, 1000*longest)
		}
	}
	for i := range b.Form.Solids {
		s := &b.Form.Solids[i]
		if s.Shape == nil || len(s.Shape.Faults()) > 0 {
			continue
		}
		m := s.Measure()
		longest := max(m.Extent.Width, m.Extent.Depth, m.Extent.Height)
		if longest > diagonal*(1+1e-9) || m.Volume > volume*(1+1e-9) {
			c.faults.Add(p, "got %.10g x %.10g x %.10g mm, allowed: a size that holds %s, which is %.10g mm long and encloses %.4g m3",
				1000*x.Width, 1000*x.Depth, 1000*x.Height, b.Form.solidName(i), 1000*longest, m.Volume)
			return
		}
	}
}

func (f *Form) solidName(i int) string {
	if f.Whole != "" {
		return "the " + f.Whole
	}
	return fmt.Sprintf("solid %d", i)
}

func (c *checker) mould(p fault.Path, b *Piece) {
	m := &b.Mould
	c.number(p.Field("pieces"), float64(m.Pieces), 0, 24, "mould pieces")
	c.number(p.Field("mouldsPerHand"), float64(m.PerHand), 0, 1000, "moulds")
	if b.Quantity >= 1 && m.PerHand > b.Quantity {
		c.faults.Add(p.Field("mouldsPerHand"), "got %d, allowed: at most the %d casts of a hand", m.PerHand, b.Quantity)
	}
	if m.Parting != nil {
		c.number(p.Field("partingLengthMm"), 1000**m.Parting, 0, 1_000_000, "mm")
	}
}

func (c *checker) options(root fault.Path, b *Brief) {
	c.number(root.Field("options"), float64(len(b.Options)), 0, MostOptions, "options")
	seen := map[string]bool{}
	for i := range b.Options {
		o, p := &b.Options[i], root.Item("options", i)
		if seen[o.Code] {
			c.faults.Add(p.Field("code"), "got %q, which another option has already; codes are unique in a brief", o.Code)
		}
		seen[o.Code] = true
		c.option(p, b, o)
	}
}

func (c *checker) option(p fault.Path, b *Brief, o *Option) {
	c.pieces(p, o.Pieces)
	for j, code := range o.Without {
		if pieceOf(b.Pieces, code) == nil {
			c.unknownPiece(p.Item("without", j), b, code)
		}
		if pieceOf(o.Pieces, code) != nil {
			c.faults.Add(p.Item("without", j), "got %q, which the option has a piece in place of; allowed: one of the two", code)
		}
	}
	if n := len(b.With(o).Pieces); n < 1 || n > MostPieces {
		c.faults.Add(p, "leaves %d pieces, allowed: 1 to %d", n, MostPieces)
	}
	if o.Delivery != nil {
		c.delivery(p.Field("delivery"), o.Delivery)
	}
	if o.Rush != nil {
		c.rush(p.Field("rush"), *o.Rush)
	}
}

func (c *checker) unknownPiece(p fault.Path, b *Brief, code string) {
	codes := codesOf(b.Pieces, func(x Piece) string { return x.Code })
	c.faults.Add(p, "got %q, which is no piece of the brief; %s", code, fault.Allowed(code, codes))
}
