package mesh

import "math"

// Sum adds up triangles as they pass, so that area, volume and box need no mesh in
// memory. The zero Sum is ready for use.
//
// Lengths are taken from the first corner that came in: far from the origin the
// figures lose nothing.
type Sum struct {
	Faces     int     // how many were added
	Area      float64 // m2
	Vector    Point   // sum of the faces' area vectors, m2: zero where nothing is open
	Low, High Point   // corners of the box along the axes, m
	origin    Point
	six       float64 // six times the signed volume, from origin
}

// AlmostNone is the share of its area that the vector area of a closed surface may
// reach by rounding alone (our own margin: sums of float64 stay below 1e-12).
const AlmostNone = 1e-9

// Add adds one triangle.
func (s *Sum) Add(t Triangle) {
	if s.Faces == 0 {
		s.origin, s.Low, s.High = t[0], t[0], t[0]
	}
	s.Faces++
	s.reach(&t[0])
	s.reach(&t[1])
	s.reach(&t[2])
	n := t[1].less(t[0]).cross(t[2].less(t[0]))
	s.Area += n.length() / 2
	s.six += t[0].less(s.origin).dot(n)
	s.Vector = s.Vector.along(0.5, n)
}

// reach widens the box to a corner. Comparisons are several times as fast here as min
// and max, which look for signs of zero and for what is not a number.
func (s *Sum) reach(p *Point) {
	for i, x := range p {
		if x < s.Low[i] {
			s.Low[i] = x
		}
		if x > s.High[i] {
			s.High[i] = x
		}
	}
}

// AddMesh adds every face of a mesh.
func (s *Sum) AddMesh(m *Mesh) {
	for f := range m.Faces {
		s.Add(m.Triangle(f))
	}
}

// area returns the area of every face, m2.
func (m *Mesh) area() float64 {
	var s Sum
	s.AddMesh(m)
	return s.Area
}

// Volume returns the volume enclosed, m3, negative where the faces are wound inward:
// the sum of a.(b x c)/6 over the faces (divergence theorem; Zhang & Chen 2001). It
// is false where the sum of the area vectors says that the surface is open. A tube
// that is open at both ends alike slips through: only a Survey, which knows the edges,
// can tell.
func (s *Sum) Volume() (float64, bool) {
	return s.six / 6, s.Faces > 0 && s.Vector.length() <= AlmostNone*s.Area
}

// Openness returns the length of the sum of the area vectors over the area: 0 for a
// closed surface, 1 for a flat sheet.
func (s *Sum) Openness() float64 {
	if s.Area == 0 {
		return 0
	}
	return s.Vector.length() / s.Area
}

// Diagonal returns the length of the box's diagonal, m.
func (s *Sum) Diagonal() float64 { return s.High.less(s.Low).length() }

// less returns p - q.
func (p Point) less(q Point) Point { return Point{p[0] - q[0], p[1] - q[1], p[2] - q[2]} }

// along returns p + s q.
func (p Point) along(s float64, q Point) Point {
	return Point{p[0] + float64(s*q[0]), p[1] + float64(s*q[1]), p[2] + float64(s*q[2])}
}

func (p Point) dot(q Point) float64 {
	return float64(p[0]*q[0]) + float64(p[1]*q[1]) + float64(p[2]*q[2])
}

func (p Point) cross(q Point) Point {
	return Point{
		float64(p[1]*q[2]) - float64(p[2]*q[1]),
		float64(p[2]*q[0]) - float64(p[0]*q[2]),
		float64(p[0]*q[1]) - float64(p[1]*q[0]),
	}
}

func (p Point) length() float64 { return math.Sqrt(p.dot(p)) }

// AreaVector is square to a triangle, outward, and as long as its area, m2.
func (t Triangle) AreaVector() Point {
	n := t[1].less(t[0]).cross(t[2].less(t[0]))
	return Point{n[0] / 2, n[1] / 2, n[2] / 2}
}

// flat reports whether a triangle has no area but by rounding: less than 1e-12 of the
// square of its longest side. Single precision, in which most files are written, leaves
// 1e-7.
func (t Triangle) flat() bool {
	a, b, c := t[1].less(t[0]), t[2].less(t[1]), t[0].less(t[2])
	longest := a.dot(a)
	for _, side := range [2]float64{b.dot(b), c.dot(c)} {
		if side > longest {
			longest = side
		}
	}
	n := a.cross(c)
	return n.dot(n) <= 1e-24*float64(longest*longest)
}
