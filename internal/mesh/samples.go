package mesh

import "math"

// Sample is a place that stands for its share of a surface.
type Sample struct {
	At   Point
	Face int
}

// Samples spreads n places over a surface, each for the same area: the faces are laid
// out by area one after another, and a sample stands in the middle of each of n equal
// stretches. All is reckoned from the faces' order and shape, so that a mesh that is
// moved has the same samples, moved. A surface without area has none, and for n below 1
// there are none.
func Samples(m *Mesh, n int) []Sample {
	total := 0.0
	for i := range m.Faces {
		total += m.Triangle(i).AreaVector().length()
	}
	out := make([]Sample, 0, max(0, n))
	run := 0.0
	for i := range m.Faces {
		t := m.Triangle(i)
		run += t.AreaVector().length()
		for len(out) < n && (float64(len(out))+0.5)/float64(n)*total < run {
			out = append(out, Sample{inside(t, len(out)), i})
		}
	}
	return out
}

// inside is the i-th of places spread over a triangle: the additive recurrence on the
// plastic number p, p^3 = p + 1, in steps of 1/p and 1/p^2, the plane's likeness of
// the golden ratio (common practice, no source). A place in the far half of the unit
// square is turned back into the near half, which is the triangle. It begins with the
// first step, since the start itself, half and half, lies on an edge.
func inside(t Triangle, i int) Point {
	const stepU, stepV = 0.7548776662466927, 0.5698402909980532
	_, u := math.Modf(0.5 + float64(stepU*float64(i+1)))
	_, v := math.Modf(0.5 + float64(stepV*float64(i+1)))
	if u+v > 1 {
		u, v = 1-u, 1-v
	}
	return t[0].along(u, t[1].less(t[0])).along(v, t[2].less(t[0]))
}
