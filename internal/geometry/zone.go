package geometry

import (
	"fmt"
	"math"
)

// TurnsMax is the most turns accepted of a helical stripe.
const TurnsMax = 10000

// ZoneMeasures are the measures of one area of a surface that has a finish of its
// own.
type ZoneMeasures struct {
	Area        float64 // m2
	Edge        float64 // m, to mask
	EdgeIsBound bool    // the edge was not known: Edge is the least it can be, see LeastEdge
}

// A Zone is a shape of zone.
type Zone interface {
	// Faults lists everything wrong with the dimensions; empty when usable.
	Faults() []DimensionError
	// Measure gives area and edge. It relies on Faults being empty.
	Measure() ZoneMeasures
}

// Spot is a round patch, measured flat: on a curved surface it is taken as cut
// from flat sheet, which is near enough while it is small against the curve.
type Spot struct {
	Diameter float64 // m
}

// Faults lists what is wrong with the spot's dimensions.
func (s Spot) Faults() []DimensionError {
	var f faultList
	f.length("diameter", s.Diameter)
	return f
}

// Measure gives area pi d^2/4 and edge pi d. Elementary.
func (s Spot) Measure() ZoneMeasures {
	return ZoneMeasures{Area: circleArea(s.Diameter), Edge: math.Pi * s.Diameter}
}

// Band runs right round a turned form. Diameter is the form's at the middle of the
// band (twice [Turned.RadiusAt]); Width is measured along the surface. The area is
// then exact on a cylinder, cone or frustum (Pappus-Guldin).
type Band struct {
	Diameter float64 // m
	Width    float64 // m
}

// Faults lists what is wrong with the band's dimensions.
func (b Band) Faults() []DimensionError {
	var f faultList
	f.length("diameter", b.Diameter)
	f.length("width", b.Width)
	return f
}

// Measure gives area pi d w and, for its two edges together, 2 pi d. Elementary.
func (b Band) Measure() ZoneMeasures {
	return ZoneMeasures{Area: math.Pi * b.Diameter * b.Width, Edge: 2 * math.Pi * b.Diameter}
}

// Panel is an area of any shape. Edge is its length to mask if that is known, and
// zero if not.
type Panel struct {
	Area float64 // m2
	Edge float64 // m, or 0: not known
}

// Faults lists what is wrong with the panel. An edge shorter than [LeastEdge] is
// no fault: on a domed surface it can be.
func (p Panel) Faults() []DimensionError {
	var f faultList
	f.area("area", p.Area)
	f.lengthWithin("edge", p.Edge, 0, AreaMax)
	return f
}

// Measure gives the area and the edge, or a bound for the edge if it is not known.
func (p Panel) Measure() ZoneMeasures {
	if p.Edge == 0 {
		return ZoneMeasures{Area: p.Area, Edge: leastEdge(p.Area), EdgeIsBound: true}
	}
	return ZoneMeasures{Area: p.Area, Edge: p.Edge}
}

// LeastEdge gives 2 sqrt(pi A), the shortest edge in metres that a flat panel of
// area A in m2 can have: that of a disc (isoperimetric inequality). Surfaces that
// unroll flat obey it too; on a domed one the edge can be shorter still (on a
// sphere of radius R, L^2 >= 4 pi A - A^2/R^2), so there it is an estimate.
func LeastEdge(area float64) (float64, error) {
	var f faultList
	f.area("area", area)
	if err := f.err(); err != nil {
		return 0, err
	}
	return leastEdge(area), nil
}

func leastEdge(area float64) float64 { return 2 * math.Sqrt(math.Pi*area) }

// HelicalStripe winds up a straight round column. It is a [Zone]; its two ends,
// which run out at the ends of the column, are not masked.
type HelicalStripe struct {
	Diameter float64 // m, of the column
	Pitch    float64 // m, climb in one turn
	Turns    float64 // may be a fraction
	Width    float64 // m, square to the stripe's edge
}

// Faults lists what is wrong with the stripe, overlapping itself included.
func (s HelicalStripe) Faults() []DimensionError {
	var f faultList
	f.length("diameter", s.Diameter)
	f.length("pitch", s.Pitch)
	if !(s.Turns > 0 && s.Turns <= TurnsMax) {
		f.add("turns", s.Turns, Number, fmt.Sprintf("more than 0 and at most %d", TurnsMax))
	}
	f.length("width", s.Width)
	if len(f) == 0 && s.Width > s.widest() {
		f.add("width", s.Width, Millimetres, "at most "+atMost(s.widest(), workedDigits)+", or the stripe overlaps itself")
	}
	return f
}

// widest is the width at which the stripe meets itself, m.
func (s HelicalStripe) widest() float64 {
	return s.Pitch * (math.Pi * s.Diameter / s.LengthPerTurn())
}

// LengthPerTurn gives sqrt((pi d)^2 + p^2) in metres: the hypotenuse of the column
// unrolled (developed cylinder).
func (s HelicalStripe) LengthPerTurn() float64 { return math.Hypot(math.Pi*s.Diameter, s.Pitch) }

// Coverage gives the share of the column's surface that the stripe covers,
// w L/(pi d p) with L the length per turn (developed cylinder).
func (s HelicalStripe) Coverage() float64 {
	return s.Width / s.Pitch * (s.LengthPerTurn() / (math.Pi * s.Diameter))
}

// Measure gives area N w L and edge 2 N L for N turns (developed cylinder).
func (s HelicalStripe) Measure() ZoneMeasures {
	length := s.Turns * s.LengthPerTurn()
	return ZoneMeasures{Area: s.Width * length, Edge: 2 * length}
}
