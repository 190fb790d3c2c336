package mesh_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// THIN-1: by hand from the shape of p05 (values.json: a fin of 160 x 1.2 x 80 above
// a block, through a cone of 40 sides with radius 20 at z = 19 and 4 at z = 79). A
// side of the fin is 160 x 80 less where the cone is: the sides of the cone that the
// fin passes lean outward by tan 4.5 degrees, so at y = 0.6 its half width is
// R - 0.6 tan 4.5, R going from 19.7333 at z = 20 to 4 at z = 79.
func TestThicknessOfAFin(t *testing.T) {
	m := loadShape(t, "p05_thin_fin.stl")
	lean := 0.6 * math.Tan(4.5*math.Pi/180)
	cone := 59 * (20 - 16.0/60 + 4 - 2*lean)
	want := 2 * (160*80 - cone) / 78272.32639
	thick, err := mesh.Thickness(m, 20_000)
	require.NoError(t, err)
	assert.InDelta(t, want, thick.ShareBelow(1.21), 2e-3)
	assert.Less(t, thick.ShareBelow(1.19), 2e-3)
	assert.InDelta(t, 1.2, thick.Sorted[len(thick.Sorted)/10], 1e-5)
	assert.Zero(t, thick.Endless)
}

// THIN-2: by hand. A plate of 10 x 10 x 1: of 240 m2, 200 are 1 thick and 40 are 10.
func TestThicknessOfAPlate(t *testing.T) {
	thick, err := mesh.Thickness(meshtest.Box(10, 10, 1), 12_000)
	require.NoError(t, err)
	assert.InDelta(t, 200.0/240, thick.ShareBelow(1.0001), 1e-3)
	assert.Zero(t, thick.ShareBelow(0.9999))
	assert.InDelta(t, 10, thick.Sorted[len(thick.Sorted)-1], 1e-9)
	assert.InDelta(t, 1, thick.ShareBelow(10.1), 0)
}

// THIN-3: by hand. The way through a ball is its diameter; through a hollow ball's
// outer skin it is the wall, and from its void as well.
func TestThicknessOfBalls(t *testing.T) {
	ball := meshtest.Icosphere(1, 4)
	for name, row := range map[string]struct {
		m        *mesh.Mesh
		low, top float64
	}{
		"ball":   {ball, 1.98, 2},
		"hollow": {meshtest.Join(ball, meshtest.Flipped(meshtest.Icosphere(0.9, 4))), 0.097, 0.103},
		"noisy":  {meshtest.Noisy(ball, 1e-4, 7), 1.97, 2.003},
	} {
		thick, err := mesh.Thickness(row.m, 5_000)
		require.NoError(t, err)
		assert.Zero(t, thick.ShareBelow(row.low), name)
		assert.Equal(t, 1.0, thick.ShareBelow(row.top), name)
	}
}

// THIN-4: an open shell has no other side.
func TestThicknessOfAnOpenSheet(t *testing.T) {
	sheet := meshtest.Revolve([]geometry.ProfilePoint{{Radius: 1, Height: 0}, {Radius: 0, Height: 0}}, 12)
	thick, err := mesh.Thickness(sheet, 100)
	require.NoError(t, err)
	assert.Equal(t, 100, thick.Endless)
	assert.Zero(t, thick.ShareBelow(1e9))
}

// ladder is a slab of 1 x 1 x 1 whose floor is cut into strips along a line through a place,
// each so narrow that rounding decides which of them a ray meets.
func ladder(at mesh.Point) *mesh.Mesh {
	const strips, narrow = 600, 1e-11
	b := mesh.NewBuilder(0)
	b.Triangle(mesh.Triangle{{0, 0, 1}, {1, 0, 1}, {1, 1, 1}})
	b.Triangle(mesh.Triangle{{0, 0, 1}, {1, 1, 1}, {0, 1, 1}})
	left := 0.0
	for i := range strips + 2 {
		right := at[0] + narrow*float64(i-strips/2)
		if i == strips+1 {
			right = 1
		}
		b.Triangle(mesh.Triangle{{left, 0, 0}, {left, 1, 0}, {right, 1, 0}})
		b.Triangle(mesh.Triangle{{left, 0, 0}, {right, 1, 0}, {right, 0, 0}})
		left = right
	}
	return b.Mesh()
}

