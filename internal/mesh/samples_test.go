package mesh_test

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// Each face has samples for its share of the area, to within one, and they lie on it
// (elementary).
func TestSamplesAreSpreadByArea(t *testing.T) {
	m := meshtest.Scaled(meshtest.Icosphere(1, 2), 1, 2, 5)
	area := examine(t, m).Area
	const n = 20_000
	count := make([]int, len(m.Faces))
	samples := mesh.Samples(m, n)
	same(t, "samples", len(samples), n)
	for _, s := range samples {
		count[s.Face]++
		rest := 0.0 // of the three triangles that a place on a face makes with its sides
		c := m.Triangle(s.Face)
		for i := range c {
			rest += areaOf(mesh.Triangle{s.At, c[i], c[(i+1)%3]})
		}
		near(t, "on the face", rest, areaOf(c), 1e-9)
	}
	for f, got := range count {
		if want := areaOf(m.Triangle(f)) / area * n; float64(got) < want-1 || float64(got) > want+1 {
			t.Errorf("face %d: %d samples, want %.2f", f, got, want)
		}
	}
}

func TestSamplesOfNothing(t *testing.T) {
	line := meshtest.Scaled(meshtest.Box(1, 1, 1), 1, 0, 0)
	same(t, "of nothing", len(mesh.Samples(&mesh.Mesh{}, 10)), 0)
	same(t, "of a line", len(mesh.Samples(line, 10)), 0)
	for _, n := range []int{0, -1} {
		same(t, "none asked for", len(mesh.Samples(meshtest.Box(1, 1, 1), n)), 0)
	}
}

func areaOf(t mesh.Triangle) float64 {
	var s mesh.Sum
	s.Add(t)
	return s.Area
}
