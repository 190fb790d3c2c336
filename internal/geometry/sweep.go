package geometry

import (
	"fmt"
	"math"
)

// Station is a point of a sweep's centre line with the diameter of the tube there.
type Station struct {
	X        float64 // m, across
	Y        float64 // m, front to back
	Z        float64 // m, up
	Diameter float64 // m
}

func (s Station) point() vector { return vector{s.X, s.Y, s.Z} }

// Sweep is a round tube along a centre line, its diameter given at each station: a
// tail, a horn, a twig. Its start is the base of Ends, its far end the top.
//
// Between stations the centre line is straight and the tube a cone frustum, mitred
// at each bend; or, where Smooth is set, it is a centripetal Catmull-Rom curve
// (Catmull and Rom 1974; knots the square roots of the distances, Yuksel, Schaefer
// and Keyser 2011; from memory), which runs through the stations with a steady
// direction (C1) and has no loop or cusp between two of them. Its end directions
// are those of the parabola through the three stations there. The diameter then
// follows a monotone cubic (Fritsch and Butland 1984, from memory), which never
// leaves the range of the two stations that it runs between.
//
// Bends that are too tight for the tube are faults. A tube that passes through itself
// further along is none: see [Sweep.PassesItself]. A line that ends where it starts
// still has two ends.
//
// A half is cut along the centre line by a sheet that runs across the view from the
// front; in the plane of the bends where the line lies in an upright plane facing
// front. The measures of a half are exact for such a line, and near for others.
type Sweep struct {
	Stations []Station // at least 2
	Smooth   bool
	Ends     Ends
}

// Faults lists what is wrong with the sweep. A bend that is too tight is reported
// at the diameter of the station it is nearest to.
func (s Sweep) Faults() []DimensionError {
	var f faultList
	if len(s.Stations) < 2 {
		f.add("stations", float64(len(s.Stations)), Number, "at least 2 stations")
	}
	for i, at := range s.Stations {
		s.stationFaults(&f, i, at)
	}
	f.choice("ends", int(s.Ends), int(EndsNeither))
	if len(f) == 0 {
		s.bendFaults(&f)
	}
	return f
}

func (s Sweep) stationFaults(f *faultList, i int, at Station) {
	const x, y, z, diameter = "x", "y", "z", "diameter"
	f.coordinate(stationField(i, x), at.X)
	f.coordinate(stationField(i, y), at.Y)
	f.coordinate(stationField(i, z), at.Z)
	f.length(stationField(i, diameter), at.Diameter)
	if i == 0 {
		return
	}
	if apart := at.point().minus(s.Stations[i-1].point()).length(); apart < LengthMin {
		f.add(fmt.Sprintf("stations[%d]", i), apart, Millimetres, "at least "+atLeast(LengthMin, typedDigits)+" from the station before")
	}
}

func stationField(i int, name string) string { return fmt.Sprintf("stations[%d].%s", i, name) }

func (s Sweep) bendFaults(f *faultList) {
	if s.Smooth {
		s.curveFaults(f)
		return
	}
	s.mitreFaults(f)
}

// curveFaults finds where a smooth line bends more sharply than the tube is wide:
// its inner side would fold (1 - r/R < 0 with R the radius of the bend). Where the line
// turns straight back it has no direction and no bend to be measured.
func (s Sweep) curveFaults(f *faultList) {
	last, tightest := -1, 0.0
	for i, p := range s.pieces() {
		if s.turnsBack(i + 1) {
			last, tightest = i+1, math.Inf(1)
			s.straightBackFault(f, last)
			continue
		}
		bend, u := p.tightest()
		at := i
		if u > 0.5 {
			at++
		}
		r := p.radius.at(u)
		if r*bend <= 1 || at == last && bend <= tightest {
			continue
		}
		if at == last { // the tighter of the bends on both sides of a station
			*f = (*f)[:len(*f)-1]
		}
		f.add(stationField(at, "diameter"), 2*r, Millimetres,
			"at most "+atMost(2/bend, workedDigits)+" near there, twice the radius of the bend, or the tube runs into itself")
		last, tightest = at, bend
	}
}

func (s Sweep) straightBackFault(f *faultList, i int) {
	f.add(stationField(i, "diameter"), s.Stations[i].Diameter, Millimetres, "a wider bend: the line turns straight back there")
}

// turnsBack says whether the line comes back from a station the way it went there.
func (s Sweep) turnsBack(i int) bool {
	return i > 0 && i < len(s.Stations)-1 && s.direction(i-1).dot(s.direction(i)) < straightBack
}

// straightBack is the cosine of a bend that cannot be told from a half turn.
const straightBack = -1 + 1e-12

