package mesh

import (
	"cmp"
	"math"
	"slices"
)

// Box is a block that holds a mesh: the foam to start from, or the crate. A mesh
// without faces has the zero box.
type Box struct {
	// Width, Depth and Height are the block's edges, m.
	Width, Depth, Height float64
	// Axes are the unit directions of the width, the depth and the height,
	// right-handed.
	Axes [3]Point
	// Centre is where the block's middle is.
	Centre Point
}

// Volume is that of the block, m3.
func (b Box) Volume() float64 { return b.Width * b.Depth * b.Height }

// Diagonal is the block's longest reach, m.
func (b Box) Diagonal() float64 { return Point{b.Width, b.Depth, b.Height}.length() }

// cost is what the searches make small, m3. A flat thing has no volume in any of
// many boxes, so a trace of the box's faces decides between them.
func (b Box) cost() float64 {
	faces := float64(b.Width*b.Depth) + float64(b.Depth*b.Height) + float64(b.Height*b.Width)
	return float64(b.Volume()) + float64(1e-9*faces*b.Diagonal())
}

// AxisBox is the block along the file's own axes: width along x, depth along y,
// height along z.
func AxisBox(m *Mesh) Box {
	return boxAlong(corners(m), frame{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}})
}

// UprightBox is the block of least plan that stands upright: turned about the
// vertical only, height along z, width the longer of the two others. The least
// rectangle about a convex outline has a side along one of the outline's (Freeman
// and Shapira 1975, from memory), so the answer is exact.
func UprightBox(m *Mesh) Box {
	points := corners(m)
	axis := boxAlong(points, frame{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}})
	return lesser(axis, boxAlong(points, flush(points, Point{0, 0, 1}))).widthFirst()
}

// widthFirst has the width no less than the depth, by a quarter turn about the height.
func (b Box) widthFirst() Box {
	if b.Depth > b.Width {
		b.Width, b.Depth = b.Depth, b.Width
		b.Axes[0], b.Axes[1] = b.Axes[1], b.Axes[0].times(-1)
	}
	return b
}

// OrientedBox is the block of least volume that was found, at any tilt: width the
// longest edge, height the shortest. It is a search (directions spread over the
// sphere, the mesh's main faces, then finer steps from the best) and no proof;
// it is never more than UprightBox.
//
// Large meshes are searched on their outermost points alone, which may miss the
// best tilt by a trace, but the block returned is measured on all points.
func OrientedBox(m *Mesh) Box {
	points := corners(m)
	best := UprightBox(m)
	if len(points) == 0 {
		return best
	}
	outer := outermost(points, hemisphere(searchPoints))
	found := tilts(outer, append(mainFaces(m), hemisphere(searchTilts)...))
	for range searchRounds {
		found = refined(outer, found, searchFinished, 0.02, 1e-5)
		missing := false
		for _, t := range found {
			box := boxAlong(points, t.frame)
			missing = missing || box.cost() > t.cost*(1+1e-6)
			best, outer = lesser(best, box), withEnds(outer, points, t.frame)
		}
		if !missing {
			break
		}
	}
	return best.sorted()
}

// withEnds adds to the outermost points those that a block along a frame would touch:
// where the search relied on too few, it finds these missing in the next round.
func withEnds(outer, points []Point, f frame) []Point {
	for _, axis := range f {
		low, high := ends(points, axis)
		outer = append(outer, points[low], points[high])
	}
	return outer
}

// How hard OrientedBox searches: points kept, tilts tried, refined and finished,
// and how often with points that were missing.
const (
	searchPoints   = 600
	searchTilts    = 600
	searchRefined  = 10
	searchFinished = 3
	searchRounds   = 4
)

