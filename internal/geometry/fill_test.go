package geometry_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

type loops = [][]geometry.Point

func upright(left, bottom, right, top float64) []geometry.Point {
	return []geometry.Point{{left, bottom}, {right, bottom}, {right, top}, {left, top}}
}

func reversed(loop []geometry.Point) []geometry.Point {
	back := slices.Clone(loop)
	slices.Reverse(back)
	return back
}

// starInOneLine is the five-pointed star drawn in one line, its points on a circle of
// radius 1.
func starInOneLine() []geometry.Point {
	var star []geometry.Point
	for i := range 5 {
		sin, cos := math.Sincos(math.Pi/2 + float64(i)*4*math.Pi/5)
		star = append(star, geometry.Point{X: cos, Y: sin})
	}
	return star
}

// moved turns loops about the origin, then scales and shifts them.
func moved(in loops, turn, scale float64, by geometry.Point) loops {
	sin, cos := math.Sincos(turn)
	out := make(loops, len(in))
	for i, loop := range in {
		for _, p := range loop {
			x, y := p.X*cos-p.Y*sin, p.X*sin+p.Y*cos
			out[i] = append(out[i], geometry.Point{X: x*scale + by.X, Y: y*scale + by.Y})
		}
	}
	return out
}

func filled(t interface {
	Helper()
	Fatal(...any)
}, in loops, rule geometry.Rule,
) geometry.Region {
	t.Helper()
	region, err := geometry.Fill(in, rule)
	if err != nil {
		t.Fatal(err)
	}
	return region
}

func near(got, want, share float64) bool {
	return math.Abs(got-want) <= share*max(1e-300, math.Abs(want))
}

// Inner pentagon of the pentagram on a unit circle: circumradius r = sin 18/sin 126.
var (
	innerRadius  = math.Sin(math.Pi/10) / math.Sin(7*math.Pi/10)
	pentagonArea = 2.5 * innerRadius * innerRadius * math.Sin(2*math.Pi/5)
	starFace, _  = geometry.Star(1)
	// A point of the star has two of the star's ten equal sides; the pentagon has five
	// sides of 2 r sin 36.
	pentagonLength = 10 * innerRadius * math.Sin(math.Pi/5)
)

