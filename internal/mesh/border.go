package mesh

import (
	"cmp"
	"math"
	"slices"
)

// rim is an open edge: from and to are places, a place being a vertex of one part. It runs
// as its face is wound.
type rim struct{ from, to uint32 }

// border is the open edges of a mesh as a graph, in which loops are found.
type border struct {
	mesh   *Mesh
	places []uint64 // part and vertex of each place, sorted
	rims   []rim
	out    fans // rims by the place that they leave
	in     fans // rims by the place that they reach
	used   []bool
}

// fans lists rims by place; next is how far each place's list has been used up.
type fans struct{ next, end, rims []uint32 }

// trace finds the loops of a flattened topology in a fixed order, and calls found for
// each with its part. Where several loops touch at a place they are told apart there.
func (t *topology) trace(found func(part uint32, line []Point, closed bool)) {
	if len(t.border) == 0 {
		return
	}
	b := t.newBorder()
	at := make([]uint32, len(b.places)) // 1 + where the path passes a place
	for i := range b.rims {
		if !b.used[i] {
			b.walk(b.rims[i].from, at, found)
		}
	}
}

func (t *topology) newBorder() *border {
	b := &border{mesh: t.mesh, rims: make([]rim, len(t.border)), used: make([]bool, len(t.border))}
	b.places = make([]uint64, 0, 2*len(t.border))
	for _, half := range t.border {
		from, to := t.directed(half)
		b.places = append(b.places, from, to)
	}
	slices.Sort(b.places)
	b.places = slices.Compact(b.places)
	for i, half := range t.border {
		from, to := t.directed(half)
		b.rims[i] = rim{b.place(from), b.place(to)}
	}
	b.out = fansBy(len(b.places), len(b.rims), func(i int) uint32 { return b.rims[i].from })
	b.in = fansBy(len(b.places), len(b.rims), func(i int) uint32 { return b.rims[i].to })
	return b
}

// directed returns the part and the vertex where a half-edge comes from and goes to, once
// its face is wound as the rest of its part.
func (t *topology) directed(half uint32) (from, to uint64) {
	a, b := t.mesh.ends(half)
	if t.parts.turned(half / 3) {
		a, b = b, a
	}
	part := uint64(t.parts.of(half/3)) << 32
	return part | uint64(a), part | uint64(b)
}

func (b *border) place(key uint64) uint32 {
	i, _ := slices.BinarySearch(b.places, key)
	return uint32(i) //nolint:gosec // readers bound the file
}

func (b *border) point(place uint32) Point {
	return b.mesh.Vertices[uint32(b.places[place])] //nolint:gosec // the lower half is meant
}

// fansBy sorts n rims by place, by counting.
func fansBy(places, n int, place func(int) uint32) fans {
	f := fans{make([]uint32, places), make([]uint32, places), make([]uint32, n)}
	for i := range n {
		f.end[place(i)]++
	}
	var sum uint32
	for p, c := range f.end {
		f.next[p] = sum
		sum += c
		f.end[p] = f.next[p]
	}
	for i := range n {
		p := place(i)
		f.rims[f.end[p]] = uint32(i) //nolint:gosec // readers bound the file
		f.end[p]++
	}
	return f
}

// take returns a rim at a place that is not used yet.
func (f *fans) take(place uint32, used []bool) (uint32, bool) {
	for f.next[place] < f.end[place] {
		r := f.rims[f.next[place]]
		f.next[place]++
		if !used[r] {
			used[r] = true
			return r, true
		}
	}
	return 0, false
}

// walk follows open edges from a place until there are none, and cuts a loop off the path
// whenever the path meets itself. Edges are taken as they run; backward only where a
// one-sided surface leaves no other way.
func (b *border) walk(start uint32, at []uint32, found func(uint32, []Point, bool)) {
	path := []uint32{start}
	at[start] = 1
	for {
		to, ok := b.step(path[len(path)-1])
		if !ok {
			break
		}
		if at[to] == 0 {
			path = append(path, to)
			at[to] = uint32(len(path)) //nolint:gosec // readers bound the file
			continue
		}
		from := at[to] - 1
		b.report(path[from:], true, found)
		for _, p := range path[from+1:] {
			at[p] = 0
		}
		path = path[:from+1]
	}
	if len(path) > 1 {
		b.report(path, false, found) // it ends where three faces meet
	}
	for _, p := range path {
		at[p] = 0
	}
}