// corners are the vertices that faces use.
func corners(m *Mesh) []Point {
	used, n := make([]bool, len(m.Vertices)), 0
	for _, f := range m.Faces {
		for _, v := range f {
			if !used[v] {
				used[v] = true
				n++
			}
		}
	}
	if n == len(m.Vertices) {
		return m.Vertices
	}
	out := make([]Point, 0, n)
	for v, p := range m.Vertices {
		if used[v] {
			out = append(out, p)
		}
	}
	return out
}

func lesser(a, b Box) Box {
	if b.cost() < a.cost() {
		return b
	}
	return a
}

// boxAlong is the block along a frame that holds the points.
func boxAlong(points []Point, f frame) Box {
	if len(points) == 0 {
		return Box{}
	}
	low := f.into(points[0])
	high := low
	for _, p := range points {
		for k, x := range f.into(p) {
			low[k], high[k] = min(low[k], x), max(high[k], x)
		}
	}
	size := high.plus(low.times(-1))
	return Box{
		Width: size[0], Depth: size[1], Height: size[2],
		Axes:   f,
		Centre: f.out(low.plus(high).times(0.5)),
	}
}

// sorted has the width longest and the height shortest.
func (b Box) sorted() Box {
	type edge struct {
		size float64
		axis Point
	}
	edges := []edge{{b.Width, b.Axes[0]}, {b.Depth, b.Axes[1]}, {b.Height, b.Axes[2]}}
	slices.SortStableFunc(edges, func(p, q edge) int { return cmp.Compare(q.size, p.size) })
	up := edges[0].axis.cross(edges[1].axis)
	return Box{
		Width: edges[0].size, Depth: edges[1].size, Height: edges[2].size,
		Axes: [3]Point{edges[0].axis, edges[1].axis, up}, Centre: b.Centre,
	}
}

// spot is a place in a plane.
type spot [2]float64

func (p spot) to(q spot) spot { return spot{q[0] - p[0], q[1] - p[1]} }

func (p spot) dot(q spot) float64 { return float64(p[0]*q[0]) + float64(p[1]*q[1]) }

// beside is the area that p and q span, above 0 where q lies to the left of p. The
// conversions keep the sign the same on every machine.
func (p spot) beside(q spot) float64 { return float64(p[0]*q[1]) - float64(p[1]*q[0]) }

// flush is the frame whose third axis is given and whose first lies along the side
// of the outline, seen along that axis, that makes the rectangle least.
func flush(points []Point, axis Point) frame {
	start := turnedAbout(axis, 0)
	u, v := start[1], start[2]
	var o outline
	for _, p := range points {
		o.add(spot{u.dot(p), v.dot(p)})
	}
	side := calipers(o.hull())
	w := u.times(side[0]).plus(v.times(side[1]))
	return frame{w, axis.cross(w), axis}
}

// outline gathers the convex hull of spots. It takes them in batches and keeps
// what is on the hull so far, so that millions need little room.
type outline struct{ spots []spot }

func (o *outline) add(p spot) {
	if o.spots = append(o.spots, p); len(o.spots) == cap(o.spots) && len(o.spots) >= 4096 {
		kept := o.hull()
		o.spots = append(make([]spot, 0, max(8192, 2*len(kept))), kept...)
	}
}

// hull is the outline anticlockwise without points along its sides (Andrew's
// monotone chain, from memory).
func (o *outline) hull() []spot {
	slices.SortFunc(o.spots, func(p, q spot) int {
		if p[0] != q[0] {
			return cmp.Compare(p[0], q[0])
		}
		return cmp.Compare(p[1], q[1])
	})
	spots := slices.Compact(o.spots)
	if len(spots) < 3 {
		return slices.Clone(spots)
	}
	below := chain(nil, spots)
	slices.Reverse(spots)
	return append(below, chain(nil, spots)...)
}

// chain is the half of a hull that turns left all the way, but for its last spot.
func chain(out, spots []spot) []spot {
	for _, p := range spots {
		for n := len(out); n > 1 && out[n-2].to(out[n-1]).beside(out[n-1].to(p)) <= 0; n-- {
			out = out[:n-1]
		}
		out = append(out, p)
	}
	return out[:len(out)-1]
}