var fillRows = []struct {
	id, source             string
	loops                  loops
	rule                   geometry.Rule
	wantArea, wantBoundary float64
}{
	{
		"GEO-51", "derived (A=40000, P=1600)",
		loops{upright(0, 0, 200, 300), upright(50, 50, 150, 250)},
		geometry.EvenOdd, 40000, 1600,
	},
	{
		"GEO-51 wound", "derived (A=40000, P=1600)",
		loops{upright(0, 0, 200, 300), reversed(upright(50, 50, 150, 250))},
		geometry.NonZero, 40000, 1600,
	},
	{
		"GEO-52", "shoelace",
		loops{{{0, 0}, {300, 0}, {300, 60}, {80, 60}, {80, 400}, {0, 400}}},
		geometry.NonZero, 45200, 1400,
	},
	{"pentagram nonzero", "elementary: Star", loops{starInOneLine()}, geometry.NonZero, starFace.Area, starFace.Perimeter},
	{
		"pentagram even-odd", "elementary: Star less its pentagon",
		loops{starInOneLine()},
		geometry.EvenOdd, starFace.Area - pentagonArea, starFace.Perimeter + pentagonLength,
	},
	{
		"overlapping squares", "elementary",
		loops{upright(0, 0, 2, 2), upright(1, 1, 3, 3)},
		geometry.NonZero, 7, 12,
	},
	{
		"overlapping squares even-odd", "elementary",
		loops{upright(0, 0, 2, 2), upright(1, 1, 3, 3)},
		geometry.EvenOdd, 6, 16,
	},
	{"figure eight", "elementary: two triangles", loops{{{0, 0}, {2, 2}, {2, 0}, {0, 2}}}, geometry.NonZero, 2, 4 + 4*math.Sqrt2},
	{"figure eight even-odd", "elementary", loops{{{0, 0}, {2, 2}, {2, 0}, {0, 2}}}, geometry.EvenOdd, 2, 4 + 4*math.Sqrt2},
	{"side by side", "elementary: the shared side is no boundary", loops{upright(0, 0, 1, 1), upright(1, 0, 3, 1)}, geometry.NonZero, 3, 8},
	{"one on another", "elementary: the shared side is no boundary", loops{upright(0, 0, 1, 1), upright(0, 1, 1, 3)}, geometry.NonZero, 3, 8},
	{"part of a side shared", "elementary", loops{upright(0, 0, 1, 4), upright(1, 1, 2, 3)}, geometry.NonZero, 6, 12},
	{"the same twice", "elementary", loops{upright(0, 0, 1, 2), upright(0, 0, 1, 2)}, geometry.NonZero, 2, 6},
	{"the same twice even-odd", "elementary", loops{upright(0, 0, 1, 2), upright(0, 0, 1, 2)}, geometry.EvenOdd, 0, 0},
	{"touching corners", "elementary", loops{upright(0, 0, 1, 1), upright(1, 1, 2, 2)}, geometry.NonZero, 2, 8},
	{"repeated points", "elementary", loops{{{0, 0}, {0, 0}, {1, 0}, {1, 0}, {1, 1}, {0, 1}, {0, 1}}}, geometry.NonZero, 1, 4},
	{"a spike retraced", "elementary", loops{{{0, 0}, {1, 0}, {1, 1}, {3, 2}, {1, 1}, {0, 1}}}, geometry.NonZero, 1, 4},
	{"cancelling", "elementary", loops{upright(0, 0, 1, 1), reversed(upright(0, 0, 1, 1))}, geometry.NonZero, 0, 0},
	{"a line", "elementary", loops{{{0, 0}, {1, 1}, {2, 2}}}, geometry.NonZero, 0, 0},
	{"level line", "elementary", loops{{{0, 0}, {1, 0}, {2, 0}}}, geometry.NonZero, 0, 0},
	{"nothing", "elementary", nil, geometry.NonZero, 0, 0},
}

func TestFill(t *testing.T) {
	for _, row := range fillRows {
		for _, turn := range []float64{0, 1e-12, 1e-9, 0.3, math.Pi / 4, math.Pi / 2, 2} {
			got := filled(t, moved(row.loops, turn, 1, geometry.Point{}), row.rule)
			if math.Abs(got.Area-row.wantArea) > 1e-10*(1+row.wantArea) {
				t.Errorf("%s (%s), turned %g: area %.17g, want %.17g", row.id, row.source, turn, got.Area, row.wantArea)
			}
			if math.Abs(got.Perimeter-row.wantBoundary) > 1e-9*(1+row.wantBoundary) {
				t.Errorf("%s (%s), turned %g: perimeter %.17g, want %.17g", row.id, row.source, turn, got.Perimeter, row.wantBoundary)
			}
		}
	}
}

func TestFillBox(t *testing.T) {
	got := filled(t, loops{upright(-1, 2, 3, 5), upright(2, 4, 6, 9), {{20, 20}, {30, 30}, {20, 20}}}, geometry.NonZero)
	if got.Low != (geometry.Point{X: -1, Y: 2}) || got.High != (geometry.Point{X: 6, Y: 9}) {
		t.Errorf("box %v to %v", got.Low, got.High)
	}
}

// loopsOf draws corners on a grid of thousandths, or a coarse one that makes shared
// edges, touching corners and overlaps common. Finer corners would make needles
// thinner than the stated tolerances, whose perimeter is either answer.
func loopsOf(count, corners int) *rapid.Generator[loops] {
	corner := rapid.Custom(func(t *rapid.T) geometry.Point {
		n := rapid.SampledFrom([]int{4, 1000}).Draw(t, "grid")
		grid := rapid.IntRange(-n, n)
		return geometry.Point{X: float64(grid.Draw(t, "x")) / float64(n), Y: float64(grid.Draw(t, "y")) / float64(n)}
	})
	return rapid.SliceOfN(rapid.SliceOfN(corner, 3, corners), 1, count)
}

