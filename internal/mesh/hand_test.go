package mesh_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// HAND-1: values.json pairs, by how the files were made.
func TestCompareTellsHands(t *testing.T) {
	pairs := loadValues(t).Pairs
	assert.Len(t, pairs, 5)
	for _, pair := range pairs {
		a, b := loadShape(t, pair.A), loadShape(t, pair.B)
		began := time.Now()
		relation, e := mesh.Compare(a, b)
		t.Logf("%s %s: %v in %v; measures %.4f, copy %.2f and %.2f floors, mirror %.2f and %.2f", pair.A, pair.B, relation, time.Since(began),
			e.Measures, e.Copy.RMS/e.Floor, e.Copy.Worst/e.Floor, e.Mirror.RMS/e.Floor, e.Mirror.Worst/e.Floor)
		want := map[string]mesh.Relation{"copy": mesh.Copy, "mirror": mesh.Mirror, "different": mesh.Different, "self_mirror": mesh.Both}
		assert.Equal(t, want[pair.Relation], relation)
	}
}

// HAND-2: the horn has a hand; the others are symmetrical by construction.
func TestSelfMirror(t *testing.T) {
	line := []mesh.Point{{0, 0, 0}, {0, 0, 1}, {0.5, 0, 2}, {1, 1, 2.5}, {1, 2, 4}}
	hook := meshtest.Tube(line, []float64{0.4, 0.3, 0.3, 0.2, 0.1}, 16)
	cone := []geometry.ProfilePoint{{Radius: 1, Height: 0}, {Radius: 0, Height: 2}}
	for _, row := range []struct {
		name string
		m    *mesh.Mesh
		want bool
	}{
		{"p02", loadShape(t, "p02_fluted_column.stl"), true},
		{"p06", loadShape(t, "p06_undercut_hook.stl"), true},
		{"p08a", loadShape(t, "p08a_horn_left.stl"), false},
		{"bent tube", hook, false},
		{"ball", meshtest.Icosphere(1, 3), true},
		{"cube", meshtest.Moved(meshtest.Box(1, 1, 1), meshtest.About(mesh.Point{1, 2, 3}, 1), mesh.Point{4, 5, 6}), true},
		{"box", meshtest.Box(1, 2, 3), true},
		{"square prism", meshtest.Box(1, 1, 3), true},
		{"cone", meshtest.Revolve(meshtest.Capped(cone), 24), true},
		{"ring", meshtest.Torus(3, 1, 40, 20), true},
		{"nothing", &mesh.Mesh{}, false},
	} {
		began := time.Now()
		got, e := mesh.SelfMirror(row.m)
		t.Logf("%s: %.2f and %.2f floors in %v", row.name, e.Mirror.RMS/e.Floor, e.Mirror.Worst/e.Floor, time.Since(began))
		assert.Equal(t, row.want, got, row.name)
	}
}

// HAND-3: sizes count, and so does a boss that one part lacks.
func TestCompareTellsDifferentParts(t *testing.T) {
	horn := loadShape(t, "p08a_horn_left.stl")
	relation, e := mesh.Compare(horn, meshtest.Scaled(horn, 1, 1, 1.02))
	assert.Equal(t, mesh.Different, relation)
	assert.Greater(t, e.Measures, 0.03)
	relation, _ = mesh.Compare(horn, meshtest.Scaled(horn, 1.05, 1.05, 1.05))
	assert.Equal(t, mesh.Different, relation)
	ball := meshtest.Icosphere(1, 4)
	boss := meshtest.Join(ball, meshtest.Moved(meshtest.Box(0.1, 0.1, 0.4), meshtest.About(mesh.Point{0, 0, 1}, 0), mesh.Point{0, 0, 0.95}))
	relation, _ = mesh.Compare(ball, boss)
	assert.Equal(t, mesh.Different, relation)
	for _, like := range []*mesh.Mesh{ball, {}} {
		relation, e = mesh.Compare(like, &mesh.Mesh{})
		assert.Equal(t, mesh.Different, relation)
		assert.Equal(t, mesh.Evidence{Measures: 1}, e)
	}
}

// HAND-4: a scan of the same part is the same part.
func TestCompareBearsNoise(t *testing.T) {
	horn := loadShape(t, "p08a_horn_left.stl")
	scan := meshtest.Moved(meshtest.Shuffled(meshtest.Noisy(horn, 0.1, 3), 4), meshtest.About(mesh.Point{1, 1, 0}, 2), mesh.Point{9, 9, 9})
	relation, _ := mesh.Compare(horn, scan)
	assert.Equal(t, mesh.Copy, relation)
}

func TestHandLaws(t *testing.T) {
	horn := loadShape(t, "p08a_horn_left.stl")
	left := 8 // each takes a tenth of a second
	rapid.Check(t, func(t *rapid.T) {
		turn, shift := anyTurn(t), anyShift(t)
		if left--; left < 0 {
			return
		}
		relation, _ := mesh.Compare(horn, meshtest.Moved(horn, turn, shift))
		assert.Equal(t, mesh.Copy, relation)
		relation, _ = mesh.Compare(meshtest.Moved(meshtest.Mirrored(horn), turn, shift), horn)
		assert.Equal(t, mesh.Mirror, relation)
	})
}

func ExampleCompare() {
	box := meshtest.Box(1, 2, 3)
	relation, _ := mesh.Compare(box, meshtest.Moved(box, meshtest.About(mesh.Point{1, 1, 1}, 1), mesh.Point{5, 0, 0}))
	fmt.Println(relation)
	// Output: copy and mirror
}

func ExampleSelfMirror() {
	same, _ := mesh.SelfMirror(meshtest.Torus(3, 1, 40, 20))
	fmt.Println(same)
	// Output: true
}
