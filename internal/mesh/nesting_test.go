package mesh_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// centred is a box about a place.
func centred(w, d, h float64, at mesh.Point) *mesh.Mesh {
	return moved(meshtest.Box(w, d, h), at[0]-w/2, at[1]-d/2, at[2]-h/2)
}

// Parts that cross each other are no voids: each counts for itself (elementary).
func TestCrossingPartsAreNotNested(t *testing.T) {
	cube, ball := centred(2, 2, 2, mesh.Point{}), meshtest.Icosphere(1, 3)
	left, right := mesh.Point{-0.04, 0, 0}, mesh.Point{0.04, 0, 0}
	for name, parts := range map[string][]*mesh.Mesh{
		"a bar through a cube":           {cube, centred(1, 1, 3, mesh.Point{})},
		"a bar flush with a cube":        {cube, centred(2, 1, 2.5, mesh.Point{})},
		"a plate with corners in a ball": {ball, centred(1.9, 1.9, 0.2, mesh.Point{})},
		"a cube cut up in another way":   {cube, meshtest.Mirrored(cube)},
		"a cube nearly where another is": {cube, centred(2, 2, 2, mesh.Point{1e-5, -1e-5, 1e-5})},
		"voids that are more than a cube": {
			cube, meshtest.Flipped(centred(1.9, 1.8, 1.8, left)), meshtest.Flipped(centred(1.9, 1.9, 1.7, right)),
		},
	} {
		volume, area := 0.0, 0.0
		for _, m := range parts {
			volume += volumeOf(m)
			area += examine(t, m).Area
		}
		if name == "voids that are more than a cube" {
			volume += 2 * (1.9*1.8*1.8 + 1.9*1.9*1.7) // they are wound inward
		}
		s := examine(t, meshtest.Join(parts...))
		near(t, name, s.Volume, volume, 1e-12)
		near(t, name, s.Envelope, volume, 1e-12)
		near(t, name, s.Skin, area, 1e-12)
		if !strings.Contains(codes(s), mesh.Crossing) {
			t.Errorf("%s: warnings %q", name, codes(s))
		}
	}
}

// A void of any form in the wall of which no place is thinner than a millimetre is a void
// still, also where it touches the outer skin's box.
func TestThinWallsStillHoldVoids(t *testing.T) {
	ball := meshtest.Icosphere(1, 4)
	for _, wall := range []float64{0.2, 0.01, 0.001} {
		void := meshtest.Scaled(ball, 1-wall, 1-wall, 1-wall)
		s := examine(t, meshtest.Join(void, ball))
		near(t, "wall of a ball", s.Volume, volumeOf(ball)-volumeOf(void), 1e-9)
		same(t, "warnings", codes(s), "winding")
	}
	s := examine(t, meshtest.Join(meshtest.Box(2, 2, 2), moved(meshtest.Box(1, 1, 1), 0, 0.5, 0.5)))
	near(t, "void behind no wall", s.Volume, 7, 1e-12)
}

// Many parts, so many that of each one place alone is looked at: balls in half of the
// boxes of a row are voids there (elementary).
func TestManyNestedParts(t *testing.T) {
	var parts []*mesh.Mesh
	ball := meshtest.Icosphere(0.3, 1)
	for i := range 3000 {
		at := mesh.Point{float64(i % 50), float64(i / 50), 0}
		parts = append(parts, centred(0.9, 0.9, 0.9, at))
		if i%2 == 0 {
			parts = append(parts, moved(ball, at[0], at[1], at[2]))
		}
	}
	s := examine(t, meshtest.Join(parts...))
	near(t, "volume", s.Volume, 3000*0.729-1500*volumeOf(ball), 1e-9)
	near(t, "skin", s.Skin, 3000*6*0.81, 1e-9)
}

// Whatever stands where: no volume is less than nothing, material is no more than the
// envelope, and no part holds what is larger.
func TestLawOfNesting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size, place := rapid.Float64Range(0.1, 2), rapid.Float64Range(-0.5, 0.5)
		var parts []*mesh.Mesh
		for range rapid.IntRange(2, 6).Draw(t, "parts") {
			a, b, c := size.Draw(t, "a"), size.Draw(t, "b"), size.Draw(t, "c")
			at := mesh.Point{place.Draw(t, "x"), place.Draw(t, "y"), place.Draw(t, "z")}
			m := centred(a, b, c, at)
			if rapid.Bool().Draw(t, "round") {
				m = moved(meshtest.Scaled(meshtest.Icosphere(0.5, 1), a, b, c), at[0], at[1], at[2])
			}
			parts = append(parts, m)
		}
		s := surveyed(t, meshtest.Join(parts...))
		if s.Volume < -1e-12 || s.Volume > s.Envelope*(1+1e-12) || s.Capped != s.Volume {
			t.Fatalf("volume %v, capped %v, envelope %v", s.Volume, s.Capped, s.Envelope)
		}
	})
}

// Parts so small that the squares of their areas are lost are taken as outer skins.
func TestPartsNextToNothing(t *testing.T) {
	for _, size := range []float64{1e-50, 1e-70, 1.7e-81, 1.5e-81, 1.3e-81} {
		one := meshtest.Scaled(meshtest.Box(1, 1, 1), size, size, size)
		s := examine(t, meshtest.Join(one, moved(one, 2*size, 0, 0)))
		same(t, "parts", len(s.Components), 2)
		same(t, "warnings", codes(s), "")
	}
}
