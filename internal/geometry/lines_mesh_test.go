package geometry_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// turnedLine draws a line that goes up outside and, for a bowl, over a lip and down
// inside: never across itself.
func turnedLine(t *rapid.T) []geometry.ProfilePoint {
	var up, down []geometry.ProfilePoint
	height := rapid.Float64Range(-1, 1).Draw(t, "foot")
	wall := rapid.Float64Range(0.02, 0.1).Draw(t, "wall")
	for range rapid.IntRange(2, 7).Draw(t, "points") {
		r := rapid.Float64Range(0.2, 1).Draw(t, "radius")
		up = append(up, geometry.ProfilePoint{Radius: r, Height: height})
		down = append([]geometry.ProfilePoint{{Radius: r - wall, Height: height}}, down...)
		height += rapid.Float64Range(0.1, 1).Draw(t, "rise")
	}
	switch rapid.IntRange(0, 2).Draw(t, "kind") {
	case 0:
		return up
	case 1:
		return append(up, geometry.ProfilePoint{Height: height})
	default: // the inside ends in a floor above the foot
		down = down[:len(down)-1]
		return append(up, append(down, geometry.ProfilePoint{Height: down[len(down)-1].Height})...)
	}
}

// Any turned line has the surface, volume and rim of a fine mesh turned from it, whole
// and halved (Pappus-Guldin).
func TestProfilesAgainstMeshes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := geometry.Profile{Points: turnedLine(t), Ends: geometry.Ends(rapid.IntRange(0, 3).Draw(t, "ends"))}
		if faults := p.Faults(); len(faults) > 0 {
			t.Fatal(faults)
		}
		shape := func(n int) *mesh.Mesh { return meshtest.Revolve(ended(p.Points, p.Ends), n) }
		whole := approximations(t, shape)
		agrees(t, "whole", p.Measure(), whole)
		agrees(t, "half", p.Half(), approximations(t, func(n int) *mesh.Mesh { return behind(shape(n)) }))
		sameBox(t, p.Measure(), whole[2].Mesh)
	})
}

// smoothLine is a sweep's centre line found another way: between two stations the two
// parabolas through three stations each, blended evenly (Overhauser's form of the
// Catmull-Rom curve; from memory), each parabola by Neville's scheme.
type smoothLine struct {
	stations []geometry.Station
	knots    []float64
}

func newSmoothLine(stations []geometry.Station) smoothLine {
	l := smoothLine{stations, []float64{0}}
	for i := 1; i < len(stations); i++ {
		a, b := stations[i-1], stations[i]
		apart := math.Sqrt((a.X-b.X)*(a.X-b.X) + (a.Y-b.Y)*(a.Y-b.Y) + (a.Z-b.Z)*(a.Z-b.Z))
		l.knots = append(l.knots, l.knots[i-1]+math.Sqrt(apart))
	}
	return l
}

// at is where the line is between stations i and i+1, at a share of the way.
func (l smoothLine) at(i int, share float64) mesh.Point {
	x := l.knots[i] + share*(l.knots[i+1]-l.knots[i])
	last := len(l.stations) - 1
	switch {
	case last == 1:
		return l.between(x, 0, 1)
	case i == 0:
		return l.parabola(x, 0)
	case i == last-1:
		return l.parabola(x, last-2)
	}
	return mix(l.parabola(x, i-1), l.parabola(x, i), share)
}

func (l smoothLine) parabola(x float64, first int) mesh.Point {
	a, b := l.between(x, first, first+1), l.between(x, first+1, first+2)
	return mix(a, b, (x-l.knots[first])/(l.knots[first+2]-l.knots[first]))
}

func (l smoothLine) between(x float64, i, k int) mesh.Point {
	p, q := l.stations[i], l.stations[k]
	return mix(mesh.Point{p.X, p.Y, p.Z}, mesh.Point{q.X, q.Y, q.Z}, (x-l.knots[i])/(l.knots[k]-l.knots[i]))
}

func mix(p, q mesh.Point, share float64) mesh.Point {
	for k := range p {
		p[k] += share * (q[k] - p[k])
	}
	return p
}

