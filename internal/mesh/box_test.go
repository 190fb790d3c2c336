package mesh_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// BOX-1: the oriented boxes of CGAL 5.5.1 (values.json cgal.obb_dims), itself a
// heuristic: ours may be 1 % more and any less.
func TestOrientedBoxIsAsSmallAsCGALs(t *testing.T) {
	eachShape(t, func(t *testing.T, _ string, m *mesh.Mesh, want shapeValue) {
		dims := want.dims()
		if dims == nil {
			t.Skip("no box in the values")
		}
		box := mesh.OrientedBox(m)
		volume := dims[0] * dims[1] * dims[2]
		t.Logf("%.6g x %.6g x %.6g, %.5f of CGAL's", box.Width, box.Depth, box.Height, box.Volume()/volume)
		assert.LessOrEqual(t, box.Volume(), 1.01*volume)
		assertHolds(t, box, m)
	})
}

// BOX-2: values.json exact_or_expected of p10: 100 x 200 x 300 to 1e-4.
func TestOrientedBoxOfATurnedBox(t *testing.T) {
	box := mesh.OrientedBox(loadShape(t, "p10_rot_box.stl"))
	assert.InEpsilon(t, 300, box.Width, 1e-4)
	assert.InEpsilon(t, 200, box.Depth, 1e-4)
	assert.InEpsilon(t, 100, box.Height, 1e-4)
}

// BOX-3: by hand. A square prism turned by 45 degrees fits its own square.
func TestUprightBoxTurnsAboutTheVertical(t *testing.T) {
	turned := meshtest.Moved(meshtest.Box(3, 2, 1), meshtest.About(mesh.Point{0, 0, 1}, 0.5), mesh.Point{7, 8, 9})
	box := mesh.UprightBox(turned)
	assert.InDeltaSlice(t, []float64{3, 2, 1}, []float64{box.Width, box.Depth, box.Height}, 1e-12)
	assert.InDelta(t, 1, box.Axes[2][2], 1e-15)
	assert.InDelta(t, 9.5, box.Centre[2], 1e-12)
}

// Width is the longer of the two, whichever way the part stands in its file, and the axes
// go with it.
func TestUprightBoxHasItsWidthFirst(t *testing.T) {
	for _, m := range []*mesh.Mesh{meshtest.Box(2, 3, 9), meshtest.Box(3, 2, 9), meshtest.Moved(meshtest.Box(2, 3, 9), meshtest.About(mesh.Point{0, 0, 1}, 2), mesh.Point{5, 6, 7})} {
		box := mesh.UprightBox(m)
		assert.InDeltaSlice(t, []float64{3, 2, 9}, []float64{box.Width, box.Depth, box.Height}, 1e-12)
		assertHolds(t, box, m)
	}
}

// BOX-4: by hand. Nothing, a point, a line, and a sheet.
func TestBoxesOfThinThings(t *testing.T) {
	assert.Zero(t, mesh.OrientedBox(&mesh.Mesh{}))
	assert.Zero(t, mesh.UprightBox(&mesh.Mesh{}))
	assert.Zero(t, mesh.AxisBox(&mesh.Mesh{}))
	point := meshtest.Scaled(meshtest.Box(1, 1, 1), 0, 0, 0)
	assert.Zero(t, mesh.OrientedBox(point).Width)
	line := meshtest.Moved(meshtest.Box(5, 0, 0), meshtest.About(mesh.Point{1, 2, 3}, 1), mesh.Point{})
	assertHolds(t, mesh.OrientedBox(line), line)
	sheet := mesh.OrientedBox(meshtest.Moved(meshtest.Box(5, 3, 0), meshtest.About(mesh.Point{1, 2, 3}, 1), mesh.Point{}))
	assert.InDeltaSlice(t, []float64{5, 3, 0}, []float64{sheet.Width, sheet.Depth, sheet.Height}, 1e-6)
}

