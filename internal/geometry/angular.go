package geometry

import "math"

// SidesMin and SidesMax bound the sides of a prism or pyramid. With more than 64
// sides it is a cylinder or cone to the eye, and cheaper to make as one.
const (
	SidesMin = 3
	SidesMax = 64
)

// Block is a rectangular box.
type Block struct {
	Width  float64 // m
	Depth  float64 // m
	Height float64 // m
	Ends   Ends
}

// Faults lists what is wrong with the block's dimensions.
func (b Block) Faults() []DimensionError {
	var f faultList
	f.length("width", b.Width)
	f.length("depth", b.Depth)
	f.length("height", b.Height)
	f.choice("ends", int(b.Ends), int(EndsNeither))
	return f
}

// Measure gives walls 2 (w + d) h, volume w d h and the ends that are moulded.
// Elementary.
func (b Block) Measure() Measures { return b.body().whole() }

// Half gives the measures of the block with its depth halved.
func (b Block) Half() Measures { return b.body().half() }

func (b Block) body() body {
	w, d, h := b.Width, b.Depth, b.Height
	end := face{area: w * d, perimeter: 2 * (w + d), chord: w}
	return body{
		skin: end.perimeter * h, volume: w * d * h, profile: 2 * h,
		base: end.openUnless(b.Ends.BaseMoulded()), top: end.openUnless(b.Ends.TopMoulded()),
		front: w * h, side: d * h, plan: w * d,
		extent: Extent{w, d, h},
	}
}

func (f face) openUnless(moulded bool) face {
	f.open = !moulded
	return f
}

// Prism is an upright column on a regular polygon. It stands with a vertex at the
// end of its width (on the x axis), so a half is cut through that vertex, and
// through the opposite vertex or, if the sides are odd in number, the middle of
// the opposite side.
type Prism struct {
	Sides      int     // SidesMin to SidesMax
	SideLength float64 // m
	Height     float64 // m
	Ends       Ends
}

// Faults lists what is wrong with the prism's dimensions.
func (p Prism) Faults() []DimensionError {
	return polygonFaults(p.Sides, p.SideLength, p.Height, p.Ends)
}

// Measure gives walls n s h, volume B h and the ends that are moulded, with base
// B = (n s^2/4) cot(pi/n). Elementary.
func (p Prism) Measure() Measures { return p.body().whole() }

// Half gives the measures of the prism cut through a vertex.
func (p Prism) Half() Measures { return p.body().half() }

func (p Prism) body() body {
	base, h := regularPolygon{p.Sides, p.SideLength}, p.Height
	end := base.face()
	return body{
		skin: end.perimeter * h, volume: end.area * h, profile: 2 * h,
		base: end.openUnless(p.Ends.BaseMoulded()), top: end.openUnless(p.Ends.TopMoulded()),
		front: base.width() * h, side: base.depth() * h, plan: end.area,
		extent: Extent{base.width(), base.depth(), h},
	}
}

// Pyramid is an upright pyramid on a regular polygon, which stands and is cut as a
// [Prism] is. Only the base of Ends counts.
type Pyramid struct {
	Sides      int     // SidesMin to SidesMax
	SideLength float64 // m
	Height     float64 // m
	Ends       Ends
}

// Faults lists what is wrong with the pyramid's dimensions.
func (p Pyramid) Faults() []DimensionError {
	return polygonFaults(p.Sides, p.SideLength, p.Height, p.Ends)
}

// Measure gives sides n s/2 sqrt(h^2 + a^2), volume B h/3 and the base if it is
// moulded, with apothem a = (s/2) cot(pi/n) and base B = n s a/2. Elementary.
func (p Pyramid) Measure() Measures { return p.body().whole() }

// Half gives the measures of the pyramid cut through a vertex of its base.
func (p Pyramid) Half() Measures { return p.body().half() }

func (p Pyramid) body() body {
	base, h := regularPolygon{p.Sides, p.SideLength}, p.Height
	end := base.face()
	return body{
		skin:    end.perimeter / 2 * math.Hypot(h, base.apothem()),
		volume:  end.area * h / 3,
		profile: math.Hypot(h, base.circumradius()) + math.Hypot(h, base.opposite()),
		base:    end.openUnless(p.Ends.BaseMoulded()),
		front:   base.width() * h / 2, side: base.depth() * h / 2, plan: end.area,
		extent: Extent{base.width(), base.depth(), h},
	}
}

func polygonFaults(sides int, sideLength, height float64, ends Ends) faultList {
	var f faultList
	f.within("sides", float64(sides), SidesMin, SidesMax, Number, "sides")
	f.length("sideLength", sideLength)
	f.length("height", height)
	f.choice("ends", int(ends), int(EndsNeither))
	return f
}

// regularPolygon lies in the x-y plane about the axis, with a vertex on x.
type regularPolygon struct {
	sides int
	side  float64 // m
}

func (p regularPolygon) step() float64 { return math.Pi / float64(p.sides) }

// apothem is (s/2) cot(pi/n): the axis to the middle of a side, m.
func (p regularPolygon) apothem() float64 { return p.side / 2 / math.Tan(p.step()) }

// circumradius is (s/2)/sin(pi/n): the axis to a vertex, m.
func (p regularPolygon) circumradius() float64 { return p.side / 2 / math.Sin(p.step()) }

// opposite is how far the polygon reaches from the axis across from a vertex, m.
func (p regularPolygon) opposite() float64 {
	if p.sides%2 == 0 {
		return p.circumradius()
	}
	return p.apothem()
}

func (p regularPolygon) width() float64 { return p.circumradius() + p.opposite() }

// depth is twice the farthest vertex from the x axis. The vertex nearest to y is
// off it by nothing, half a step or a whole step (pi/n), as n leaves 0, an odd
// number or 2 on division by 4.
func (p regularPolygon) depth() float64 {
	off := [4]float64{0, 0.5, 1, 0.5}[p.sides%4]
	return 2 * p.circumradius() * math.Cos(off*p.step())
}

func (p regularPolygon) face() face {
	perimeter := float64(p.sides) * p.side
	return face{area: perimeter * p.apothem() / 2, perimeter: perimeter, chord: p.width()}
}

// PyramidFrustum gives the volume h/3 (A1 + A2 + sqrt(A1 A2)) in m3 of a pyramid
// with its top cut off level, from the areas of its two faces in m2 and its height
// in metres (MH p. 89).
func PyramidFrustum(baseArea, topArea, height float64) (float64, error) {
	var f faultList
	f.area("baseArea", baseArea)
	f.area("topArea", topArea)
	f.length("height", height)
	if err := f.err(); err != nil {
		return 0, err
	}
	return height / 3 * (baseArea + topArea + math.Sqrt(baseArea*topArea)), nil
}
