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

// Add adds triangles. Plain variables, one for each coordinate, keep the figures in
// registers: this is half of what reading a large file costs.
func (s *Sum) Add(triangles ...Triangle) {
	if len(triangles) == 0 {
		return
	}
	if s.Faces == 0 {
		s.origin, s.Low, s.High = triangles[0][0], triangles[0][0], triangles[0][0]
	}
	low, high, o := s.Low, s.High, s.origin
	var twice, six, x, y, z float64 // twice the area, six times the volume, twice the vector
	for i := range triangles {
		t := &triangles[i]
		a, b, c := &t[0], &t[1], &t[2]
		ux, uy, uz := b[0]-a[0], b[1]-a[1], b[2]-a[2]
		vx, vy, vz := c[0]-a[0], c[1]-a[1], c[2]-a[2]
		nx := float64(uy*vz) - float64(uz*vy)
		ny := float64(uz*vx) - float64(ux*vz)
		nz := float64(ux*vy) - float64(uy*vx)
		twice += math.Sqrt(float64(nx*nx) + float64(ny*ny) + float64(nz*nz))
		six += float64((a[0]-o[0])*nx) + float64((a[1]-o[1])*ny) + float64((a[2]-o[2])*nz)
		x, y, z = x+nx, y+ny, z+nz
		lower(&low, a)
		lower(&low, b)
		lower(&low, c)
		raise(&high, a)
		raise(&high, b)
		raise(&high, c)
	}
	s.Faces, s.Low, s.High = s.Faces+len(triangles), low, high
	s.Area += twice / 2
	s.six += six
	s.Vector = s.Vector.along(0.5, Point{x, y, z})
}

// lower and raise widen a box to a corner. Comparisons are several times as fast here as
// min and max, which look for signs of zero and for what is not a number.
func lower(low, p *Point) {
	if p[0] < low[0] {
		low[0] = p[0]
	}
	if p[1] < low[1] {
		low[1] = p[1]
	}
	if p[2] < low[2] {
		low[2] = p[2]
	}
}

func raise(high, p *Point) {
	if p[0] > high[0] {
		high[0] = p[0]
	}
	if p[1] > high[1] {
		high[1] = p[1]
	}
	if p[2] > high[2] {
		high[2] = p[2]
	}
}

// Join adds what another sum holds, as if its triangles had been added here.
func (s *Sum) Join(other *Sum) {
	if other.Faces == 0 {
		return
	}
	if s.Faces == 0 {
		*s = *other
		return
	}
	s.Faces += other.Faces
	s.Area += other.Area
	// Seen from another origin, each face spans a wedge more or less to it.
	s.six += other.six + 2*other.origin.less(s.origin).dot(other.Vector)
	s.Vector = s.Vector.along(1, other.Vector)
	lower(&s.Low, &other.Low)
	raise(&s.High, &other.High)
}

// Finite reports whether every coordinate that was added is a number.
func (s *Sum) Finite() bool {
	// One that is none makes the area none: whatever it is multiplied by.
	return s.Area < math.Inf(1)
}

// AddMesh adds every face of a mesh.
func (s *Sum) AddMesh(m *Mesh) {
	var batch [batchFaces]Triangle
	for from := 0; from < len(m.Faces); from += batchFaces {
		faces := m.Faces[from:min(from+batchFaces, len(m.Faces))]
		for i, f := range faces {
			batch[i] = Triangle{m.Vertices[f[0]], m.Vertices[f[1]], m.Vertices[f[2]]}
		}
		s.Add(batch[:len(faces)]...)
	}
}

// batchFaces is how many triangles are taken out of a mesh at a time.
const batchFaces = 64

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
func flat(a, b, c *Point) bool {
	ux, uy, uz := b[0]-a[0], b[1]-a[1], b[2]-a[2]
	vx, vy, vz := c[0]-a[0], c[1]-a[1], c[2]-a[2]
	wx, wy, wz := c[0]-b[0], c[1]-b[1], c[2]-b[2]
	nx := float64(uy*vz) - float64(uz*vy)
	ny := float64(uz*vx) - float64(ux*vz)
	nz := float64(ux*vy) - float64(uy*vx)
	longest := float64(ux*ux) + float64(uy*uy) + float64(uz*uz)
	if v := float64(vx*vx) + float64(vy*vy) + float64(vz*vz); v > longest {
		longest = v
	}
	if w := float64(wx*wx) + float64(wy*wy) + float64(wz*wz); w > longest {
		longest = w
	}
	return float64(nx*nx)+float64(ny*ny)+float64(nz*nz) <= 1e-24*float64(longest*longest)
}
