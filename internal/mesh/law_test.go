package mesh_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// anyPart draws a closed or an open part about the origin, no wider than 4 m.
func anyPart(t *rapid.T) *mesh.Mesh {
	size := rapid.Float64Range(0.2, 1)
	a, b, c := size.Draw(t, "a"), size.Draw(t, "b"), size.Draw(t, "c")
	var m *mesh.Mesh
	switch rapid.IntRange(0, 3).Draw(t, "form") {
	case 0:
		m = meshtest.Box(a, b, c)
	case 1:
		m = meshtest.Scaled(meshtest.Icosphere(1, 2), a, b, c)
	case 2:
		m = meshtest.Torus(1, a/2, 12, 8)
	case 3:
		m = meshtest.Join(meshtest.Icosphere(1, 2), meshtest.Flipped(meshtest.Icosphere(a/2, 1)))
	}
	if rapid.Bool().Draw(t, "open") {
		m.Faces = m.Faces[1:]
	}
	return m
}

func surveyed(t *rapid.T, m *mesh.Mesh) *mesh.Survey {
	s, err := mesh.Examine(m)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// figures lists what a survey says, with the power of length that each is of.
func figures(s *mesh.Survey) (list []float64, power []float64) {
	list = []float64{
		s.Area, s.Skin, s.SmoothSkin, s.VectorArea, s.Volume, s.Envelope, s.Capped, s.Border, s.Rim,
		float64(s.Edges), float64(s.Branching), float64(s.Enclosed), float64(len(s.Loops)), float64(len(s.Components)),
	}
	return list, []float64{2, 2, 2, 2, 3, 3, 3, 1, 1, 0, 0, 0, 0, 0}
}

// alike checks that a survey says what another does, lengths taken by a factor.
func alike(t *rapid.T, got, want *mesh.Survey, factor float64) {
	t.Helper()
	g, power := figures(got)
	w, _ := figures(want)
	for i := range g {
		scale := math.Pow(factor, power[i])
		if math.Abs(g[i]-scale*w[i]) > 1e-9*scale*(1+math.Abs(w[i])) {
			t.Fatalf("figure %d: got %.15g, want %.15g", i, g[i], scale*w[i])
		}
	}
}

func TestLawOfScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, k := anyPart(t), rapid.Float64Range(0.01, 100).Draw(t, "factor")
		alike(t, surveyed(t, meshtest.Scaled(m, k, k, k)), surveyed(t, m), k)
	})
}

func TestLawOfMotion(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, at := anyPart(t), rapid.Float64Range(-50, 50)
		turn := meshtest.About(mesh.Point{1, at.Draw(t, "u"), at.Draw(t, "v")}, at.Draw(t, "angle"))
		to := mesh.Point{at.Draw(t, "x"), at.Draw(t, "y"), at.Draw(t, "z")}
		alike(t, surveyed(t, meshtest.Moved(m, turn, to)), surveyed(t, m), 1)
	})
}

func TestOrderSaysNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, seed := anyPart(t), rapid.Uint64().Draw(t, "seed")
		alike(t, surveyed(t, meshtest.Shuffled(m, seed)), surveyed(t, m), 1)
		again := mesh.NewBuilder(0)
		for i := range m.Faces {
			again.Triangle(m.Triangle(len(m.Faces) - 1 - i)) // vertices in another order
		}
		alike(t, surveyed(t, again.Mesh()), surveyed(t, m), 1)
	})
}

func TestTurningEveryFaceOverSaysNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := anyPart(t)
		s, over := surveyed(t, m), surveyed(t, meshtest.Flipped(m))
		alike(t, over, s, 1)
		if s.Enclosed == mesh.ByEdges && (codes(s) != "" || codes(over) != mesh.InsideOut) {
			t.Fatalf("warnings: %q and %q", codes(s), codes(over))
		}
	})
}

func TestPartsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := anyPart(t), anyPart(t)
		both := surveyed(t, meshtest.Join(a, moved(b, 10, 0, 0)))
		s, u := surveyed(t, a), surveyed(t, b)
		g, _ := figures(both)
		v, _ := figures(s)
		w, _ := figures(u)
		for i := range g {
			if i == 3 || i == 11 { // a vector's length, and a word
				continue
			}
			if math.Abs(g[i]-v[i]-w[i]) > 1e-9*(1+g[i]) {
				t.Fatalf("figure %d: got %.12g, want %.12g", i, g[i], v[i]+w[i])
			}
		}
	})
}
