package release

import (
	"math"
	"testing"

	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// A circle on a ball of radius 1 at a height c is 2 pi sqrt(1 - c^2) long (elementary).
// Along the edges between faces it reads some 1.2 to 1.5 times as long; straightened,
// within 3 %.
func TestRimsAreStraightened(t *testing.T) {
	for _, level := range []int{4, 5} {
		m := meshtest.Icosphere(1, level)
		twin := twins(m)
		for _, up := range []Direction{{0, 0, 1}, {0.6, 0, 0.8}, {1. / 3, 2. / 3, 2. / 3}} {
			for _, height := range []float64{0, 0.3, 0.6, 0.9} {
				above := func(face int) bool {
					sum := 0.0
					for _, p := range m.Triangle(face) {
						sum += up.dot(Direction(p)) / 3
					}
					return sum > height
				}
				var r rims
				raw := 0.0
				for h, t := range twin {
					if int(t) > h && above(h/3) != above(int(t)/3) {
						p, q := m.Faces[h/3][h%3], m.Faces[h/3][(h+1)%3]
						r.add(p, q, 1)
						raw += distance(m.Vertices[p], m.Vertices[q])
					}
				}
				exact := 2 * math.Pi * math.Sqrt(1-height*height)
				if off := r.length(m.Vertices)/exact - 1; math.Abs(off) > 0.03 {
					t.Errorf("level %d, %v at %v: %.4f of the circle, %.4f along the edges", level, up, height, 1+off, raw/exact)
				}
			}
		}
	}
}

// Samples of hundreds of sheets that lie on each other are looked at in part only.
func TestCrowdedSamplesAreLookedAtInPart(t *testing.T) {
	const n = 20_000
	samples, of := make([]sample, n), make([]int, n)
	for i := range of {
		of[i] = i
	}
	g := gridOf(samples, of, 0.5)
	looks := 0
	for i := range of {
		g.near(i, func(int) { looks++ })
	}
	if looks > 9*257*n {
		t.Errorf("%d looks for %d samples", looks, n)
	}
}
