// Package takeoff measures what a brief describes: for each piece the surface,
// rim, volume, silhouette, blanks of foam, parting line and flange, the moulds
// with their pulls, and the area and edge of every zone. A checked brief and a
// rate book flow in; measures with what they rest on flow out.
//
// Lengths are in metres, areas in m2, volumes in m3; all are of one cast (of one
// pattern, of one mould) unless a field says otherwise.
package takeoff

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/foam"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/laminate"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Piece holds the measures of one piece on one route.
type Piece struct {
	*brief.Piece
	Body       ratebook.Body
	Direct     bool // each cast is carved and laminated over its foam
	Laminate   *ratebook.Schedule
	Treatment  *ratebook.Treatment
	Surface    float64 // moulded surface with texture
	Rim        float64
	Volume     float64 // enclosed, the foam of one pattern
	Blank      float64 // foam blanks of one pattern before carving
	Blanks     []foam.Blank
	Silhouette float64
	Extent     geometry.Extent
	Parting    float64 // of one mould
	Flange     float64 // of one mould
	MouldParts int     // pieces that one mould comes apart into
	Pulls      []int   // of each mould of one hand; none on the direct route
	Zones      []Zone
	Basis      Basis
	Sheet      *maquette.Sheet // of a piece made from a mesh; nil for others
	Warnings   []string        // what the measures take as drawn and is hardly meant
}

// Basis says what the measures rest on, in words.
type Basis struct {
	Surface, Rim, Volume, Blank, Silhouette, Parting, Size string
}

// Zone holds the measures of one zone.
type Zone struct {
	*brief.Zone
	Treatment *ratebook.Treatment
	Area      float64
	Edge      float64
	Basis     string // what the edge rests on
	Total     int    // on all casts
}

// Patterns returns how many patterns of all hands are made.
func (p *Piece) Patterns() int {
	if p.Direct {
		return 0
	}
	return p.Hands()
}

// Moulds returns how many moulds of all hands are made.
func (p *Piece) Moulds() int { return len(p.Pulls) * p.Hands() }

// Thickness returns the thickness of the cast's skin in m: over foam no gelcoat
// is laid.
func (p *Piece) Thickness() float64 {
	if p.Direct {
		return p.Laminate.Stack.Thickness()
	}
	return p.Laminate.SkinThickness
}

// NeedsGelcoat reports whether a finish of the piece is the gelcoat of a mould.
func (p *Piece) NeedsGelcoat() bool {
	for i := range p.Zones {
		if p.Zones[i].Treatment.NeedsGelcoat {
			return true
		}
	}
	return p.Treatment.NeedsGelcoat
}

// MouldArea returns the surface of one mould with its flange.
func (p *Piece) MouldArea() float64 { return p.Surface + p.Flange }

// BoxVolume returns the volume of the box round one cast.
func (p *Piece) BoxVolume() float64 { return p.Extent.Width * p.Extent.Depth * p.Extent.Height }

// StandsAt returns the height of the piece's top above the ground.
func (p *Piece) StandsAt() float64 { return math.Max(p.Standing, p.Extent.Height) }

// Measure measures one piece of a checked brief on one route. Its faults are
// those that only the measures show: zones that cover more than there is.
func Measure(b *brief.Piece, e *ratebook.Edition, direct bool) (Piece, fault.List) {
	p := Piece{Piece: b, Body: b.BodyTaken(), Direct: direct}
	p.Laminate, _ = e.Schedule(laminateOf(b, e, direct))
	p.Treatment, _ = e.Treatment(b.Finish)
	switch {
	case b.Form.Measured != nil:
		p.fromMeasured(b.Form.Measured)
	case b.Form.Mesh != nil:
		p.fromMesh(b.Form.Mesh, e)
	default:
		p.fromSolids(b.Form.Solids)
	}
	if p.Basis.Blank == "" {
		p.Basis.Blank = "box round each solid, before carving"
	}
	p.texture()
	if b.Size != nil {
		p.Extent, p.Basis.Size = *b.Size, "as given"
	}
	p.mould(e)
	p.steady()
	return p, p.zones(e)
}

// steady keeps the measures to the digits that every processor agrees on.
func (p *Piece) steady() {
	for _, measure := range []*float64{
		&p.Surface, &p.Rim, &p.Volume, &p.Blank, &p.Silhouette, &p.Parting, &p.Flange, &p.Extent.Width, &p.Extent.Depth, &p.Extent.Height,
	} {
		*measure = unit.Steady(*measure)
	}
}

