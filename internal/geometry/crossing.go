package geometry

import (
	"math"
	"slices"
)

// crossingShare: an edge that passes another by less, as a share of the larger side of
// the box round all edges, touches it and does not cross it.
const crossingShare = 1e-9

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
	s, err := newLift(askew(edges))
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

// enough stops a lift that has found what it was for.
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
	s, err := newLift(edges)
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
