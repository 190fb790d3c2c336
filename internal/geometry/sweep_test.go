package geometry_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

var (
	_ geometry.Solid  = geometry.Sweep{}
	_ geometry.Solid  = geometry.Profile{}
	_ geometry.Turned = geometry.Profile{}
)

// arch sets n + 1 stations evenly on an arc that stands as a BentTube does.
func arch(radius, angle, diameter float64, n int) []geometry.Station {
	out := make([]geometry.Station, n+1)
	for i := range out {
		sin, cos := math.Sincos(angle * (float64(i)/float64(n) - 0.5))
		out[i] = geometry.Station{X: radius * sin, Z: radius * cos, Diameter: diameter}
	}
	return out
}

// GEO-23 and GEO-24 as sweeps: many stations, a smooth line.
func TestBentTubesAsSweeps(t *testing.T) {
	quarter := geometry.Sweep{Stations: arch(1, math.Pi/2, 0.2, 400), Smooth: true, Ends: geometry.EndsNeither}
	hook := geometry.Sweep{Stations: arch(0.6, 210*math.Pi/180, 0.1, 400), Smooth: true}
	check(t, []row{
		{"GEO-23", "bent tube lateral area", quarter.Measure().Surface, 0.986960440109, 1e-9, "Pappus-Guldin", "computed"},
		{"GEO-24", "bent tube volume", hook.Measure().Volume, 0.0172718077019, 1e-9, "Pappus-Guldin", "computed"},
	})
}

// A smooth sweep along an arc has every measure of the bent tube, whole and halved.
func TestSweepIsABentTube(t *testing.T) {
	for _, ends := range []geometry.Ends{geometry.EndsBoth, geometry.EndsBase, geometry.EndsTop, geometry.EndsNeither} {
		for _, angle := range []float64{0.4, math.Pi / 2, 2.5} {
			tube := geometry.BentTube{BendRadius: 0.6, TubeDiameter: 0.25, Angle: angle, Ends: ends}
			sweep := geometry.Sweep{Stations: arch(0.6, angle, 0.25, 256), Smooth: true, Ends: ends}
			if faults := sweep.Faults(); len(faults) > 0 {
				t.Fatal(faults)
			}
			got, want := sweep.Measure(), tube.Measure()
			if got.Silhouette < want.Silhouette*(1-1e-6) {
				t.Errorf("angle %g: silhouette %g is less than %g", angle, got.Silhouette, want.Silhouette)
			}
			got.Silhouette = want.Silhouette
			if !sameMeasures(got, want, 1e-6) || !same(got.Seam, want.Seam, 1e-6) {
				t.Errorf("angle %g, ends %d: got %+v, want %+v", angle, ends, got, want)
			}
			half, wanted := sweep.Half(), tube.Half()
			half.Silhouette = wanted.Silhouette
			if !sameMeasures(half, wanted, 1e-6) {
				t.Errorf("half, angle %g, ends %d: got %+v, want %+v", angle, ends, half, wanted)
			}
		}
	}
}

// The length of a smooth line along a circle errs by the fourth power of the step.
func TestSmoothLinesConverge(t *testing.T) {
	const r, d = 1.0, 0.2
	missing := func(n int) float64 {
		m := geometry.Sweep{Stations: arch(r, 2, d, n), Smooth: true, Ends: geometry.EndsNeither}.Measure()
		return math.Abs(m.Surface - math.Pi*d*2*r)
	}
	for n := 8; n <= 128; n *= 2 {
		if order := math.Log2(missing(n) / missing(2*n)); order < 3.5 {
			t.Errorf("from %d to %d pieces the error falls with order %.2f", n, 2*n, order)
		} else {
			t.Logf("from %d to %d pieces: order %.2f, error %.2g m2", n, 2*n, order, missing(2*n))
		}
	}
	// Straight pieces are chords: their length errs by the square.
	chords := func(n int) float64 {
		m := geometry.Sweep{Stations: arch(r, 2, d, n), Ends: geometry.EndsNeither}.Measure()
		return math.Pi*d*2*r - m.Surface
	}
	if order := math.Log2(chords(64) / chords(128)); math.Abs(order-2) > 0.01 {
		t.Errorf("straight pieces: order %.3f", order)
	}
}

// The length of a helix is sqrt((2 pi r)^2 + p^2) a turn (GEO-39: developed cylinder).
func TestSweepAlongAHelix(t *testing.T) {
	const r, pitch, d, turns, n = 0.1, 0.3, 0.03, 2, 800
	stations := make([]geometry.Station, n+1)
	for i := range stations {
		turn := turns * float64(i) / n
		sin, cos := math.Sincos(2 * math.Pi * turn)
		stations[i] = geometry.Station{X: r * cos, Y: r * sin, Z: pitch * turn, Diameter: d}
	}
	m := geometry.Sweep{Stations: stations, Smooth: true, Ends: geometry.EndsNeither}.Measure()
	check(t, []row{
		{"GEO-39", "length of a turn", m.Surface / (math.Pi * d * turns), 0.696264444047, 1e-8, "developed cylinder (unrolled right triangle)", "computed"},
	})
}

