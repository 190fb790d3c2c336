package geometry_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

// Two lines that cross where a third loop has a corner, all on a grid: they pass
// through each other whatever lies there (elementary).
func TestCrossingAtAnothersCorner(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tenth := func(name string) float64 { return float64(rapid.IntRange(-10, 10).Draw(t, name)) / 10 }
		at, a, b := geometry.Point{X: tenth("x"), Y: tenth("y")}, vec2{tenth("ax"), tenth("ay")}, vec2{tenth("bx"), tenth("by")}
		if math.Abs(a[0]*b[1]-a[1]*b[0]) < 1e-3 {
			t.Skip("along each other")
		}
		in := loops{a.thereAndBack(at), b.thereAndBack(at), {at, at, at}}
		got, found, err := geometry.FirstCrossing(in)
		if err != nil || !found || got.First.Loop != 0 || got.Second.Loop != 1 || math.Hypot(got.At.X-at.X, got.At.Y-at.Y) > 1e-9 {
			t.Fatalf("found %v %+v, %v; want loops 0 and 1 at %v", found, got, err, at)
		}
	})
}

type vec2 [2]float64

// thereAndBack is a line through the middle of a point, closed by retracing it.
func (v vec2) thereAndBack(p geometry.Point) []geometry.Point {
	from, to := geometry.Point{X: p.X - v[0], Y: p.Y - v[1]}, geometry.Point{X: p.X + v[0], Y: p.Y + v[1]}
	return []geometry.Point{from, to, to}
}

// A bulge through the side of a square, 1/2000 of it deep, is a crossing however finely
// a third loop beside the two crossings is drawn.
func TestShallowCrossingAmongFineDetail(t *testing.T) {
	square := upright(0, 0, 1, 1)
	bulge := []geometry.Point{{-5e-4, 0}, {5e-4, 0.5}, {-5e-4, 1}, {-0.5, 0.5}}
	detail := []geometry.Point{{3, 1}, {3, 0}}
	for _, middle := range []float64{0.25, 0.75} {
		for i := range 200 {
			detail = append(detail, geometry.Point{X: 2 + 0.05*float64(i%2), Y: middle + (float64(i)-99.5)*1e-9})
		}
	}
	for _, turn := range []float64{0, -1} {
		in := moved(loops{square, bulge, detail}, turn, 1, geometry.Point{})
		got, found, err := geometry.FirstCrossing(in[:2])
		if err != nil || !found {
			t.Fatalf("turned %g, alone: %v %v", turn, got, err)
		}
		if got, found, err = geometry.FirstCrossing(in); err != nil || !found || got.Second.Loop != 1 {
			t.Errorf("turned %g: found %v %+v, %v", turn, found, got, err)
		}
	}
}
