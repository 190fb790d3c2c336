package release

import (
	"slices"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// caster is what casts shadows: the faces, in the frame, merged where they are small.
type caster struct {
	vertices [][3]float32
	faces    [][3]uint32
}

// unmerged is how many faces cast shadows as they are; above it vertices that stand
// within half a pixel are merged.
const unmerged = 200_000

func casterOf(m *mesh.Mesh, f frame, pixels int) caster {
	c := caster{vertices: make([][3]float32, len(m.Vertices)), faces: m.Faces}
	for i, p := range m.Vertices {
		c.vertices[i] = f.to(p)
	}
	if len(m.Faces) > unmerged {
		c = c.merged(2 * pixels)
	}
	return c
}

// merged is the caster with the vertices of every cell of a grid, so many along the
// largest dimension, replaced by their mean, and without the faces that vanish. The
// cells are met in order of their place, by sorting: no table of cells is held.
func (c caster) merged(cells int) caster {
	keys := make([]uint64, len(c.vertices))
	for i, p := range c.vertices {
		keys[i] = cell(p, cells)<<31 | uint64(i) //nolint:gosec // below 2^28
	}
	slices.Sort(keys)
	to := make([]uint32, len(keys))
	var means [][3]float32
	for i := 0; i < len(keys); {
		end := i + 1
		for end < len(keys) && keys[end]>>31 == keys[i]>>31 {
			end++
		}
		for _, k := range keys[i:end] {
			to[k&(1<<31-1)] = uint32(len(means)) //nolint:gosec // below 2^28
		}
		means = append(means, c.mean(keys[i:end]))
		i = end
	}
	return caster{vertices: means, faces: renamed(c.faces, to)}
}

// cell is the number of the cell that a place is in, below 2^33: at most 2,048 cells
// along each axis.
func cell(p [3]float32, cells int) uint64 {
	n := uint64(0)
	for _, x := range p {
		at := int((x + 1) / 2 * float32(cells))
		n = n<<11 | uint64(max(0, min(cells-1, at))) //nolint:gosec // not negative
	}
	return n
}

func (c caster) mean(keys []uint64) [3]float32 {
	var sum Direction
	for _, key := range keys {
		for k, x := range c.vertices[key&(1<<31-1)] {
			sum[k] += float64(x) / float64(len(keys))
		}
	}
	return sum.single()
}

// renamed is the faces between the vertices that theirs became.
func renamed(faces [][3]uint32, to []uint32) [][3]uint32 {
	var left [][3]uint32
	for _, f := range faces {
		g := [3]uint32{to[f[0]], to[f[1]], to[f[2]]}
		if g[0] != g[1] && g[1] != g[2] && g[2] != g[0] {
			left = append(left, g)
		}
	}
	return left
}
