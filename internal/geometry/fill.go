package geometry

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// The bounds of a sweep. They keep a hostile drawing from taking the machine: at
// the last of them a sweep has taken about two seconds.
const (
	// EdgesMax bounds the edges of all loops together.
	EdgesMax = 200_000
	// CrossingsMax bounds the places where edges cross.
	CrossingsMax = 1_000_000
	// CoordinateMax bounds a coordinate either way, in metres.
	CoordinateMax = 1e9

	// stretchesMax bounds the stretches of edges between one level and the next.
	stretchesMax = 50_000_000
)

// The tolerances of a sweep, as shares of the larger side of the box round the
// edges. A level is a height at which an edge begins, ends or crosses another.
const (
	// levelShare: corners no farther apart in height are on one level. Without it a
	// level edge whose ends were rounded apart would be swept as a slope of 1e16.
	levelShare = 1.0 / (1 << 40)
	// coincidentShare: edges no farther apart are one edge. Two shapes that share a
	// side at an angle have it twice, a rounding apart, and it is no boundary.
	coincidentShare = 1.0 / (1 << 36)
	// crossingShare: an edge that passes another by less touches it and does not
	// cross it.
	crossingShare = 1e-9
)

// Rule says what a set of closed loops fills. The two rules and their names are
// those of SVG 2, property "fill-rule".
type Rule int

// The rules. They agree on a single loop that does not cross itself.
const (
	NonZero Rule = iota // what the loops go round more often one way than the other
	EvenOdd             // what the loops go round an odd number of times, either way
)

func (r Rule) inside(winding int) bool {
	if r == EvenOdd {
		return winding%2 != 0
	}
	return winding != 0
}

// Region is what a set of loops fills.
type Region struct {
	// Area is that of the filled region, m2: where loops overlap it counts once.
	Area float64
	// Perimeter is the length of all that parts inside from outside, m, edges of
	// holes included. Edges inside the region are no part of it.
	Perimeter float64
	// Low and High are the corners of the box round the region; both are zero where
	// nothing is filled.
	Low, High Point
}

// Edge is a directed stretch of outline that counts Weight times.
type Edge struct {
	From, To Point
	Weight   int
}

// Fill measures the region that closed loops fill, each last corner joined to its
// first. Loops may cross, overlap, share edges and repeat points. The edges are
// straight, so the answer is exact but for rounding: about 1e-12 of the area, and of
// the perimeter 1e-9. Edges closer than 1.5e-11 of the larger side of the box round
// all loops count as one. Elementary: trapezia between the levels of corners and
// crossings.
//
// A loop of fewer than three points, a coordinate beyond [CoordinateMax] and loops
// beyond [EdgesMax] or [CrossingsMax] are errors.
func Fill(loops [][]Point, rule Rule) (Region, error) {
	edges, err := loopEdges(loops)
	if err != nil {
		return Region{}, err
	}
	return FillEdges(edges, rule)
}

// FillEdges is [Fill] for edges in any order. They must close: as much weight leaves
// a place as comes to it; where they do not, that is an error.
func FillEdges(edges []Edge, rule Rule) (Region, error) {
	s, err := newSweep(edges)
	if err != nil {
		return Region{}, err
	}
	f := filling{rule: rule, near: s.size * coincidentShare}
	if err := s.run(f.slab); err != nil {
		return Region{}, err
	}
	below := f.tops
	f.bottoms = nil // above the topmost level nothing is filled
	f.level(below)
	return f.region, nil
}

func loopEdges(loops [][]Point) ([]Edge, error) {
	var f faultList
	var edges []Edge
	for i, loop := range loops {
		if len(loop) < 3 {
			f.add(fmt.Sprintf("loops[%d]", i), float64(len(loop)), "at least 3 points")
		}
		for k, p := range loop {
			edges = append(edges, Edge{p, loop[(k+1)%len(loop)], 1})
		}
	}
	return edges, f.err()
}

// ascent is an edge that gains height: a level one bounds no trapezium. What a
// level edge adds to the perimeter shows as the difference between the region just
// below its level and just above.
type ascent struct {
	first, last int     // levels
	from, to    float64 // x at them, m
	weight      int     // how many times more the loops go round what is right of it than what is left
	edge        int     // its place among the caller's edges
}

// strand is an ascent between one level and the next.
type strand struct {
	bottom, top float64 // x, m
	ascent      int
	weight      int
}

