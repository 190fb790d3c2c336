package mesh_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

func ExampleBuilder() {
	b := mesh.NewBuilder(2)
	b.Triangle(mesh.Triangle{{0, 0, 0}, {1, 0, 0}, {1, 1, 0}})
	b.Triangle(mesh.Triangle{{0, 0, 0}, {1, 1, 0}, {0, 1, 0}})
	m := b.Mesh()
	fmt.Println(len(m.Vertices), m.Faces)
	// Output: 4 [[0 1 2] [0 2 3]]
}

func TestMinusZeroIsZero(t *testing.T) {
	b := mesh.NewBuilder(0)
	minus := math.Copysign(0, -1)
	same(t, "vertex", b.Vertex(mesh.Point{minus, 1, minus}), b.Vertex(mesh.Point{0, 1, 0}))
	same(t, "sign", math.Signbit(b.Mesh().Vertices[0][0]), false)
}

func TestZonesAreRuns(t *testing.T) {
	b := mesh.NewBuilder(0)
	b.Zone("unused")
	b.Zone("red")
	b.Face(0, 1, 2)
	b.Zone("red")
	b.Face(0, 1, 2)
	b.Zone("empty")
	b.Zone("red")
	b.Face(0, 1, 2)
	b.Zone("blue")
	b.Face(0, 1, 2)
	b.Zone("nothing follows")
	if want := []mesh.Run{{Zone: "red"}, {Zone: "blue", First: 3}}; !slices.Equal(b.Mesh().Runs, want) {
		t.Errorf("got %v, want %v", b.Mesh().Runs, want)
	}
}

// A map of points says which corners are equal; the batched path and the single one agree
// with it, whatever room was asked for.
func TestBuilderJoinsEqualCorners(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		coordinate := rapid.SampledFrom([]float64{0, 1, -1, 0.1, 1e-300, 9999, float64(float32(0.1))})
		n := rapid.IntRange(0, 300).Draw(t, "triangles")
		triangles := make([]mesh.Triangle, n)
		for i := range triangles {
			for c := range 9 {
				triangles[i][c/3][c%3] = coordinate.Draw(t, "x")
			}
		}
		room := rapid.IntRange(0, 400).Draw(t, "room")
		one, many := mesh.NewBuilder(room), mesh.NewBuilder(room)
		many.Triangles(triangles)
		index := map[mesh.Point]uint32{}
		for _, tri := range triangles {
			one.Triangle(tri)
			for _, p := range tri {
				if _, ok := index[p]; !ok {
					index[p] = uint32(len(index))
				}
			}
		}
		a, b := one.Mesh(), many.Mesh()
		if !slices.Equal(a.Faces, b.Faces) || !slices.Equal(a.Vertices, b.Vertices) || len(a.Vertices) != len(index) {
			t.Fatalf("%d and %d vertices, want %d", len(a.Vertices), len(b.Vertices), len(index))
		}
		for i, tri := range triangles {
			for c, p := range tri {
				if a.Faces[i][c] != index[p] {
					t.Fatalf("corner %d of face %d: got %d, want %d", c, i, a.Faces[i][c], index[p])
				}
			}
		}
	})
}