// heading is the unit direction by a difference over a small part of the way; it
// reaches past the ends of the piece.
func (l smoothLine) heading(i int, share float64) mesh.Point {
	const step = 1e-5
	return unit(l.at(i, share-step), l.at(i, share+step))
}

func unit(from, to mesh.Point) mesh.Point {
	length := distance(from, to)
	for k := range to {
		to[k] = (to[k] - from[k]) / length
	}
	return to
}

func distance(p, q mesh.Point) float64 {
	return math.Sqrt((p[0]-q[0])*(p[0]-q[0]) + (p[1]-q[1])*(p[1]-q[1]) + (p[2]-q[2])*(p[2]-q[2]))
}

// bend is the curvature by the circle through three near points, 1/m (Menger).
func (l smoothLine) bend(i int, share float64) float64 {
	const step = 1e-3
	p, q, r := l.at(i, share-step), l.at(i, share), l.at(i, share+step)
	return 2 * distance(cross(less(q, p), less(r, p)), mesh.Point{}) / (distance(p, q) * distance(q, r) * distance(p, r))
}

func cross(p, q mesh.Point) mesh.Point {
	return mesh.Point{p[1]*q[2] - p[2]*q[1], p[2]*q[0] - p[0]*q[2], p[0]*q[1] - p[1]*q[0]}
}

// radius is half the diameter between stations i and i+1: a cubic whose slopes are
// those of the monotone interpolation of Fritsch and Butland (from memory), in the form
// of a weighted harmonic mean, and at the ends leave no bend.
func (l smoothLine) radius(i int, share float64) float64 {
	h := l.knots[i+1] - l.knots[i]
	p, q := l.stations[i].Diameter/2, l.stations[i+1].Diameter/2
	m, n := l.slope(i)*h, l.slope(i+1)*h
	s, r := share, 1-share
	return p*(1+2*s)*r*r + m*s*r*r + q*s*s*(3-2*s) - n*s*s*r
}

func (l smoothLine) rise(i int) float64 {
	return (l.stations[i+1].Diameter - l.stations[i].Diameter) / 2 / (l.knots[i+1] - l.knots[i])
}

func (l smoothLine) slope(i int) float64 {
	last := len(l.stations) - 1
	switch {
	case last == 1:
		return l.rise(0)
	case i == 0:
		return held((3*l.rise(0)-l.slope(1))/2, l.rise(0))
	case i == last:
		return held((3*l.rise(last-1)-l.slope(last-1))/2, l.rise(last-1))
	}
	a, b := l.rise(i-1), l.rise(i)
	if a*b <= 0 {
		return 0
	}
	g, h := l.knots[i]-l.knots[i-1], l.knots[i+1]-l.knots[i]
	return 3 * (g + h) / ((2*h+g)/a + (h+2*g)/b)
}

// held keeps a slope between nothing and three times the rise.
func held(slope, rise float64) float64 {
	if slope*rise <= 0 {
		return 0
	}
	return math.Copysign(min(math.Abs(slope), 3*math.Abs(rise)), rise)
}

// tube lays round slices along the line, m to a piece, n corners to a slice; their
// first corner stays as near as it can to where it was on the slice before.
func (l smoothLine) tube(m, n int, ends geometry.Ends) *mesh.Mesh {
	var rows [][]mesh.Point
	side := cross(l.heading(0, 0), mesh.Point{0, 1, 0})
	for i := range len(l.stations) - 1 {
		for k := range m + 1 {
			if i > 0 && k == 0 {
				continue
			}
			share := float64(k) / float64(m)
			along := l.heading(i, min(max(share, 1e-5), 1-1e-5))
			side = cross(cross(along, side), along)
			side = unit(mesh.Point{}, side)
			rows = append(rows, slice(l.at(i, share), side, cross(along, side), l.radius(i, share), n))
		}
	}
	return withEnds(rows, ends)
}