func byBottom(a, b strand) int {
	return cmp.Or(cmp.Compare(a.bottom, b.bottom), cmp.Compare(a.top, b.top), cmp.Compare(a.ascent, b.ascent))
}

func byMiddle(a, b strand) int {
	return cmp.Or(cmp.Compare(a.bottom+a.top, b.bottom+b.top), cmp.Compare(a.ascent, b.ascent))
}

// coincides says whether two strands of one slab are nowhere farther apart than
// near, measured across the steeper of them.
func (a strand) coincides(b strand, height, near float64) bool {
	length := min(math.Hypot(a.top-a.bottom, height), math.Hypot(b.top-b.bottom, height))
	apart := max(math.Abs(a.bottom-b.bottom), math.Abs(a.top-b.top))
	return apart*height <= near*length
}

// meeting is where two strands of a slab change places.
type meeting struct {
	share float64 // of the slab's height, from its bottom
	a, b  strand
}

// slab is what lies between two neighbouring levels of corners.
type slab struct {
	bottom, top float64  // m
	strands     []strand // in order of their bottoms
	meetings    []meeting
}

func (s slab) height() float64 { return s.top - s.bottom }

// sweep goes up through edges slab by slab.
type sweep struct {
	levels             []float64
	ascents            []ascent // in order of their first levels
	size               float64  // m, the larger side of the box
	next               int      // the first ascent not yet reached
	strands, order     []strand
	meetings           []meeting
	crossings, handled int
}

func newSweep(edges []Edge) (*sweep, error) {
	var f faultList
	f.within("edges", float64(len(edges)), 0, EdgesMax, "")
	low, high := edgeBox(edges, &f)
	if err := f.err(); err != nil {
		return nil, err
	}
	size := max(high.X-low.X, high.Y-low.Y)
	s := &sweep{size: size}
	reach := max(-low.X, -low.Y, high.X, high.Y)
	s.level(edges, max(size*levelShare, reach*0x1p-50))
	s.climb(edges)
	return s, nil
}

// edgeBox is the box round the edges. It names the first that cannot be used.
func edgeBox(edges []Edge, f *faultList) (low, high Point) {
	if len(edges) > 0 {
		low, high = edges[0].From, edges[0].From
	}
	for i, e := range edges {
		if reach := e.reach(); !(reach <= CoordinateMax) { // NaN compares false with all
			f.add(fmt.Sprintf("edges[%d]", i), reach, fmt.Sprintf("coordinates within %g m either way", CoordinateMax))
			return low, high
		}
		low = Point{min(low.X, e.From.X, e.To.X), min(low.Y, e.From.Y, e.To.Y)}
		high = Point{max(high.X, e.From.X, e.To.X), max(high.Y, e.From.Y, e.To.Y)}
	}
	return low, high
}

// reach is the largest coordinate either way, m; NaN if any is.
func (e Edge) reach() float64 {
	return max(math.Abs(e.From.X), math.Abs(e.From.Y), math.Abs(e.To.X), math.Abs(e.To.Y))
}

// level finds the heights of corners. Each takes in those up to near above it.
func (s *sweep) level(edges []Edge, near float64) {
	heights := make([]float64, 0, 2*len(edges))
	for _, e := range edges {
		heights = append(heights, e.From.Y, e.To.Y)
	}
	slices.Sort(heights)
	for _, y := range heights {
		if n := len(s.levels); n == 0 || y > s.levels[n-1]+near {
			s.levels = append(s.levels, y)
		}
	}
}

// at is the level that took a height in.
func (s *sweep) at(y float64) int {
	i, found := slices.BinarySearch(s.levels, y)
	if found {
		return i
	}
	return i - 1
}

func (s *sweep) climb(edges []Edge) {
	for i, e := range edges {
		first, last := s.at(e.From.Y), s.at(e.To.Y)
		switch {
		case first < last: // the left of an edge that goes up is inside, the right is not
			s.ascents = append(s.ascents, ascent{first, last, e.From.X, e.To.X, -e.Weight, i})
		case first > last:
			s.ascents = append(s.ascents, ascent{last, first, e.To.X, e.From.X, e.Weight, i})
		}
	}
	slices.SortStableFunc(s.ascents, func(a, b ascent) int { return cmp.Compare(a.first, b.first) })
}

