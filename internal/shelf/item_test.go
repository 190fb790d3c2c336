package shelf_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/meshfile"
	"github.com/mouldwright/mouldwright/internal/shelf"
)

// tetrahedron is a corner with legs of 300, 200 and 100 along x, y and z, as text in
// STL. It is no mirror image of itself.
func tetrahedron() []byte {
	o, x, y, z := "0 0 0", "300 0 0", "0 200 0", "0 0 100"
	var b strings.Builder
	b.WriteString("solid corner\n")
	for _, f := range [][3]string{{o, y, x}, {o, x, z}, {o, z, y}, {x, y, z}} {
		fmt.Fprintf(&b, "facet normal 0 0 0\nouter loop\nvertex %s\nvertex %s\nvertex %s\nendloop\nendfacet\n", f[0], f[1], f[2])
	}
	b.WriteString("endsolid corner\n")
	return []byte(b.String())
}

func studied(t testing.TB, r shelf.Reading) *shelf.Item {
	t.Helper()
	i := shelf.Identify(tetrahedron(), r)
	if err := i.Study(); err != nil {
		t.Fatal(err)
	}
	return i
}

func near(t testing.TB, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-12*math.Max(1, math.Abs(want)) {
		t.Errorf("%s: got %.15g, want %.15g", what, got, want)
	}
}

// The inch is 25.4 mm and the yard, of three feet of twelve inches, 0.9144 m, exactly
// (the international agreement of 1959, 24 FR 5348; from memory).
func TestUnits(t *testing.T) {
	metres := map[string]float64{"mm": 1e-3, "cm": 1e-2, "m": 1, "in": 0.9144 / 36, "ft": 0.9144 / 3}
	for _, u := range shelf.Units() {
		near(t, u.Short, u.Metres, metres[u.Short])
	}
	if len(shelf.Units()) != len(metres) {
		t.Errorf("%d units, want %d", len(shelf.Units()), len(metres))
	}
}

// A corner of 300, 200 and 100 inches holds a sixth of its box (elementary), and a cubic
// inch 16.387064 ml (25.4 mm cubed).
func TestACornerInInches(t *testing.T) {
	sheet, err := studied(t, shelf.Reading{Unit: 0.0254}).Model.At(maquette.Ask{Scale: 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "volume", sheet.Volume, 1e6*16.387064e-6)
	near(t, "height", sheet.Size.Height, 2.54)
}

// Whichever axis points up comes to point up, and the piece stays the hand that it is:
// axes change places in a circle. glTF's front, +z, becomes ours, -y (glTF 2.0, 3.3:
// "the front of a glTF asset faces +Z"; from memory).
func TestWhicheverAxisPointsUp(t *testing.T) {
	z := studied(t, shelf.Reading{Unit: 0.001, Up: shelf.Z})
	tips := map[shelf.Up][3]mesh.Point{ // of the legs along x, y and z
		shelf.X: {{0, 0, 0.3}, {0.2, 0, 0}, {0, 0.1, 0}},
		shelf.Y: {{0.3, 0, 0}, {0, 0, 0.2}, {0, -0.1, 0}},
		shelf.Z: {{0.3, 0, 0}, {0, 0.2, 0}, {0, 0, 0.1}},
	}
	for up, want := range tips {
		item := studied(t, shelf.Reading{Unit: 0.001, Up: up})
		for _, tip := range want {
			if points := item.Model.Skin().Vertices; !slices.ContainsFunc(points, func(p mesh.Point) bool { return apart(p, tip) < 1e-12 }) {
				t.Errorf("with %s up no leg ends at %v: %v", shelf.Axes()[up-1], tip, points)
			}
		}
		if hand := maquette.Compare(z.Model, item.Model); !hand.Same || hand.Mirrored {
			t.Errorf("with %s up it is: %v", shelf.Axes()[up-1], hand)
		}
	}
}

func apart(p, q mesh.Point) float64 {
	return math.Hypot(math.Hypot(p[0]-q[0], p[1]-q[1]), p[2]-q[2])
}

// block is a box of 0.3 x 0.2 x 0.1 m as binary glTF, which is in metres and has y up.
func block(t testing.TB) []byte {
	t.Helper()
	var doc bytes.Buffer
	if err := meshtest.WriteGLB(&doc, meshtest.Box(0.3, 0.2, 0.1)); err != nil {
		t.Fatal(err)
	}
	return doc.Bytes()
}

// A format's own axis holds where nobody says another: y in glTF, z in STL; and what
// the file says of its unit stands with the item.
func TestAFormatsOwnAxisAndUnit(t *testing.T) {
	for up, height := range map[shelf.Up]float64{shelf.FormatsOwn: 0.1, shelf.Z: 0.2} {
		item := shelf.Identify(block(t), shelf.Reading{Up: up})
		if err := item.Study(); err != nil {
			t.Fatal(err)
		}
		if got := item.Model.Extent().Height; math.Abs(got-height) > 1e-7 { // float32 in the file
			t.Errorf("axis %d up: %v high, want %v", up, got, height)
		}
		if item.Format != meshfile.GLB || item.Reading.Unit != 1 {
			t.Errorf("%s in units of %v m, want glb in metres", item.Format, item.Reading.Unit)
		}
	}
	near(t, "STL as it stands", studied(t, shelf.Reading{Unit: 0.001}).Model.Extent().Height, 0.1)
}

// What cannot be read or measured is an error that a door can tell the caller, and
// leaves no model.
func TestWhatCannotBeStudied(t *testing.T) {
	for name, row := range map[string]struct {
		file []byte
		r    shelf.Reading
		code string
	}{
		"nothing":    {nil, shelf.Reading{Unit: 1}, meshfile.EmptyFile},
		"no unit":    {tetrahedron(), shelf.Reading{}, meshfile.Unit},
		"a web page": {[]byte("<!doctype html><html><body>no</body></html>"), shelf.Reading{Unit: 1, FileName: "a.stl"}, meshfile.NotAMesh},
		"cut off":    {tetrahedron()[:300], shelf.Reading{Unit: 1}, meshfile.Truncated},
	} {
		item := shelf.Identify(row.file, row.r)
		err := item.Study()
		var bad *meshfile.Fault
		if !errors.As(err, &bad) || bad.Code != row.code || item.Model != nil {
			t.Errorf("%s: %v (%+v), want %s", name, err, bad, row.code)
		}
	}
}

// Equal sums mean equal measures: what is read twice measures the same to the last digit.
func TestStudyingTwiceMeasuresTheSame(t *testing.T) {
	one, two := studied(t, shelf.Reading{Unit: 0.0254, Up: shelf.X}), studied(t, shelf.Reading{Unit: 0.0254, Up: shelf.X, Title: "again"})
	if one.Sum != two.Sum || one.Model.Surface() != two.Model.Surface() || one.Model.Extent() != two.Model.Extent() {
		t.Errorf("%v and %v", one.Model.Extent(), two.Model.Extent())
	}
}