func TestCornersWithoutFacesDoNotCount(t *testing.T) {
	m := meshtest.Box(1, 2, 3)
	m.Vertices = append(m.Vertices, mesh.Point{100, 100, 100})
	assert.InDelta(t, 6, mesh.AxisBox(m).Volume(), 1e-12)
}

func TestBoxLaws(t *testing.T) {
	left := 20 // each takes a quarter of a second
	rapid.Check(t, func(t *rapid.T) {
		m := anySolid(t)
		if left--; left < 0 {
			return
		}
		axis, upright, oriented := mesh.AxisBox(m), mesh.UprightBox(m), mesh.OrientedBox(m)
		assert.LessOrEqual(t, upright.Volume(), axis.Volume()*(1+1e-9))
		assert.LessOrEqual(t, oriented.Volume(), upright.Volume()*(1+1e-9))
		assert.GreaterOrEqual(t, upright.Width, upright.Depth)
		assert.GreaterOrEqual(t, oriented.Width, oriented.Depth)
		assert.GreaterOrEqual(t, oriented.Depth, oriented.Height)
		for _, box := range []mesh.Box{axis, upright, oriented} {
			assertHolds(t, box, m)
		}
		moved := mesh.OrientedBox(meshtest.Moved(m, anyTurn(t), anyShift(t)))
		assert.InEpsilon(t, oriented.Volume(), moved.Volume(), 0.01)
		assert.InEpsilon(t, 8*upright.Volume(), mesh.UprightBox(meshtest.Scaled(m, 2, 2, 2)).Volume(), 1e-9)
	})
}

// assertHolds checks that all vertices are in a box, whose axes are square.
func assertHolds(t assert.TestingT, b mesh.Box, m *mesh.Mesh) {
	worst := 0.0
	for _, p := range m.Vertices {
		for k, size := range []float64{b.Width, b.Depth, b.Height} {
			x := 0.0
			for i := range p {
				x += (p[i] - b.Centre[i]) * b.Axes[k][i]
			}
			worst = max(worst, math.Abs(x)-size/2)
		}
	}
	assert.LessOrEqual(t, worst, 1e-9*b.Diagonal())
	a, c, d := b.Axes[0], b.Axes[1], b.Axes[2]
	det := a[0]*(c[1]*d[2]-c[2]*d[1]) - a[1]*(c[0]*d[2]-c[2]*d[0]) + a[2]*(c[0]*d[1]-c[1]*d[0])
	assert.InDelta(t, 1, det, 1e-9, "right-handed and square")
}

// A big ball: what takes more than the square of the vertices would never end.
func TestBoxesOfManyVertices(t *testing.T) {
	m := meshtest.Scaled(meshtest.Icosphere(1, 7), 1, 2, 3)
	began := time.Now()
	box := mesh.OrientedBox(m)
	t.Logf("%d faces in %v", len(m.Faces), time.Since(began))
	assert.InEpsilon(t, 48, box.Volume(), 2e-3)
	assertHolds(t, box, m)
}

func ExampleAxisBox() {
	b := mesh.AxisBox(meshtest.Box(3, 2, 1))
	fmt.Printf("%.0f x %.0f x %.0f m, %.0f m3", b.Width, b.Depth, b.Height, b.Volume())
	// Output: 3 x 2 x 1 m, 6 m3
}

func ExampleUprightBox() {
	turned := meshtest.Moved(meshtest.Box(3, 2, 1), meshtest.About(mesh.Point{0, 0, 1}, 1), mesh.Point{})
	b := mesh.UprightBox(turned)
	fmt.Printf("%.2f x %.2f x %.2f m", b.Width, b.Depth, b.Height)
	// Output: 3.00 x 2.00 x 1.00 m
}

func ExampleOrientedBox() {
	tilted := meshtest.Moved(meshtest.Box(1, 2, 3), meshtest.About(mesh.Point{1, 2, 3}, 1), mesh.Point{})
	b := mesh.OrientedBox(tilted)
	fmt.Printf("%.2f x %.2f x %.2f m", b.Width, b.Depth, b.Height)
	// Output: 3.00 x 2.00 x 1.00 m
}
