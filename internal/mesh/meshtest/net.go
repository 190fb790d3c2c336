package meshtest

import (
	"cmp"
	"math"
	"slices"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// net finds the skin of a shape: in each cell that the skin crosses lies one vertex,
// in the middle of the crossings, and each edge of the grid that it crosses gives a
// four-sided face between the cells around that edge.
type net struct {
	low   vec
	cell  float64
	size  [3]int // cells
	shape func(vec) float64

	value []float64 // at the grid's corners
	place []vec     // of each cell's vertex
	has   []bool
}

func (n *net) at(i, j, k int) vec {
	return vec{n.low[0] + float64(i)*n.cell, n.low[1] + float64(j)*n.cell, n.low[2] + float64(k)*n.cell}
}

func (n *net) corner(i, j, k int) int { return (k*(n.size[1]+1)+j)*(n.size[0]+1) + i }

func (n *net) cellAt(i, j, k int) int { return (k*n.size[1]+j)*n.size[0] + i }

func (n *net) skin() *mesh.Mesh {
	n.sample()
	n.vertices()
	quads := n.quads()
	slices.SortStableFunc(quads, func(a, b quad) int { return cmp.Compare(a.zone, b.zone) })
	b := mesh.NewBuilder(2 * len(quads))
	for _, q := range quads {
		b.Zone(q.zone)
		var v [4]uint32
		for i, c := range q.cells {
			v[i] = b.Vertex(metres(n.place[c]))
		}
		b.Face(v[0], v[1], v[2])
		b.Face(v[0], v[2], v[3])
	}
	return b.Mesh()
}

// metres rounds to a float32 of metres, as a file would hold it.
func metres(p vec) mesh.Point {
	return mesh.Point{float64(float32(p[0] / 1000)), float64(float32(p[1] / 1000)), float64(float32(p[2] / 1000))}
}

func (n *net) sample() {
	n.value = make([]float64, (n.size[0]+1)*(n.size[1]+1)*(n.size[2]+1))
	for k := range n.size[2] + 1 {
		for j := range n.size[1] + 1 {
			for i := range n.size[0] + 1 {
				n.value[n.corner(i, j, k)] = n.shape(n.at(i, j, k))
			}
		}
	}
}

func (n *net) vertices() {
	cells := n.size[0] * n.size[1] * n.size[2]
	n.place, n.has = make([]vec, cells), make([]bool, cells)
	for k := range n.size[2] {
		for j := range n.size[1] {
			for i := range n.size[0] {
				n.vertex(i, j, k)
			}
		}
	}
}

// vertex places the vertex of one cell, and roughens it.
func (n *net) vertex(i, j, k int) {
	var sum vec
	count := 0.0
	for a := range 8 {
		for axis := range 3 {
			if a>>axis&1 != 0 {
				continue
			}
			from := [3]int{i + a&1, j + a>>1&1, k + a>>2&1}
			to := from
			to[axis]++
			v, w := n.value[n.corner(from[0], from[1], from[2])], n.value[n.corner(to[0], to[1], to[2])]
			if (v < 0) == (w < 0) {
				continue
			}
			p := n.at(from[0], from[1], from[2])
			p[axis] += n.cell * (v / (v - w))
			sum, count = vec{sum[0] + p[0], sum[1] + p[1], sum[2] + p[2]}, count+1
		}
	}
	if count == 0 {
		return
	}
	const rough = 0.05 // mm
	c := n.cellAt(i, j, k)
	n.has[c] = true
	for axis := range 3 {
		n.place[c][axis] = sum[axis]/count + rough*uneven(uint64(3*c+axis))
	}
}

// uneven is a made-up number between -1.7 and 1.7 that looks random and is always
// the same for the same seed: the spread of one, as a normal one would have.
func uneven(seed uint64) float64 {
	seed = (seed + 0x9e3779b97f4a7c15) * 0xbf58476d1ce4e5b9
	seed ^= seed >> 31
	seed *= 0x94d049bb133111eb
	seed ^= seed >> 29
	return math.Sqrt(3) * (2*float64(seed>>11)/(1<<53) - 1)
}

type quad struct {
	zone  string
	cells [4]int
}

func (n *net) quads() []quad {
	var quads []quad
	for k := 1; k < n.size[2]; k++ {
		for j := 1; j < n.size[1]; j++ {
			for i := 1; i < n.size[0]; i++ {
				for axis := range 3 {
					if q, ok := n.quad([3]int{i, j, k}, axis); ok {
						quads = append(quads, q)
					}
				}
			}
		}
	}
	return quads
}

// quad is the face around the grid's edge that leaves a corner along an axis.
func (n *net) quad(at [3]int, axis int) (quad, bool) {
	to := at
	to[axis]++
	v, w := n.value[n.corner(at[0], at[1], at[2])], n.value[n.corner(to[0], to[1], to[2])]
	if (v < 0) == (w < 0) {
		return quad{}, false
	}
	a, b := (axis+1)%3, (axis+2)%3
	var cells [4]int
	for i, step := range [4][2]int{{-1, -1}, {0, -1}, {0, 0}, {-1, 0}} {
		c := at
		c[a] += step[0]
		c[b] += step[1]
		cells[i] = n.cellAt(c[0], c[1], c[2])
	}
	if w < 0 { // outside comes first: the face looks back along the axis
		cells[1], cells[3] = cells[3], cells[1]
	}
	p, q := n.place[cells[0]], n.place[cells[2]]
	return quad{zoneAt(vec{(p[0] + q[0]) / 2, (p[1] + q[1]) / 2, (p[2] + q[2]) / 2}), cells}, true
}
