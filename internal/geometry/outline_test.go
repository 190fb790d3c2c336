package geometry_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

var _ geometry.Solid = geometry.ExtrudedOutline{}

// extruded gives what loops fill, the even-odd rule, a depth.
func extruded(loops [][]geometry.Point, depth float64) geometry.ExtrudedOutline {
	return geometry.ExtrudedOutline{
		Region: must(geometry.Fill(loops, geometry.EvenOdd)), InsetLoss: geometry.InsetLoss(loops, geometry.EvenOdd), Depth: depth,
	}
}

func polygon(radius float64, n int) []geometry.Point {
	loop := make([]geometry.Point, n)
	for i := range loop {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		loop[i] = geometry.Point{X: radius * cos, Y: radius * sin}
	}
	return loop
}

// A disc with a rounded edge: half a flat-topped cheese. Its round is a quarter of a
// torus's outer half (Pappus-Guldin: a quarter circle of radius e, its centroid
// 2 e/pi from its centre, which runs R - e from the axis; the area's 4 e/(3 pi)).
func TestRoundedDisc(t *testing.T) {
	const r, e, d = 0.3, 0.05, 0.12
	o := extruded([][]geometry.Point{polygon(r, 4000)}, d)
	o.EdgeRadius = e
	if faults := o.Faults(); len(faults) > 0 {
		t.Fatal(faults)
	}
	round := math.Pi * e / 2 * 2 * math.Pi * (r - e + 2*e/math.Pi)
	surface := math.Pi*r*r + 2*math.Pi*r*(d-e) + round + math.Pi*(r-e)*(r-e)
	volume := math.Pi*r*r*(d-e) + math.Pi*(r-e)*(r-e)*e + math.Pi*e*e/4*2*math.Pi*(r-e+4*e/(3*math.Pi))
	m := o.Measure()
	check(t, []row{
		{"own", "inset loss", o.InsetLoss, 2 * math.Pi, 1e-6, "elementary", "computed"},
		{"own", "surface", m.Surface, surface, 1e-6, "Pappus-Guldin", "computed"},
		{"own", "volume", m.Volume, volume, 1e-6, "Pappus-Guldin", "computed"},
		{"own", "most there is room for", 0.3, roomOf(o), 1e-3, "elementary: the radius", "computed"},
	})
}

// roomOf finds the largest edge radius without a fault, by halving.
func roomOf(o geometry.ExtrudedOutline) float64 {
	low, high := 0.0, 10.0
	o.Depth = 20
	for range 60 {
		o.EdgeRadius = (low + high) / 2
		if len(o.Faults()) == 0 {
			low = o.EdgeRadius
		} else {
			high = o.EdgeRadius
		}
	}
	return low
}

// A bar with a rounded edge, its round mitred at the corners: four quarter cylinders
// each e long less at either end than the side (elementary), so the surface is that
// of the mitred rounds 2 (w + l) e pi/2 less 8 e^2 (pi/2 - 1).
func TestRoundedBar(t *testing.T) {
	const w, l, d = 0.2, 3.0, 0.15
	o := extruded([][]geometry.Point{rectangle(1, 1, 1+w, 1+l)}, d)
	check(t, []row{
		{"own", "inset loss", o.InsetLoss, 8, 1e-12, "elementary", "computed"},
		{"own", "most there is room for", roomOf(o), w / 2, 2e-7, "elementary: half the width, and what rounding may take of it", "computed"},
	})
	o.EdgeRadius, o.Ends = w/2, geometry.EndsTop
	e, m := o.EdgeRadius, o.Measure()
	// Nothing flat is left: a half round bar, hipped at both ends. The mitre planes
	// cut the half cylinder as they cut a cloister vault: 8 e^2 for a square one.
	vault := math.Pi*e*(l-2*e) + 8*e*e
	volume := math.Pi*e*e/2*(l-2*e) + 8*e*e*e/3
	check(t, []row{
		{"own", "surface", m.Surface, vault + 2*(w+l)*(d-e), 1e-9, "cloister vault (elementary)", "computed"},
		{"own", "volume", m.Volume, volume + w*l*(d-e), 1e-9, "cloister vault (elementary)", "computed"},
		{"own", "rim", m.Rim, 2 * (w + l), 1e-12, "elementary", "computed"},
		{"own", "height", m.Extent.Height, l, 1e-12, "elementary", "computed"},
	})
}

