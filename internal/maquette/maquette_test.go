package maquette_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/release"
)

func studied(t testing.TB, m *mesh.Mesh) *maquette.Maquette {
	t.Helper()
	q, err := maquette.Study(m)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func near(t testing.TB, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*math.Max(1, math.Abs(want)) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

// A box of 0.2 x 0.1 x 0.3 m at five times its size: 1 x 0.5 x 1.5 m (elementary).
func TestABoxAtFiveTimesItsSize(t *testing.T) {
	s, err := studied(t, meshtest.Box(0.2, 0.1, 0.3)).At(maquette.Ask{Scale: 5, Layer: 0.6, ThinLimit: 0.6})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "surface", s.Surface, 2*(1*0.5+1*1.5+0.5*1.5))
	near(t, "volume", s.Volume, 0.75)
	near(t, "material", s.Material, 0.75)
	near(t, "rim", s.Rim, 0)
	near(t, "width", s.Size.Width, 1)
	near(t, "depth", s.Size.Depth, 0.5)
	near(t, "height", s.Size.Height, 1.5)
	for i, want := range []float64{1 * 1.5, 0.5 * 1.5, 1 * 0.5} {
		near(t, s.Silhouettes[i].View, s.Silhouettes[i].Area, want)
	}
	if len(s.Layers) != 3 {
		t.Fatalf("%d layers of 0.6 m in 1.5 m", len(s.Layers))
	}
	near(t, "last layer", s.Layers[2].Height, 0.3)
	near(t, "layers", s.LayersTotal, 0.75)
	if s.Splits[0].Pieces != 2 || !s.Mirrored {
		t.Errorf("%d pieces, mirrored %v", s.Splits[0].Pieces, s.Mirrored)
	}
	// Two of its six sides are 0.5 m apart, the others 1 m and more.
	if want := 2 * 1 * 1.5 / s.Surface; math.Abs(s.Thin-want) > 0.01 {
		t.Errorf("thin share %v, want %v", s.Thin, want)
	}
}

// GEO-61: lengths go with the scale, areas with its square, volumes with its cube
// (elementary).
func TestMeasuresFollowTheScale(t *testing.T) {
	q := studied(t, meshtest.Join(meshtest.Torus(0.2, 0.05, 24, 12), meshtest.Moved(meshtest.Icosphere(0.1, 2), meshtest.About(mesh.Point{0, 0, 1}, 0), mesh.Point{0, 0, 0.4})))
	one, err := q.At(maquette.Ask{Scale: 1})
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.Float64Range(0.1, 100).Draw(t, "scale")
		at, err := q.At(maquette.Ask{Scale: s})
		if err != nil {
			t.Fatal(err)
		}
		for what, pair := range map[string][2]float64{
			"surface": {at.Surface, one.Surface * s * s}, "volume": {at.Volume, one.Volume * s * s * s},
			"height": {at.Size.Height, one.Size.Height * s}, "parting": {at.Splits[1].Parting, one.Splits[1].Parting * s},
		} {
			if math.Abs(pair[0]-pair[1]) > 1e-12*pair[1] {
				t.Fatalf("%s at %v: %v, want %v", what, s, pair[0], pair[1])
			}
		}
	})
}

// The hollow egg's inner skin is no surface to mould.
func TestInnerSkinsAreNotMoulded(t *testing.T) {
	outer, inner := meshtest.Icosphere(0.2, 3), meshtest.Flipped(meshtest.Icosphere(0.15, 3))
	hollow, err := studied(t, meshtest.Join(outer, inner)).At(maquette.Ask{Scale: 1})
	if err != nil {
		t.Fatal(err)
	}
	solid, err := studied(t, outer).At(maquette.Ask{Scale: 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "surface", hollow.Surface, solid.Surface)
	near(t, "foam", hollow.Volume, solid.Volume)
	if hollow.Material >= solid.Material || hollow.Whole <= solid.Whole {
		t.Errorf("material %v of %v, surface in the file %v of %v", hollow.Material, solid.Material, hollow.Whole, solid.Whole)
	}
}

func TestForcedPullsComeFirst(t *testing.T) {
	q := studied(t, meshtest.Icosphere(0.2, 3))
	s, err := q.At(maquette.Ask{Scale: 1, Pulls: []release.Direction{{0, -3, 0}}})
	if err != nil {
		t.Fatal(err)
	}
	if got := s.Splits[0].Pulls[0].Direction; got != (release.Direction{0, -1, 0}) {
		t.Errorf("the first pull is %v", got)
	}
}

func TestPullFaults(t *testing.T) {
	for name, row := range map[string]struct {
		pulls []release.Direction
		bad   int
	}{
		"sound": {[]release.Direction{{0, 0, 1}, {3, -4, 0}}, 0}, "no way": {[]release.Direction{{0, 0, 0}}, 1},
		"not a number": {[]release.Direction{{math.NaN(), 0, 0}}, 1}, "too many": {make([]release.Direction, 7), 8},
	} {
		if got := maquette.PullFaults(row.pulls); len(got) != row.bad {
			t.Errorf("%s: %v", name, got)
		}
	}
}

func TestLayersAreBounded(t *testing.T) {
	if _, err := studied(t, meshtest.Box(1, 1, 1)).At(maquette.Ask{Scale: 1, Layer: 1e-6}); err == nil {
		t.Error("a million layers are taken")
	}
	if _, err := studied(t, meshtest.Box(1, 1, 1)).At(maquette.Ask{}); err == nil {
		t.Error("no scale is taken")
	}
}

func TestHandsInWords(t *testing.T) {
	a := studied(t, meshtest.Icosphere(0.2, 2))
	if got := maquette.Compare(a, a); !got.Same || !got.Mirrored {
		t.Errorf("a ball beside itself: %v", got)
	}
	if got := maquette.Compare(a, studied(t, meshtest.Box(0.3, 0.2, 0.1))); got.String() != "different forms" {
		t.Errorf("a ball beside a box: %v", got)
	}
}

// Every face is drawn with one piece, so that the pieces together are the surface; of a
// box each has at the least one of its ends, of which the smallest is 0.5 m2 (elementary).
func TestWhatThePiecesHaveAsDrawn(t *testing.T) {
	s, err := studied(t, meshtest.Box(0.2, 0.1, 0.3)).At(maquette.Ask{Scale: 5})
	if err != nil {
		t.Fatal(err)
	}
	for i := range s.Splits {
		drawn, sum := s.Splits[i].Drawn(), 0.0
		for _, area := range drawn {
			if area < 0.5-1e-9 {
				t.Errorf("draft %v: %v", s.Splits[i].Draft, drawn)
			}
			sum += area
		}
		near(t, "all pieces", sum, s.Surface)
	}
}
