package mesh_test

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// shapes is the directory of the shapes to check against.
var shapes = filepath.Join("..", "..", "testdata", "meshes", "public")

// loadShape reads a binary STL as it stands, in the file's own units.
func loadShape(t require.TestingT, name string) *mesh.Mesh {
	data, err := os.ReadFile(filepath.Join(shapes, name))
	require.NoError(t, err)
	b := mesh.NewBuilder((len(data) - 84) / 50)
	for at := 84; at+50 <= len(data); at += 50 {
		var corner mesh.Triangle
		for k := range 9 {
			bits := binary.LittleEndian.Uint32(data[at+12+4*k:])
			corner[k/3][k%3] = float64(math.Float32frombits(bits))
		}
		b.Triangle(corner)
	}
	return b.Mesh()
}

// shapeValues is what other tools say of the shapes: values.json.
type shapeValues struct {
	Files map[string]json.RawMessage
	Pairs []struct{ A, B, Relation string }
}

// shapeValue is what they say of one.
type shapeValue struct {
	Area  float64
	Slabs struct {
		Thickness float64
		Layers    []struct {
			Z     [2]float64
			SizeX float64 `json:"size_x"`
			SizeY float64 `json:"size_y"`
		}
	} `json:"slabs_along_z"`
	CGAL json.RawMessage // not always an object: it gave one file up
}

// dims are the edges of CGAL's box, or nil.
func (v shapeValue) dims() []float64 {
	var box struct {
		Dims []float64 `json:"obb_dims"`
	}
	if json.Unmarshal(v.CGAL, &box) != nil {
		return nil
	}
	return box.Dims
}

func loadValues(t require.TestingT) shapeValues {
	data, err := os.ReadFile(filepath.Join(shapes, "values.json"))
	require.NoError(t, err)
	var values shapeValues
	require.NoError(t, json.Unmarshal(data, &values))
	return values
}

// eachShape calls check with every binary STL of the set.
func eachShape(t *testing.T, check func(t *testing.T, name string, m *mesh.Mesh, want shapeValue)) {
	t.Helper()
	values := loadValues(t)
	var names []string
	for name := range values.Files {
		if filepath.Ext(name) == ".stl" && name != "p05_thin_fin_ascii_crlf.stl" && name != "p06_undercut_hook_ascii.stl" {
			names = append(names, name)
		}
	}
	require.Greater(t, len(names), 15)
	sort.Strings(names)
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			var want shapeValue
			require.NoError(t, json.Unmarshal(values.Files[name], &want))
			check(t, name, loadShape(t, name), want)
		})
	}
}

// anyTurn draws a turn.
func anyTurn(t *rapid.T) meshtest.Turn {
	axis := mesh.Point{1, rapid.Float64Range(-2, 2).Draw(t, "y"), rapid.Float64Range(-2, 2).Draw(t, "z")}
	return meshtest.About(axis, rapid.Float64Range(-3, 3).Draw(t, "angle"))
}

func anyShift(t *rapid.T) mesh.Point {
	far := rapid.Float64Range(-10, 10)
	return mesh.Point{far.Draw(t, "right"), far.Draw(t, "back"), far.Draw(t, "up")}
}

// anySolid draws a solid without symmetry worth mention.
func anySolid(t *rapid.T) *mesh.Mesh {
	side := rapid.Float64Range(0.1, 3)
	box := meshtest.Box(side.Draw(t, "w"), side.Draw(t, "d"), side.Draw(t, "h"))
	ball := meshtest.Scaled(meshtest.Icosphere(1, 2), side.Draw(t, "a"), side.Draw(t, "b"), side.Draw(t, "c"))
	return meshtest.Join(meshtest.Moved(box, anyTurn(t), mesh.Point{}), ball)
}