func rules() *rapid.Generator[geometry.Rule] {
	return rapid.SampledFrom([]geometry.Rule{geometry.NonZero, geometry.EvenOdd})
}

// winding counts how often loops go round a point, by crossings of the ray to the
// right: an oracle apart from the sweep.
func winding(in loops, p geometry.Point) int {
	n := 0
	for _, loop := range in {
		for i, a := range loop {
			b := loop[(i+1)%len(loop)]
			side := (b.X-a.X)*(p.Y-a.Y) - (p.X-a.X)*(b.Y-a.Y)
			if a.Y <= p.Y && b.Y > p.Y && side > 0 {
				n++
			}
			if b.Y <= p.Y && a.Y > p.Y && side < 0 {
				n--
			}
		}
	}
	return n
}

// A raster of 200 by 200 misreads only cells on an edge, about half of each.
func TestFillAgainstRaster(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, rule := loopsOf(3, 8).Draw(t, "loops"), rules().Draw(t, "rule")
		const n = 200
		cells := 0
		for i := range n * n {
			p := geometry.Point{X: (float64(i%n)+0.503)*2/n - 1, Y: (float64(i/n)+0.497)*2/n - 1}
			w := winding(in, p)
			if rule == geometry.NonZero && w != 0 || rule == geometry.EvenOdd && w%2 != 0 {
				cells++
			}
		}
		got := filled(t, in, rule)
		raster := float64(cells) * 4 / (n * n)
		if math.Abs(got.Area-raster) > 0.01+got.Perimeter*2/n*0.3 {
			t.Fatalf("area %g, raster %g", got.Area, raster)
		}
	})
}

// Cauchy-Crofton from the other side: the perimeter is the sum over edges, cut at all
// their crossings, of those with inside on one side only. An O(n^2) oracle.
func TestPerimeterAgainstOracle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, rule := loopsOf(3, 7).Draw(t, "loops"), rules().Draw(t, "rule")
		in = moved(in, 0.1234, 1, geometry.Point{})
		want := 0.0
		for i, loop := range in {
			for k := range loop {
				want += oracleEdge(in, i, k, rule)
			}
		}
		if got := filled(t, in, rule).Perimeter; math.Abs(got-want) > 1e-5 {
			t.Fatalf("perimeter %.12g, oracle %.12g", got, want)
		}
	})
}

// oracleEdge cuts one edge at every other and probes both sides of each part. Of
// parts that coincide each counts its share.
func oracleEdge(in loops, loop, corner int, rule geometry.Rule) float64 {
	a, b := in[loop][corner], in[loop][(corner+1)%len(in[loop])]
	length := math.Hypot(b.X-a.X, b.Y-a.Y)
	if length < 1e-12 {
		return 0
	}
	cuts := []float64{0, 1}
	for _, other := range in {
		for i, c := range other {
			d := other[(i+1)%len(other)]
			det := (b.X-a.X)*(d.Y-c.Y) - (b.Y-a.Y)*(d.X-c.X)
			if math.Abs(det) > 1e-12 {
				cuts = append(cuts, ((c.X-a.X)*(d.Y-c.Y)-(c.Y-a.Y)*(d.X-c.X))/det)
			}
			cuts = append(cuts, ((c.X-a.X)*(b.X-a.X)+(c.Y-a.Y)*(b.Y-a.Y))/length/length)
		}
	}
	slices.Sort(cuts)
	sum := 0.0
	for i := 1; i < len(cuts); i++ {
		from, to := max(0, cuts[i-1]), min(1, cuts[i])
		if to-from < 1e-7 {
			continue
		}
		m := (from + to) / 2
		p := geometry.Point{X: a.X + (b.X-a.X)*m, Y: a.Y + (b.Y-a.Y)*m}
		const aside = 3e-11 // just beyond what counts as one edge: needles end in less
		nx, ny := -(b.Y-a.Y)/length*aside, (b.X-a.X)/length*aside
		left, right := winding(in, geometry.Point{X: p.X + nx, Y: p.Y + ny}), winding(in, geometry.Point{X: p.X - nx, Y: p.Y - ny})
		if geometryInside(left, rule) != geometryInside(right, rule) {
			sum += (to - from) * length / float64(through(in, p))
		}
	}
	return sum
}

