package geometry

import (
	"fmt"
	"math"
)

// Point is a corner of an outline, in metres from any origin.
type Point struct {
	X float64 // m, to the right
	Y float64 // m, upwards
}

// Face is a flat shape.
type Face struct {
	Area      float64 // m2, without its holes
	Perimeter float64 // m, of every loop: holes add to it
}

// PolygonArea gives the area in m2 that a closed loop of corners encloses, either
// way round: |sum(x_i y_i+1 - x_i+1 y_i)|/2 (shoelace formula). The last corner
// joins the first. The loop may not cross itself; that is not checked.
func PolygonArea(loop []Point) (float64, error) {
	if err := loopFaults("points", loop).err(); err != nil {
		return 0, err
	}
	return polygonArea(loop), nil
}

// polygonArea measures from the first corner: an outline drawn far from the origin
// would otherwise lose its digits in the differences.
func polygonArea(loop []Point) float64 {
	origin, twice := loop[0], 0.0
	for i, p := range loop {
		q := loop[(i+1)%len(loop)]
		twice += (p.X-origin.X)*(q.Y-origin.Y) - (q.X-origin.X)*(p.Y-origin.Y)
	}
	return math.Abs(twice) / 2
}

// PolygonPerimeter gives the length in metres of a closed loop of corners, the last
// joined to the first. Elementary.
func PolygonPerimeter(loop []Point) (float64, error) {
	if err := loopFaults("points", loop).err(); err != nil {
		return 0, err
	}
	return polygonPerimeter(loop), nil
}

func polygonPerimeter(loop []Point) float64 {
	sum := 0.0
	for i, p := range loop {
		q := loop[(i+1)%len(loop)]
		sum += math.Hypot(q.X-p.X, q.Y-p.Y)
	}
	return sum
}

func loopFaults(field string, loop []Point) faultList {
	var f faultList
	if len(loop) < 3 {
		f.add(field, float64(len(loop)), "at least 3 points")
	}
	for i, p := range loop {
		f.within(fmt.Sprintf("%s[%d].x", field, i), p.X, -LengthMax, LengthMax, " m")
		f.within(fmt.Sprintf("%s[%d].y", field, i), p.Y, -LengthMax, LengthMax, " m")
	}
	return f
}

// Star gives the face of a five-pointed star whose points lie on a circle of the
// given radius R in metres and whose edges lie on the lines of the pentagram: area
// 5 R r sin 36 deg and perimeter 10 sqrt(R^2 + r^2 - 2 R r cos 36 deg), with inner
// radius r = R sin 18 deg/sin 126 deg. Elementary.
func Star(circumradius float64) (Face, error) {
	var f faultList
	f.length("circumradius", circumradius)
	if err := f.err(); err != nil {
		return Face{}, err
	}
	const degree = math.Pi / 180
	outer, inner := circumradius, circumradius*math.Sin(18*degree)/math.Sin(126*degree)
	sin, cos := math.Sincos(36 * degree)
	return Face{
		Area:      5 * outer * inner * sin,
		Perimeter: 10 * math.Hypot(outer-inner*cos, inner*sin),
	}, nil
}

// ExtrudedOutline is a built-up letter, sign or relief: an outline, with holes (the
// counters of a letter), given a depth. It stands upright facing front. The base of
// Ends is its back and the top its front, so EndsTop is an open-backed letter. Holes
// lie inside the outer loop and apart from each other; that is not checked.
type ExtrudedOutline struct {
	Outer []Point
	Holes [][]Point
	Depth float64 // m
	Ends  Ends
}

// Faults lists what is wrong with the outline.
func (o ExtrudedOutline) Faults() []DimensionError {
	f := loopFaults("outer", o.Outer)
	for i, hole := range o.Holes {
		f = append(f, loopFaults(fmt.Sprintf("holes[%d]", i), hole)...)
	}
	if len(f) == 0 && o.Face().Area <= 0 {
		f.add("outer", o.Face().Area, "an outline that encloses more than its holes, m2")
	}
	f.length("depth", o.Depth)
	f.choice("ends", int(o.Ends), int(EndsNeither))
	return f
}

// Face gives the front face: the outer area less the holes, and every loop's
// perimeter together. It relies on Faults being empty.
func (o ExtrudedOutline) Face() Face {
	face := Face{polygonArea(o.Outer), polygonPerimeter(o.Outer)}
	for _, hole := range o.Holes {
		face.Area -= polygonArea(hole)
		face.Perimeter += polygonPerimeter(hole)
	}
	return face
}

// Measure gives returns P depth, the faces that are moulded and volume A depth,
// with A and P the area and perimeter of the front face (elementary). The outline
// and the rim of an open back are P: holes have edges too. It relies on Faults
// being empty.
func (o ExtrudedOutline) Measure() Measures {
	front, size := o.Face(), o.extent()
	back := face{area: front.Area, perimeter: front.Perimeter}
	return body{
		skin: front.Perimeter * o.Depth, volume: front.Area * o.Depth, profile: front.Perimeter,
		base: back.openUnless(o.Ends.BaseMoulded()), top: back.openUnless(o.Ends.TopMoulded()),
		front: front.Area, side: size.Depth * size.Height, plan: size.Width * size.Depth,
		extent: size,
	}.whole()
}

func (o ExtrudedOutline) extent() Extent {
	low, high := o.Outer[0], o.Outer[0]
	for _, p := range o.Outer {
		low = Point{min(low.X, p.X), min(low.Y, p.Y)}
		high = Point{max(high.X, p.X), max(high.Y, p.Y)}
	}
	return Extent{Width: high.X - low.X, Depth: o.Depth, Height: high.Y - low.Y}
}
