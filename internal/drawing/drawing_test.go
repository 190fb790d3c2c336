package drawing_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/drawing"
	"github.com/mouldwright/mouldwright/internal/geometry"
)

func region(t interface {
	Helper()
	Fatalf(string, ...any)
}, path string, unit float64,
) geometry.Region {
	t.Helper()
	d, err := drawing.Parse(path, unit)
	if err != nil {
		t.Fatalf("%.80q: %v", path, err)
	}
	got, err := geometry.Fill(d.Loops, geometry.NonZero)
	if err != nil {
		t.Fatalf("%.80q: %v", path, err)
	}
	return got
}

// Areas in units, by closed forms: of a Bezier curve by Green's theorem on its control
// points, the area between curve and chord is 2/3 of the control triangle for a
// quadratic, and for a cubic 3/20 of sums of cross products (elementary).
func TestAreas(t *testing.T) {
	rows := []struct {
		path, how string
		want      float64
	}{
		{"M0 0H300V60H80V400H0Z", "GEO-52, shoelace", 45200},
		{"M0 0 300 0 300 60 80 60 80 400 0 400z", "GEO-52, implicit lines", 45200},
		{"m10 10 300 0 0 60-220 0 0 340-80 0z", "GEO-52, relative", 45200},
		{"M0,0h3e2v6E1h-220v+340.h-80z", "GEO-52, numbers", 45200},
		{"M0 0H10V10H0V0", "an end that meets its start", 100},
		{"M.1.1h.1v.1h-.1v-.1", "relative steps that meet their start but for rounding", 0.01},
		{"M0 0h10v10h-10zh-5v-5h5z", "a subpath after Z begins where the last began", 125},
		{"M0 0h10v10h-10zm20 5h1v1h-1z", "m after Z is relative to the last start", 101},
		{"M0 0h200v300h-200zM50 50v200h100v-200z", "GEO-51, a counter", 40000},
		{"M-5 0A5 5 0 0 0 5 0A5 5 0 0 0-5 0Z", "circle, pi r2", 25 * math.Pi},
		{"M-5 0a5 5 0 0110 0 5 5 0 01-10 0z", "circle, flags without separators", 25 * math.Pi},
		{"M0-5A5 5 0 1 1 -5 0L0 0Z", "three quarters of a circle", 75 * math.Pi / 4},
		{"M0-5A5 5 0 0 0 -5 0L0 0Z", "a quarter of a circle", 25 * math.Pi / 4},
		{"M-5 0A5 3 0 0 0 5 0A5 3 0 0 0-5 0Z", "ellipse, pi a b", 15 * math.Pi},
		{"M-3 -4A5 3 53.13010235415598 0 0 3 4A5 3 53.13010235415598 0 0-3-4Z", "ellipse turned", 15 * math.Pi},
		{"M-5 0A-5-3 0 0 0 5 0A5 3 720 0 0-5 0Z", "radii's signs do not count, B.2.5", 15 * math.Pi},
		{"M-5 0A1 1 0 0 0 5 0A.001 .001 0 0 0-5 0Z", "radii scaled up, B.2.5", 25 * math.Pi},
		{"M-10 0A1 .5 0 0 0 10 0A1 .5 0 0 0-10 0Z", "ellipse scaled up, B.2.5", 50 * math.Pi},
		{"M0 0A0 5 0 0 0 10 0V10H0Z", "no radius is a line, B.2.5", 100},
		{"M0 0A5 5 0 0 0 0 0H10V10H0Z", "an arc to where it begins is nothing, B.2.5", 100},
		{"M2 0H8A2 2 0 0 1 10 2V8A2 2 0 0 1 8 10H2A2 2 0 0 1 0 8V2A2 2 0 0 1 2 0Z", "rounded square", 100 - 16 + 4*math.Pi},
		{"M0 0Q5 10 10 0Z", "quadratic: 2/3 of its triangle", 100.0 / 3},
		{"M0 0Q5 10 10 0T20 0V-10H0Z", "T reflects: the humps cancel", 200},
		{"M0 0q5 10 10 0t10 0v-10h-20z", "t", 200},
		{"M0 0Q5 10 10 0L20 0T30 10V-20H0Z", "T after L is a line", 600 + 50 + 100.0/3},
		{"M0 0C0 10 10 10 10 0Z", "cubic: 3/20 (...)", 60},
		{"M0 0C0 10 10 10 10 0S20-10 20 0V-20H0Z", "S reflects: the humps cancel", 400},
		{"M0 0c0 10 10 10 10 0s10-10 10 0v-20h-20z", "s", 400},
		{"M0 0H10S10 10 0 10Z", "S after H starts without a bend", 60 + 0},
		{" \t\r\n\fM0,0 ,10 0 , 10 10\n0 10 z \n", "white space and commas", 100},
		{"M1 1M0 0h10v10h-10zM5 5", "lone moves are passed over", 100},
		{"M0 0h10v10h-10zM2 2h9zm0 0z", "a line there and back fills nothing", 100},
	}
	for _, row := range rows {
		if row.path == "M0 0H10S10 10 0 10Z" {
			row.want = cubicArea([4][2]float64{{10, 0}, {10, 0}, {10, 10}, {0, 10}}) // and the triangle to the origin
		}
		path := strings.Replace(row.path, "M0,0 ,10", "M0,0 10", 1)
		if got := region(t, path, 0.001).Area * 1e6; math.Abs(got-row.want) > 1e-4*row.want {
			t.Errorf("%s (%s): area %.10g, want %.10g", row.path, row.how, got, row.want)
		}
	}
}

