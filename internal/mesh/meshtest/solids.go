// Package meshtest makes solids to test measures on: the same every time, wound
// outward, in metres, with areas and volumes that are known or easily worked out.
package meshtest

import (
	"math"

	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/mesh"
)

// Box returns a box from the origin to (w, d, h): 8 vertices, 12 faces.
func Box(w, d, h float64) *mesh.Mesh {
	m := &mesh.Mesh{Faces: [][3]uint32{
		{0, 2, 3}, {0, 3, 1}, {4, 5, 7}, {4, 7, 6}, // below, above
		{0, 1, 5}, {0, 5, 4}, {2, 6, 7}, {2, 7, 3}, // y = 0, y = d
		{0, 4, 6}, {0, 6, 2}, {1, 3, 7}, {1, 7, 5}, // x = 0, x = w
	}}
	for i := range 8 {
		m.Vertices = append(m.Vertices, mesh.Point{w * float64(i&1), d * float64(i>>1&1), h * float64(i>>2)})
	}
	return m
}

// Icosphere returns a sphere about the origin made of 20 x 4^level faces: an
// icosahedron whose edges are halved level times, all vertices on the sphere.
func Icosphere(radius float64, level int) *mesh.Mesh {
	m := scaleTo(icosahedron(), 1)
	for range level {
		m = halved(m)
	}
	return scaleTo(m, radius)
}

func icosahedron() *mesh.Mesh {
	g := (1 + math.Sqrt(5)) / 2
	return &mesh.Mesh{
		Vertices: []mesh.Point{
			{-1, g, 0},
			{1, g, 0},
			{-1, -g, 0},
			{1, -g, 0},
			{0, -1, g},
			{0, 1, g},
			{0, -1, -g},
			{0, 1, -g},
			{g, 0, -1},
			{g, 0, 1},
			{-g, 0, -1},
			{-g, 0, 1},
		},
		Faces: [][3]uint32{
			{0, 11, 5},
			{0, 5, 1},
			{0, 1, 7},
			{0, 7, 10},
			{0, 10, 11},
			{1, 5, 9},
			{5, 11, 4},
			{11, 10, 2},
			{10, 7, 6},
			{7, 1, 8},
			{3, 9, 4},
			{3, 4, 2},
			{3, 2, 6},
			{3, 6, 8},
			{3, 8, 9},
			{4, 9, 5},
			{2, 4, 11},
			{6, 2, 10},
			{8, 6, 7},
			{9, 8, 1},
		},
	}
}

// halved cuts every face of a sphere of radius 1 into four and puts the new vertices
// on the sphere.
func halved(m *mesh.Mesh) *mesh.Mesh {
	b := mesh.NewBuilder(4 * len(m.Faces))
	for i := range m.Faces {
		t := m.Triangle(i)
		p, q, r := between(t[0], t[1]), between(t[1], t[2]), between(t[2], t[0])
		for _, part := range []mesh.Triangle{{t[0], p, r}, {t[1], q, p}, {t[2], r, q}, {p, q, r}} {
			b.Triangle(part)
		}
	}
	return b.Mesh()
}

func between(p, q mesh.Point) mesh.Point {
	var middle mesh.Point
	for k := range middle {
		middle[k] = (p[k] + q[k]) / 2
	}
	return along(middle, 1)
}

func scaleTo(m *mesh.Mesh, radius float64) *mesh.Mesh {
	for i, p := range m.Vertices {
		m.Vertices[i] = along(p, radius)
	}
	return m
}

func along(p mesh.Point, reach float64) mesh.Point {
	f := reach / length(p)
	return mesh.Point{f * p[0], f * p[1], f * p[2]}
}

func length(p mesh.Point) float64 { return math.Sqrt(p[0]*p[0] + p[1]*p[1] + p[2]*p[2]) }

// Torus returns a ring about the z axis: a circle of nv sides and radius small
// carried round a circle of nu sides and radius big.
func Torus(big, small float64, nu, nv int) *mesh.Mesh {
	m := &mesh.Mesh{}
	for u := range nu {
		for v := range nv {
			a, b := turn(u, nu), turn(v, nv)
			r := big + small*math.Cos(b)
			m.Vertices = append(m.Vertices, mesh.Point{r * math.Cos(a), r * math.Sin(a), small * math.Sin(b)})
			p, q := (u+1)%nu, (v+1)%nv
			m.Faces = square(m.Faces, u*nv+v, p*nv+v, p*nv+q, u*nv+q)
		}
	}
	return m
}

func turn(i, n int) float64 { return 2 * math.Pi * float64(i) / float64(n) }

// square adds two faces for four corners in order, leaving out what has no area
// because two corners are one.
func square(faces [][3]uint32, a, b, c, d int) [][3]uint32 {
	for _, f := range [][3]int{{a, b, c}, {a, c, d}} {
		if f[0] != f[1] && f[1] != f[2] && f[2] != f[0] {
			faces = append(faces, [3]uint32{uint32(f[0]), uint32(f[1]), uint32(f[2])}) //nolint:gosec // small solids
		}
	}
	return faces
}

// Revolve turns a profile about the z axis in n steps. The solid is wound outward
// where the profile goes from the bottom up along its outside; it is open where an
// end of the profile is off the axis: see Capped.
func Revolve(profile []geometry.ProfilePoint, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	rows := make([][]int, len(profile))
	for i, p := range profile {
		rows[i] = ring(m, p, n)
	}
	for i := 1; i < len(rows); i++ {
		for j := range n {
			k := (j + 1) % n
			m.Faces = square(m.Faces, rows[i-1][j], rows[i-1][k], rows[i][k], rows[i][j])
		}
	}
	return m
}