// laminateOf returns the laminate asked for, or the studio's usual one for the
// route.
func laminateOf(b *brief.Piece, e *ratebook.Edition, direct bool) string {
	if b.Laminate == "" && direct {
		return e.Policies.DirectLaminate
	}
	return b.Laminate
}

func (p *Piece) fromMeasured(m *brief.Measured) {
	p.Surface, p.Rim, p.Volume, p.Extent = m.Surface, m.Rim, m.Volume, m.Size
	p.Silhouette = m.Silhouette
	p.Basis = Basis{Surface: "as given", Rim: "as given", Volume: "as given", Silhouette: "as given", Size: "as given"}
	if p.Silhouette == 0 {
		p.Silhouette, p.Basis.Silhouette = m.Size.Width*m.Size.Height, "width x height of the size given"
	}
	p.Blanks = []foam.Blank{blank(m.Size, 1)}
	p.Blank = p.BoxVolume()
	// Where the size has no thickness to speak of, the blank still holds the piece.
	p.Blank = math.Max(p.Blank, p.Volume)
	p.Parting, p.Basis.Parting = outline(m.Size), "twice width and height of the size given"
}

// thinnest is the thinnest foam that is cut, in m.
const thinnest = 1e-3

func blank(x geometry.Extent, n int) foam.Blank {
	return foam.Blank{Width: math.Max(x.Width, thinnest), Depth: math.Max(x.Depth, thinnest), Height: math.Max(x.Height, thinnest), Count: n}
}

// outline is the edge of the front elevation's box.
func outline(x geometry.Extent) float64 { return 2 * (x.Width + x.Height) }

// fromSolids adds the solids up. Where they stand to each other is not known:
// surfaces and volumes add, heights are taken as stacked, and silhouettes and
// outlines are those of the solids side by side, which is never too small.
func (p *Piece) fromSolids(solids []brief.Solid) {
	p.Blanks = make([]foam.Blank, 0, len(solids))
	for i := range solids {
		p.add(&solids[i])
	}
	p.Basis = Basis{
		Surface: "sum of the solids less their contact areas", Rim: "openings and halved outlines of the solids, less the rim that they lose where they meet",
		Volume: "sum of the solids", Silhouette: "sum of the solids' largest elevations, overlap not taken off",
		Parting: "outlines of the solids at their cut planes, less open ends and the widths of their contacts", Size: "solids taken as stacked",
	}
	if len(solids) == 1 && solids[0].Count == 1 {
		p.Basis = Basis{
			Surface: "handbook formula", Rim: "openings and halved outline", Volume: "handbook formula", Silhouette: "largest elevation",
			Parting: "outline at the cut plane", Size: "the solid's own",
		}
		p.basisOf(solids[0].Kind)
	}
	p.passing(solids)
}

// passing warns of tubes that pass through themselves: what lies within the other counts
// as surface and is not there.
func (p *Piece) passing(solids []brief.Solid) {
	for i := range solids {
		if station, passes := geometry.PassesItself(solids[i].Shape); passes {
			p.Warnings = append(p.Warnings, fmt.Sprintf("the sweep passes through itself near stations[%d]: its surface counts twice there", station))
		}
	}
}

// basisOf says what the measures of a form that is one solid by itself rest on,
// where that is no formula of a handbook.
func (p *Piece) basisOf(kind string) {
	switch kind {
	case "outline":
		p.Basis.Surface, p.Basis.Volume = "area and edge of the outline, by its depth", "area of the outline, by its depth"
		p.Basis.Rim, p.Basis.Parting, p.Basis.Size = "edge of an open back", "edge of the outline, holes included", "the outline's own"
	case "profile":
		p.Basis.Surface, p.Basis.Volume = "profile turned piece by piece", "profile turned piece by piece"
		p.Basis.Size = "the profile's own"
	case "sweep":
		p.Basis.Surface, p.Basis.Volume = "tube along its centre line", "tube along its centre line"
		p.Basis.Silhouette, p.Basis.Size = "largest elevation, overlap not taken off", "box round the tube as it is drawn"
	}
}

