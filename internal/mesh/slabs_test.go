package mesh_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// SLAB-1: values.json slabs_along_z, worked by an independent program, to 1e-6.
func TestSlabsOfShapes(t *testing.T) {
	eachShape(t, func(t *testing.T, _ string, m *mesh.Mesh, want shapeValue) {
		slabs, err := mesh.Slabs(m, want.Slabs.Thickness)
		require.NoError(t, err)
		require.Len(t, slabs, len(want.Slabs.Layers))
		for i, layer := range want.Slabs.Layers {
			assert.InDelta(t, layer.Z[0], slabs[i].Low[2], 1e-6)
			assert.InDelta(t, layer.Z[1], slabs[i].High[2], 1e-6)
			assert.InEpsilon(t, layer.SizeX, slabs[i].Width(), 1e-6)
			assert.InEpsilon(t, layer.SizeY, slabs[i].Depth(), 1e-6)
		}
	})
}

// SLAB-2: worked by hand in values.json (p11): slabs 19.5e6, block 36e6.
func TestSlabsOfAMound(t *testing.T) {
	m := meshtest.Scaled(loadShape(t, "p11_stepped_mound.stl"), 1e-3, 1e-3, 1e-3)
	slabs, err := mesh.Slabs(m, 0.1)
	require.NoError(t, err)
	assert.InEpsilon(t, 0.0195, mesh.SlabVolume(slabs), 1e-12)
	assert.InEpsilon(t, 0.036, mesh.AxisBox(m).Volume(), 1e-12)
}

// SLAB-3: by hand. Bodies apart leave slabs that hold nothing; a flat sheet is one.
func TestSlabsOfOddThings(t *testing.T) {
	box := meshtest.Box(1, 1, 1)
	slabs, err := mesh.Slabs(meshtest.Join(box, meshtest.Moved(box, meshtest.About(mesh.Point{0, 0, 1}, 0), mesh.Point{0, 0, 3})), 1)
	require.NoError(t, err)
	require.Len(t, slabs, 4)
	assert.Zero(t, slabs[1].Volume()+slabs[2].Volume())
	assert.InDelta(t, 2, mesh.SlabVolume(slabs), 1e-12)
	slabs, err = mesh.Slabs(meshtest.Box(2, 3, 0), 1)
	require.NoError(t, err)
	require.Len(t, slabs, 1)
	assert.InDelta(t, 6, slabs[0].Width()*slabs[0].Depth(), 1e-12)
}

func TestSlabsRefuse(t *testing.T) {
	for _, thickness := range []float64{0, -1, math.NaN(), math.Inf(1), 0.9e-4} {
		_, err := mesh.Slabs(meshtest.Box(1, 1, 1), thickness)
		assert.ErrorContains(t, err, "allowed is from 0.0001 m up", "%g", thickness)
	}
	_, err := mesh.Slabs(&mesh.Mesh{}, 1)
	assert.ErrorIs(t, err, mesh.ErrEmpty)
	slabs, err := mesh.Slabs(meshtest.Box(1, 1, 1), 1e-4)
	assert.NoError(t, err)
	assert.Len(t, slabs, mesh.MostSlabs)
}

func TestSlabLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, thickness := anySolid(t), rapid.Float64Range(0.05, 2).Draw(t, "thickness")
		slabs, err := mesh.Slabs(m, thickness)
		require.NoError(t, err)
		box, sum := mesh.AxisBox(m), mesh.SlabVolume(slabs)
		assert.LessOrEqual(t, sum, box.Volume()*(1+1e-9))
		high := 0.0
		for _, s := range slabs {
			assert.Greater(t, s.Thickness(), 0.0)
			assert.LessOrEqual(t, s.Thickness(), thickness*(1+1e-9))
			high += s.Thickness()
		}
		assert.InEpsilon(t, box.Height, high, 1e-9)
		finer, err := mesh.Slabs(m, thickness/2)
		require.NoError(t, err)
		assert.LessOrEqual(t, mesh.SlabVolume(finer), sum*(1+1e-9), "slabs of half the thickness hug closer")
		twice, err := mesh.Slabs(meshtest.Scaled(m, 2, 2, 2), 2*thickness)
		require.NoError(t, err)
		assert.InEpsilon(t, 8*sum, mesh.SlabVolume(twice), 1e-9)
	})
}

// One solid's slabs hold at least its volume.
func TestSlabsHoldTheSolid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := meshtest.Moved(meshtest.Torus(2, 0.5, 24, 12), anyTurn(t), anyShift(t))
		slabs, err := mesh.Slabs(m, rapid.Float64Range(0.1, 3).Draw(t, "thickness"))
		require.NoError(t, err)
		assert.GreaterOrEqual(t, mesh.SlabVolume(slabs), volumeOf(m))
	})
}

// volumeOf is a sixth of the sum of the corners' triple products.
func volumeOf(m *mesh.Mesh) float64 {
	sum := 0.0
	for i := range m.Faces {
		t := m.Triangle(i)
		a, b, c := t[0], t[1], t[2]
		sum += a[0]*(b[1]*c[2]-b[2]*c[1]) + a[1]*(b[2]*c[0]-b[0]*c[2]) + a[2]*(b[0]*c[1]-b[1]*c[0])
	}
	return sum / 6
}

func ExampleSlabs() {
	ell := [][2]float64{{1, 1}, {1, 3}, {0, 3}, {0, 0}, {3, 0}, {3, 1}}
	standing := meshtest.Moved(meshtest.Extrude(ell, 1), meshtest.About(mesh.Point{1, 0, 0}, math.Pi/2), mesh.Point{})
	slabs, err := mesh.Slabs(standing, 1)
	fmt.Printf("%d slabs, %.0f m3 of %.0f m3, %v", len(slabs), mesh.SlabVolume(slabs), mesh.AxisBox(standing).Volume(), err)
	// Output: 3 slabs, 5 m3 of 9 m3, <nil>
}
