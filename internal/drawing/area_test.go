package drawing_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/drawing"
	"github.com/mouldwright/mouldwright/internal/geometry"
)

// slack is what chords may miss of an area: their deviation all along the edge.
func slack(r geometry.Region) float64 {
	side := max(r.High.X-r.Low.X, r.High.Y-r.Low.Y)
	return 4 * r.Perimeter * drawing.DeviationShare * side
}

// turning is 1 where a loop goes round leftwards, seen with y up, else -1.
func turning(t interface{ Fatal(...any) }, path string) float64 {
	d, err := drawing.Parse(path, 1e-3)
	if err != nil || len(d.Loops) != 1 {
		t.Fatal(path, err)
	}
	sum := 0.0
	for i, p := range d.Loops[0] {
		q := d.Loops[0][(i+1)%len(d.Loops[0])]
		sum += p.X*q.Y - q.X*p.Y
	}
	return math.Copysign(1, sum)
}

// The four arcs of SVG 1.1, section 8.3.8 (figure arcs02; from memory): of the same two
// ellipses through the same two points, a quarter or three quarters, either way round.
// In the circle that the ellipse is a stretched picture of, the chord is sqrt 2 radii,
// so the segment between arc and chord is r2 (f - sin f)/2 with f a quarter turn or
// three (elementary). The flag of the sweep says on which side of the chord it lies.
func TestArcFlags(t *testing.T) {
	const rx, ry = 100, 50
	for _, c := range []struct {
		large, clockwise int
		angle            float64
	}{{0, 0, math.Pi / 2}, {0, 1, math.Pi / 2}, {1, 0, 3 * math.Pi / 2}, {1, 1, 3 * math.Pi / 2}} {
		path := fmt.Sprintf("M125 75a100 50 0 %d%d 100 50z", c.large, c.clockwise)
		got := region(t, path, 1e-3)
		want := rx * ry * (c.angle - math.Sin(c.angle)) / 2 * 1e-6
		if math.Abs(got.Area-want) > slack(got) {
			t.Errorf("%s: area %g, want %g", path, got.Area, want)
		}
		if side := turning(t, path); side != float64(1-2*c.clockwise) {
			t.Errorf("%s goes round the wrong way", path)
		}
	}
}

// Any arc with its chord, whatever its flags, turn and radii: the segment of the circle
// that the ellipse is a stretched picture of (elementary). Radii that are too small grow
// until the chord is a diameter (SVG 2, B.2.5).
func TestArcsAgainstSegments(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := rapid.Float64Range(5, 200)
		rx, ry, turn := length.Draw(t, "rx"), length.Draw(t, "ry"), rapid.Float64Range(-400, 400).Draw(t, "turn")
		x, y := length.Draw(t, "x"), rapid.Float64Range(-200, 200).Draw(t, "y")
		large, clockwise := rapid.IntRange(0, 1).Draw(t, "large"), rapid.IntRange(0, 1).Draw(t, "clockwise")
		sin, cos := math.Sincos(turn * math.Pi / 180)
		chord := math.Hypot((x*cos+y*sin)/rx, (y*cos-x*sin)/ry)
		if chord > 1.99 && chord < 2.01 {
			t.Skip("a half turn but for rounding: either arc")
		}
		grown := max(1, chord/2)
		angle := 2 * math.Asin(min(1, chord/2))
		if large == 1 {
			angle = 2*math.Pi - angle
		}
		path := fmt.Sprintf("M0 0A%v %v %v %d %d %v %vZ", rx, ry, turn, large, clockwise, x, y)
		got := region(t, path, 1e-3)
		want := rx * ry * grown * grown * (angle - math.Sin(angle)) / 2 * 1e-6
		if math.Abs(got.Area-want) > slack(got) {
			t.Fatalf("%s: area %g, want %g", path, got.Area, want)
		}
		if side := turning(t, path); side != float64(1-2*clockwise) {
			t.Fatalf("%s goes round the wrong way", path)
		}
	})
}

// Two thirds of the triangle of its points lie between a quadratic curve and its chord
// (Archimedes, Quadrature of the Parabola), a straight piece of it a line.
func TestQuadraticsAgainstArchimedes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := rapid.Float64Range(-100, 100)
		x1, y1, x2, y2 := length.Draw(t, "x1"), length.Draw(t, "y1"), length.Draw(t, "x2"), length.Draw(t, "y2")
		twice := math.Abs(x1*y2 - x2*y1)
		if twice < 1 {
			t.Skip("all but flat")
		}
		for _, path := range []string{
			fmt.Sprintf("M0 0Q%v %v %v %vZ", x1, y1, x2, y2),
			fmt.Sprintf("M0 0q%v %v %v %vz", x1, y1, x2, y2),
			fmt.Sprintf("M0 0C%v %v %v %v %v %vZ", x1*2/3, y1*2/3, x1*2/3+x2/3, y1*2/3+y2/3, x2, y2), // raised to a cubic
		} {
			if got := region(t, path, 1e-3); math.Abs(got.Area-twice/3*1e-6) > slack(got) {
				t.Fatalf("%s: area %g, want %g", path, got.Area, twice/3*1e-6)
			}
		}
	})
}

