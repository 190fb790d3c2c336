package maquette_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// Layers that are asked for again, by several callers at once, are those that were cut at
// first, whatever was asked for between.
func TestLayersAskedForAgain(t *testing.T) {
	q := studied(t, meshtest.Box(0.2, 0.1, 0.3))
	var callers sync.WaitGroup
	for range 4 {
		callers.Go(func() {
			for n := range 40 { // more thicknesses than are remembered
				thick := 0.3 / float64(n+1)
				s, err := q.At(maquette.Ask{Scale: 1, Layer: thick * (1 + 1e-9)})
				if err != nil || len(s.Layers) != n+1 || math.Abs(s.LayersTotal-0.006) > 1e-9 {
					t.Errorf("%d layers of %g m, %v m3: %v", len(s.Layers), thick, s.LayersTotal, err)
				}
			}
		})
	}
	callers.Wait()
}

// A layer that is too thin is refused in the unit that callers write it in.
func TestALayerTooThin(t *testing.T) {
	_, err := studied(t, meshtest.Box(0.2, 0.1, 0.3)).At(maquette.Ask{Scale: 10, Layer: 0.001})
	if err == nil || !strings.Contains(err.Error(), "got layers of 1 mm, allowed: at least 3 mm") {
		t.Errorf("got %v", err)
	}
}

// grainy is a ball of 0.2 m in two zones, with noise of a seventh of its edges.
func grainy() *mesh.Mesh {
	m := meshtest.Icosphere(0.2, 4)
	noise := rand.New(rand.NewPCG(1, 2))
	for i, p := range m.Vertices {
		grow := 1 + 0.011*noise.NormFloat64()
		m.Vertices[i] = mesh.Point{p[0] * grow, p[1] * grow, p[2] * grow}
	}
	slices.SortStableFunc(m.Faces, func(a, b [3]uint32) int {
		return int(math.Copysign(1, m.Vertices[a[0]][2])) - int(math.Copysign(1, m.Vertices[b[0]][2]))
	})
	half := slices.IndexFunc(m.Faces, func(f [3]uint32) bool { return m.Vertices[f[0]][2] > 0 })
	m.Runs = []mesh.Run{{First: 0, Zone: "below"}, {First: half, Zone: "above"}}
	return m
}

// Where a scan's noise is taken off the surface, it is taken off the zones too: together
// they are the surface, and no more.
func TestZonesOfAScanAreItsSurface(t *testing.T) {
	q := studied(t, grainy())
	s := at(t, q, 2)
	if !s.Smoothed {
		t.Fatal("no noise was found")
	}
	near(t, "zones of the sheet", s.Zones[0].Area+s.Zones[1].Area, s.Surface)
	below, _ := q.Zone("below")
	above, _ := q.Zone("above")
	near(t, "zones of the model", below.Area+above.Area, q.Surface())
}