// mitreFaults finds straight pieces that are too short for the mitres at their
// ends. A mitre of a bend through t takes r tan(t/2) off the inner side of each
// piece and puts it on the outer side; the two of a piece meet where, on some side
// of the tube, they take more than its length between them.
func (s Sweep) mitreFaults(f *faultList) {
	before := vector{}
	for i := range s.Stations[1:] {
		length := s.Stations[i+1].point().minus(s.Stations[i].point()).length()
		after, ahead := s.mitre(i + 1)
		if taken := before.plus(ahead).length(); taken > length {
			at := i + 1
			if before.length() > ahead.length() {
				at = i
			}
			f.add(stationField(at, "diameter"), s.Stations[at].Diameter, Millimetres, fmt.Sprintf(
				"less, or a wider bend: the mitres take %s of the %s from stations[%d] to stations[%d]",
				atLeast(taken, workedDigits), atMost(length, workedDigits), i, i+1))
		}
		if s.turnsBack(i + 1) {
			s.straightBackFault(f, i+1)
		}
		before = after
	}
}

// mitre gives what the mitre at a station takes off the piece after it and off the
// piece before it, in metres, as vectors square to the piece that point to the side
// it is taken from. There is none at the ends, and none that could be cut where the line
// turns straight back.
func (s Sweep) mitre(i int) (after, before vector) {
	if i == 0 || i == len(s.Stations)-1 || s.turnsBack(i) {
		return vector{}, vector{}
	}
	in, out := s.direction(i-1), s.direction(i)
	// For unit vectors tan(t/2) = |in x out|/(1 + in . out), and out - in (in . out)
	// is as long as the cross product and points to the inner side.
	r, cos := s.Stations[i].Diameter/2, in.dot(out)
	scale := r / (1 + cos)
	return out.times(cos).minus(in).times(scale), out.minus(in.times(cos)).times(scale)
}

// direction is that of the straight piece after a station.
func (s Sweep) direction(i int) vector {
	return s.Stations[i+1].point().minus(s.Stations[i].point()).unit()
}

// Measure gives, with r the radius, k the curvature of the centre line and s the
// length along it, the surface
//
//	integral of r sqrt((1 - k r cos f)^2 + (dr/ds)^2) df ds,  f from 0 to 2 pi
//
// (the area element of a tube about a curve; elementary) and the volume, the
// integral of pi r^2 ds (Pappus-Guldin). So for an even diameter the surface is
// 2 pi r L and the volume pi r^2 L however the line bends. Straight pieces come out
// as cone frustums on their centre lines (MH p. 90): with mitres that is exact for
// an even diameter, since a mitre takes off one side what it puts on the other.
//
// The silhouette is a bound, never too small: an elevation counts twice what the
// tube hides of itself, and is no more than the box round it. The outline is that
// of the tube laid out in the plane of its bends. It relies on Faults being empty.
func (s Sweep) Measure() Measures { return s.body().whole() }

// Half gives the measures of the sweep split along its centre line: the rim is the
// two edges of the cut and half the edge of each open end.
func (s Sweep) Half() Measures {
	b := s.body()
	m := b.half()
	low, high := s.Stations[0].Y, s.Stations[0].Y
	for _, p := range s.pieces() {
		for _, u := range p.steps() {
			low, high = min(low, p.y.at(u)), max(high, p.y.at(u))
		}
	}
	m.Extent.Depth = b.extent.Depth/2 + (high-low)/2
	if high > low { // the cut does not face the front squarely
		m.Silhouette = max(b.front, b.side, b.plan)
	}
	return m
}

func (s Sweep) body() body {
	first, last := s.Stations[0], s.Stations[len(s.Stations)-1]
	b := body{
		base: roundFace(first.Diameter, s.Ends.BaseMoulded()), top: roundFace(last.Diameter, s.Ends.TopMoulded()),
		extent: s.extent(),
	}
	pieces := s.pieces()
	for _, p := range pieces {
		p.addTo(&b)
	}
	pieces[0].slice(0).endShadow(&b)
	pieces[len(pieces)-1].slice(1).endShadow(&b)
	x := b.extent
	b.front, b.side, b.plan = min(b.front, x.Width*x.Height), min(b.side, x.Depth*x.Height), min(b.plan, x.Width*x.Depth)
	return b
}

// piece is the tube from one station to the next, u running from 0 to 1.
type piece struct{ x, y, z, radius cubic }

func (s Sweep) pieces() []piece {
	if s.Smooth {
		return s.smoothPieces()
	}
	out := make([]piece, len(s.Stations)-1)
	for i := range out {
		p, q := s.Stations[i], s.Stations[i+1]
		out[i] = piece{line(p.X, q.X), line(p.Y, q.Y), line(p.Z, q.Z), line(p.Diameter/2, q.Diameter/2)}
	}
	return out
}

