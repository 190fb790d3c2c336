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
