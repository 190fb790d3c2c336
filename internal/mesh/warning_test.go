package mesh_test

import (
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// A warning tells its length at the size of the piece: a box of 2 x 3 m without a lid has
// a rim of 10 m, and at a quarter of the size one of 2.5 m.
func TestWarningsAreTold(t *testing.T) {
	box := meshtest.Box(2, 3, 4)
	open := &mesh.Mesh{Vertices: box.Vertices}
	for f, face := range box.Faces {
		if tri := box.Triangle(f); tri[0][2] < 2 || tri[1][2] < 2 || tri[2][2] < 2 {
			open.Faces = append(open.Faces, face)
		}
	}
	s, err := mesh.Examine(open)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "rim", s.Rim, 10, 1e-12)
	same(t, "warnings", len(s.Warnings), 1)
	w := s.Warnings[0]
	same(t, "code", w.Code, mesh.NotClosed)
	for scale, says := range map[float64]string{1: "rim of 10.000 m", 0.25: "rim of 2.500 m", 0.001: "rim of 10 mm", 8: "rim of 80.000 m"} {
		if got := w.At(scale).Says; !strings.Contains(got, says) {
			t.Errorf("at %v: %q, want %q in it", scale, got, says)
		}
		same(t, "there and back", w.At(scale).At(1/scale).Says, w.Says)
	}
	plain := mesh.Warning{Code: "x", Says: "1 m"}
	same(t, "without a length", plain.At(2), plain)
}