// The loss is what the perimeter of a real inset has lost, whichever way the loops
// run and whichever rule fills them.
func TestInsetLoss(t *testing.T) {
	back := func(loop []geometry.Point) []geometry.Point {
		out := make([]geometry.Point, len(loop))
		for i, p := range loop {
			out[len(loop)-1-i] = p
		}
		return out
	}
	outer, hole := rectangle(0, 0, 2, 3), rectangle(0.5, 0.5, 1.5, 2.5)
	for name, c := range map[string]struct {
		loops [][]geometry.Point
		rule  geometry.Rule
		want  float64
	}{
		"rectangle":                {[][]geometry.Point{outer}, geometry.NonZero, 8},
		"the other way round":      {[][]geometry.Point{back(outer)}, geometry.NonZero, 8},
		"with repeated points":     {[][]geometry.Point{append([]geometry.Point{outer[0], outer[1], outer[1]}, append(outer[1:], outer[0])...)}, geometry.EvenOdd, 8},
		"frame, even-odd":          {[][]geometry.Point{outer, hole}, geometry.EvenOdd, 0},
		"frame, nonzero":           {[][]geometry.Point{outer, back(hole)}, geometry.NonZero, 0},
		"no hole at all, nonzero":  {[][]geometry.Point{outer, hole}, geometry.NonZero, 8},
		"two apart":                {[][]geometry.Point{outer, back(rectangle(5, 5, 6, 6))}, geometry.NonZero, 16},
		"an L, one corner inwards": {[][]geometry.Point{{{0, 0}, {3, 0}, {3, 1}, {1, 1}, {1, 4}, {0, 4}}}, geometry.NonZero, 8},
		"a point":                  {[][]geometry.Point{{{1, 1}, {1, 1}, {1, 1}}}, geometry.NonZero, 0},
	} {
		if got := geometry.InsetLoss(c.loops, c.rule); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: got %g, want %g", name, got, c.want)
		}
	}
}

// A drawing of very many loops is taken loop by loop, each as filled by itself.
func TestInsetLossOfManyLoops(t *testing.T) {
	var loops [][]geometry.Point
	for i := range 1100 {
		x := float64(2 * i)
		loops = append(loops, []geometry.Point{{x, 0}, {x, 1}, {x + 1, 1}, {x + 1, 0}})
	}
	if got := geometry.InsetLoss(loops, geometry.NonZero); math.Abs(got-8800) > 1e-6 {
		t.Errorf("got %g", got)
	}
}

// More round, less surface and volume; half the depth is a tray; GEO-61.
func TestOutlineLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		loop := polygon(rapid.Float64Range(0.05, 2).Draw(t, "radius"), rapid.IntRange(3, 40).Draw(t, "corners"))
		o := extruded([][]geometry.Point{loop}, rapid.Float64Range(0.01, 1).Draw(t, "depth"))
		o.Ends = geometry.Ends(rapid.IntRange(0, 3).Draw(t, "ends"))
		most := min(o.Depth, 0.999*2*o.Region.Area/o.Region.Perimeter)
		o.EdgeRadius = most * rapid.Float64Range(0, 1).Draw(t, "edge")
		if faults := o.Faults(); len(faults) > 0 {
			t.Fatal(faults)
		}
		sharp := o
		sharp.EdgeRadius = 0
		m, s := o.Measure(), sharp.Measure()
		closed := o
		closed.Ends = geometry.EndsBoth
		if m.Volume > s.Volume || !(m.Volume > 0) {
			t.Fatalf("round %+v, sharp %+v", m, s)
		}
		if a, v := closed.Measure().Surface, m.Volume; a*a*a < 36*math.Pi*v*v*(1-1e-9) {
			t.Fatalf("surface %g round %g", a, v) // isoperimetric inequality
		}
		if half := sharp.Half(); !same(half.Volume, s.Volume/2, 1e-12) || half.Rim < s.Outline*(1-1e-12) {
			t.Fatalf("half %+v of %+v", half, s)
		}
	})
}

// A slab with its front edge rounded over.
func ExampleInsetLoss() {
	loops := [][]geometry.Point{{{0, 0}, {0.4, 0}, {0.4, 0.3}, {0, 0.3}}}
	region, err := geometry.Fill(loops, geometry.NonZero)
	slab := geometry.ExtrudedOutline{Region: region, InsetLoss: geometry.InsetLoss(loops, geometry.NonZero), Depth: 0.05, EdgeRadius: 0.02}
	fmt.Printf("%.0f %.4f m2, flat front %.4f m2, %v\n", slab.InsetLoss, slab.Measure().Surface, slab.Face().Area, err)
	// Output: 8 0.2978 m2, flat front 0.0936 m2, <nil>
}
