package mesh

import (
	"fmt"
	"math"
	"slices"
)

// Thicknesses says how thick a part is below each of many points of its skin, each
// of which stands for the same area.
type Thicknesses struct {
	// Sorted are the thicknesses that were found, m, thinnest first.
	Sorted []float64
	// Endless counts the points below which nothing was met, as in an open mesh:
	// they count as thick.
	Endless int
}

// Points is the number of points looked at.
func (t Thicknesses) Points() int { return len(t.Sorted) + t.Endless }

// ShareBelow is the share of the skin, 0 to 1, that is thinner than a limit, m. For a
// part made s times as large give the limit divided by s.
func (t Thicknesses) ShareBelow(limit float64) float64 {
	n, _ := slices.BinarySearch(t.Sorted, limit)
	return float64(n) / float64(max(1, t.Points()))
}

// MostThicknessSamples bounds the work of Thickness.
const MostThicknessSamples = 1_000_000

// Thickness looks straight inward from points spread evenly over the skin to where
// the part ends: the way through, square to the skin where it starts (the ray form
// of the shape diameter; Shapira, Shamir, Cohen-Or 2008, from memory). Of a part
// with a void that is the wall. The mesh must be wound outward; samples is from 1 to
// MostThicknessSamples; 20,000 tell shares to about a third of a percent.
//
// Only faces that the way leaves the part through end it, so that a rough skin does
// not meet itself at once.
func Thickness(m *Mesh, samplesWanted int) (Thicknesses, error) {
	if samplesWanted < 1 || samplesWanted > MostThicknessSamples {
		return Thicknesses{}, fmt.Errorf("%d samples of the thickness: allowed are 1 to %d", samplesWanted, MostThicknessSamples)
	}
	points := Samples(m, samplesWanted)
	if len(points) == 0 {
		return Thicknesses{}, ErrEmpty
	}
	tree, out := newTree(m), Thicknesses{}
	for _, s := range points {
		inward := m.Triangle(s.Face).AreaVector().unit().times(-1)
		if reach := tree.exit(Point(s.At), inward, s.Face); math.IsInf(reach, 1) {
			out.Endless++
		} else {
			out.Sorted = append(out.Sorted, reach)
		}
	}
	slices.Sort(out.Sorted)
	return out, nil
}

// tree is boxes within boxes about the faces of a mesh, to find what a ray meets.
type tree struct {
	mesh  *Mesh
	faces []uint32 // ordered so that each node's are together
	nodes []node
}

// node holds faces[first:last], or where left is above 0 the nodes left and left+1.
type node struct {
	low, high   Point
	first, last int32
	left        int32
}

const (
	leafFaces  = 4
	treeDepth  = 60
	deepMiddle = 30 // from here on halves have equal numbers, so that depth stays bounded
)

func newTree(m *Mesh) *tree {
	t := &tree{mesh: m, faces: make([]uint32, len(m.Faces))}
	for i := range t.faces {
		t.faces[i] = uint32(i) //nolint:gosec // faces are indexed by 32 bits
	}
	t.nodes = append(make([]node, 0, len(m.Faces)), node{last: int32(len(m.Faces))}) //nolint:gosec // as above
	t.split(0, 0)
	return t
}

// split bounds a node and cuts it in two, and its parts in turn.
func (t *tree) split(at int32, depth int) {
	n := &t.nodes[at]
	t.bound(n)
	if n.last-n.first <= leafFaces || depth >= treeDepth {
		return
	}
	middle := t.part(n, depth)
	left := int32(len(t.nodes)) //nolint:gosec // fewer than twice the faces
	first, last := n.first, n.last
	n.left = left
	t.nodes = append(t.nodes, node{first: first, last: middle}, node{first: middle, last: last})
	t.split(left, depth+1)
	t.split(left+1, depth+1)
}

func (t *tree) bound(n *node) {
	n.low, n.high = Point{math.Inf(1), math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	for _, f := range t.faces[n.first:n.last] {
		for _, v := range t.mesh.Faces[f] {
			for k, x := range t.mesh.Vertices[v] {
				n.low[k], n.high[k] = min(n.low[k], x), max(n.high[k], x)
			}
		}
	}
}

// part puts the faces below the middle of the node's longest side first and returns
// where the others begin.
func (t *tree) part(n *node, depth int) int32 {
	size, k := n.high.plus(n.low.times(-1)), 0
	for i := range size {
		if size[i] > size[k] {
			k = i
		}
	}
	limit, next := 1.5*(n.low[k]+n.high[k]), n.first
	for i := n.first; i < n.last; i++ {
		f := t.mesh.Faces[t.faces[i]]
		if t.mesh.Vertices[f[0]][k]+t.mesh.Vertices[f[1]][k]+t.mesh.Vertices[f[2]][k] < limit {
			t.faces[i], t.faces[next] = t.faces[next], t.faces[i]
			next++
		}
	}
	if next == n.first || next == n.last || depth >= deepMiddle {
		return (n.first + n.last) / 2
	}
	return next
}

// exit is how far from a point the first face is through which a ray leaves the
// part, skipping the face that the point is on; infinite where there is none.
func (t *tree) exit(from, along Point, skip int) float64 {
	nearest := math.Inf(1)
	inverse := Point{1 / along[0], 1 / along[1], 1 / along[2]}
	stack := make([]int32, 1, treeDepth+2)
	for len(stack) > 0 {
		n := &t.nodes[stack[len(stack)-1]]
		stack = stack[:len(stack)-1]
		switch {
		case !n.crossed(from, inverse, nearest):
		case n.left > 0:
			stack = append(stack, n.left, n.left+1)
		default:
			for _, f := range t.faces[n.first:n.last] {
				if int(f) != skip {
					nearest = min(nearest, leaves(t.mesh.Triangle(int(f)), from, along))
				}
			}
		}
	}
	return nearest
}

// crossed tells whether a ray meets a node's box nearer than a limit (the slab
// method; Kay and Kajiya 1986, from memory).
func (n *node) crossed(from, inverse Point, limit float64) bool {
	near, far := 0.0, limit
	for k := range from {
		a, b := (n.low[k]-from[k])*inverse[k], (n.high[k]-from[k])*inverse[k]
		if a != a || b != b { // in the plane of a side: inside it
			continue
		}
		near, far = max(near, min(a, b)), min(far, max(a, b))
	}
	return near <= far*(1+1e-12)
}

// leaves is how far along a ray it passes out through a triangle, infinite where it
// does not (Moller and Trumbore 1997, from memory). A hair beyond the triangle's
// edges still counts, so that no ray slips out between two faces.
func leaves(t Triangle, start, along Point) float64 {
	const hair = 1e-9
	e, f := t[1].less(t[0]), t[2].less(t[0])
	p := along.cross(f)
	det := e.dot(p)
	if det >= 0 { // seen from outside, or edge on
		return math.Inf(1)
	}
	s := start.less(t[0])
	u, q := s.dot(p)/det, s.cross(e)
	v := along.dot(q) / det
	reach := f.dot(q) / det
	if u < -hair || v < -hair || u+v > 1+hair || reach <= 0 {
		return math.Inf(1)
	}
	return reach
}