// calipers turns a rectangle round a convex outline (Toussaint 1983, from memory)
// and gives the direction of the side at which it is least.
func calipers(hull []spot) spot {
	best, least := spot{1, 0}, math.Inf(1)
	right, top, left := 0, 0, 0
	for i, p := range hull {
		u := p.to(hull[(i+1)%len(hull)])
		if l := math.Hypot(u[0], u[1]); l > 0 {
			u = spot{u[0] / l, u[1] / l}
		} else {
			continue
		}
		right = walk(hull, max(right, i), func(e spot) bool { return u.dot(e) > 0 })
		top = walk(hull, max(top, right), func(e spot) bool { return u.beside(e) > 0 })
		left = walk(hull, max(left, top), func(e spot) bool { return u.dot(e) < 0 })
		n := len(hull)
		wide := u.dot(hull[left%n].to(hull[right%n]))
		if area := wide * u.beside(p.to(hull[top%n])); area < least {
			best, least = u, area
		}
	}
	return best
}

// walk goes on along an outline while its sides pass, once round at most.
func walk(hull []spot, at int, pass func(side spot) bool) int {
	n := len(hull)
	for steps := 0; steps < n && pass(hull[at%n].to(hull[(at+1)%n])); steps++ {
		at++
	}
	return at
}

// outermost keeps the points that are furthest along any of some directions, in
// either sense; a few points are all kept. Many are thinned first: of each column of
// a grid along each axis the two ends.
func outermost(points []Point, directions []Point) []Point {
	const few, plenty = 400, 20_000
	if len(points) <= few {
		return slices.Clone(points)
	}
	if len(points) > plenty {
		points = columnEnds(points)
	}
	keep := make([]bool, len(points))
	for _, d := range directions {
		low, high := ends(points, d)
		keep[low], keep[high] = true, true
	}
	var out []Point
	for i, p := range points {
		if keep[i] {
			out = append(out, p)
		}
	}
	return out
}

// ends are the indices of the points least and furthest along a direction.
func ends(points []Point, d Point) (low, high int) {
	least, most := math.Inf(1), math.Inf(-1)
	for i, p := range points {
		x := d.dot(p)
		if x < least {
			least, low = x, i
		}
		if x > most {
			most, high = x, i
		}
	}
	return low, high
}

// columnEnds keeps the two ends of each column of a grid of 96 x 96 along each axis.
func columnEnds(points []Point) []Point {
	const grid = 96
	box := boxAlong(points, frame{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}})
	size := [3]float64{box.Width, box.Depth, box.Height}
	cell := func(p Point, k int) int {
		x := (p[k]-box.Centre[k])/max(size[k], math.SmallestNonzeroFloat64) + 0.5
		return max(0, min(grid-1, int(grid*x)))
	}
	var out []Point
	for k := range 3 {
		u, v := (k+1)%3, (k+2)%3
		column := make([][2]int, grid*grid) // index + 1 of the least and the furthest
		for i, p := range points {
			c := &column[cell(p, u)*grid+cell(p, v)]
			if c[0] == 0 || p[k] < points[c[0]-1][k] {
				c[0] = i + 1
			}
			if c[1] == 0 || p[k] > points[c[1]-1][k] {
				c[1] = i + 1
			}
		}
		for _, c := range column {
			if c[0] > 0 {
				out = append(out, points[c[0]-1], points[c[1]-1])
			}
		}
	}
	return out
}