// add leaves nothing less than nothing: a solid may lose all of its rim. Its
// products are rounded before they are summed, so that every processor
// gives the same last digit.
func (p *Piece) add(s *brief.Solid) {
	m, n := s.Measure(), float64(s.Count)
	p.Surface += float64(n * math.Max(0, m.Surface-s.Contact))
	p.Rim += float64(n * math.Max(0, m.Rim-s.Joined))
	p.Volume += float64(n * m.Volume)
	p.Silhouette += float64(n * m.Silhouette)
	p.Parting += float64(n * math.Max(0, m.Seam-contactWidth(s.Contact)))
	x := m.Extent
	p.Blanks = append(p.Blanks, blank(x, s.Count))
	p.Blank += float64(n * x.Width * x.Depth * x.Height)
	p.Extent.Width = math.Max(p.Extent.Width, x.Width)
	p.Extent.Depth = math.Max(p.Extent.Depth, x.Depth)
	p.Extent.Height += float64(n * x.Height)
}

// contactWidth is the width of a round contact of an area: where solids meet, the
// parting line does not run between them.
func contactWidth(area float64) float64 { return 2 * math.Sqrt(area/math.Pi) }

// texture: fur, bark and scales have more surface than the form they lie on.
func (p *Piece) texture() {
	if p.Texture > 1 {
		p.Surface *= p.Texture
		p.Basis.Surface += ", times the texture factor given"
	}
}

func (p *Piece) mould(e *ratebook.Edition) {
	p.MouldParts = p.Mould.Pieces
	if p.MouldParts == 0 {
		p.MouldParts = 1
		if p.Body == ratebook.Closed {
			p.MouldParts = 2
		}
	}
	if p.Sheet != nil {
		p.meshMould()
	} else {
		p.parting()
	}
	if p.Direct {
		return
	}
	// A checked brief gives the formula nothing it refuses.
	p.Flange, _ = laminate.FlangeArea(p.Parting, p.Rim, e.Policies.FlangeWidth)
	p.Pulls = pulls(p.Quantity, e.Policies.MouldLife, p.Mould.PerHand)
}

// parting: a mould of n pieces has n-1 parting lines; each is taken as long as
// the form's outline where the brief gives no length for all of them.
func (p *Piece) parting() {
	if p.Mould.Parting != nil {
		p.Parting, p.Basis.Parting = *p.Mould.Parting, "as given"
		return
	}
	p.Parting *= float64(p.MouldParts - 1)
}

// pulls shares the casts of one hand out over its moulds as evenly as may be: as
// many moulds as their life asks for, or as the brief does if that is more. No
// mould is made without a pull.
func pulls(casts, life, asked int) []int {
	moulds := min(casts, max(asked, (casts+life-1)/life))
	out := make([]int, moulds)
	for i := range out {
		out[i] = casts / moulds
		if i < casts%moulds {
			out[i]++
		}
	}
	return out
}

func (p *Piece) zones(e *ratebook.Edition) fault.List {
	var faults fault.List
	var root fault.Path
	if len(p.Piece.Zones) > 0 {
		p.Zones = make([]Zone, len(p.Piece.Zones))
	}
	covered := map[string]float64{}
	for i := range p.Piece.Zones {
		z := p.zone(&p.Piece.Zones[i], e)
		p.Zones[i] = z
		covered[z.Finish] += float64(z.Area * float64(z.Count))
		if covered[z.Finish] > p.Surface*(1+1e-9) {
			faults.Add(root.Item("zones", i), "zones with finish %q then cover %.3f m2 of a surface of %.3f m2; allowed: no more than there is",
				z.Finish, covered[z.Finish], p.Surface)
		}
	}
	return faults
}

func (p *Piece) zone(b *brief.Zone, e *ratebook.Edition) Zone {
	z := Zone{Zone: b, Total: b.Count * p.Casts(), Basis: "from its shape"}
	z.Treatment, _ = e.Treatment(b.Finish)
	m := p.zoneShape(&b.Shape).Measure()
	z.Area, z.Edge = unit.Steady(m.Area), unit.Steady(m.Edge)
	if m.EdgeIsBound { // isoperimetric inequality: 2 x sqrt(pi x area)
		z.Basis = "the least that its area can have"
	}
	return z
}

func (p *Piece) zoneShape(s *brief.ZoneShape) geometry.Zone {
	switch {
	case s.Spot != nil:
		return *s.Spot
	case s.Band != nil:
		// The brief was checked, so the band lies on its solid.
		d, _ := s.Band.DiameterOn(&p.Form)
		return geometry.Band{Diameter: d, Width: s.Band.Width}
	case s.Lettering != nil:
		return geometry.Panel{Area: s.Lettering.Area, Edge: s.Lettering.Edge}
	case s.Stripe != nil:
		return *s.Stripe
	case s.MeshArea != "":
		return p.areaOf(s.MeshArea)
	default:
		return geometry.Panel{Area: s.Panel.Share * p.Surface, Edge: s.Panel.Edge}
	}
}