func geometryInside(winding int, rule geometry.Rule) bool {
	if rule == geometry.EvenOdd {
		return winding%2 != 0
	}
	return winding != 0
}

// through counts the edges that go through a point.
func through(in loops, p geometry.Point) int {
	n := 0
	for _, loop := range in {
		for i, a := range loop {
			b := loop[(i+1)%len(loop)]
			dx, dy := b.X-a.X, b.Y-a.Y
			share := ((p.X-a.X)*dx + (p.Y-a.Y)*dy) / (dx*dx + dy*dy)
			if share >= 0 && share <= 1 && math.Hypot(p.X-a.X-share*dx, p.Y-a.Y-share*dy) < 1e-13 {
				n++
			}
		}
	}
	return n
}

func TestFillLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, rule := loopsOf(4, 8).Draw(t, "loops"), rules().Draw(t, "rule")
		base := filled(t, in, rule)
		scale := rapid.Float64Range(0.01, 100).Draw(t, "scale")
		turn := rapid.Float64Range(0, 7).Draw(t, "turn")
		if turn > 1e-13 && turn < 1e-7 {
			t.Skip("level edges all but level: where they lie double their length is either answer")
		}
		by := geometry.Point{X: rapid.Float64Range(-5, 5).Draw(t, "x"), Y: rapid.Float64Range(-5, 5).Draw(t, "y")}
		other := filled(t, moved(in, turn, scale, by), rule)
		if math.Abs(other.Area/scale/scale-base.Area) > 1e-8 {
			t.Fatalf("moved: area %.15g, was %.15g", other.Area/scale/scale, base.Area)
		}
		if math.Abs(other.Perimeter/scale-base.Perimeter) > 1e-5 {
			t.Fatalf("moved: perimeter %.15g, was %.15g", other.Perimeter/scale, base.Perimeter)
		}
		back := slices.Clone(in)
		slices.Reverse(back)
		for i := range back {
			back[i] = reversed(back[i])
		}
		if r := filled(t, back, rule); math.Abs(r.Area-base.Area) > 1e-12 || math.Abs(r.Perimeter-base.Perimeter) > 1e-8 {
			t.Fatalf("reversed: %v, was %v", r, base)
		}
		if odd, all := filled(t, in, geometry.EvenOdd), filled(t, in, geometry.NonZero); odd.Area > all.Area+1e-12 {
			t.Fatalf("even-odd fills %g, nonzero %g", odd.Area, all.Area)
		}
		box := (base.High.X - base.Low.X) * (base.High.Y - base.Low.Y)
		if base.Area < 0 || base.Area > box+1e-12 || base.Perimeter*base.Perimeter < 4*math.Pi*base.Area*(1-1e-9) {
			t.Fatalf("%v: no such region", base)
		}
	})
}

// Two upright boxes: area by inclusion and exclusion.
func TestFillTwoBoxes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		grid := rapid.IntRange(0, 8)
		box := func(name string) [4]float64 {
			x, y := grid.Draw(t, name+" x"), grid.Draw(t, name+" y")
			return [4]float64{float64(x), float64(y), float64(x + 1 + grid.Draw(t, name+" w")), float64(y + 1 + grid.Draw(t, name+" h"))}
		}
		a, b := box("a"), box("b")
		area := func(r [4]float64) float64 { return max(0, r[2]-r[0]) * max(0, r[3]-r[1]) }
		both := [4]float64{max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3])}
		in := loops{upright(a[0], a[1], a[2], a[3]), upright(b[0], b[1], b[2], b[3])}
		got := filled(t, in, geometry.NonZero)
		if want := area(a) + area(b) - area(both); got.Area != want {
			t.Fatalf("area %v, want %v", got.Area, want)
		}
		if got := filled(t, in, geometry.EvenOdd); got.Area != area(a)+area(b)-2*area(both) {
			t.Fatalf("even-odd area %v", got.Area)
		}
	})
}