// run visits the slabs from the lowest up until visit returns an error.
func (s *sweep) run(visit func(slab) error) error {
	for level := range max(len(s.levels), 1) - 1 {
		s.advance(level)
		here := slab{bottom: s.levels[level], top: s.levels[level+1], strands: s.strands}
		if err := s.meet(here.height()); err != nil {
			return err
		}
		here.meetings = s.meetings
		if err := visit(here); err != nil {
			return err
		}
	}
	return nil
}

// advance goes on to the slab above a level: ascents that end there leave, those
// that begin there join, the rest go on from where they were.
func (s *sweep) advance(level int) {
	stay := s.strands[:0]
	for _, t := range s.strands {
		if s.ascents[t.ascent].last > level {
			t.bottom = t.top
			stay = append(stay, t)
		}
	}
	for ; s.next < len(s.ascents) && s.ascents[s.next].first == level; s.next++ {
		a := s.ascents[s.next]
		stay = append(stay, strand{bottom: a.from, ascent: s.next, weight: a.weight})
	}
	for i, t := range stay {
		stay[i].top = s.x(s.ascents[t.ascent], level+1)
	}
	slices.SortFunc(stay, byBottom)
	s.strands = stay
}

// x is where an ascent is at a level, m.
func (s *sweep) x(a ascent, level int) float64 {
	if level == a.last {
		return a.to
	}
	from, to := s.levels[a.first], s.levels[a.last]
	return a.from + (a.to-a.from)*((s.levels[level]-from)/(to-from))
}

// meet finds where the strands of a slab change places: sorting them by their tops,
// one swap of neighbours at a time, swaps exactly those that do.
func (s *sweep) meet(height float64) error {
	s.meetings, s.order = s.meetings[:0], append(s.order[:0], s.strands...)
	near := s.size * coincidentShare
	for i := range s.order {
		for k := i; k > 0 && s.order[k-1].top > s.order[k].top; k-- {
			a, b := s.order[k-1], s.order[k]
			if !a.coincides(b, height, near) {
				before, after := b.bottom-a.bottom, a.top-b.top
				s.meetings = append(s.meetings, meeting{before / (before + after), a, b})
			}
			s.order[k-1], s.order[k] = b, a
			s.crossings++
		}
		if s.crossings > CrossingsMax {
			return DimensionError{"crossings", float64(s.crossings), fmt.Sprintf("at most %d", CrossingsMax)}
		}
	}
	s.handled += len(s.strands) * (len(s.meetings) + 1)
	if s.handled > stretchesMax {
		return DimensionError{"stretches", float64(s.handled), fmt.Sprintf("at most %d between levels", stretchesMax)}
	}
	slices.SortFunc(s.meetings, byShare)
	return nil
}

func byShare(a, b meeting) int {
	return cmp.Or(cmp.Compare(a.share, b.share), cmp.Compare(a.a.ascent, b.a.ascent), cmp.Compare(a.b.ascent, b.b.ascent))
}

// span is a stretch of a level, from left to right, m.
type span struct{ left, right float64 }

// filling adds up a region slab by slab.
type filling struct {
	rule          Rule
	near          float64 // m, closer than which edges are one
	region        Region
	filled        bool
	bottoms, tops []span // of what the layer last scanned fills, along its two levels
	spare         []span
	pieces        []stretch // in the order of the layer before: almost that of the next
}

// stretch is a strand in a layer, with the whole that it is cut from.
type stretch struct{ strand, whole strand }

// slab cuts a slab at its crossings, so that in each layer no edges cross.
func (f *filling) slab(s slab) error {
	f.pieces = f.pieces[:0]
	for _, t := range s.strands {
		f.pieces = append(f.pieces, stretch{whole: t})
	}
	from := 0.0
	for _, m := range s.meetings {
		if m.share > from && m.share < 1 {
			if err := f.layer(s, from, m.share); err != nil {
				return err
			}
			from = m.share
		}
	}
	return f.layer(s, from, 1)
}

// layer adds what is filled between two shares of a slab's height.
func (f *filling) layer(s slab, from, to float64) error {
	for i := range f.pieces {
		p := &f.pieces[i]
		p.strand = strand{p.whole.x(from), p.whole.x(to), p.whole.ascent, p.whole.weight}
	}
	slices.SortFunc(f.pieces, func(a, b stretch) int { return byMiddle(a.strand, b.strand) })
	below := f.tops
	f.tops, f.bottoms = f.spare[:0], f.bottoms[:0]
	if winding := f.scan((to - from) * s.height()); winding != 0 {
		return DimensionError{"edges", float64(winding), "edges that close: 0 left over at every level"}
	}
	f.spare = below
	f.level(below)
	f.stretch(s.bottom+from*s.height(), s.bottom+to*s.height())
	return nil
}

