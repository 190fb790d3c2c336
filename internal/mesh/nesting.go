package mesh

import (
	"cmp"
	"math"
	"slices"
)

// nested is a place just inside a closed component, from which a ray runs along x.
type nested struct {
	part  uint32
	at    Point
	holds []uint32 // components that the ray leaves, once for each time
}

// mostCrossings bounds the work of telling which parts lie within which: so many looks
// at a ray for each face, and so many in any case.
const (
	mostCrossings  = 200
	leastCrossings = 1 << 26
)

// inset is how far inside its component a ray begins, as a share of the size of the face
// below it: parts that touch each other are then apart.
const inset = 1e-5

// depths returns for each component how many other closed components hold it, by the
// parity of the crossings of a ray with each; closed components must be wound outward.
// It is false where there are too many parts to tell, and all depths are then 0.
func (t *topology) depths(components []Component) ([]int, bool) {
	depth := make([]int, len(components))
	if closedOf(components) < 2 {
		return depth, true
	}
	rays := t.rays(components)
	g := newRayGrid(rays)
	looks := max(leastCrossings, mostCrossings*len(t.mesh.Faces))
	for f := range t.mesh.Faces {
		part := t.parts.of(uint32(f)) //nolint:gosec // readers bound the file
		if !components[part].Closed {
			continue
		}
		if looks -= g.cross(part, t.mesh.Triangle(f)); looks < 0 {
			return make([]int, len(components)), false
		}
	}
	for i := range rays {
		depth[rays[i].part] = rays[i].depth()
	}
	return depth, true
}

func closedOf(components []Component) int {
	n := 0
	for _, c := range components {
		if c.Closed {
			n++
		}
	}
	return n
}

// rays returns a place inside each closed component: under the middle of its largest face.
func (t *topology) rays(components []Component) []nested {
	largest := make([]float64, len(components))
	face := make([]int, len(components))
	for f := range t.mesh.Faces {
		part := t.parts.of(uint32(f)) //nolint:gosec // readers bound the file
		if a := t.mesh.Triangle(f).AreaVector().length(); a > largest[part] {
			largest[part], face[part] = a, f
		}
	}
	var rays []nested
	for part, c := range components {
		if c.Closed {
			tri := t.mesh.Triangle(face[part])
			rays = append(rays, nested{part: uint32(part), at: tri.under(inset)}) //nolint:gosec // fewer than faces
		}
	}
	return rays
}

// under returns the place below a triangle's middle, by a share of the root of its area.
func (t Triangle) under(share float64) Point {
	n := t.AreaVector()
	middle := t[0].along(1./3, t[1].less(t[0])).along(1./3, t[2].less(t[0]))
	return middle.along(-share/math.Sqrt(n.length()), n)
}

// depth counts the components that the ray leaves an odd number of times.
func (n *nested) depth() int {
	slices.Sort(n.holds)
	depth := 0
	for lo, hi := 0, 0; lo < len(n.holds); lo = hi {
		for hi = lo + 1; hi < len(n.holds) && n.holds[hi] == n.holds[lo]; {
			hi++
		}
		depth += (hi - lo) % 2
	}
	return depth
}

// rayGrid holds the rays by their places across x, in about as many squares as rays.
type rayGrid struct {
	rays      []nested
	low, high [2]float64 // of the places of the rays
	square    [2]float64 // sides
	n         int        // squares along each side
	first     []int      // by square: where its rays begin
}

func newRayGrid(rays []nested) *rayGrid {
	g := &rayGrid{rays: rays, n: min(1+int(math.Sqrt(float64(len(rays)))), 1024)}
	for axis := range 2 {
		g.low[axis], g.high[axis] = rays[0].at[axis+1], rays[0].at[axis+1]
		for i := range rays {
			g.low[axis] = min(g.low[axis], rays[i].at[axis+1])
			g.high[axis] = max(g.high[axis], rays[i].at[axis+1])
		}
		g.square[axis] = (g.high[axis] - g.low[axis]) / float64(g.n)
	}
	slices.SortFunc(rays, func(a, b nested) int {
		return cmp.Or(cmp.Compare(g.at(a.at), g.at(b.at)), cmp.Compare(a.part, b.part))
	})
	g.first = make([]int, g.n*g.n+1)
	for i := range rays {
		g.first[g.at(rays[i].at)+1]++
	}
	for i := range g.n * g.n {
		g.first[i+1] += g.first[i]
	}
	return g
}

// at returns the square of a place.
func (g *rayGrid) at(p Point) int { return g.along(0, p[1])*g.n + g.along(1, p[2]) }

// along returns the row of squares that a coordinate falls into, the nearest if none.
func (g *rayGrid) along(axis int, x float64) int {
	if g.square[axis] == 0 {
		return 0
	}
	return int(max(0, min(float64(g.n-1), (x-g.low[axis])/g.square[axis])))
}

// cross notes the rays of other components that meet a triangle, and returns how much
// work that was.
func (g *rayGrid) cross(part uint32, t Triangle) int {
	var low, high [2]float64
	for a := range 2 {
		low[a] = min(t[0][a+1], t[1][a+1], t[2][a+1])
		high[a] = max(t[0][a+1], t[1][a+1], t[2][a+1])
		if high[a] < g.low[a] || low[a] > g.high[a] {
			return 1
		}
	}
	from, to := g.along(1, low[1]), g.along(1, high[1])
	looks := 1
	for row := g.along(0, low[0]); row <= g.along(0, high[0]); row++ {
		rays := g.rays[g.first[row*g.n+from]:g.first[row*g.n+to+1]]
		looks += 1 + len(rays)
		for i := range rays {
			if r := &rays[i]; r.part != part && t.meetsRay(r.at) {
				r.holds = append(r.holds, part)
				looks += 4 // they take memory too
			}
		}
	}
	return looks
}

// meetsRay reports whether a ray from p along x meets a triangle. The three sides are
// each judged alike for both of their faces, so that a closed surface is never slipped
// through between two of them.
func (t Triangle) meetsRay(p Point) bool {
	if max(t[0][0], t[1][0], t[2][0]) <= p[0] {
		return false
	}
	one, two, three := passes(t[0], t[1], p), passes(t[1], t[2], p), passes(t[2], t[0], p)
	return (one != two) != three && t.at(p) > p[0]
}

// passes reports whether, looking along x, a line from p along z passes a side.
func passes(a, b, p Point) bool {
	if (a[1] > p[1]) == (b[1] > p[1]) {
		return false
	}
	if a[1] > b[1] {
		a, b = b, a
	}
	u, v := float64((b[1]-a[1])*(p[2]-a[2])), float64((p[1]-a[1])*(b[2]-a[2]))
	return u < v
}

// at returns x where the triangle's plane is above p in y and z; its middle where the plane
// runs along x.
func (t Triangle) at(p Point) float64 {
	n := t.AreaVector()
	if n[0] == 0 {
		return (t[0][0] + t[1][0] + t[2][0]) / 3
	}
	d := t[0].less(p)
	x := p[0] + d.dot(n)/n[0]
	return max(min(t[0][0], t[1][0], t[2][0]), min(x, max(t[0][0], t[1][0], t[2][0])))
}