// A loop that does not cross itself, seen from its middle: both rules, the shoelace
// formula and the sum of its sides agree, and no crossing is found.
func TestFillSimpleLoop(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		radii := rapid.SliceOfN(rapid.Float64Range(0.1, 1), 3, 40).Draw(t, "radii")
		var loop []geometry.Point
		for i, r := range radii {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(len(radii)))
			loop = append(loop, geometry.Point{X: r * cos, Y: r * sin})
		}
		area, _ := geometry.PolygonArea(loop)
		length, _ := geometry.PolygonPerimeter(loop)
		for _, rule := range []geometry.Rule{geometry.NonZero, geometry.EvenOdd} {
			got := filled(t, loops{loop}, rule)
			if !near(got.Area, area, 1e-12) || !near(got.Perimeter, length, 1e-9) {
				t.Fatalf("rule %d: %v, want %g and %g", rule, got, area, length)
			}
		}
		if at, found, err := geometry.SelfCrossing(loop); found || err != nil {
			t.Fatalf("crosses at %v, %v", at, err)
		}
	})
}

func TestSelfCrossing(t *testing.T) {
	type point = geometry.Point
	rows := []struct {
		name string
		loop []point
		want bool
		at   point
	}{
		{"figure eight", []point{{0, 0}, {2, 2}, {2, 0}, {0, 2}}, true, point{X: 1, Y: 1}},
		{"figure eight that crosses in a corner", []point{{0, 0}, {1, 1}, {2, 2}, {2, 0}, {1, 1}, {0, 2}}, true, point{}},
		{"loop in a loop", []point{{0, 0}, {4, 0}, {4, 4}, {2, 0.5}, {0, 4}, {0, 0}, {1, 0.1}, {1, 0.2}}, true, point{}},
		{"square", upright(0, 0, 1, 1), false, point{}},
		{"square twice round", append(upright(0, 0, 1, 1), upright(0, 0, 1, 1)...), true, point{}},
		{"two squares on one corner", []point{{0, 0}, {1, 0}, {1, 1}, {2, 1}, {2, 2}, {1, 2}, {1, 1}, {0, 1}}, false, point{}},
		{"a spike", []point{{0, 0}, {1, 0}, {1, 1}, {3, 2}, {1, 1}, {0, 1}}, false, point{}},
		{"a spike inwards to the far side", []point{{0, 0}, {1, 0}, {1, 0.5}, {0, 0.5}, {1, 0.5}, {1, 1}, {0, 1}}, false, point{}},
	}
	for _, row := range rows {
		at, found, err := geometry.SelfCrossing(row.loop)
		if err != nil || found != row.want || row.at != (point{}) && math.Hypot(at.X-row.at.X, at.Y-row.at.Y) > 1e-9 {
			t.Errorf("%s: %v at %v, %v", row.name, found, at, err)
		}
	}
}

// An O(n^2) oracle of every pair of edges.
func TestFirstCrossing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := loopsOf(3, 6).Draw(t, "loops")
		var edges []geometry.Edge
		for _, loop := range in {
			for i, p := range loop {
				edges = append(edges, geometry.Edge{From: p, To: loop[(i+1)%len(loop)]})
			}
		}
		side := func(e geometry.Edge, p geometry.Point) float64 {
			return (e.To.X-e.From.X)*(p.Y-e.From.Y) - (e.To.Y-e.From.Y)*(p.X-e.From.X)
		}
		apart := func(a, b geometry.Edge) float64 { return -side(a, b.From) * side(a, b.To) }
		want, doubtful := false, false
		for i, a := range edges {
			for _, b := range edges[:i] {
				least := min(apart(a, b), apart(b, a))
				want = want || least > 1e-12
				doubtful = doubtful || least > -1e-12 && least <= 1e-12
			}
		}
		got, found, err := geometry.FirstCrossing(in)
		if err != nil || want && !found || found && !want && !doubtful {
			t.Fatalf("found %v %v, %v; want %v", found, got, err, want)
		}
	})
}