// stationsOf draws a line that climbs with gentle bends, in an upright plane that faces
// front or anywhere.
func stationsOf(t *rapid.T) []geometry.Station {
	flat := rapid.Bool().Draw(t, "flat")
	var out []geometry.Station
	height := 0.0
	for range rapid.IntRange(2, 6).Draw(t, "stations") {
		at := geometry.Station{X: rapid.Float64Range(-0.2, 0.2).Draw(t, "x"), Z: height, Diameter: rapid.Float64Range(0.05, 0.2).Draw(t, "diameter")}
		if !flat {
			at.Y = rapid.Float64Range(-0.2, 0.2).Draw(t, "y")
		}
		out = append(out, at)
		height += rapid.Float64Range(0.4, 1).Draw(t, "rise")
	}
	return out
}

// A smooth sweep has the measures of a fine mesh laid along its line; halved too, where
// the line lies in a plane that faces front.
func TestSmoothSweepsAgainstMeshes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := geometry.Sweep{Stations: stationsOf(t), Smooth: true, Ends: geometry.Ends(rapid.IntRange(0, 3).Draw(t, "ends"))}
		if faults := s.Faults(); len(faults) > 0 {
			t.Skip("too tight")
		}
		line, flat := newSmoothLine(s.Stations), true
		for _, at := range s.Stations {
			flat = flat && at.Y == 0
		}
		shape := func(n int) *mesh.Mesh { return line.tube(n/4, n, s.Ends) }
		whole := approximations(t, shape)
		nears(t, "whole", s.Measure(), whole)
		sameBox(t, s.Measure(), line.tube(200, 96, s.Ends)) // 24 slices to a piece can pass 0.1 % short of its outmost place
		if flat {
			nears(t, "half", s.Half(), approximations(t, func(n int) *mesh.Mesh { return behind(shape(n)) }))
		}
		if m := s.Measure(); whole[2].Enclosed == mesh.ByEdges && largestShadow(t, whole[2].Mesh) > m.Silhouette*(1+1e-3) {
			t.Errorf("silhouette %g is less than the mesh's", m.Silhouette)
		}
	})
}

// nears is agrees for bends, where 6 slices to a piece may be too few for the error to
// fall by four: the limit alone is held to 1e-5.
func nears(t tester, what string, want geometry.Measures, got [3]*mesh.Survey) {
	t.Helper()
	for name, c := range map[string]struct {
		want    float64
		measure func(*mesh.Survey) float64
	}{"surface": {want.Surface, area}, "volume": {want.Volume, capped}, "rim": {want.Rim, border}} {
		v := each(got, c.measure)
		if limit := (4*v[2] - v[1]) / 3; (name != "volume" || flat(got[2])) && math.Abs(limit-c.want) > 1e-5*max(c.want, 1e-9) {
			t.Errorf("%s %s: the formula says %.9g, triangles tend to %.9g", what, name, c.want, limit)
		}
	}
}

// The sharpest bend of a line is found wherever it is: a tube a hundredth less across
// than twice its radius is taken, one a hundredth more is not.
func TestSharpestBendIsFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stations := stationsOf(t)
		for i := range stations {
			stations[i].X *= 5
			stations[i].Y *= 5
		}
		line, sharpest := newSmoothLine(stations), 0.0
		for i := range len(stations) - 1 {
			for k := range 1001 {
				sharpest = max(sharpest, line.bend(i, min(max(float64(k)/1000, 1e-3), 1-1e-3)))
			}
		}
		for _, c := range []struct {
			share  float64
			faulty bool
		}{{0.98, false}, {1.02, true}} {
			s := geometry.Sweep{Stations: append([]geometry.Station{}, stations...), Smooth: true}
			for i := range s.Stations {
				s.Stations[i].Diameter = c.share * 2 / sharpest
			}
			if d := s.Stations[0].Diameter; d < 1e-3 || d > 100 {
				t.Skip("all but straight, or all but straight back")
			}
			if faults := s.Faults(); len(faults) > 0 != c.faulty {
				t.Fatalf("a tube of %g of twice the radius of the bend: %v", c.share, faults)
			}
		}
	})
}