// THIN-5: by hand. Wherever a ray goes through the edges of narrow strips it meets the
// floor, 1 m below.
func TestNoRaySlipsOutBetweenTwoFaces(t *testing.T) {
	lid := ladder(mesh.Point{0.5})
	lid.Faces = lid.Faces[:2]
	for i, s := range mesh.Samples(lid, 40) {
		turn := meshtest.About(mesh.Point{1, 2, float64(i)}, float64(i))
		m := meshtest.Moved(ladder(s.At), turn, mesh.Point{})
		thick, err := mesh.Thickness(m, 80) // as many again for the floor, which sees the lid
		require.NoError(t, err)
		assert.Zero(t, thick.Endless, "through the edges below sample %d", i)
		assert.InDelta(t, 1, thick.Sorted[0], 1e-9)
		assert.InDelta(t, 1, thick.Sorted[len(thick.Sorted)-1], 1e-9)
	}
}

// THIN-6: by hand. Where needles lie across each other, too many to look at for each point,
// fewer points tell the same: of 10 m2 of box two have 2 m below them, or 1 m where needles
// are in the way, and the needles have no area.
func TestThicknessOfManyNeedles(t *testing.T) {
	random := meshtest.Random(5)
	m := meshtest.Box(1, 1, 2)
	for range 20_000 {
		n := uint32(len(m.Vertices))
		p := mesh.Point{random.Float(), random.Float(), 1 + 1e-3*random.Float()}
		q := mesh.Point{random.Float(), random.Float(), 1 + 1e-3*random.Float()}
		m.Vertices = append(m.Vertices, p, q, mesh.Point{q[0] + 1e-9, q[1], q[2]})
		m.Faces = append(m.Faces, [3]uint32{n, n + 1, n + 2})
	}
	thick, err := mesh.Thickness(m, 5000)
	require.NoError(t, err)
	t.Logf("%d points", thick.Points())
	assert.Less(t, thick.Points(), 5000)
	assert.InDelta(t, 2.0/10, 1-thick.ShareBelow(1.0011), 1e-2)
}

func TestThicknessRefuses(t *testing.T) {
	for _, n := range []int{-1, 0, mesh.MostThicknessSamples + 1} {
		_, err := mesh.Thickness(meshtest.Box(1, 1, 1), n)
		assert.ErrorContains(t, err, "allowed are 1 to 1000000")
	}
	_, err := mesh.Thickness(&mesh.Mesh{}, 10)
	assert.ErrorIs(t, err, mesh.ErrEmpty)
	assert.Zero(t, mesh.Thicknesses{}.ShareBelow(1))
}

func TestThicknessLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, d, h := rapid.Float64Range(0.1, 3).Draw(t, "w"), rapid.Float64Range(0.1, 3).Draw(t, "d"), rapid.Float64Range(0.1, 3).Draw(t, "h")
		m := meshtest.Box(w, d, h)
		thick, err := mesh.Thickness(m, 500)
		require.NoError(t, err)
		assert.Equal(t, 500, thick.Points())
		assert.InDelta(t, min(w, d, h), thick.Sorted[0], 1e-9)
		moved, err := mesh.Thickness(meshtest.Moved(m, anyTurn(t), anyShift(t)), 500)
		require.NoError(t, err)
		assert.InDeltaSlice(t, thick.Sorted, moved.Sorted, 1e-6)
		twice, err := mesh.Thickness(meshtest.Scaled(m, 2, 2, 2), 500)
		require.NoError(t, err)
		limit := rapid.Float64Range(0.1, 3).Draw(t, "limit")
		assert.InDelta(t, thick.ShareBelow(limit), twice.ShareBelow(2*limit), 1e-12)
		assert.LessOrEqual(t, thick.ShareBelow(limit), thick.ShareBelow(limit*1.5))
	})
}

func TestThicknessOfManyFaces(t *testing.T) {
	m := meshtest.Torus(3, 1, 500, 200)
	began := time.Now()
	thick, err := mesh.Thickness(m, 20_000)
	require.NoError(t, err)
	t.Logf("%d faces in %v", len(m.Faces), time.Since(began))
	assert.Zero(t, thick.ShareBelow(1.99))
	assert.Equal(t, 1.0, thick.ShareBelow(2.0001))
}

func ExampleThickness() {
	thick, err := mesh.Thickness(meshtest.Box(10, 10, 1), 6000)
	fmt.Printf("%.0f %% of the skin is thinner than 2 m, %v", 100*thick.ShareBelow(2), err)
	// Output: 83 % of the skin is thinner than 2 m, <nil>
}