func (s Sweep) smoothPieces() []piece {
	knots := s.knots()
	x := through(knots, s.each(func(p Station) float64 { return p.X }), parabolaSlopes)
	y := through(knots, s.each(func(p Station) float64 { return p.Y }), parabolaSlopes)
	z := through(knots, s.each(func(p Station) float64 { return p.Z }), parabolaSlopes)
	r := through(knots, s.each(func(p Station) float64 { return p.Diameter / 2 }), monotoneSlopes)
	out := make([]piece, len(x))
	for i := range out {
		out[i] = piece{x[i], y[i], z[i], r[i]}
	}
	return out
}

func (s Sweep) each(of func(Station) float64) []float64 {
	out := make([]float64, len(s.Stations))
	for i, at := range s.Stations {
		out[i] = of(at)
	}
	return out
}

// knots are the steps of the curve's parameter: the square roots of the distances
// between stations (centripetal).
func (s Sweep) knots() []float64 {
	out := make([]float64, len(s.Stations)-1)
	for i := range out {
		out[i] = math.Sqrt(s.Stations[i+1].point().minus(s.Stations[i].point()).length())
	}
	return out
}

// slice is a thin slice of the tube, square to the centre line.
type slice struct {
	centre vector
	along  vector  // of length 1
	speed  float64 // m of centre line for one of u
	radius float64 // m
	taper  float64 // dr/ds
	bend   float64 // 1/m, curvature
}

func (p piece) slice(u float64) slice {
	v, a := p.velocity(u), vector{p.x.bend(u), p.y.bend(u), p.z.bend(u)}
	speed := v.length()
	return slice{
		centre: vector{p.x.at(u), p.y.at(u), p.z.at(u)}, along: v.times(1 / speed), speed: speed,
		radius: p.radius.at(u), taper: p.radius.slope(u) / speed,
		bend: v.cross(a).length() / (speed * speed * speed),
	}
}

// tightest gives the sharpest bend of the piece against its radius, as curvature in
// 1/m, and where it is.
func (p piece) tightest() (bend, u float64) {
	worst := 0.0
	for _, v := range p.steps() {
		at := p.slice(v)
		if got := at.bend * at.radius; got > worst {
			worst, bend, u = got, at.bend, v
		}
	}
	return bend, u
}

// steps are the places of the piece where its size and its bends are looked at. The
// tube's edge reaches less than 1e-4 of the piece's length beyond the chords between.
func (p piece) steps() []float64 { return p.parted(8, 0.0039) }

// parted cuts the piece into n parts, and halves those in which the tube's edges turn
// through more than an angle in radians, no round one: a usual bend that fell on it
// might be halved by one processor and not by another. It gives the places from 0 to 1.
func (p piece) parted(n int, turn float64) []float64 {
	places := []float64{0}
	for i := range n {
		places = p.halved(places, float64(i)/float64(n), float64(i+1)/float64(n), turn)
	}
	return places
}

// halved adds the places after one up to another. Where a line all but turns back, what
// is left to halve would never end.
func (p piece) halved(places []float64, from, to, turn float64) []float64 {
	const least = 1.0 / (1 << 30)
	if to-from > least && p.turn(from, to) > turn {
		middle := (from + to) / 2
		return p.halved(p.halved(places, from, middle, turn), middle, to, turn)
	}
	return append(places, to)
}

// turn is what the centre line and the edges beside it turn through, rad.
func (p piece) turn(from, to float64) float64 {
	v, w := p.velocity(from), p.velocity(to)
	lean, leant := math.Atan2(p.radius.slope(from), v.length()), math.Atan2(p.radius.slope(to), w.length())
	return v.angle(w) + math.Abs(leant-lean)
}

// velocity is what u moves the centre by, m.
func (p piece) velocity(u float64) vector { return vector{p.x.slope(u), p.y.slope(u), p.z.slope(u)} }

// angle is that between two vectors, 0 to pi; 0 where either is nothing.
func (v vector) angle(w vector) float64 { return math.Atan2(v.cross(w).length(), v.dot(w)) }

// addTo adds what the piece has by itself to the sums of the body, in parts that bend so
// little that the quadrature is good to 1e-12.
func (p piece) addTo(b *body) {
	places := p.parted(2, 0.11)
	for i := range places[1:] {
		p.addPart(b, places[i], places[i+1])
	}
}