// A straight sweep is the frustum, whichever way it is drawn and however it lies.
func TestStraightSweepsAreFrusta(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := func(name string) float64 { return rapid.Float64Range(0.01, 3).Draw(t, name) }
		stem := geometry.Frustum{
			BaseDiameter: length("base"), TopDiameter: length("top"), Height: length("height"),
			Ends: geometry.Ends(rapid.IntRange(0, 3).Draw(t, "ends")),
		}
		upright := geometry.Sweep{
			Stations: []geometry.Station{{Diameter: stem.BaseDiameter}, {Z: stem.Height, Diameter: stem.TopDiameter}},
			Smooth:   rapid.Bool().Draw(t, "smooth"), Ends: stem.Ends,
		}
		if got, want := upright.Measure(), stem.Measure(); !sameMeasures(got, want, 1e-12) {
			t.Fatalf("got %+v, want %+v", got, want)
		}
		if got, want := upright.Half(), stem.Half(); !sameMeasures(got, want, 1e-12) {
			t.Fatalf("half: got %+v, want %+v", got, want)
		}
		lying := upright
		lying.Stations = []geometry.Station{{Y: stem.Height / 3, Diameter: stem.BaseDiameter}, {X: stem.Height * 2 / 3, Y: stem.Height, Z: stem.Height / 3, Diameter: stem.TopDiameter}}
		if got, want := lying.Measure(), stem.Measure(); !same(got.Surface, want.Surface, 1e-12) || !same(got.Volume, want.Volume, 1e-12) || !same(got.Rim, want.Rim, 1e-12) {
			t.Fatalf("lying: got %+v, want %+v", got, want)
		}
	})
}

// A tube of two straight legs with a mitre: Pappus holds for a plane cut, since a
// mitre takes off one side what it puts on the other (elementary). The elbow below
// is 1 m by 1 m along its centre line and reaches 0.1 m round it, 0.1 m past the
// outer corner each way.
func TestMitre(t *testing.T) {
	elbow := geometry.Sweep{Stations: []geometry.Station{{Diameter: 0.2}, {Z: 1, Diameter: 0.2}, {X: 1, Z: 1, Diameter: 0.2}}}
	if faults := elbow.Faults(); len(faults) > 0 {
		t.Fatal(faults)
	}
	m := elbow.Measure()
	check(t, []row{
		{"own", "surface 2 pi r L + 2 pi r^2", m.Surface, math.Pi*0.2*2 + 2*math.Pi*0.01, 1e-12, "Pappus-Guldin", "computed"},
		{"own", "volume pi r^2 L", m.Volume, math.Pi * 0.01 * 2, 1e-12, "Pappus-Guldin", "computed"},
		{"own", "outline 2 L + 2 chords", m.Outline, 4.4, 1e-12, "elementary", "computed"},
		{"own", "width", m.Extent.Width, 1.1, 1e-12, "elementary", "computed"},
		{"own", "depth", m.Extent.Depth, 0.2, 1e-12, "elementary", "computed"},
		{"own", "height", m.Extent.Height, 1.1, 1e-12, "elementary", "computed"},
		{"own", "half's depth", elbow.Half().Extent.Depth, 0.1, 1e-12, "elementary", "computed"},
	})
}

// The surface of a tube that tapers round a bend, against small flat triangles
// spanned on it: the sum of their areas tends to it.
func TestTaperedBendAgainstFacets(t *testing.T) {
	const bend, angle, from, to = 0.5, 2.0, 0.3, 0.05
	stations := arch(bend, angle, 0, 200)
	for i := range stations {
		u := float64(i) / 200
		stations[i].Diameter = 2 * (from*(1-u) + to*u)
	}
	got := geometry.Sweep{Stations: stations, Smooth: true, Ends: geometry.EndsNeither}.Measure()
	area := facets(400, 400, func(u, v float64) [3]float64 {
		sin, cos := math.Sincos(angle * (u - 0.5))
		r := from*(1-u) + to*u
		out, aside := r*math.Cos(2*math.Pi*v), r*math.Sin(2*math.Pi*v)
		return [3]float64{(bend + out) * sin, aside, (bend + out) * cos}
	})
	// The volume of slices pi r^2 ds with r even in s: pi L/3 (r1^2 + r1 r2 + r2^2).
	volume := math.Pi * bend * angle / 3 * (from*from + from*to + to*to)
	if !same(got.Surface, area, 1e-4) || !same(got.Volume, volume, 1e-6) {
		t.Errorf("surface %.9g, facets %.9g; volume %.9g, slices %.9g", got.Surface, area, got.Volume, volume)
	}
}