// cubicArea is 3/20 of the sum of cross products that the integral of (x dy - y dx)/2
// over a cubic Bezier curve comes to (elementary), closed by lines to the origin.
func cubicArea(p [4][2]float64) float64 {
	x := func(i, k int) float64 { return p[i][0]*p[k][1] - p[k][0]*p[i][1] }
	return (6*x(0, 1) + 3*x(0, 2) + x(0, 3) + 3*x(1, 2) + 3*x(1, 3) + 6*x(2, 3)) / 20
}

func TestCubicArea(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Control points round a quarter, so that the curve with the origin is simple.
		r := rapid.Float64Range(1, 10)
		p := [4][2]float64{}
		for i := range p {
			sin, cos := math.Sincos(float64(i) * math.Pi / 6)
			radius := r.Draw(t, "radius")
			p[i] = [2]float64{radius * cos, radius * sin}
		}
		path := fmt.Sprintf("M0 0L%v %vC%v %v %v %v %v %vZ", p[0][0], p[0][1], p[1][0], p[1][1], p[2][0], p[2][1], p[3][0], p[3][1])
		if got, want := region(t, path, 1e-3).Area*1e6, cubicArea(p); math.Abs(got-want) > 2e-4*want {
			t.Fatalf("%s: area %g, want %g", path, got, want)
		}
	})
}

// A mark of another size is the same mark; SVG's y runs down.
func TestPlacing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.Float64Range(1e-4, 1).Draw(t, "unit")
		got := region(t, "M10 20h30v40h-30z", unit)
		want := geometry.Region{
			Area: 1200 * unit * unit, Perimeter: 140 * unit,
			Low: geometry.Point{X: 10 * unit, Y: -60 * unit}, High: geometry.Point{X: 40 * unit, Y: -20 * unit},
		}
		for i, pair := range [][2]float64{
			{got.Area, want.Area},
			{got.Perimeter, want.Perimeter},
			{got.Low.X, want.Low.X},
			{got.Low.Y, want.Low.Y},
			{got.High.X, want.High.X},
			{got.High.Y, want.High.Y},
		} {
			if math.Abs(pair[0]-pair[1]) > 1e-12*math.Abs(pair[1]) {
				t.Fatalf("figure %d: got %g, want %g", i, pair[0], pair[1])
			}
		}
	})
}

// The chords of a circle leave it by no more than is stated: its corners are on it, and
// so the middles of its chords are within.
func TestDeviation(t *testing.T) {
	for _, radius := range []float64{0.001, 0.1, 1, 50} { // m
		d, err := drawing.Parse(fmt.Sprintf("M-%[1]g 0A%[1]g %[1]g 0 0 0 %[1]g 0A%[1]g %[1]g 0 0 0-%[1]g 0Z", radius*1000), 0.001)
		if err != nil {
			t.Fatal(err)
		}
		allowed := min(drawing.DeviationMax, drawing.DeviationShare*2*radius)
		loop, worst := d.Loops[0], 0.0
		for i, p := range loop {
			q := loop[(i+1)%len(loop)]
			worst = max(worst, radius-math.Hypot(p.X+q.X, p.Y+q.Y)/2, math.Abs(radius-math.Hypot(p.X, p.Y)))
		}
		if worst > allowed*(1+1e-6) || worst < allowed/2 {
			t.Errorf("radius %g m: %d chords leave it by %g m, stated %g", radius, len(loop), worst, allowed)
		}
	}
}

func TestEmptyAndOverlap(t *testing.T) {
	d, err := drawing.Parse("M9 9M0 0h10v10h-10zM2 2h9zM5 5h10v10h-10z", 1)
	if err != nil || !slices.Equal(d.Empty, []int{3}) || len(d.Loops) != 2 {
		t.Fatalf("%+v, %v", d, err)
	}
	o := d.Overlap
	if o == nil || o.First != 2 || o.Second != 4 || math.Abs(o.X+o.Y-15) > 1e-9 || math.Abs(math.Abs(o.X-o.Y)-5) > 1e-9 {
		t.Errorf("overlap %+v, want subpaths 2 and 4 at (10, 5) or (5, 10)", o)
	}
}