// Lengths of edges: circle and ellipse whole (Carlson's form, DLMF 19.30.5), and the arc
// of a parabola y = 2 h x (1 - x) from 0 to 1, which as a quadratic has its control point
// at (1/2, h): its slopes run from 2 h to -2 h, so its length is sqrt(1 + s2)/2 +
// asinh(s)/(2 s) with s = 2 h (elementary).
func TestLengthsOfCurves(t *testing.T) {
	ellipse, err := geometry.EllipsePerimeter(200, 60)
	if err != nil {
		t.Fatal(err)
	}
	const h = 0.8
	s := 2 * h
	arch := math.Sqrt(1+s*s)/2 + math.Asinh(s)/(2*s)
	for path, want := range map[string]float64{
		"M-100 0A100 100 0 0 0 100 0 100 100 0 0 0-100 0Z": 200 * math.Pi,
		"M-100 0a100 30 0 1 0 200 0 100 30 0 1 0-200 0z":   ellipse,
		"M0 0Q50-80 100 0Z": 100 * (arch + 1),
	} {
		if got := region(t, path, 1e-3).Perimeter * 1e3; math.Abs(got-want) > 1e-4*want {
			t.Errorf("%s: edge %.9g, want %.9g", path, got, want)
		}
	}
}

// Curved holes under the two rules (SVG 2, fill-rule): rings one in another, of radius
// 50, 30 and 10, drawn one way round (sweep flag 1) or the other.
func TestHolesUnderBothRules(t *testing.T) {
	ring := func(radius, clockwise int) string {
		return fmt.Sprintf("M%[1]d 0A%[2]d %[2]d 0 0 %[3]d %[2]d 0A%[2]d %[2]d 0 0 %[3]d %[1]d 0Z", -radius, radius, clockwise)
	}
	for _, c := range []struct {
		ways          [3]int
		odd, nonzero  float64 // areas over pi
		edges, inside float64 // lengths over pi
	}{
		{[3]int{1, 1, 1}, 2500 - 900 + 100, 2500, 180, 100},
		{[3]int{1, 0, 1}, 2500 - 900 + 100, 2500 - 900 + 100, 180, 180},
		{[3]int{1, 0, 0}, 2500 - 900 + 100, 2500 - 900 + 100, 180, 180},
		{[3]int{1, 1, 0}, 2500 - 900 + 100, 2500, 180, 100},
		{[3]int{0, 0, 0}, 2500 - 900 + 100, 2500, 180, 100},
	} {
		d, err := drawing.Parse(ring(50, c.ways[0])+ring(30, c.ways[1])+ring(10, c.ways[2]), 1)
		if err != nil {
			t.Fatal(err)
		}
		for rule, want := range map[geometry.Rule][2]float64{geometry.EvenOdd: {c.odd, c.edges}, geometry.NonZero: {c.nonzero, c.inside}} {
			got, err := geometry.Fill(d.Loops, rule)
			if err != nil || math.Abs(got.Area-want[0]*math.Pi) > 1e-4*got.Area || math.Abs(got.Perimeter-want[1]*math.Pi) > 1e-4*got.Perimeter {
				t.Errorf("ways %v, rule %d: %g m2 and %g m, want %g and %g, %v", c.ways, rule, got.Area, got.Perimeter, want[0]*math.Pi, want[1]*math.Pi, err)
			}
		}
	}
}

// Chords miss by the square of their length. A circle of 10 m and more is cut to the same
// deviation in metres however large it is, so one four times as large has twice the
// corners and misses a quarter of the share.
func TestChordsConverge(t *testing.T) {
	const path = "M-5000 0A5000 5000 0 0 0 5000 0 5000 5000 0 0 0-5000 0Z" // 10 m across and more
	miss := func(unit float64) (share, corners float64) {
		d, err := drawing.Parse(path, unit)
		if err != nil {
			t.Fatal(err)
		}
		whole := math.Pi * 25e6 * unit * unit
		return 1 - region(t, path, unit).Area/whole, float64(len(d.Loops[0]))
	}
	for unit := 1e-3; unit < 0.03; unit *= 4 {
		coarse, n := miss(unit)
		fine, m := miss(4 * unit)
		if order := math.Log(coarse/fine) / math.Log(m/n); math.Abs(order-2) > 0.05 {
			t.Errorf("from %g to %g corners the missing share goes from %g to %g: order %.3f", n, m, coarse, fine, order)
		}
	}
}