func facets(m, n int, at func(u, v float64) [3]float64) float64 {
	sum := 0.0
	for i := range m {
		for j := range n {
			p := func(di, dj int) [3]float64 { return at(float64(i+di)/float64(m), float64(j+dj)/float64(n)) }
			a, b, c, d := p(0, 0), p(1, 0), p(1, 1), p(0, 1)
			sum += triangle(a, b, c) + triangle(a, c, d)
		}
	}
	return sum
}

func triangle(a, b, c [3]float64) float64 {
	var u, v [3]float64
	for i := range a {
		u[i], v[i] = b[i]-a[i], c[i]-a[i]
	}
	x, y, z := u[1]*v[2]-u[2]*v[1], u[2]*v[0]-u[0]*v[2], u[0]*v[1]-u[1]*v[0]
	return math.Sqrt(x*x+y*y+z*z) / 2
}

func TestFaultsOfSweeps(t *testing.T) {
	elbow := func(d, leg float64) geometry.Sweep {
		return geometry.Sweep{Stations: []geometry.Station{{Diameter: d}, {Z: 1, Diameter: d}, {X: leg, Z: 1, Diameter: d}}}
	}
	for name, c := range map[string]struct {
		sweep geometry.Sweep
		want  string // the fields
	}{
		"nothing":               {geometry.Sweep{}, "stations"},
		"one station":           {geometry.Sweep{Stations: []geometry.Station{{Diameter: 1}}, Ends: 7}, "stations ends"},
		"off all bounds":        {geometry.Sweep{Stations: []geometry.Station{{X: math.NaN(), Y: 1001, Z: math.Inf(-1)}, {Diameter: -1}}}, "stations[0].x stations[0].y stations[0].z stations[0].diameter stations[1].diameter"},
		"two in one place":      {geometry.Sweep{Stations: []geometry.Station{{Diameter: 1}, {Diameter: 1}}}, "stations[1]"},
		"a sound elbow":         {elbow(0.2, 0.1), ""},
		"a leg too short":       {elbow(0.2, 0.09), "stations[1].diameter"},
		"straight back":         {geometry.Sweep{Stations: []geometry.Station{{Diameter: 0.1}, {X: 1, Diameter: 0.1}, {X: 0.5, Diameter: 0.1}}}, "stations[1].diameter"},
		"straight back, smooth": {geometry.Sweep{Stations: []geometry.Station{{Diameter: 0.1}, {X: 1, Y: 1, Diameter: 0.1}, {X: 0.5, Y: 0.5, Diameter: 0.1}}, Smooth: true}, "stations[1].diameter"},
		"along an axis":         {geometry.Sweep{Stations: []geometry.Station{{Diameter: 0.1}, {X: 1, Diameter: 0.1}, {X: 0.7, Diameter: 0.1}}, Smooth: true}, "stations[1].diameter"},
		"a smooth tight bend":   {geometry.Sweep{Stations: arch(0.1, 2, 0.3, 4), Smooth: true}, "stations[1].diameter stations[2].diameter stations[3].diameter"},
		"a wide enough bend":    {geometry.Sweep{Stations: arch(0.16, 2, 0.3, 16), Smooth: true}, ""},
	} {
		if got := strings.Join(fields(c.sweep.Faults()), " "); got != c.want {
			t.Errorf("%s: faults in %q, want %q (%v)", name, got, c.want, c.sweep.Faults())
		}
	}
	const allowed = "less, or a wider bend: the mitres take 100 mm of the 90 mm from stations[1] to stations[2]"
	if faults := elbow(0.2, 0.09).Faults(); len(faults) != 1 || faults[0].Allowed != allowed {
		t.Errorf("got %v", faults)
	}
}

// A line that turns straight back has no bend to be given in metres.
func TestFaultOfALineStraightBack(t *testing.T) {
	back := geometry.Sweep{Stations: []geometry.Station{{Diameter: 0.1}, {X: 1, Diameter: 0.1}, {Diameter: 0.1}}}
	const said = "stations[1].diameter: got 100 mm, allowed is a wider bend: the line turns straight back there"
	for _, back.Smooth = range []bool{false, true} {
		if faults := back.Faults(); len(faults) != 1 || faults[0].Error() != said {
			t.Errorf("smooth %v: got %v", back.Smooth, faults)
		}
	}
}

