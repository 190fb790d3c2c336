package meshtest

import (
	"bufio"
	"encoding/binary"
	"io"
	"math"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// Turn is a turn about the origin, or any other linear map: row by row.
type Turn [3][3]float64

// About is a turn by an angle in radians about an axis of any length above 0
// (Rodrigues' formula).
func About(axis mesh.Point, angle float64) Turn {
	a, s, c := along(axis, 1), math.Sin(angle), math.Cos(angle)
	var t Turn
	for col := range 3 {
		var e mesh.Point
		e[col] = 1
		x := cross(a, e)
		for row := range 3 {
			t[row][col] = c*e[row] + s*x[row] + (1-c)*a[row]*a[col]
		}
	}
	return t
}

// Apply maps a point.
func (t Turn) Apply(p mesh.Point) mesh.Point {
	return mesh.Point{dot(t[0], p), dot(t[1], p), dot(t[2], p)}
}

// Moved returns a copy that is turned about the origin and then shifted.
func Moved(m *mesh.Mesh, t Turn, shift mesh.Point) *mesh.Mesh {
	return changed(m, func(p mesh.Point) mesh.Point { return offset(t.Apply(p), shift, 1) })
}

// Scaled returns a copy with each axis multiplied by a positive factor.
func Scaled(m *mesh.Mesh, x, y, z float64) *mesh.Mesh {
	return changed(m, func(p mesh.Point) mesh.Point { return mesh.Point{x * p[0], y * p[1], z * p[2]} })
}

// Mirrored returns a copy seen in the plane x = 0, wound outward again.
func Mirrored(m *mesh.Mesh) *mesh.Mesh {
	return Flipped(changed(m, func(p mesh.Point) mesh.Point { return mesh.Point{-p[0], p[1], p[2]} }))
}

// Flipped returns a copy with every face turned over: inside out.
func Flipped(m *mesh.Mesh) *mesh.Mesh {
	out := changed(m, func(p mesh.Point) mesh.Point { return p })
	for i, f := range out.Faces {
		out.Faces[i] = [3]uint32{f[0], f[2], f[1]}
	}
	return out
}

func changed(m *mesh.Mesh, to func(mesh.Point) mesh.Point) *mesh.Mesh {
	out := &mesh.Mesh{
		Vertices: make([]mesh.Point, len(m.Vertices)),
		Faces:    append([][3]uint32{}, m.Faces...),
		Runs:     append([]mesh.Run{}, m.Runs...),
	}
	for i, p := range m.Vertices {
		for k, x := range to(p) {
			out.Vertices[i][k] = x + 0 // minus zero is where zero is
		}
	}
	return out
}

// Join returns one mesh of several, which share no vertices and lose their zones.
func Join(parts ...*mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{}
	for _, m := range parts {
		base := uint32(len(out.Vertices)) //nolint:gosec // small solids
		out.Vertices = append(out.Vertices, m.Vertices...)
		for _, f := range m.Faces {
			out.Faces = append(out.Faces, [3]uint32{base + f[0], base + f[1], base + f[2]})
		}
	}
	return out
}

// Noisy returns a copy whose vertices are displaced, each coordinate by a normal
// deviate of standard deviation sigma, m: a scan. One seed gives one scan.
func Noisy(m *mesh.Mesh, sigma float64, seed uint64) *mesh.Mesh {
	random := Random(seed)
	return changed(m, func(p mesh.Point) mesh.Point {
		for k := range p {
			p[k] += sigma * random.Normal()
		}
		return p
	})
}

// Shuffled returns a copy with its faces in another order, each begun at another
// corner. It loses its zones.
func Shuffled(m *mesh.Mesh, seed uint64) *mesh.Mesh {
	random, out := Random(seed), Join(m)
	for i := len(out.Faces) - 1; i >= 0; i-- {
		j := int(random.Float() * float64(i+1))
		out.Faces[i], out.Faces[j] = out.Faces[j], out.Faces[i]
		f, k := out.Faces[i], int(random.Float()*3)
		out.Faces[i] = [3]uint32{f[k], f[(k+1)%3], f[(k+2)%3]}
	}
	return out
}

// Random is a row of numbers that look random and are the same every time
// (splitmix64; Steele, Lea, Flood 2014, from memory). Its value is the seed.
type Random uint64

// Float returns the next number from 0 up to 1.
func (r *Random) Float() float64 {
	*r += 0x9e3779b97f4a7c15
	z := uint64(*r)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64((z^z>>31)>>11) / (1 << 53)
}

// Normal returns the next normal deviate of mean 0 and standard deviation 1
// (Box-Muller).
func (r *Random) Normal() float64 {
	return math.Sqrt(-2*math.Log(1-r.Float())) * math.Cos(2*math.Pi*r.Float())
}

// WriteSTL writes a mesh as binary STL, coordinates as they are, for other tools
// to measure and for readers to read back.
func WriteSTL(w io.Writer, m *mesh.Mesh) error {
	out := bufio.NewWriter(w)
	header := make([]byte, 84)
	binary.LittleEndian.PutUint32(header[80:], uint32(len(m.Faces))) //nolint:gosec // small solids
	if _, err := out.Write(header); err != nil {
		return err
	}
	for i := range m.Faces {
		if _, err := out.Write(facet(m.Triangle(i))); err != nil {
			return err
		}
	}
	return out.Flush()
}

func facet(t mesh.Triangle) []byte {
	record := make([]byte, 12, 50) // a zero normal: readers go by the winding
	for _, p := range t {
		for _, x := range p {
			record = binary.LittleEndian.AppendUint32(record, math.Float32bits(float32(x)))
		}
	}
	return append(record, 0, 0)
}
