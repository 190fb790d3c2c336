package mesh_test

import (
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// The noise of a scan makes the area read high by about 2 (sigma/h)^2 (measured: 1.25 %
// at 0.079, 12.7 % at 0.249); the smoothed area must be nearer to the truth by far.
func TestSmoothingTakesNoiseAway(t *testing.T) {
	clean := meshtest.Icosphere(1, 5)
	truth := examine(t, clean).Area
	edge := math.Sqrt(4 / math.Sqrt(3) * truth / float64(len(clean.Faces)))
	for _, share := range []float64{0.079, 0.12, 0.18, 0.249} {
		s := examine(t, meshtest.Noisy(clean, share*edge, 7))
		raw, smooth := s.Skin/truth-1, s.SmoothSkin/truth-1
		t.Logf("noise %.3f of an edge: raw %+.2f %%, smoothed %+.2f %%", share, 100*raw, 100*smooth)
		if raw < share*share || math.Abs(smooth) > raw/4 {
			t.Errorf("noise %g: raw %g, smoothed %g", share, raw, smooth)
		}
		if warned := strings.Contains(codes(s), mesh.Rough); warned != (s.Skin-s.SmoothSkin > 0.02*s.Skin) {
			t.Errorf("noise %g: warned is %v", share, warned)
		}
	}
}

func TestSmoothingLeavesSolidsAlone(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"sphere": meshtest.Icosphere(1, 3), "fine sphere": meshtest.Icosphere(1, 5),
		"torus": meshtest.Torus(2, 0.5, 96, 32), "box": meshtest.Box(1, 2, 3),
	} {
		near(t, name, mesh.SmoothedArea(m), examine(t, m).Area, 0.01)
	}
}

// No mesh of the public set is noisy.
func TestSmoothingLeavesPublicMeshesAlone(t *testing.T) {
	paths, _ := filepath.Glob(public + "*.stl")
	for _, path := range paths {
		m := binarySTL(t, path)
		if m == nil {
			continue
		}
		s := examine(t, m)
		near(t, filepath.Base(path)+" in the survey", s.SmoothSkin, s.Skin, 0.01)
		smooth := mesh.SmoothedArea(s.Mesh)
		t.Logf("%s %+.4f %%", filepath.Base(path), 100*(smooth/s.Area-1))
		near(t, filepath.Base(path), smooth, s.Area, 0.01)
	}
}
