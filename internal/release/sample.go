package release

import (
	"math"
	"sort"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// frame is where single precision is at home: coordinates from the middle of the
// mesh, as parts of half its largest dimension.
type frame struct {
	middle mesh.Point // m
	half   float64    // m
}

// sample is a place on the surface that stands for its share of the area.
type sample struct {
	place, normal [3]float32 // in the frame
}

func frameOf(m *mesh.Mesh) frame {
	low, high := m.Vertices[m.Faces[0][0]], m.Vertices[m.Faces[0][0]]
	for _, f := range m.Faces {
		for _, v := range f {
			for k, x := range m.Vertices[v] {
				low[k], high[k] = min(low[k], x), max(high[k], x)
			}
		}
	}
	var f frame
	for k := range low {
		f.middle[k] = (low[k] + high[k]) / 2
		f.half = max(f.half, (high[k]-low[k])/2)
	}
	return f
}

func (f frame) to(p mesh.Point) [3]float32 {
	var q [3]float32
	for k := range p {
		q[k] = float32((p[k] - f.middle[k]) / f.half)
	}
	return q
}

// areaVector is square to a face and as long as twice its area, m2.
func areaVector(t mesh.Triangle) Direction {
	return from(t[0], t[1]).cross(from(t[0], t[2]))
}

func from(p, q mesh.Point) Direction { return Direction{q[0] - p[0], q[1] - p[1], q[2] - p[2]} }

// sampled places samples of equal area over a mesh and gives its area, m2. The faces
// are laid out by area one after another and a sample stands in the middle of each of
// n equal stretches; its place inside the face is the next of a sequence that leaves
// no gaps. It is all reckoned from the faces' order and shape, so that a mesh that
// is moved has the same samples, moved.
func sampled(m *mesh.Mesh, f frame, n int) ([]sample, float64) {
	ends := make([]float64, len(m.Faces)) // of each face's stretch
	total := 0.0
	for i := range m.Faces {
		a := areaVector(m.Triangle(i))
		total += math.Sqrt(a.dot(a)) / 2
		ends[i] = total
	}
	if !(total > 0) {
		return nil, total
	}
	samples := make([]sample, n)
	face := 0
	for i := range samples {
		at := (float64(i) + 0.5) / float64(n) * total
		face += sort.SearchFloat64s(ends[face:], at)
		samples[i] = sampleOn(m.Triangle(min(face, len(ends)-1)), f, i)
	}
	return samples, total
}

// sampleOn is the i-th sample, which lies on t.
//
// The steps are those of the additive recurrence on the plastic number p, p^3 = p + 1
// (1/p and 1/p^2), the plane's likeness of the golden ratio (common practice). A place
// in the far half of the unit square is turned back into the near half, which is the
// triangle.
func sampleOn(t mesh.Triangle, f frame, i int) sample {
	const stepU, stepV = 0.7548776662466927, 0.5698402909980532
	_, u := math.Modf(0.5 + float64(stepU*float64(i)))
	_, v := math.Modf(0.5 + float64(stepV*float64(i)))
	if u+v > 1 {
		u, v = 1-u, 1-v
	}
	var p mesh.Point
	for k := range p {
		p[k] = t[0][k] + float64(u*(t[1][k]-t[0][k])) + float64(v*(t[2][k]-t[0][k]))
	}
	return sample{place: f.to(p), normal: areaVector(t).unit().single()}
}