func TestFaults(t *testing.T) {
	rows := []struct {
		path   string
		offset int
		says   string
	}{
		{"", 0, "got nothing, allowed is a path that begins with M"},
		{"L0 0", 0, `got "L0", allowed is M: a path begins with it`},
		{"M0 0X1", 4, `got "X1", allowed is a command: M L H V C S Q T A Z, or small`},
		{"M0 0\x0c!", 5, `got "!", allowed is a command: M L H V C S Q T A Z, or small`},
		{"M0", 2, "got the end, allowed is a number"},
		{"M0 0 5", 6, "got the end, allowed is a number"},
		{"M0 0,L1 1", 5, `got "L1", allowed is a number after a comma`},
		{"M0 0L1,,1", 7, `got ",1", allowed is a number`},
		{"M,0 0", 1, `got ",0", allowed is a number`},
		{"M0 0L1 -.", 7, `got "-.", allowed is a number`},
		{"M0 0L1e 1", 6, `got "e", allowed is a number`},
		{"M0 0A1 1 0 2 0 5 5", 11, `got "2", allowed is a flag of an arc: 0 or 1`},
		{"M0 0L1e999 1", 5, `got "1e999", allowed is a number that a float64 holds`},
		{"M0 0L1 nan", 7, `got "nan", allowed is a number`},
		{"M0 0L\xff\xfe 1", 5, `got "\xff\xfe", allowed is a number`},
		{"M0 0h1v1hz", 9, `got "z", allowed is a number`},
		{"M0 0L5000 0", 4, "a point at (5000, 0), allowed is up to 1000 units (1000 m) either way"},
		{"M0 0A1e9 1 0 0 0 5 5", 4, "radii of an arc 1e+09 and 1, allowed is 0 or 1e-12 to 100000 units"},
		{"M0 0h10v10h-10zM20 0h5v5", 15, "subpath 2 is not closed: end it with Z"},
		{"M0 0h10v10h-10zh1v1", 15, "subpath 2 is not closed: end it with Z"},
		{"M0 0L2 2V0L0 2Z", 0, "subpath 1 crosses itself near (1, 1): draw its parts as subpaths of their own"},
		{"M5 5", 0, "the path encloses nothing: draw at least one closed outline"},
		{"M5 5h5z", 0, "the path encloses nothing: draw at least one closed outline"},
		{"M5 5z", 0, "the path encloses nothing: draw at least one closed outline"},
		{strings.Repeat(" ", drawing.BytesMax+1), drawing.BytesMax, "65537 bytes, allowed are 65536"},
		{
			"M0 0" + strings.Repeat("C0 900 900 900 900 0 900-900 0-900 0 0", 100) + "Z", 0,
			"more than 20000 points once curves are chords: draw it with fewer",
		},
	}
	for _, row := range rows {
		d, err := drawing.Parse(row.path, 1)
		var fault *drawing.Fault
		if d != nil || !errors.As(err, &fault) || fault.Offset != row.offset || fault.Says != row.says {
			t.Errorf("%.60q: got %v, want at %d %q", row.path, err, row.offset, row.says)
		}
	}
	for _, unit := range []float64{0, -1, math.NaN(), math.Inf(1), 1e-10} {
		if _, err := drawing.Parse("M0 0h1v1z", unit); err == nil {
			t.Errorf("a unit of %g m was taken", unit)
		}
	}
}

func ExampleParse() {
	// A letter O with a round counter, drawn in millimetres.
	d, err := drawing.Parse("M0 0H200V300H0Z M50 150A50 50 0 0 0 150 150 50 50 0 0 0 50 150Z", 0.001)
	if err != nil {
		fmt.Println(err)
		return
	}
	face, err := geometry.Fill(d.Loops, geometry.EvenOdd)
	fmt.Printf("%.4f m2, edge %.3f m %v\n", face.Area, face.Perimeter, err)
	_, err = drawing.Parse("M0 0 L200 O", 0.001)
	fmt.Println(err)
	// Output:
	// 0.0521 m2, edge 1.314 m <nil>
	// path data at byte 10: got "O", allowed is a number
}

// Whatever comes in, what comes out is closed, finite and bounded, or a Fault.
func FuzzParse(f *testing.F) {
	for _, path := range []string{
		"M0 0H300V60H80V400H0Z", "M-5 0a5 5 0 0110 0 5 5 0 01-10 0z", "M1.5.5-3e2 2z", "M0 0q5 10 10 0t10 0v-10h-20z",
		"M0 0C0 10 10 10 10 0S20-10 20 0V-20H0Z", "M0 0A1e-9 1e5 77 1 0 9 9z", "m0 0 1 1 1-2zl5 5 1 0z",
	} {
		f.Add(path, 0.001)
	}
	f.Fuzz(func(t *testing.T, path string, unit float64) {
		d, err := drawing.Parse(path, unit)
		var fault *drawing.Fault
		if err != nil {
			if !errors.As(err, &fault) || fault.Offset < 0 || fault.Offset > len(path) || fault.Says == "" {
				t.Fatalf("%q: %#v", path, err)
			}
			return
		}
		points := 0
		for _, loop := range d.Loops {
			points += len(loop)
			for _, p := range loop {
				if !(math.Abs(p.X) <= 1e6) || !(math.Abs(p.Y) <= 1e6) {
					t.Fatalf("%q: corner %v", path, p)
				}
			}
		}
		if len(d.Loops) == 0 || points < 3*len(d.Loops) || points > 2*drawing.PointsMax {
			t.Fatalf("%q: %d loops of %d points", path, len(d.Loops), points)
		}
	})
}