// mitred carries the corners of a slice along each straight piece to the plane that
// halves the bend at its end, then brings each slice to its diameter. least is the
// shortest way that a corner went, m.
func mitred(stations []geometry.Station, n int, ends geometry.Ends) (m *mesh.Mesh, least float64) {
	at := make([]mesh.Point, len(stations))
	for i, s := range stations {
		at[i] = mesh.Point{s.X, s.Y, s.Z}
	}
	along := unit(at[0], at[1])
	side := unit(mesh.Point{}, cross(along, mesh.Point{0, 1, 0}))
	rows := [][]mesh.Point{slice(at[0], side, cross(along, side), stations[0].Diameter/2, n)}
	least = math.Inf(1)
	for i := 1; i < len(at); i++ {
		along = unit(at[i-1], at[i])
		plane := along
		if i < len(at)-1 {
			plane = unit(mesh.Point{}, mix(along, unit(at[i], at[i+1]), 0.5))
		}
		var row []mesh.Point
		for _, p := range rows[i-1] {
			way := dot(less(at[i], p), plane) / dot(along, plane)
			row, least = append(row, mix(p, less(p, less(mesh.Point{}, along)), way)), min(least, way)
		}
		rows = append(rows, row)
	}
	for i, row := range rows {
		for k := range row {
			row[k] = mix(at[i], row[k], stations[i].Diameter/stations[0].Diameter)
		}
	}
	return withEnds(rows, ends), least
}

// slice is a circle about a centre, from one direction towards another.
func slice(centre, side, up mesh.Point, radius float64, n int) []mesh.Point {
	return around(n, func(cos, sin float64) mesh.Point {
		p := centre
		for axis := range p {
			p[axis] += radius * (cos*side[axis] + sin*up[axis])
		}
		return p
	})
}

func less(p, q mesh.Point) mesh.Point { return mesh.Point{p[0] - q[0], p[1] - q[1], p[2] - q[2]} }

func dot(p, q mesh.Point) float64 { return p[0]*q[0] + p[1]*q[1] + p[2]*q[2] }

// A tube of even diameter with mitres has the measures of its mesh, and is a fault where
// a corner of the mesh would have to go backwards.
func TestMitredSweepsAgainstMeshes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := geometry.Sweep{Stations: stationsOf(t), Ends: geometry.Ends(rapid.IntRange(0, 3).Draw(t, "ends"))}
		d := rapid.Float64Range(0.02, 0.8).Draw(t, "across")
		spread := rapid.Float64Range(0.1, 4).Draw(t, "spread")
		for i := range s.Stations {
			s.Stations[i].Diameter = d
			s.Stations[i].X *= spread
			s.Stations[i].Y *= spread
		}
		_, least := mitred(s.Stations, 720, s.Ends)
		if faults := s.Faults(); math.Abs(least) > 1e-4*d && (len(faults) > 0) != (least < 0) {
			t.Fatalf("the shortest way of a corner is %g m: %v", least, faults)
		} else if len(faults) > 0 {
			return
		}
		whole := approximations(t, func(n int) *mesh.Mesh {
			m, _ := mitred(s.Stations, n, s.Ends)
			return m
		})
		agrees(t, "whole", s.Measure(), whole)
		sameBox(t, s.Measure(), whole[2].Mesh)
	})
}

// Where a tube tapers too, straight pieces are taken for frusta on the centre line,
// which for gentle bends is within 1e-4 of the mesh.
func TestTaperedMitresAgainstMesh(t *testing.T) {
	for _, turn := range []float64{0.1, 0.3, 0.5} {
		sin, cos := math.Sincos(turn)
		s := geometry.Sweep{Stations: []geometry.Station{{Diameter: 0.2}, {Z: 1, Diameter: 0.15}, {X: sin, Z: 1 + cos, Diameter: 0.08}}}
		got := approximations(t, func(n int) *mesh.Mesh {
			m, _ := mitred(s.Stations, n, s.Ends)
			return m
		})
		surface, volume := each(got, area), each(got, capped)
		check(t, []row{
			{"own", "surface", s.Measure().Surface, (4*surface[2] - surface[1]) / 3, 1e-4, "its own mesh", "computed"},
			{"own", "volume", s.Measure().Volume, (4*volume[2] - volume[1]) / 3, 1e-4, "its own mesh", "computed"},
		})
	}
}