// x is where a strand is at a share of its slab's height; exact at both ends.
func (a strand) x(share float64) float64 {
	if share == 1 {
		return a.top
	}
	return a.bottom + (a.top-a.bottom)*share
}

// scan goes through the pieces from left to right and returns the winding that is
// left over. Pieces that coincide are passed together.
func (f *filling) scan(height float64) int {
	var left strand
	winding := 0
	for i := 0; i < len(f.pieces); {
		first, before := f.pieces[i].strand, f.rule.inside(winding)
		for ; i < len(f.pieces) && first.coincides(f.pieces[i].strand, height, f.near); i++ {
			winding += f.pieces[i].strand.weight
		}
		if after := f.rule.inside(winding); after != before {
			f.region.Perimeter += math.Hypot(first.top-first.bottom, height)
			if before {
				f.trapezium(left, first, height)
			}
			left = first
		}
	}
	return winding
}

func (f *filling) trapezium(left, right strand, height float64) {
	f.region.Area += max(0, (right.bottom-left.bottom)+(right.top-left.top)) / 2 * height
	f.bottoms = append(f.bottoms, span{left.bottom, right.bottom})
	f.tops = append(f.tops, span{left.top, right.top})
}

// level adds the level edges between what is filled below and what is filled above:
// what one of them has and the other has not.
func (f *filling) level(below []span) {
	f.region.Perimeter += max(0, total(below)+total(f.bottoms)-2*shared(below, f.bottoms))
}

func total(spans []span) float64 {
	sum := 0.0
	for _, s := range spans {
		sum += s.right - s.left
	}
	return sum
}

// shared is the length that two rows of spans have in common, m.
func shared(a, b []span) float64 {
	sum := 0.0
	for i, k := 0, 0; i < len(a) && k < len(b); {
		sum += max(0, min(a[i].right, b[k].right)-max(a[i].left, b[k].left))
		if a[i].right < b[k].right {
			i++
		} else {
			k++
		}
	}
	return sum
}

// stretch widens the region's box by the layer last scanned.
func (f *filling) stretch(bottom, top float64) {
	if len(f.tops) == 0 {
		return
	}
	n := len(f.tops) - 1
	low := Point{min(f.bottoms[0].left, f.tops[0].left), bottom}
	high := Point{max(f.bottoms[n].right, f.tops[n].right), top}
	if f.filled {
		low = Point{min(f.region.Low.X, low.X), min(f.region.Low.Y, low.Y)}
		high = Point{max(f.region.High.X, high.X), max(f.region.High.Y, high.Y)}
	}
	f.region.Low, f.region.High, f.filled = low, high, true
}

// Crossing is where two edges cross.
type Crossing struct {
	First, Second EdgePlace
	At            Point
}

// EdgePlace is an edge by its loop and its first corner, both counted from 0.
type EdgePlace struct{ Loop, Corner int }

// FirstCrossing finds a place where an edge passes through another, of the same loop
// or of another, and whether there is one. The same loops give the same place. Edges that touch, share a
// corner or lie along each other do not cross, nor do those that pass each other by
// less than 1e-9 of the larger side of the box round all loops. Edges that cross in
// a corner are left to [SelfCrossing]. Errors are those of [Fill].
func FirstCrossing(loops [][]Point) (Crossing, bool, error) {
	edges, err := loopEdges(loops)
	if err != nil {
		return Crossing{}, false, err
	}
	s, err := newSweep(askew(edges))
	if err != nil {
		return Crossing{}, false, err
	}
	found := search{edges: edges, loops: loops, ascents: s.ascents, near: s.size * crossingShare}
	if err := s.run(found.slab); err != nil && !found.is {
		return Crossing{}, false, err
	}
	return found.crossing, found.is, nil
}

// askew turns edges by one radian. A sweep does not see level edges, and drawings are
// full of them.
func askew(edges []Edge) []Edge {
	sin, cos := math.Sincos(1)
	turn := func(p Point) Point {
		return Point{float64(p.X*cos) - float64(p.Y*sin), float64(p.X*sin) + float64(p.Y*cos)}
	}
	out := make([]Edge, len(edges))
	for i, e := range edges {
		out[i] = Edge{turn(e.From), turn(e.To), e.Weight}
	}
	return out
}

