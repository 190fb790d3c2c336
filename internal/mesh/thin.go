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

// So many looks at a box or a face are taken for each point, and so many in any case; most
// points take a few hundred.
const (
	mostLooks  = 1000
	leastLooks = 1 << 22
)

// Thickness looks straight inward from points spread evenly over the skin to where
// the part ends: the way through, square to the skin where it starts (the ray form
// of the shape diameter; Shapira, Shamir, Cohen-Or 2008, from memory). Of a part
// with a void that is the wall. The mesh must be wound outward; samples is from 1 to
// MostThicknessSamples; 20,000 tell shares to about a third of a percent.
//
// Only faces that the way leaves the part through end it, so that a rough skin does
// not meet itself at once. Where so many faces lie across each other that all points would
// take too long, fewer are looked at, spread as evenly: Points tells how many.
func Thickness(m *Mesh, samplesWanted int) (Thicknesses, error) {
	if samplesWanted < 1 || samplesWanted > MostThicknessSamples {
		return Thicknesses{}, fmt.Errorf("%d samples of the thickness: allowed are 1 to %d", samplesWanted, MostThicknessSamples)
	}
	points := Samples(m, samplesWanted)
	if len(points) == 0 {
		return Thicknesses{}, ErrEmpty
	}
	tree, out := newTree(m), Thicknesses{}
	step, most := spread(len(points)), max(leastLooks, mostLooks*len(points))
	for i, at := 0, 0; i < len(points) && tree.looks <= most; i, at = i+1, (at+step)%len(points) {
		s := &points[at]
		inward := m.Triangle(s.Face).AreaVector().unit().times(-1)
		if reach := tree.exit(newRay(s.At, inward), s.Face); math.IsInf(reach, 1) {
			out.Endless++
		} else {
			out.Sorted = append(out.Sorted, reach)
		}
	}
	slices.Sort(out.Sorted)
	return out, nil
}

// spread is a step by which all of n places are reached, wherever one stops as evenly as
// can be: near the golden section of n and without a factor in common with it.
func spread(n int) int {
	step := max(1, int(float64(n)*(math.Sqrt(5)-1)/2))
	for common(step, n) > 1 {
		step++
	}
	return step
}

// common is the greatest common divisor (Euclid).
func common(a, b int) int {
	for b > 0 {
		a, b = b, a%b
	}
	return a
}

// tree is boxes within boxes about the faces of a mesh, to find what a ray meets.
type tree struct {
	mesh  *Mesh
	faces []uint32 // ordered so that each node's are together
	nodes []node
	looks int     // taken so far
	slack float64 // m, by which boxes are wider than what they hold, for rounding
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
	t := &tree{mesh: m, faces: make([]uint32, len(m.Faces)), slack: hair * AxisBox(m).Diagonal()}
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
				n.low[k], n.high[k] = min(n.low[k], x-t.slack), max(n.high[k], x+t.slack)
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

// ray is a way from a place, and a frame of which the first axis runs along it.
type ray struct {
	from, inverse Point // inverse: one over the way that it goes along each axis
	frame         frame
}

func newRay(from, along Point) *ray {
	return &ray{from, Point{1 / along[0], 1 / along[1], 1 / along[2]}, turnedAbout(along, 0)}
}

// stop is a node that a ray comes to, and how far along.
type stop struct {
	node int32
	at   float64
}

// exit is how far along a ray the first face is through which it leaves the part,
// skipping the face that it starts from; infinite where there is none.
func (t *tree) exit(r *ray, skip int) float64 {
	nearest := math.Inf(1)
	stops := make([]stop, 1, treeDepth+2)
	for len(stops) > 0 {
		s := stops[len(stops)-1]
		stops = stops[:len(stops)-1]
		n := &t.nodes[s.node]
		switch {
		case s.at > nearest:
		case n.left > 0:
			stops = t.enter(stops, r, n.left)
		default:
			t.looks += int(n.last - n.first)
			for _, f := range t.faces[n.first:n.last] {
				if int(f) != skip {
					nearest = min(nearest, r.leaves(t.mesh.Triangle(int(f))))
				}
			}
		}
	}
	return nearest
}

// enter adds the two halves of a node that a ray comes to, the nearer one last.
func (t *tree) enter(stops []stop, r *ray, left int32) []stop {
	t.looks += 2
	near, far := stop{left, t.nodes[left].reached(r)}, stop{left + 1, t.nodes[left+1].reached(r)}
	if near.at > far.at {
		near, far = far, near
	}
	for _, s := range [2]stop{far, near} {
		if !math.IsInf(s.at, 1) {
			stops = append(stops, s)
		}
	}
	return stops
}

// reached is how far along a ray it comes to a node's box, infinite where it does not (the
// slab method; Kay and Kajiya 1986, from memory).
func (n *node) reached(r *ray) float64 {
	near, far := 0.0, math.Inf(1)
	for k := range r.from {
		a, b := (n.low[k]-r.from[k])*r.inverse[k], (n.high[k]-r.from[k])*r.inverse[k]
		if a != a || b != b { // in the plane of a side: inside it
			continue
		}
		if a > b {
			a, b = b, a
		}
		if a > near {
			near = a
		}
		if b < far {
			far = b
		}
	}
	if near > far*(1+1e-12) {
		return math.Inf(1)
	}
	return near
}

// leaves is how far along a ray it passes out through a triangle, infinite where it does
// not. The triangle is looked at along the ray: a corner is then in the same place, and a
// side judged alike, for all their faces, so that no ray slips out between two of them.
func (r *ray) leaves(t Triangle) float64 {
	for i, p := range t {
		t[i] = r.frame.into(p.less(r.from))
	}
	reach := math.Inf(1)
	if t.turns(Point{}) > 0 {
		reach = t.at(Point{})
	}
	if reach <= 0 {
		return math.Inf(1)
	}
	return reach
}