// addPart adds a part by Gauss-Legendre quadrature with eight points.
func (p piece) addPart(b *body, from, to float64) {
	nodes, weights := gauss8()
	for i, at := range nodes {
		for _, share := range [2]float64{(1 - at) / 2, (1 + at) / 2} {
			s := p.slice(from + (to-from)*share)
			ds := s.speed * (to - from) * weights[i] / 2
			b.skin += ds * s.girth()
			b.volume += ds * math.Pi * s.radius * s.radius
			b.profile += ds * s.edges()
			b.front += ds * s.shadow(1)
			b.side += ds * s.shadow(0)
			b.plan += ds * s.shadow(2)
		}
	}
}

// gauss8 gives the positive nodes and the weights of eight-point Gauss-Legendre
// quadrature on -1 to 1 (from memory; a test integrates with them what they
// integrate exactly).
func gauss8() (nodes, weights [4]float64) {
	return [4]float64{0.1834346424956498, 0.5255324099163290, 0.7966664774136267, 0.9602898564975363},
		[4]float64{0.3626837833783620, 0.3137066458778873, 0.2223810344533745, 0.1012285362903763}
}

// girth is the surface of a slice for its thickness along the centre line, m. Round
// a bend it is summed over the half circle by the trapezium rule, whose error for a
// smooth periodic function falls faster than any power of the steps.
func (s slice) girth() float64 {
	const steps = 24
	if s.taper == 0 || s.bend == 0 {
		return 2 * math.Pi * s.radius * math.Hypot(1, s.taper)
	}
	lean := s.bend * s.radius
	sum := s.edges() / 2
	for i := 1; i < steps; i++ {
		across := 1 - lean*math.Cos(math.Pi*float64(i)/steps)
		sum += math.Sqrt(across*across + s.taper*s.taper)
	}
	return 2 * math.Pi * s.radius * sum / steps
}

// edges is the length of the cut's two edges, on the inside and the outside of the
// bend, for the length of the centre line.
func (s slice) edges() float64 {
	lean := s.bend * s.radius
	return math.Hypot(1-lean, s.taper) + math.Hypot(1+lean, s.taper)
}

// shadow is what the slice adds to the elevation along an axis for its length, m: its
// breadth as far as it is seen from the side, and what it grows or shrinks by as far
// as it is seen from the end.
func (s slice) shadow(axis int) float64 {
	return 2*s.radius*s.sine(axis) + math.Pi*s.radius*math.Abs(s.taper*s.along[axis])
}

// sine is that of the angle between the centre line and an axis, from the two other
// components: from its cosine it would lose half its digits near 0.
func (s slice) sine(axis int) float64 {
	return math.Hypot(s.along[(axis+1)%3], s.along[(axis+2)%3])
}

// endShadow adds the half of a flat end that reaches beyond the line's end.
func (s slice) endShadow(b *body) {
	half := circleArea(2*s.radius) / 2
	b.front += half * math.Abs(s.along[1])
	b.side += half * math.Abs(s.along[0])
	b.plan += half * math.Abs(s.along[2])
}

// extent is the box round the tube, from the edges of its slices and its mitres.
func (s Sweep) extent() Extent {
	low, high := vector{math.Inf(1), math.Inf(1), math.Inf(1)}, vector{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	hold := func(centre, reach vector) {
		for i := range centre {
			low[i], high[i] = min(low[i], centre[i]-reach[i]), max(high[i], centre[i]+reach[i])
		}
	}
	for _, p := range s.pieces() {
		for _, u := range p.steps() {
			at := p.slice(u)
			hold(at.centre, at.reach())
		}
	}
	for i := range s.Stations {
		hold(s.Stations[i].point(), s.mitreReach(i))
	}
	size := high.minus(low)
	return Extent{Width: size[0], Depth: size[1], Height: size[2]}
}

// reach is how far the round edge of a slice reaches from its centre along x, y, z.
func (s slice) reach() vector {
	return vector{s.radius * s.sine(0), s.radius * s.sine(1), s.radius * s.sine(2)}
}

// mitreReach is how far the ellipse of a mitre reaches from its station: its short
// half axis is r, square to the bend, its long one r/cos(t/2) for a bend through t.
func (s Sweep) mitreReach(i int) vector {
	if s.Smooth || i == 0 || i == len(s.Stations)-1 {
		return vector{}
	}
	in, out, r := s.direction(i-1), s.direction(i), s.Stations[i].Diameter/2
	square := in.cross(out)
	if square.length() == 0 {
		return vector{} // no bend: its slices reach as far
	}
	short, long := square.unit().times(r), out.minus(in).unit().times(2*r/in.plus(out).length())
	return vector{math.Hypot(short[0], long[0]), math.Hypot(short[1], long[1]), math.Hypot(short[2], long[2])}
}