// Mitres that lean to opposite sides of a piece may pass each other; those on one
// side may not meet.
func TestMitresOfAZigzag(t *testing.T) {
	zig := []geometry.Station{{}, {Z: 1}, {X: 0.15, Z: 1}, {X: 0.15, Z: 2}}
	hook := []geometry.Station{{}, {Z: 1}, {X: 0.15, Z: 1}, {X: 0.15, Z: 0}}
	for i := range zig {
		zig[i].Diameter, hook[i].Diameter = 0.2, 0.2
	}
	if faults := (geometry.Sweep{Stations: zig}).Faults(); len(faults) > 0 {
		t.Errorf("zigzag: %v", faults)
	}
	if faults := (geometry.Sweep{Stations: hook}).Faults(); len(faults) != 1 {
		t.Errorf("hook: %v", faults)
	}
}

// Any sweep without faults has finite measures that hang together, and they scale.
func TestSweepLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 8).Draw(t, "stations")
		s := geometry.Sweep{Smooth: rapid.Bool().Draw(t, "smooth"), Ends: geometry.Ends(rapid.IntRange(0, 3).Draw(t, "ends"))}
		for i := range n {
			s.Stations = append(s.Stations, geometry.Station{
				X: rapid.Float64Range(-0.3, 0.3).Draw(t, "x"), Y: rapid.Float64Range(-0.3, 0.3).Draw(t, "y"), Z: float64(i) * rapid.Float64Range(0.5, 1).Draw(t, "z"),
				Diameter: rapid.Float64Range(0.01, 0.3).Draw(t, "diameter"),
			})
		}
		if len(s.Faults()) > 0 {
			return
		}
		m, half := s.Measure(), s.Half()
		box := m.Extent.Width * m.Extent.Depth * m.Extent.Height
		if !(m.Surface > 0 && m.Volume > 0 && m.Volume <= box && m.Rim >= 0 && half.Rim > 0 && m.Silhouette > 0) {
			t.Fatalf("%+v in a box of %g", m, box)
		}
		// Isoperimetric inequality, the ends closed.
		closed := s
		closed.Ends = geometry.EndsBoth
		if a, v := closed.Measure().Surface, m.Volume; a*a*a < 36*math.Pi*v*v {
			t.Fatalf("surface %g round %g", a, v)
		}
		if !same(half.Surface*2, m.Surface, 1e-12) || half.Extent.Depth > m.Extent.Depth*(1+1e-12) {
			t.Fatalf("half %+v of %+v", half, m)
		}
		large := s
		large.Stations = nil
		for _, at := range s.Stations {
			large.Stations = append(large.Stations, geometry.Station{X: 2.5 * at.X, Y: 2.5 * at.Y, Z: 2.5 * at.Z, Diameter: 2.5 * at.Diameter})
		}
		if got, want := large.Measure(), grown(m, 2.5); !sameMeasures(got, want, 1e-9) {
			t.Fatalf("got %+v, want %+v", got, want) // GEO-61
		}
	})
}

// A straight run of stations has the diameter between its neighbours throughout.
func TestSmoothDiametersStayBetween(t *testing.T) {
	spike := geometry.Sweep{Smooth: true, Ends: geometry.EndsNeither, Stations: []geometry.Station{
		{Diameter: 0.5}, {Z: 1, Diameter: 0.5}, {Z: 1.1, Diameter: 0.01}, {Z: 2, Diameter: 0.01},
	}}
	m := spike.Measure()
	low := math.Pi * (0.25*1 + 0.0001*1) / 4
	if high := low + math.Pi*0.25*0.1/4; m.Volume <= low || m.Volume >= high {
		t.Errorf("volume %g, want between %g and %g", m.Volume, low, high)
	}
	if !same(m.Extent.Width, 0.5, 1e-12) {
		t.Errorf("width %g", m.Extent.Width)
	}
}

// A fox's tail, cut off flat where it joins the fox.
func ExampleSweep() {
	tail := geometry.Sweep{Smooth: true, Ends: geometry.EndsTop, Stations: []geometry.Station{
		{Diameter: 0.08}, {X: 0.25, Z: 0.05, Diameter: 0.18}, {X: 0.5, Z: 0.2, Diameter: 0.2}, {X: 0.6, Z: 0.45, Diameter: 0.04},
	}}
	m := tail.Measure()
	fmt.Printf("%.3f m2, %.4f m3, rim %.3f m, %d faults\n", m.Surface, m.Volume, m.Rim, len(tail.Faults()))
	// Output: 0.416 m2, 0.0173 m3, rim 0.251 m, 0 faults
}

func BenchmarkSweep(b *testing.B) {
	stations := arch(1, 2, 0, 1999)
	for i := range stations {
		stations[i].Diameter = 0.1 + 0.05*math.Sin(float64(i)/100)
	}
	s := geometry.Sweep{Stations: stations, Smooth: true}
	for b.Loop() {
		_, _ = s.Faults(), s.Measure()
	}
}