// mainFaces are the directions that most of the area faces: area vectors summed by
// where they point, the largest sums first. The principal axes come before them.
func mainFaces(m *Mesh) []Point {
	const most = 40
	sums := make([]Point, 6*facing*facing)
	for i := range m.Faces {
		a := m.Triangle(i).AreaVector()
		c := compass(a)
		sums[c] = sums[c].plus(a)
	}
	slices.SortStableFunc(sums, func(a, b Point) int { return cmp.Compare(b.dot(b), a.dot(a)) })
	var out []Point
	if o := momentsOf(m); o.area > 0 {
		out = append(out, o.axes[:]...)
	}
	for _, a := range sums[:most] {
		if a.dot(a) > 0 {
			out = append(out, a.unit())
		}
	}
	return out
}

// facing is into how many parts each side of the compass is cut each way: odd, so
// that what faces along an axis is in the middle of a part and not on its edge.
const facing = 31

// compass numbers the parts of a cube about the origin that a direction points at.
func compass(a Point) int {
	k := 0
	for i := range a {
		if math.Abs(a[i]) > math.Abs(a[k]) {
			k = i
		}
	}
	long := max(math.Abs(a[k]), math.SmallestNonzeroFloat64)
	cell := func(x float64) int { return max(0, min(facing-1, int(facing*(x/long+1)/2))) }
	side := 2 * k
	if a[k] < 0 {
		side++
	}
	return (side*facing+cell(a[(k+1)%3]))*facing + cell(a[(k+2)%3])
}

// tilt is a frame tried and its block's cost.
type tilt struct {
	frame frame
	cost  float64
}

// tilts tries directions and refines the best few roughly.
func tilts(points []Point, directions []Point) []tilt {
	tried := make([]tilt, len(directions))
	for i, d := range directions {
		tried[i] = try(points, d)
	}
	return refined(points, tried, searchRefined, 0.1, 0.01)
}

// refined takes further the cheapest few tilts that are not like each other.
func refined(points []Point, tried []tilt, few int, first, last float64) []tilt {
	for i, t := range tried { // points may have been added since
		tried[i].cost = boxAlong(points, t.frame).cost()
	}
	slices.SortStableFunc(tried, func(a, b tilt) int { return cmp.Compare(a.cost, b.cost) })
	var starts []frame
	var out []tilt
	for _, t := range tried {
		if len(out) < few && !slices.ContainsFunc(starts, t.frame.like) {
			starts, out = append(starts, t.frame), append(out, refine(points, t, first, last))
		}
	}
	return out
}

// like tells whether each axis of a frame is near one of another's, either way
// round: the same block, near enough that one search from either is plenty.
func (f frame) like(g frame) bool {
	const near = 0.995 // cosine of 6 degrees
	for _, a := range f {
		c := g.into(a)
		if max(math.Abs(c[0]), math.Abs(c[1]), math.Abs(c[2])) < near {
			return false
		}
	}
	return true
}

func try(points []Point, axis Point) tilt {
	f := flush(points, axis)
	return tilt{f, boxAlong(points, f).cost()}
}

// refine tilts a block by steps that grow smaller, and lets each of its axes be the
// one that the others are fitted to. The volume has creases as the block turns: the
// directions of the steps change so that one of them leads along the crease.
func refine(points []Point, best tilt, first, last float64) tilt {
	const golden, most, misses = 2.399963, 12, 3
	for step := first; step > last; step /= 2 {
		for i, missed := 0, 0; i < most && missed < misses; i++ {
			next := around(points, best, step, golden*float64(i))
			if next.cost >= best.cost*(1-1e-9) {
				missed++
				continue
			}
			best, missed = next, 0
		}
	}
	return best
}

// around is the best of the tilts a step away.
func around(points []Point, from tilt, step, turn float64) tilt {
	best := from
	for k := range 3 {
		axis, u, v := from.frame[k], from.frame[(k+1)%3], from.frame[(k+2)%3]
		for i := range 5 {
			a := turn + float64(i)*2*math.Pi/5
			side := u.times(math.Cos(a)).plus(v.times(math.Sin(a)))
			if next := try(points, axis.plus(side.times(step)).unit()); next.cost < best.cost {
				best = next
			}
		}
	}
	return best
}
