package mesh

import (
	"cmp"
	"math"
	"slices"
)

// nesting is which closed parts lie within which.
type nesting struct {
	// depth is how many others hold a part, one around the other; 0 for an outer skin and
	// for a part that is open.
	depth []int
	// crossing counts the parts that lie partly inside another, or that fill the one that
	// holds them more than full: they and what they cross are outer skins or voids as far
	// as can be told, and their volumes and skins overlap.
	crossing int
}

// nested is a place just inside a closed part, from which a ray runs along x.
type nested struct {
	part  uint32
	at    Point
	holds []uint32 // parts that the ray leaves, once for each time
}

// mostCrossings bounds the work of telling which parts lie within which: so many looks
// at a ray for each face, and so many in any case.
const (
	mostCrossings  = 200
	leastCrossings = 1 << 26
)

// Of each closed part so many places are looked at, fewer where there are many parts.
const (
	partPlaces = 8
	allPlaces  = 4096
)

const (
	// inset is how far inside its part a ray begins, as a share of the part's size: parts
	// that touch each other are then apart.
	inset = 1e-5
	// hair is what rounding may add, as a share: to the box of a part that touches the one
	// around it, or to the volume of one that stands there twice.
	hair = 1e-9
)

// nesting finds which closed parts lie within which; they must be wound outward. A part is
// held by another where all of its places are inside, by the parity of the crossings of a
// ray, where its box is, and where it is the smaller one. Where only some of that is so
// the two cross each other, and neither holds the other. It is false where there are too
// many parts to tell, and all depths are then 0.
func (g *grounds) nesting(components []Component) (nesting, bool) {
	none := nesting{depth: make([]int, len(components))}
	closed := closedOf(components)
	if closed < 2 {
		return none, true
	}
	rays := g.rays(components, min(partPlaces, max(1, allPlaces/closed)))
	if len(rays) == 0 { // the squares of the areas of all are lost, as those of nothing are
		return none, true
	}
	if !g.shoot(rays, components) {
		return none, false
	}
	around, crosses := g.around(rays)
	return g.stacked(around, crosses), true
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

// rays returns up to so many places inside each closed part: under the middles of faces
// that are spread evenly over its area, each face once.
func (g *grounds) rays(components []Component, places int) []nested {
	area, taken := make([]float64, len(components)), make([]int, len(components))
	var rays []nested
	for f := range g.mesh.Faces {
		part := g.parts.of(uint32(f)) //nolint:gosec // readers bound the file
		c := &components[part]
		if !c.Closed {
			continue
		}
		t := g.mesh.Triangle(f)
		area[part] += t.AreaVector().length()
		if n := int(float64(places)*area[part]/c.Area + 0.5); n > taken[part] {
			rays = append(rays, nested{part: part, at: t.under(inset * math.Sqrt(c.Area))})
			taken[part] = n
		}
	}
	return rays
}

// under returns the place so far below a triangle's middle.
func (t Triangle) under(far float64) Point {
	n := t.AreaVector()
	middle := t[0].along(1./3, t[1].less(t[0])).along(1./3, t[2].less(t[0]))
	return middle.along(-far/n.length(), n)
}

// shoot notes for each ray which parts it leaves. It is false where that takes too long.
func (g *grounds) shoot(rays []nested, components []Component) bool {
	grid := newRayGrid(rays)
	looks := max(leastCrossings, mostCrossings*len(g.mesh.Faces))
	for f := range g.mesh.Faces {
		part := g.parts.of(uint32(f)) //nolint:gosec // readers bound the file
		if !components[part].Closed {
			continue
		}
		if looks -= grid.cross(part, g.mesh.Triangle(f)); looks < 0 {
			return false
		}
	}
	return true
}

// nobody stands for the part around an outer skin.
const nobody = math.MaxUint32

// around returns for each part the least that holds it, and whether it crosses another.
func (g *grounds) around(rays []nested) (around []uint32, crosses []bool) {
	around, crosses = make([]uint32, len(g.sums)), make([]bool, len(g.sums))
	for part := range around {
		around[part] = nobody
	}
	slices.SortFunc(rays, func(a, b nested) int { return cmp.Compare(a.part, b.part) })
	var inside []uint32
	for lo, hi := 0, 0; lo < len(rays); lo = hi {
		part := rays[lo].part
		inside = inside[:0]
		for hi = lo; hi < len(rays) && rays[hi].part == part; hi++ {
			inside = rays[hi].within(inside)
		}
		slices.Sort(inside)
		around[part] = g.least(part, hi-lo, inside, crosses)
	}
	return around, crosses
}

// least returns the least of the parts that hold another, given the parts that its places
// are inside, once for each place. Each two are judged by the places of the smaller.
func (g *grounds) least(part uint32, places int, inside []uint32, crosses []bool) uint32 {
	least := uint32(nobody)
	for holder, n := range times(inside) {
		switch {
		case g.volume(holder) < g.volume(part)*(1-hair):
		case n < places || !g.fits(part, holder):
			crosses[part], crosses[holder] = true, true
		case least == nobody || g.volume(holder) < g.volume(least):
			least = holder
		}
	}
	return least
}

// within adds the parts that the ray leaves an odd number of times.
func (n *nested) within(parts []uint32) []uint32 {
	slices.Sort(n.holds)
	for part, left := range times(n.holds) {
		if left%2 == 1 {
			parts = append(parts, part)
		}
	}
	return parts
}

// times yields what stands in a sorted list and how many times it does.
func times(sorted []uint32) func(yield func(uint32, int) bool) {
	return func(yield func(uint32, int) bool) {
		for lo, hi := 0, 0; lo < len(sorted); lo = hi {
			for hi = lo + 1; hi < len(sorted) && sorted[hi] == sorted[lo]; {
				hi++
			}
			if !yield(sorted[lo], hi-lo) {
				return
			}
		}
	}
}

// volume returns the volume of a part, m3, whichever way it is wound.
func (g *grounds) volume(part uint32) float64 { return math.Abs(g.sums[part].six) / 6 }

// fits reports whether a part has room in a holder: its box is in the holder's and it is
// smaller.
func (g *grounds) fits(part, holder uint32) bool {
	p, h := &g.sums[part], &g.sums[holder]
	slack := hair * h.Diagonal()
	for i := range p.Low {
		if p.Low[i] < h.Low[i]-slack || p.High[i] > h.High[i]+slack {
			return false
		}
	}
	return g.volume(part) < g.volume(holder)*(1-hair)
}

// stacked gives each part a depth one more than that of the part around it. Parts that
// together are more than what is around them cross each other or it: they are taken as
// outer skins, so that no volume is ever less than nothing.
func (g *grounds) stacked(around []uint32, crosses []bool) nesting {
	order, filled := make([]uint32, len(around)), make([]float64, len(around))
	for part, holder := range around {
		order[part] = uint32(part) //nolint:gosec // fewer than faces
		if holder != nobody {
			filled[holder] += g.volume(order[part])
		}
	}
	slices.SortFunc(order, func(a, b uint32) int { // holders before what they hold
		return cmp.Or(cmp.Compare(g.volume(b), g.volume(a)), cmp.Compare(a, b))
	})
	n := nesting{depth: make([]int, len(around))}
	for _, part := range order {
		holder := around[part]
		switch {
		case holder == nobody:
		case filled[holder] > g.volume(holder):
			crosses[part], crosses[holder] = true, true
		default:
			n.depth[part] = n.depth[holder] + 1
		}
	}
	for _, c := range crosses {
		if c {
			n.crossing++
		}
	}
	return n
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

// meetsRay reports whether a ray from p along x meets a triangle.
func (t *Triangle) meetsRay(p Point) bool {
	return max(t[0][0], t[1][0], t[2][0]) > p[0] && t.turns(p) != 0 && t.at(p) > p[0]
}

// turns returns how often a triangle goes round a line through p along x: 1 where the line
// goes out through it, -1 where it comes in, 0 where it passes by. The sides are each
// judged alike for both of their faces, so that no line slips through a closed surface
// between two of them.
func (t *Triangle) turns(p Point) int {
	return passes(&t[0], &t[1], &p) + passes(&t[1], &t[2], &p) + passes(&t[2], &t[0], &p)
}

// passes returns 1 where, looking against x, a side crosses the line that runs from p along
// z, anticlockwise about p, -1 where clockwise, 0 where it does not.
func passes(a, b, p *Point) int {
	if (a[1] > p[1]) == (b[1] > p[1]) {
		return 0
	}
	way := -1
	if a[1] > b[1] {
		a, b, way = b, a, 1
	}
	if float64((b[1]-a[1])*(p[2]-a[2])) < float64((p[1]-a[1])*(b[2]-a[2])) {
		return way
	}
	return 0
}

// at returns x where the triangle's plane is above p in y and z; its middle where the plane
// runs along x.
func (t *Triangle) at(p Point) float64 {
	n := t.AreaVector()
	if n[0] == 0 {
		return (t[0][0] + t[1][0] + t[2][0]) / 3
	}
	d := t[0].less(p)
	x := p[0] + d.dot(n)/n[0]
	return max(min(t[0][0], t[1][0], t[2][0]), min(x, max(t[0][0], t[1][0], t[2][0])))
}
