package geometry_test

import (
	"math"
	"testing"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

// A mould parts along the outline, but for the ends that are open.
func TestSeamLeavesOpenEndsOut(t *testing.T) {
	for _, row := range []struct {
		name  string
		solid geometry.Solid
		open  float64 // m of outline across open ends
	}{
		{"closed cylinder", geometry.Cylinder{Diameter: 0.4, Height: 1}, 0},
		{"cylinder on its base", geometry.Cylinder{Diameter: 0.4, Height: 1, Ends: geometry.EndsBase}, 0.4},
		{"open tube", geometry.Cylinder{Diameter: 0.4, Height: 1, Ends: geometry.EndsNeither}, 0.8},
		{"stem open at its foot", geometry.Frustum{BaseDiameter: 0.32, TopDiameter: 0.24, Height: 0.8, Ends: geometry.EndsTop}, 0.32},
		{"open dome", geometry.Dome{Diameter: 0.9, Height: 0.4, Ends: geometry.EndsNeither}, 0.9},
		{"box without a lid", geometry.Block{Width: 0.5, Depth: 0.3, Height: 0.2, Ends: geometry.EndsBase}, 0.5},
		{"ball", geometry.Sphere{Diameter: 0.5}, 0},
		{"ring", geometry.Ring{CentreDiameter: 0.8, TubeDiameter: 0.1}, 0},
	} {
		for what, m := range map[string]geometry.Measures{"whole": row.solid.Measure(), "half": row.solid.Half()} {
			if got := m.Outline - m.Seam; math.Abs(got-row.open) > 1e-12 {
				t.Errorf("%s, %s: %g m of its outline is no seam, want %g", row.name, what, got, row.open)
			}
		}
	}
}