func (b *border) step(from uint32) (uint32, bool) {
	if r, ok := b.out.take(from, b.used); ok {
		return b.rims[r].to, true
	}
	if r, ok := b.in.take(from, b.used); ok {
		return b.rims[r].from, true
	}
	return 0, false
}

func (b *border) report(path []uint32, closed bool, found func(uint32, []Point, bool)) {
	points := make([]Point, len(path))
	for i, p := range path {
		points[i] = b.point(p)
	}
	found(uint32(b.places[path[0]]>>32), points, closed) //nolint:gosec // the upper half is meant
}

// newLoop measures a line. Where it is not closed, as it can be where three faces meet,
// the way back to its beginning has no length, but what it encloses is measured.
func newLoop(points []Point, closed bool) Loop {
	l := Loop{Points: points}
	var twice Point
	for i, p := range points {
		q := points[(i+1)%len(points)]
		if closed || i+1 < len(points) {
			l.Length += q.less(p).length()
		}
		twice = twice.along(1, p.less(points[0]).cross(q.less(points[0])))
	}
	l.Area = twice.length() / 2
	return l
}

// middle returns the middle of a line's length.
func (l *Loop) middle() Point {
	var m Point
	length, o := 0.0, l.Points[0]
	for i, p := range l.Points {
		q := l.Points[(i+1)%len(l.Points)]
		d := q.less(p).length()
		m = m.along(d/2, p.less(o)).along(d/2, q.less(o))
		length += d
	}
	return o.along(1/length, m)
}

// capSix is six times the volume, seen from a point, of the fan that closes a loop from
// its middle; the loop runs as the faces beside it are wound.
func (l *Loop) capSix(from Point) float64 {
	six, c := 0.0, l.middle().less(from)
	for i, p := range l.Points {
		q := l.Points[(i+1)%len(l.Points)]
		six += q.less(from).dot(p.less(from).cross(c))
	}
	return six
}

// slit is the share of its length's powers that the integrals along a loop may reach where
// it runs back on itself.
const slit = 1e-5

// collapses reports whether a loop runs back along itself and so encloses nothing, as it
// does where two faces on one side of a seam meet one on the other (a T-junction). Its
// vector area is then zero, but so it is for the seam of a tennis ball: the integrals of
// the products of two coordinates along the loop tell these apart. Along a straight edge
// Simpson's rule gives them exactly.
func (l *Loop) collapses() bool {
	if l.Area > slit*l.Length*l.Length {
		return false
	}
	worst := 0.0
	for i, s := range l.moments() {
		for j := range s {
			for k := range s[j] {
				if i <= j {
					worst = max(worst, math.Abs(s[j][k]))
				}
			}
		}
	}
	return worst <= slit*l.Length*l.Length*l.Length
}

// moments returns the integrals of the i-th coordinate times the j-th along the k-th, m3.
func (l *Loop) moments() (sum [3][3][3]float64) {
	o := l.middle()
	for n := range l.Points {
		p, q := l.Points[n].less(o), l.Points[(n+1)%len(l.Points)].less(o)
		for i := range p {
			for j := range p {
				f := (float64(p[i]*p[j]) + float64(q[i]*q[j]) + float64((p[i]+q[i])*(p[j]+q[j]))) / 6
				for k := range p {
					sum[i][j][k] += float64(f * (q[k] - p[k]))
				}
			}
		}
	}
	return sum
}

// longestFirst sorts loops; those of a length stay as they were found.
func longestFirst(loops []Loop) {
	slices.SortStableFunc(loops, func(a, b Loop) int { return cmp.Compare(b.Length, a.Length) })
}
