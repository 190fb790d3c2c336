package release

import "github.com/mouldwright/mouldwright/internal/mesh"

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

// from is the way from p to q, m.
func from(p, q mesh.Point) Direction { return Direction{q[0] - p[0], q[1] - p[1], q[2] - p[2]} }

// sampled places samples of equal area over a skin. A grainy part has the surface's
// normals, which the grain that is left does not turn.
func sampled(of skin, f frame, on *surface, n int) []sample {
	samples := make([]sample, n)
	for i, s := range mesh.Samples(of.Mesh, n) {
		samples[i] = sample{place: f.to(s.At), normal: normalOf(of.Triangle(s.Face)).single()}
		if of.grainyAt(s.Face) {
			samples[i].normal = level(on.normal(s.Face))
		}
	}
	return samples
}

// normalOf is the direction that a face looks.
func normalOf(t mesh.Triangle) Direction { return Direction(t.AreaVector()).unit() }
