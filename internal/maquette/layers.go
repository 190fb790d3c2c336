package maquette

import (
	"sync"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// cuts remembers the layers that a model was cut into: a piece is measured dozens of
// times while its routes are compared, by the same layers each time, and cutting looks
// at every face.
type cuts struct {
	mu sync.Mutex
	by map[float64][]mesh.Slab // thickness at the model's size, m
}

// mostCuts is how many thicknesses are remembered of one model.
const mostCuts = 16

func (c *cuts) slabs(skin *mesh.Mesh, thickness float64) ([]mesh.Slab, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if slabs, ok := c.by[thickness]; ok {
		return slabs, nil
	}
	slabs, err := mesh.Slabs(skin, thickness)
	if err != nil {
		return nil, err
	}
	if c.by == nil || len(c.by) >= mostCuts {
		c.by = map[float64][]mesh.Slab{}
	}
	c.by[thickness] = slabs
	return slabs, nil
}
