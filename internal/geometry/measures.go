package geometry

import "math"

// Ends says which flat faces of a solid are part of the moulded surface. A face
// that is not moulded is open: its edge is rim to trim. A solid with no top face
// (dome, cone, pyramid) looks at its base only, so for it EndsBoth means the same
// as EndsBase, and EndsNeither the same as EndsTop.
type Ends int

// The choices of moulded faces; the zero value moulds them all.
const (
	EndsBoth    Ends = iota // base and top moulded
	EndsBase                // base moulded, top open
	EndsTop                 // top moulded, base open
	EndsNeither             // base and top open
)

// BaseMoulded reports whether the base (or a bent tube's start) is moulded.
func (e Ends) BaseMoulded() bool { return e == EndsBoth || e == EndsBase }

// TopMoulded reports whether the top (or a bent tube's far end) is moulded.
func (e Ends) TopMoulded() bool { return e == EndsBoth || e == EndsTop }

// Extent is the upright box that just holds a solid, in metres.
type Extent struct {
	Width  float64 // along x, m
	Depth  float64 // along y, m
	Height float64 // along z, m
}

// Measures are what is known of one solid, whole or halved.
type Measures struct {
	Surface    float64 // m2, moulded surface: open faces and the cut face of a half are not moulded
	Volume     float64 // m3, enclosed, as if every open face were closed
	Rim        float64 // m, edges to trim: around openings, and around the open back of a half
	Outline    float64 // m, outline of the whole solid at its cut plane
	Seam       float64 // m, the outline without open ends: the parting line of a two-piece mould
	Silhouette float64 // m2, the largest of the front, side and plan elevation; a ring's hole is not counted
	Extent     Extent  // m
}

// A Solid is one of the shapes that a piece is built up from.
type Solid interface {
	// Faults lists everything wrong with the dimensions; empty when usable.
	Faults() []DimensionError
	// Measure gives the measures of the whole solid. It relies on Faults being empty.
	Measure() Measures
	// Half gives the measures of the solid halved along its axis and left open at
	// the back: half the surface, volume and depth. The rim follows the outline of
	// the cut, save that at an open end it follows the half of the opening's edge
	// instead of its chord. It relies on Faults being empty.
	Half() Measures
}

// A Turned solid is round about a vertical axis, so that a band can be put
// around it at a height.
type Turned interface {
	// RadiusAt gives the radius in metres at a height in metres above the solid's
	// base; the error is a [DimensionError] when the height is off the solid.
	RadiusAt(height float64) (float64, error)
}

// Kept is a solid that has been measured: for one that takes long and is asked often.
type Kept struct {
	Solid       // as it was when it was measured
	faults      []DimensionError
	whole, half Measures
	station     int // see [Sweep.PassesItself]
	passes      bool
}

// Keep measures a solid once and for all.
func Keep(s Solid) Kept {
	k := Kept{Solid: s, faults: s.Faults()}
	if len(k.faults) == 0 {
		k.whole, k.half = s.Measure(), s.Half()
		k.station, k.passes = PassesItself(s)
	}
	return k
}

// Faults lists what was wrong with the solid.
func (k Kept) Faults() []DimensionError { return k.faults }

// Measure gives the measures of the whole solid.
func (k Kept) Measure() Measures { return k.whole }

// Half gives the measures of the solid halved.
func (k Kept) Half() Measures { return k.half }

// body is the anatomy from which both the whole and the half are measured, so
// that the two cannot disagree. It is symmetric about the plane y = 0.
type body struct {
	skin      float64 // m2, all of the surface but the flat ends
	volume    float64 // m3
	profile   float64 // m, outline at the cut plane without the chords of the ends
	base, top face    // the zero face where a solid has none
	front     float64 // m2, elevation seen along y
	side      float64 // m2, elevation seen along x
	plan      float64 // m2, seen along z
	extent    Extent
}

func (b body) surface() float64 { return b.skin + b.base.moulded() + b.top.moulded() }

func (b body) outline() float64 { return b.profile + b.base.chord + b.top.chord }

// seam is the outline less the chords of open ends, where there is nothing to part.
func (b body) seam() float64 { return b.profile + b.base.parting() + b.top.parting() }

func (b body) whole() Measures {
	return Measures{
		Surface:    b.surface(),
		Volume:     b.volume,
		Rim:        b.base.rim() + b.top.rim(),
		Outline:    b.outline(),
		Seam:       b.seam(),
		Silhouette: max(b.front, b.side, b.plan),
		Extent:     b.extent,
	}
}

// half keeps the front elevation and halves the two that see the cut edge on.
func (b body) half() Measures {
	extent := b.extent
	extent.Depth /= 2
	return Measures{
		Surface:    b.surface() / 2,
		Volume:     b.volume / 2,
		Rim:        b.profile + b.base.halfRim() + b.top.halfRim(),
		Outline:    b.outline(),
		Seam:       b.seam(),
		Silhouette: max(b.front, b.side/2, b.plan/2),
		Extent:     extent,
	}
}

// face is a flat end of a solid; the zero face is a point, or no end at all.
type face struct {
	area      float64 // m2
	perimeter float64 // m
	chord     float64 // m, where the cut plane crosses it
	open      bool
}

func roundFace(diameter float64, moulded bool) face {
	return face{circleArea(diameter), math.Pi * diameter, diameter, !moulded}
}

func (f face) moulded() float64 {
	if f.open {
		return 0
	}
	return f.area
}

func (f face) rim() float64 {
	if f.open {
		return f.perimeter
	}
	return 0
}

func (f face) parting() float64 {
	if f.open {
		return 0
	}
	return f.chord
}

func (f face) halfRim() float64 {
	if f.open {
		return f.perimeter / 2
	}
	return f.chord
}

// circleArea is pi d^2/4, m2. Elementary.
func circleArea(diameter float64) float64 { return math.Pi * diameter * diameter / 4 }
