package release_test

import (
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// public loads a binary STL file of the public check set, whose unit (mm) is left as
// it is: the check values are in file units.
func public(t testing.TB, name string) *mesh.Mesh {
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
			at := 84 + 50*i + 12 + 4*k
			corners[k/3][k%3] = float64(math.Float32frombits(binary.LittleEndian.Uint32(data[at:])))
		}
		b.Triangle(corners)
	}
	return b.Mesh()
}

// carved is what is left of a cube of edge 1 m, n cells along it, without some cells.
func carved(n int, gone func(cell [3]int) bool) *mesh.Mesh {
	full := func(c [3]int) bool {
		return min(c[0], c[1], c[2]) >= 0 && max(c[0], c[1], c[2]) < n && !gone(c)
	}
	b := mesh.NewBuilder(12 * n * n)
	for i := range n * n * n {
		c := [3]int{i % n, i / n % n, i / n / n}
		if !full(c) {
			continue
		}
		for side := range 6 {
			other := c
			other[side/2] += 2*(side%2) - 1
			if !full(other) {
				addSquare(b, c, side/2, side%2, 1/float64(n))
			}
		}
	}
	return b.Mesh()
}

// addSquare adds the side of a cell toward the lower (0) or the higher (1) end of an axis.
func addSquare(b *mesh.Builder, cell [3]int, axis, side int, edge float64) {
	var q [4]mesh.Point
	for i, uv := range [4][2]int{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
		at := cell
		at[axis] += side
		at[(axis+1)%3] += uv[0]
		at[(axis+2)%3] += uv[1]
		for k, x := range at {
			q[i][k] = float64(x) * edge
		}
	}
	if side == 0 {
		q[1], q[3] = q[3], q[1]
	}
	b.Triangle(mesh.Triangle{q[0], q[1], q[2]})
	b.Triangle(mesh.Triangle{q[0], q[2], q[3]})
}