func TestFillFaults(t *testing.T) {
	many := make(loops, geometry.EdgesMax/4+1)
	for i := range many {
		many[i] = upright(0, 0, 1, 1)
	}
	tangle := loops{nil}
	for i := range 4000 {
		sin, cos := math.Sincos(float64(i) * math.Pi * 3999 / 4001)
		tangle[0] = append(tangle[0], geometry.Point{X: cos, Y: sin})
	}
	rows := map[string]loops{
		`loops[0]: got 2, allowed is at least 3 points`:                            {{{0, 0}, {1, 1}}},
		`edges[1]: got NaN mm, allowed is coordinates within 1e+12 mm either way`:  {{{0, 0}, {1, 1}, {math.NaN(), 0}}},
		`edges[0]: got +Inf mm, allowed is coordinates within 1e+12 mm either way`: {{{0, 0}, {1, math.Inf(-1)}, {1, 0}}},
		fmt.Sprintf(`edges: got %d, allowed is 0 to 200000`, geometry.EdgesMax+4):  many,
	}
	for want, in := range rows {
		if _, err := geometry.Fill(in, geometry.NonZero); err == nil || err.Error() != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
	if _, err := geometry.Fill(tangle, geometry.NonZero); err == nil {
		t.Error("a tangle with millions of crossings was filled")
	}
	open := []geometry.Edge{{From: geometry.Point{}, To: geometry.Point{X: 1, Y: 1}, Weight: 1}}
	if _, err := geometry.FillEdges(open, geometry.NonZero); err == nil {
		t.Error("edges that do not close were filled")
	}
}

func ExampleFill() {
	letters := [][]geometry.Point{
		{{0, 0}, {2, 0}, {2, 2}, {0, 2}},
		{{1, 1}, {3, 1}, {3, 3}, {1, 3}}, // overlaps the first
	}
	region, err := geometry.Fill(letters, geometry.NonZero)
	fmt.Println(region.Area, region.Perimeter, err)
	region, err = geometry.Fill(letters, geometry.EvenOdd)
	fmt.Println(region.Area, region.Perimeter, err)
	// Output:
	// 7 12 <nil>
	// 6 16 <nil>
}

func ExampleFillEdges() {
	type point = geometry.Point
	twice := []geometry.Edge{ // the sides of a triangle in any order, gone round twice
		{From: point{X: 4}, To: point{Y: 3}, Weight: 2},
		{From: point{}, To: point{X: 4}, Weight: 2},
		{From: point{Y: 3}, To: point{}, Weight: 2},
	}
	region, err := geometry.FillEdges(twice, geometry.NonZero)
	fmt.Println(region.Area, region.Perimeter, err)
	// Output: 6 12 <nil>
}

func ExampleFirstCrossing() {
	crossing, found, err := geometry.FirstCrossing([][]geometry.Point{
		{{0, 0}, {4, 0}, {0, 4}},
		{{1, 1}, {5, 2}, {1, 5}},
	})
	fmt.Printf("%v: edge %v and edge %v near (%.1f, %.1f) %v\n",
		found, crossing.First, crossing.Second, crossing.At.X, crossing.At.Y, err)
	// Output: true: edge {0 1} and edge {1 2} near (1.0, 3.0) <nil>
}

func ExampleSelfCrossing() {
	at, found, err := geometry.SelfCrossing([]geometry.Point{{0, 0}, {2, 2}, {2, 0}, {0, 2}})
	fmt.Println(at, found, err)
	// Output: {1 1} true <nil>
}

// BenchmarkFill fills 300 letters O, each of two loops of 64 points, some overlapping.
func BenchmarkFill(b *testing.B) {
	var in loops
	for i := range 300 {
		for _, r := range []float64{0.05, 0.03} {
			var ring []geometry.Point
			for k := range 64 {
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / 64)
				ring = append(ring, geometry.Point{X: float64(i%30)*0.09 + r*cos, Y: float64(i/30)*0.11 + r*sin})
			}
			in = append(in, ring)
		}
	}
	for b.Loop() {
		if _, err := geometry.Fill(in, geometry.EvenOdd); err != nil {
			b.Fatal(err)
		}
	}
}