// ring adds the vertices of one height, which is one alone on the axis.
func ring(m *mesh.Mesh, p geometry.ProfilePoint, n int) []int {
	row := make([]int, n)
	for j := range row {
		if row[j] = len(m.Vertices); p.Radius == 0 && j > 0 {
			row[j] = row[0]
			continue
		}
		a := turn(j, n)
		m.Vertices = append(m.Vertices, mesh.Point{p.Radius * math.Cos(a), p.Radius * math.Sin(a), p.Height})
	}
	return row
}

// Capped returns a profile that begins and ends on the axis, with flat ends where
// the given one does not.
func Capped(profile []geometry.ProfilePoint) []geometry.ProfilePoint {
	first, last := profile[0], profile[len(profile)-1]
	out := append([]geometry.ProfilePoint{}, profile...)
	if first.Radius > 0 {
		out = append([]geometry.ProfilePoint{{Height: first.Height}}, out...)
	}
	if last.Radius > 0 {
		out = append(out, geometry.ProfilePoint{Height: last.Height})
	}
	return out
}

// Sheet joins rows of points, as many in each, by two faces for every four points; two
// rows may meet in places, and points that are equal are one vertex. It is wound outward
// where the rows go up and the points of a row go round anticlockwise from above. A row
// closes where its last point is its first.
func Sheet(rows [][]mesh.Point) *mesh.Mesh {
	b := mesh.NewBuilder(2 * len(rows) * len(rows[0]))
	for i := 1; i < len(rows); i++ {
		low, high := rows[i-1], rows[i]
		for j := 1; j < len(low); j++ {
			for _, t := range [2]mesh.Triangle{{low[j-1], low[j], high[j]}, {low[j-1], high[j], high[j-1]}} {
				if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
					b.Triangle(t)
				}
			}
		}
	}
	return b.Mesh()
}

// Only returns the faces that are wanted, their vertices where they were.
func Only(m *mesh.Mesh, wanted func(mesh.Triangle) bool) *mesh.Mesh {
	out := &mesh.Mesh{Vertices: m.Vertices}
	for i, f := range m.Faces {
		if wanted(m.Triangle(i)) {
			out.Faces = append(out.Faces, f)
		}
	}
	return out
}

// Tube returns a tube of n sides along a line of at least two stations, of the
// radius given at each, with flat ends.
func Tube(line []mesh.Point, radius []float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	side := across(direction(line, 0))
	for i, p := range line {
		side = upright(side, direction(line, i))
		other := cross(direction(line, i), side)
		for j := range n {
			a := turn(j, n)
			m.Vertices = append(m.Vertices, offset(offset(p, side, radius[i]*math.Cos(a)), other, radius[i]*math.Sin(a)))
			if i > 0 {
				k := (j + 1) % n
				m.Faces = square(m.Faces, (i-1)*n+j, (i-1)*n+k, i*n+k, i*n+j)
			}
		}
	}
	return closeTube(m, line, n)
}

func closeTube(m *mesh.Mesh, line []mesh.Point, n int) *mesh.Mesh {
	low, last := len(m.Vertices), len(line)-1
	m.Vertices = append(m.Vertices, line[0], line[last])
	for j := range n {
		k := (j + 1) % n
		m.Faces = square(m.Faces, low, k, j, j)
		m.Faces = square(m.Faces, low+1, last*n+j, last*n+k, last*n+k)
	}
	return m
}

// direction is that of a line at a station, between its neighbours.
func direction(line []mesh.Point, i int) mesh.Point {
	p, q := line[max(0, i-1)], line[min(len(line)-1, i+1)]
	return along(offset(q, p, -1), 1)
}

func offset(p, d mesh.Point, by float64) mesh.Point {
	for k := range p {
		p[k] += by * d[k]
	}
	return p
}

func dot(p, q mesh.Point) float64 { return p[0]*q[0] + p[1]*q[1] + p[2]*q[2] }

func cross(p, q mesh.Point) mesh.Point {
	return mesh.Point{p[1]*q[2] - p[2]*q[1], p[2]*q[0] - p[0]*q[2], p[0]*q[1] - p[1]*q[0]}
}

// upright is what of a is square to the unit direction d, at length 1.
func upright(a, d mesh.Point) mesh.Point { return along(offset(a, d, -dot(a, d)), 1) }

// across is some direction square to d.
func across(d mesh.Point) mesh.Point {
	axis := mesh.Point{1, 0, 0}
	if math.Abs(d[0]) > 0.9 {
		axis = mesh.Point{0, 1, 0}
	}
	return upright(axis, d)
}

// Extrude raises an outline, anticlockwise from above, to a height. All of the
// outline must be in sight of its first corner.
func Extrude(outline [][2]float64, height float64) *mesh.Mesh {
	m, n := &mesh.Mesh{}, len(outline)
	for _, z := range []float64{0, height} {
		for _, p := range outline {
			m.Vertices = append(m.Vertices, mesh.Point{p[0], p[1], z})
		}
	}
	for i := range n {
		j := (i + 1) % n
		m.Faces = square(m.Faces, i, j, n+j, n+i)
		if i > 0 && j > 0 {
			m.Faces = square(m.Faces, 0, j, i, i)
			m.Faces = square(m.Faces, n, n+i, n+j, n+j)
		}
	}
	return m
}
