package picture_test

import (
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/picture"
)

// box is a box with one corner at the origin.
func box(x, y, z float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		m.Vertices = append(m.Vertices, mesh.Point{x * float64(i&1), y * float64(i>>1&1), z * float64(i>>2&1)})
	}
	m.Faces = [][3]uint32{
		{0, 2, 1},
		{1, 2, 3},
		{4, 5, 6},
		{5, 7, 6},
		{0, 1, 4},
		{1, 5, 4},
		{2, 6, 3},
		{3, 6, 7},
		{0, 4, 2},
		{2, 4, 6},
		{1, 3, 5},
		{3, 7, 5},
	}
	return m
}

// wrapped is a surface over a grid of u and v, each from 0 to 1, joined along v.
func wrapped(nu, nv int, at func(u, v float64) mesh.Point) *mesh.Mesh {
	b := mesh.NewBuilder(2 * nu * nv)
	for i := range nu {
		for j := range nv {
			p := func(i, j int) mesh.Point { return at(float64(i)/float64(nu), float64(j%nv)/float64(nv)) }
			a, c, d, e := p(i, j), p(i+1, j), p(i+1, j+1), p(i, j+1)
			b.Triangle(mesh.Triangle{a, c, d})
			b.Triangle(mesh.Triangle{a, d, e})
		}
	}
	return b.Mesh()
}

// sphere stands on the ground.
func sphere(radius float64, n int) *mesh.Mesh {
	return wrapped(n, 2*n, func(u, v float64) mesh.Point {
		s, c := math.Sincos(math.Pi * u)
		sv, cv := math.Sincos(2 * math.Pi * v)
		return mesh.Point{radius * s * cv, radius * s * sv, radius * (1 + c)}
	})
}

// torus lies about z.
func torus(big, small float64, n int) *mesh.Mesh {
	return wrapped(n, n, func(u, v float64) mesh.Point {
		su, cu := math.Sincos(2 * math.Pi * float64(int(u*float64(n)+0.5)%n) / float64(n))
		sv, cv := math.Sincos(2 * math.Pi * v)
		return mesh.Point{(big + small*cv) * cu, (big + small*cv) * su, small * sv}
	})
}

// halves labels faces by the side that they turn to: 0 up, 1 down.
func halves(m *mesh.Mesh) []uint8 {
	return labelled(m, func(_, n mesh.Point) uint8 {
		if n[2] >= 0 {
			return 0
		}
		return 1
	})
}

// labelled labels faces by their middle and their area vector.
func labelled(m *mesh.Mesh, label func(at, normal mesh.Point) uint8) []uint8 {
	labels := make([]uint8, len(m.Faces))
	for i := range m.Faces {
		t := m.Triangle(i)
		var at, a, b mesh.Point
		for k := range at {
			at[k] = (t[0][k] + t[1][k] + t[2][k]) / 3
			a[k], b[k] = t[1][k]-t[0][k], t[2][k]-t[0][k]
		}
		labels[i] = label(at, mesh.Point{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]})
	}
	return labels
}

// stl reads a binary STL in millimetres from the repository's check data.
func stl(t testing.TB, name string, scale float64) *mesh.Mesh {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "meshes", "public", name))
	if err != nil {
		t.Fatal(err)
	}
	n := int(binary.LittleEndian.Uint32(data[80:]))
	b := mesh.NewBuilder(n)
	for i := range n {
		var corners mesh.Triangle
		for k := range 9 {
			bits := binary.LittleEndian.Uint32(data[84+50*i+12+4*k:])
			corners[k/3][k%3] = float64(math.Float32frombits(bits)) * scale / 1000
		}
		b.Triangle(corners)
	}
	return b.Mesh()
}

func two() []string { return []string{"piece 1, pulls up (+z)", "piece 2, pulls down (-z)"} }

func split(m *mesh.Mesh) picture.Scene {
	return picture.Scene{
		Mesh: m, Labels: halves(m), Pieces: two(),
		Title: "Fernhollow Arboretum: seed pod", Caption: "Suggested split, 2 degrees of draft",
	}
}