// enough stops a sweep that has found what it was for.
type enough struct{}

func (enough) Error() string { return "found" }

// search is for the first crossing.
type search struct {
	edges    []Edge
	loops    [][]Point
	ascents  []ascent
	near     float64
	crossing Crossing
	is       bool
}

// slab takes the first proper crossing: each edge's ends lie clear of the other on
// either side.
func (c *search) slab(s slab) error {
	for _, m := range s.meetings {
		first, second := c.ascents[m.a.ascent].edge, c.ascents[m.b.ascent].edge
		if !c.passes(c.edges[first], c.edges[second]) || !c.passes(c.edges[second], c.edges[first]) {
			continue
		}
		c.crossing = Crossing{c.place(min(first, second)), c.place(max(first, second)), c.edges[first].cut(c.edges[second])}
		c.is = true
		return enough{}
	}
	return nil
}

// passes says whether the ends of b lie on either side of the line through a.
func (c *search) passes(a, b Edge) bool {
	length := math.Hypot(a.To.X-a.From.X, a.To.Y-a.From.Y)
	from, to := a.side(b.From)/length, a.side(b.To)/length
	return min(from, to) < -c.near && max(from, to) > c.near
}

// side is twice the area of the triangle from the edge to p, m2: positive on the left.
func (e Edge) side(p Point) float64 {
	return float64((e.To.X-e.From.X)*(p.Y-e.From.Y)) - float64((e.To.Y-e.From.Y)*(p.X-e.From.X))
}

// cut is where the edge meets the line through another.
func (e Edge) cut(other Edge) Point {
	from, to := other.side(e.From), other.side(e.To)
	share := from / (from - to)
	return Point{e.From.X + (e.To.X-e.From.X)*share, e.From.Y + (e.To.Y-e.From.Y)*share}
}

func (c *search) place(edge int) EdgePlace {
	for i, loop := range c.loops {
		if edge < len(loop) {
			return EdgePlace{i, edge}
		}
		edge -= len(loop)
	}
	return EdgePlace{}
}

// SelfCrossing finds a place where a loop crosses itself, in a corner too, and
// whether there is one. Where it crosses in a corner alone, the place is a corner of
// the part that shows it. A loop that only touches or retraces itself does not cross.
//
// It rests on this: where two strands of a loop cross, the four sectors are gone
// round n, n+1, n+2 and n+1 times, so a loop that goes round nothing but 0 and 1
// times, or 0 and -1 times, crosses itself nowhere. Elementary.
func SelfCrossing(loop []Point) (Point, bool, error) {
	crossing, found, err := FirstCrossing([][]Point{loop})
	if err != nil || found {
		return crossing.At, found, err
	}
	edges, err := loopEdges([][]Point{loop})
	if err != nil {
		return Point{}, false, err
	}
	s, err := newSweep(edges)
	if err != nil {
		return Point{}, false, err
	}
	t := turns{least: s.size * s.size * crossingShare}
	if err := s.run(t.slab); err != nil {
		return Point{}, false, err
	}
	return t.at, t.crossed(), nil
}

// turns watches how often a loop goes round things.
type turns struct {
	least              float64 // m2, below which an area is rounding
	left, right, twice float64 // m2, gone round leftwards, rightwards, more than once
	at                 Point   // the lowest corner of what shows that the loop crosses itself
}

func (t *turns) slab(s slab) error {
	slices.SortFunc(s.strands, byMiddle)
	winding := 0
	for i, r := range s.strands {
		if i > 0 {
			l := s.strands[i-1]
			t.add(winding, max(0, (r.bottom-l.bottom)+(r.top-l.top))/2*s.height(), Point{l.bottom, s.bottom})
		}
		winding += r.weight
	}
	return nil
}

// add counts an area. The first to show that the loop crosses itself gives the place.
func (t *turns) add(winding int, area float64, at Point) {
	before := t.crossed()
	switch {
	case winding > 1 || winding < -1:
		t.twice += area
	case winding == 1:
		t.left += area
	case winding == -1:
		t.right += area
	}
	if !before && t.crossed() {
		t.at = at
	}
}

func (t *turns) crossed() bool {
	return t.twice > t.least || min(t.left, t.right) > t.least
}
