package mesh_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

func ExampleSum() {
	o, x, y, z := mesh.Point{}, mesh.Point{1, 0, 0}, mesh.Point{0, 1, 0}, mesh.Point{0, 0, 1}
	var s mesh.Sum
	for _, t := range []mesh.Triangle{{o, y, x}, {o, x, z}, {o, z, y}, {x, y, z}} {
		s.Add(t)
	}
	volume, closed := s.Volume()
	fmt.Printf("%.4f m2, %.4f m3, closed: %v\n", s.Area, volume, closed)
	// Output: 2.3660 m2, 0.1667 m3, closed: true
}

func ExampleSmoothedArea() {
	ball := meshtest.Icosphere(1, 5)
	scan := meshtest.Noisy(ball, 0.006, 1) // a sixth of an edge
	s, err := mesh.Examine(scan)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("raw %.1f m2, smoothed %.1f m2\n", s.Area, mesh.SmoothedArea(s.Mesh))
	// Output: raw 13.2 m2, smoothed 12.7 m2
}

// An open surface has no volume, and neither has nothing.
func TestSumKnowsWhatIsOpen(t *testing.T) {
	var none, sheet mesh.Sum
	if v, ok := none.Volume(); ok || v != 0 || none.Openness() != 0 {
		t.Errorf("nothing has a volume of %v", v)
	}
	box := meshtest.Box(1, 2, 3)
	for f := range 2 {
		sheet.Add(box.Triangle(f))
	}
	_, ok := sheet.Volume()
	same(t, "closed", ok, false)
	near(t, "openness", sheet.Openness(), 1, 1e-12)
}

// What parts of a mesh come to, joined in order, is what the whole comes to, however it
// is cut: also where a part is far from the first corner of the whole.
func TestSumsJoin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := anyPart(t)
		var whole, joined mesh.Sum
		whole.AddMesh(m)
		var part mesh.Sum
		for f := range m.Faces {
			if rapid.IntRange(0, 9).Draw(t, "cut") == 0 {
				joined.Join(&part)
				part = mesh.Sum{}
			}
			part.Add(m.Triangle(f))
		}
		joined.Join(&part)
		volume, closed := whole.Volume()
		got, ok := joined.Volume()
		if joined.Faces != whole.Faces || ok != closed || joined.Low != whole.Low || joined.High != whole.High {
			t.Fatalf("joined %+v, whole %+v", joined, whole)
		}
		if math.Abs(joined.Area-whole.Area) > 1e-12*whole.Area || math.Abs(got-volume) > 1e-12*(1+math.Abs(volume)) {
			t.Fatalf("area %v of %v, volume %v of %v", joined.Area, whole.Area, got, volume)
		}
	})
}

func TestSumKnowsWhatIsNoNumber(t *testing.T) {
	for _, odd := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for at := range 9 {
			tri := mesh.Triangle{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
			tri[at/3][at%3] = odd
			var s mesh.Sum
			s.Add(mesh.Triangle{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}, tri)
			same(t, "finite", s.Finite(), false)
		}
	}
}
