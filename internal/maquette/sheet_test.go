package maquette_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/release"
)

func codesOf(warnings []mesh.Warning) []string {
	codes := make([]string, len(warnings))
	for i, w := range warnings {
		codes[i] = w.Code
	}
	return codes
}

// at measures a model, with what is usual, at a scale.
func at(t testing.TB, q *maquette.Maquette, scale float64) maquette.Sheet {
	t.Helper()
	s, err := q.At(q.Usual(scale))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// coloured is a box of 0.2 x 0.1 x 0.3 m whose top is gilt and whose sides are green.
func coloured() *mesh.Mesh {
	m := meshtest.Box(0.2, 0.1, 0.3)
	top := func(f [3]uint32) bool {
		return m.Vertices[f[0]][2] > 0.29 && m.Vertices[f[1]][2] > 0.29 && m.Vertices[f[2]][2] > 0.29
	}
	var gilt, green [][3]uint32
	for _, f := range m.Faces {
		if top(f) {
			gilt = append(gilt, f)
		} else {
			green = append(green, f)
		}
	}
	m.Faces = append(gilt, green...)
	m.Runs = []mesh.Run{{First: 0, Zone: "gilt"}, {First: len(gilt), Zone: "green"}}
	return m
}

// Of a box the top is 0.2 x 0.1 m, with an edge of 0.6 m to all the rest (elementary).
// At three times its size the area is nine times that, the edge three times.
func TestZonesOfAModel(t *testing.T) {
	q := studied(t, coloured())
	if got := q.Zones(); !slices.Equal(got, []string{"gilt", "green"}) {
		t.Fatalf("got %q", got)
	}
	gilt, ok := q.Zone("gilt")
	green, also := q.Zone("green")
	if _, none := q.Zone("red"); !ok || !also || none {
		t.Errorf("gilt %v, green %v, red %v", ok, also, none)
	}
	near(t, "gilt", gilt.Area, 0.02)
	near(t, "its edge", gilt.Edge, 0.6)
	near(t, "green", green.Area, 0.02+2*0.2*0.3+2*0.1*0.3)
	near(t, "its edge", green.Edge, 0.6)

	s := at(t, q, 3)
	near(t, "gilt at three times its size", s.Zones[0].Area, 0.18)
	near(t, "the seam", s.Seams[0].Length, 1.8)
	near(t, "all zones are the skin", s.Zones[0].Area+s.Zones[1].Area, s.Surface)
}

// A tray, which is a box of 0.4 x 0.3 x 0.1 m without its top: its rim is 1.4 m, its skin
// 0.12 + 0.14 m2, and filled to the rim it holds 0.012 m3 (elementary). What it does not
// enclose is said, and rests on a cap.
func TestAnOpenModel(t *testing.T) {
	m := meshtest.Box(0.4, 0.3, 0.1)
	m.Faces = slices.DeleteFunc(m.Faces, func(f [3]uint32) bool {
		return m.Vertices[f[0]][2] > 0.09 && m.Vertices[f[1]][2] > 0.09 && m.Vertices[f[2]][2] > 0.09
	})
	q := studied(t, m)
	s := at(t, q, 1)
	near(t, "rim", s.Rim, 1.4)
	near(t, "surface", s.Surface, 0.12+0.14)
	near(t, "volume", s.Volume, 0.012)
	if !q.Opens() || s.Enclosed != mesh.Open {
		t.Error("it is closed")
	}
	if !slices.Contains(codesOf(s.Warnings), maquette.Capped) || !strings.Contains(s.VolumeBasis(), "capped") {
		t.Errorf("warned of %q, volume by %q", codesOf(s.Warnings), s.VolumeBasis())
	}
	closed := studied(t, meshtest.Box(0.4, 0.3, 0.1))
	if whole := at(t, closed, 1); closed.Opens() || slices.Contains(codesOf(whole.Warnings), maquette.Capped) || whole.VolumeBasis() != "enclosed by the outer skin" {
		t.Errorf("the box with its top: %q, volume by %q", codesOf(whole.Warnings), whole.VolumeBasis())
	}
}

// What the size makes of a piece: below 20 mm and above 20 m the unit is doubted; skins
// within the outer one are told of; so are parts thinner than two skins of 3 mm (common
// practice, no source).
func TestWarningsBySize(t *testing.T) {
	box, fin := studied(t, meshtest.Box(0.2, 0.1, 0.3)), studied(t, meshtest.Box(0.5, 0.005, 0.5))
	hollow := studied(t, meshtest.Join(meshtest.Icosphere(0.2, 2), meshtest.Flipped(meshtest.Icosphere(0.1, 2))))
	for _, c := range []struct {
		name  string
		of    *maquette.Maquette
		scale float64
		code  string
		want  bool
	}{
		{"19.8 mm", box, 0.066, maquette.OddSize, true},
		{"21 mm", box, 0.07, maquette.OddSize, false},
		{"19.8 m", box, 66, maquette.OddSize, false},
		{"21 m", box, 70, maquette.OddSize, true},
		{"5 mm thick", fin, 1, maquette.ThinPart, true},
		{"6.5 mm thick", fin, 1.3, maquette.ThinPart, false},
		{"a ball within a ball", hollow, 1, maquette.InnerOne, true},
		{"a box", box, 1, maquette.InnerOne, false},
		{"a box comes off", box, 1, maquette.Locked, false},
	} {
		if got := slices.Contains(codesOf(at(t, c.of, c.scale).Warnings), c.code); got != c.want {
			t.Errorf("%s: %s is %v, want %v", c.name, c.code, got, c.want)
		}
	}
}

// Layers are as thick as most hot wires and saws take, or for a very tall piece a
// thousandth of its height: there are never more than are listed.
func TestUsualLayers(t *testing.T) {
	q := studied(t, meshtest.Box(0.2, 0.1, 0.3))
	near(t, "usual", q.Usual(1).Layer, 0.1)
	if s := at(t, q, 1); len(s.Layers) != 3 {
		t.Errorf("%d layers of 0.1 m in 0.3 m", len(s.Layers))
	}
	if s := at(t, q, 10_000); len(s.Layers) > maquette.LayersMost || len(s.Layers) < maquette.LayersMost-1 {
		t.Errorf("%d layers in 3 km", len(s.Layers))
	}
}

// Directions in the words of somebody who stands before the piece.
func TestPullsInWords(t *testing.T) {
	for want, d := range map[string]release.Direction{
		"to the left (-x)": {-1, 0, 0}, "to the right (+x)": {1, 0, 0}, "to the front (-y)": {0, -1, 0}, "to the back (+y)": {0, 1, 0}, "down (-z)": {0, 0, -1}, "up (+z)": {0, 0, 1},
		"slanting, x 0.60, y -0.80, z 0.00": {0.6, -0.8, 0}, "slanting, x 0.00, y 0.71, z 0.71": {0, math.Sqrt(0.5), math.Sqrt(0.5)},
	} {
		if got := maquette.PullWords(d); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// A forced split that is known already gives the sheet that asking for its pulls gives.
func TestAForcedSplitThatIsKnown(t *testing.T) {
	q := studied(t, meshtest.Box(0.2, 0.1, 0.3))
	pulls := []release.Direction{{0, 0, 2}}
	asked, err := q.At(maquette.Ask{Scale: 2, Pulls: pulls})
	if err != nil {
		t.Fatal(err)
	}
	known, err := q.At(maquette.Ask{Scale: 2, Pulls: pulls, Forced: q.Forced(pulls)})
	if err != nil {
		t.Fatal(err)
	}
	for i := range asked.Splits {
		a, k := asked.Splits[i], known.Splits[i]
		if a.Pieces != k.Pieces || a.Parting != k.Parting || !slices.Equal(a.Labels, k.Labels) || !slices.Equal(a.Pulls, k.Pulls) {
			t.Errorf("draft %v: %d pieces and %v m, known %d and %v", a.Draft, a.Pieces, a.Parting, k.Pieces, k.Parting)
		}
	}
}

// A picture shows the piece at its size, each face with the piece of the mould that it is
// in, and names every pull.
func TestAScene(t *testing.T) {
	q := studied(t, meshtest.Box(0.2, 0.1, 0.3))
	scene := q.Scene("A box", maquette.Ask{Scale: 5})
	var low, high mesh.Point
	for _, p := range scene.Mesh.Vertices {
		for axis := range p {
			low[axis], high[axis] = math.Min(low[axis], p[axis]), math.Max(high[axis], p[axis])
		}
	}
	for axis, want := range [3]float64{1, 0.5, 1.5} {
		near(t, "size", high[axis]-low[axis], want)
	}
	split := at(t, q, 5).Splits[1]
	if scene.Title != "A box" || len(scene.Labels) != len(scene.Mesh.Faces) || len(scene.Pieces) != len(split.Pulls) {
		t.Errorf("%q: %d labels of %d faces, %d pieces of %d pulls", scene.Title, len(scene.Labels), len(scene.Mesh.Faces), len(scene.Pieces), len(split.Pulls))
	}
	if !strings.Contains(scene.Caption, "Not proven") || !strings.HasPrefix(scene.Pieces[0], "piece 1, pulled ") {
		t.Errorf("%q, %q", scene.Caption, scene.Pieces)
	}
	near(t, "the model itself is as it was", q.Extent().Height, 0.3)
}

// A form that is no mirror image of itself: its copy, its other hand, and itself larger.
func TestTheTwoHandsOfAForm(t *testing.T) {
	// A corner with legs of three lengths.
	left := &mesh.Mesh{
		Vertices: []mesh.Point{{0, 0, 0}, {0.3, 0, 0}, {0, 0.2, 0}, {0, 0, 0.1}},
		Faces:    [][3]uint32{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}},
	}
	q := studied(t, left)
	for words, other := range map[string]*mesh.Mesh{
		"copies of one form": meshtest.Moved(left, meshtest.About(mesh.Point{1, 2, 3}, 0.7), mesh.Point{0.1, 0.2, 0.3}),
		"a left and a right hand: mirror images, each with a mould of its own": meshtest.Mirrored(left),
		"different forms": meshtest.Scaled(left, 1.1, 1.1, 1.1),
	} {
		if got := maquette.Compare(q, studied(t, other)).String(); got != words {
			t.Errorf("got %q, want %q", got, words)
		}
	}
	if s := at(t, q, 1); s.Mirrored {
		t.Error("it is its own mirror image")
	}
	if got := (maquette.Hand{Same: true, Mirrored: true}).String(); !strings.Contains(got, "one mould serves both hands") {
		t.Errorf("got %q", got)
	}
}

// What has no face cannot be studied.
func TestAModelWithoutAFace(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"nothing": {}, "points": {Vertices: []mesh.Point{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}},
		"a sliver": {Vertices: []mesh.Point{{0, 0, 0}, {1, 0, 0}, {2, 0, 0}}, Faces: [][3]uint32{{0, 1, 2}}},
	} {
		if _, err := maquette.Study(m); err == nil {
			t.Errorf("%s is studied", name)
		}
	}
}
