package meshtest_test

import (
	"bytes"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// volume is a sixth of the sum of the corners' triple products.
func volume(m *mesh.Mesh) float64 {
	sum := 0.0
	for i := range m.Faces {
		t := m.Triangle(i)
		a, b, c := t[0], t[1], t[2]
		sum += a[0]*(b[1]*c[2]-b[2]*c[1]) + a[1]*(b[2]*c[0]-b[0]*c[2]) + a[2]*(b[0]*c[1]-b[1]*c[0])
	}
	return sum / 6
}

// open counts directed edges without their opposites.
func open(m *mesh.Mesh) int {
	edges := map[[2]uint32]int{}
	for _, f := range m.Faces {
		for k := range 3 {
			edges[[2]uint32{f[k], f[(k+1)%3]}]++
			edges[[2]uint32{f[(k+1)%3], f[k]}]--
		}
	}
	n := 0
	for _, count := range edges {
		if count > 0 {
			n++
		}
	}
	return n
}

// The volumes are worked by hand: a polygon of n sides has n/2 sin(2 pi/n) r2.
func TestSolidsAreClosedAndOutward(t *testing.T) {
	polygon := func(n float64) float64 { return n / 2 * math.Sin(2*math.Pi/n) }
	cone := []geometry.ProfilePoint{{Radius: 2, Height: 0}, {Radius: 0, Height: 3}}
	drum := []geometry.ProfilePoint{{Radius: 2, Height: 0}, {Radius: 2, Height: 3}}
	ell := [][2]float64{{1, 1}, {1, 3}, {0, 3}, {0, 0}, {3, 0}, {3, 1}}
	line := []mesh.Point{{0, 0, 0}, {0, 0, 1}, {0, 0, 2}}
	box := meshtest.Box(2, 3, 4)
	for name, row := range map[string]struct {
		m    *mesh.Mesh
		want float64
		tol  float64
	}{
		"box":      {box, 24, 1e-12},
		"sphere":   {meshtest.Icosphere(2, 4), 4 * math.Pi / 3 * 8, 0.2},
		"torus":    {meshtest.Torus(3, 1, 128, 64), 2 * math.Pi * math.Pi * 3, 0.2},
		"cone":     {meshtest.Revolve(meshtest.Capped(cone), 12), polygon(12) * 4, 1e-12},
		"drum":     {meshtest.Revolve(meshtest.Capped(drum), 12), polygon(12) * 12, 1e-12},
		"tube":     {meshtest.Tube(line, []float64{1, 1, 1}, 8), polygon(8) * 2, 1e-12},
		"ell":      {meshtest.Extrude(ell, 2), 10, 1e-12},
		"pair":     {meshtest.Join(box, meshtest.Moved(box, meshtest.About(mesh.Point{1, 2, 3}, 1), mesh.Point{9, 9, 9})), 48, 1e-12},
		"mirror":   {meshtest.Mirrored(box), 24, 1e-12},
		"flipped":  {meshtest.Flipped(box), -24, 1e-12},
		"scaled":   {meshtest.Scaled(box, 1, 2, 3), 144, 1e-12},
		"shuffled": {meshtest.Shuffled(box, 1), 24, 1e-12},
		"noisy":    {meshtest.Noisy(meshtest.Icosphere(2, 3), 1e-3, 1), 33.02, 0.3},
	} {
		assert.Zero(t, open(row.m), name)
		assert.InDelta(t, row.want, volume(row.m), row.tol, name)
	}
	assert.Equal(t, 12, open(meshtest.Revolve(drum, 6)), "a tube without ends")
}

func TestShuffledIsAnotherOrder(t *testing.T) {
	box := meshtest.Box(1, 1, 1)
	assert.NotEqual(t, box.Faces, meshtest.Shuffled(box, 1).Faces)
	assert.Equal(t, meshtest.Shuffled(box, 1), meshtest.Shuffled(box, 1))
}

func TestWriteSTLHasItsLength(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, meshtest.WriteSTL(&out, meshtest.Box(1, 2, 3)))
	assert.Equal(t, 84+50*12, out.Len())
}

func ExampleBox() {
	fmt.Printf("%.0f m3", volume(meshtest.Box(2, 3, 4)))
	// Output: 24 m3
}
