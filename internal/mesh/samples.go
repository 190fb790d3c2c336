package mesh

// sample is a point that stands for its share of a surface.
type sample struct {
	at   Point
	face int
}

// samples spreads n points over a surface, each for the same area: equal steps
// along the running sum of the areas, and inside a face by two rows of multiples of
// irrational numbers (Roberts' R2 sequence, from memory). No faces, no samples.
func samples(m *Mesh, n int) []sample {
	total := 0.0
	for i := range m.Faces {
		total += areaVector(m.Triangle(i)).length()
	}
	out := make([]sample, 0, n)
	run := 0.0
	for i := range m.Faces {
		t := m.Triangle(i)
		run += areaVector(t).length()
		for len(out) < n && (float64(len(out))+0.5)/float64(n)*total < run {
			out = append(out, sample{inside(t, len(out)), i})
		}
	}
	return out
}

// inside is the i-th of points spread over a triangle.
func inside(t Triangle, i int) Point {
	u, v := fraction(0.7548776662466927*float64(i+1)), fraction(0.5698402909980532*float64(i+1))
	if u+v > 1 {
		u, v = 1-u, 1-v
	}
	a := arrow(t[0]).plus(from(t[0], t[1]).times(u)).plus(from(t[0], t[2]).times(v))
	return Point(a)
}

func fraction(x float64) float64 { return x - float64(int(x)) }
