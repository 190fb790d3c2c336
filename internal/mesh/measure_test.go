package mesh_test

import (
	"fmt"
	"testing"

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
