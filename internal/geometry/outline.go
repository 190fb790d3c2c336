package geometry

import (
	"fmt"
	"math"
	"slices"
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
func polygonArea(loop []Point) float64 { return math.Abs(signedArea(loop)) }

// signedArea is positive for a loop that goes round leftwards.
func signedArea(loop []Point) float64 {
	origin, twice := loop[0], 0.0
	for i, p := range loop {
		q := loop[(i+1)%len(loop)]
		twice += (p.X-origin.X)*(q.Y-origin.Y) - (q.X-origin.X)*(p.Y-origin.Y)
	}
	return twice / 2
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
		f.add(field, float64(len(loop)), Number, "at least 3 points")
	}
	for i, p := range loop {
		f.coordinate(fmt.Sprintf("%s[%d].x", field, i), p.X)
		f.coordinate(fmt.Sprintf("%s[%d].y", field, i), p.Y)
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

// ExtrudedOutline is a built-up letter, sign or relief: what an outline fills, given
// a depth. It stands upright facing front. The base of Ends is its back and the top
// its front, so EndsTop is an open-backed letter.
//
// Where EdgeRadius is not 0, a quarter round runs along the whole front edge, holes
// included. A depth t in from the edge the perimeter is then P - c t and the area
// A - P t + c t^2/2 (Steiner, for an inset), c from [InsetLoss]. That is exact for a
// disc, a bar and any outline whose corners stay sharp and whose parts stay apart
// all the way in; a stroke narrower than the round is not told from its neighbours,
// only an outline that has no room for the round at all.
type ExtrudedOutline struct {
	Region     Region
	InsetLoss  float64 // 2 pi for a disc; counts only where EdgeRadius is not 0
	Depth      float64 // m
	EdgeRadius float64 // m, at most Depth; 0 for a sharp front edge
	Ends       Ends
}

// Faults lists what is wrong with the outline.
func (o ExtrudedOutline) Faults() []DimensionError {
	var f faultList
	if !(o.Region.Area > 0 && o.Region.Area <= AreaMax && o.Region.Perimeter <= AreaMax) {
		f.add("region", o.Region.Area, SquareMetres, fmt.Sprintf("an outline that fills more than nothing, at most %g m2", float64(AreaMax)))
	}
	f.length("depth", o.Depth)
	f.choice("ends", int(o.Ends), int(EndsNeither))
	f.within("insetLoss", o.InsetLoss, -AreaMax, AreaMax, Number, "")
	switch {
	case !(o.EdgeRadius >= 0 && o.EdgeRadius <= o.Depth):
		f.add("edgeRadius", o.EdgeRadius, Millimetres, "0 to "+atMost(o.Depth, typedDigits)+", the depth")
	case len(f) == 0 && o.EdgeRadius > o.room():
		f.add("edgeRadius", o.EdgeRadius, Millimetres, "at most "+atMost(o.room(), workedDigits)+", which leaves nothing of the front")
	}
	return f
}

// room is the inset at which nothing is left: the smaller root of A - P t + c t^2/2, and
// what it may be short by: of a disc or a square the two roots are one, and half the
// digits are lost.
func (o ExtrudedOutline) room() float64 {
	a, p := o.Region.Area, o.Region.Perimeter
	return 2 * a / (p + math.Sqrt(max(0, p*p-2*o.InsetLoss*a))) * (1 + 1e-7)
}

// Face gives the flat of the front: all of it, or what a rounded edge leaves. It
// relies on Faults being empty.
func (o ExtrudedOutline) Face() Face {
	a, p, c, e := o.Region.Area, o.Region.Perimeter, o.InsetLoss, o.EdgeRadius
	return Face{Area: max(0, a-p*e+c*e*e/2), Perimeter: max(0, p-c*e)}
}

// Measure gives, with area A and perimeter P of the outline, depth d, radius e of
// the front edge and c its InsetLoss,
//
//	walls   P (d - e) + P e pi/2 - c e^2 (pi/2 - 1)
//	volume  A d - P e^2 (1 - pi/4) + c e^3 (5/6 - pi/4)
//
// and the flat faces that are moulded: the quarter round is swept along the edge
// (Pappus-Guldin; the integrals of the insets e (1 - cos f) over f from 0 to pi/2).
// Outline, seam and the rim of an open back are P: holes have edges too. It relies
// on Faults being empty.
func (o ExtrudedOutline) Measure() Measures {
	a, p, c, e := o.Region.Area, o.Region.Perimeter, o.InsetLoss, o.EdgeRadius
	front, size := o.Face(), o.extent()
	return body{
		skin:   max(0, p*(o.Depth-e)+p*e*math.Pi/2-c*e*e*(math.Pi/2-1)),
		volume: max(0, a*o.Depth-p*e*e*(1-math.Pi/4)+c*e*e*e*(5.0/6-math.Pi/4)), profile: p,
		base:  face{area: a, perimeter: p, open: !o.Ends.BaseMoulded()},
		top:   face{area: front.Area, perimeter: front.Perimeter, open: !o.Ends.TopMoulded()},
		front: a, side: size.Depth * size.Height, plan: size.Width * size.Depth,
		extent: size,
	}.whole()
}

// Half gives the measures of the front half of the depth, open at the back.
func (o ExtrudedOutline) Half() Measures {
	o.Depth /= 2
	o.EdgeRadius = min(o.EdgeRadius, o.Depth)
	if o.Ends.TopMoulded() {
		o.Ends = EndsTop
	} else {
		o.Ends = EndsNeither
	}
	return o.Measure()
}

func (o ExtrudedOutline) extent() Extent {
	low, high := o.Region.Low, o.Region.High
	return Extent{Width: high.X - low.X, Depth: o.Depth, Height: high.Y - low.Y}
}

// InsetLoss gives how much shorter the edge of a region becomes, in metres for each
// metre, as it is set in: the sum of 2 tan(a/2) over its corners, a the angle that
// the edge turns through there, to the inside counted positive (elementary). A curve
// of many corners comes to what it turns through, so a disc loses 2 pi and a
// ring-shaped region nothing; a rectangle loses 8.
//
// The loops are taken one by one: corners that loops which cross make with each
// other are not counted, and a corner sharper than about 11 degrees counts as that.
func InsetLoss(loops [][]Point, rule Rule) float64 {
	sum, work := 0.0, 0
	for _, loop := range loops {
		work += len(loop)
	}
	for _, loop := range loops {
		side := 1.0
		if len(loops)*work <= insetWorkMax {
			side = insideSide(loop, loops, rule)
		} else if signedArea(loop) < 0 {
			side = -1 // as a single loop
		}
		sum += side * turning(loop)
	}
	return sum
}

// insetWorkMax bounds the looking for what lies beside loops, for drawings of very
// many.
const insetWorkMax = 4_000_000

// turning is the sum of 2 tan(a/2) over a loop's corners, left turns positive.
func turning(loop []Point) float64 {
	const sharpest = 10 // tan(a/2)
	loop = withoutRepeats(loop)
	sum, n := 0.0, len(loop)
	for i, p := range loop {
		before, after := loop[(i+n-1)%n], loop[(i+1)%n]
		in, out := vector{p.X - before.X, p.Y - before.Y}, vector{after.X - p.X, after.Y - p.Y}
		sin, cos := in.cross(out)[2], in.dot(out)
		if whole := in.length()*out.length() + cos; whole > 0 {
			sum += 2 * max(-sharpest, min(sharpest, sin/whole))
		}
	}
	return sum
}

func withoutRepeats(loop []Point) []Point {
	out := slices.Compact(slices.Clone(loop))
	for len(out) > 1 && out[len(out)-1] == out[0] {
		out = out[:len(out)-1]
	}
	return out
}

// insideSide is 1 where the inside lies left of the loop's longest edge, -1 where it
// lies right, 0 where that edge parts nothing.
func insideSide(loop []Point, loops [][]Point, rule Rule) float64 {
	const aside = 1e-6 // of the edge
	n, at, longest := len(loop), 0, 0.0
	for i, p := range loop {
		if d := math.Hypot(loop[(i+1)%n].X-p.X, loop[(i+1)%n].Y-p.Y); d > longest {
			at, longest = i, d
		}
	}
	if longest == 0 {
		return 0
	}
	p, q := loop[at], loop[(at+1)%n]
	dx, dy := aside*(q.X-p.X), aside*(q.Y-p.Y)
	middle := Point{(p.X + q.X) / 2, (p.Y + q.Y) / 2}
	left := rule.inside(winding(Point{middle.X - dy, middle.Y + dx}, loops))
	right := rule.inside(winding(Point{middle.X + dy, middle.Y - dx}, loops))
	switch {
	case left && !right:
		return 1
	case right && !left:
		return -1
	default:
		return 0
	}
}

// winding is how often loops go round a point, leftwards positive: the edges that
// cross the ray to the right of it, up less down.
func winding(at Point, loops [][]Point) int {
	n := 0
	for _, loop := range loops {
		for i, p := range loop {
			q := loop[(i+1)%len(loop)]
			up := p.Y <= at.Y && q.Y > at.Y
			if down := q.Y <= at.Y && p.Y > at.Y; !up && !down {
				continue
			}
			left := (Edge{From: p, To: q}).side(at) > 0
			if up && left {
				n++
			} else if !up && !left {
				n--
			}
		}
	}
	return n
}
