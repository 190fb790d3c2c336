package geometry

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// The bounds of a drawing. They keep a hostile one from taking the machine: at the
// last of them a lift has taken about two seconds.
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

// The tolerances of a lift, as shares of the larger side of the box round the edges.
// A level is a height at which an edge begins, ends or crosses another.
const (
	// levelShare: corners no farther apart in height are on one level. Without it a
	// level edge whose ends were rounded apart would be taken for a slope of 1e16.
	levelShare = 1.0 / (1 << 40)
	// coincidentShare: edges no farther apart are one edge. Two shapes that share a
	// side at an angle have it twice, a rounding apart, and it is no boundary.
	coincidentShare = 1.0 / (1 << 36)
)

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
	share    float64 // of the slab's height, from its bottom
	a, b     strand
	coincide bool // all the way through the slab: no need to cut it there
}

// slab is what lies between two neighbouring levels of corners.
type slab struct {
	bottom, top float64  // m
	strands     []strand // in order of their bottoms
	meetings    []meeting
}

func (s slab) height() float64 { return s.top - s.bottom }

// lift goes up through edges slab by slab.
type lift struct {
	levels             []float64
	ascents            []ascent // in order of their first levels
	size               float64  // m, the larger side of the box
	next               int      // the first ascent not yet reached
	strands            []strand // of the slab, in order of their bottoms
	order              []strand // the same, once met in order of their tops
	fresh              []strand // those that begin at its bottom, in order
	meetings           []meeting
	crossings, handled int
}

func newLift(edges []Edge) (*lift, error) {
	var f faultList
	f.within("edges", float64(len(edges)), 0, EdgesMax, Number, "")
	low, high := edgeBox(edges, &f)
	if err := f.err(); err != nil {
		return nil, err
	}
	size := max(high.X-low.X, high.Y-low.Y)
	s := &lift{size: size}
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
			f.add(fmt.Sprintf("edges[%d]", i), reach, Millimetres, "coordinates within "+lengthInWords(CoordinateMax, typedDigits)+" either way")
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
func (s *lift) level(edges []Edge, near float64) {
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
func (s *lift) at(y float64) int {
	i, found := slices.BinarySearch(s.levels, y)
	if found {
		return i
	}
	return i - 1
}

func (s *lift) climb(edges []Edge) {
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
func (s *lift) run(visit func(slab) error) error {
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

// advance goes on to the slab above a level: ascents that end there leave, the rest go
// on from where they were, those that begin there join. Strands that go on keep their
// order where they touch at the level, so that two which cross right there are still
// seen to change places above it.
func (s *lift) advance(level int) {
	s.begin(level)
	fresh, all := s.fresh, s.strands[:0]
	for _, t := range s.order {
		a := s.ascents[t.ascent]
		if a.last == level {
			continue
		}
		for len(fresh) > 0 && fresh[0].bottom < t.top {
			all, fresh = append(all, fresh[0]), fresh[1:]
		}
		all = append(all, strand{t.top, s.x(a, level+1), t.ascent, t.weight})
	}
	s.strands = append(all, fresh...)
}

// begin takes up the ascents that begin at a level.
func (s *lift) begin(level int) {
	s.fresh = s.fresh[:0]
	for ; s.next < len(s.ascents) && s.ascents[s.next].first == level; s.next++ {
		a := s.ascents[s.next]
		s.fresh = append(s.fresh, strand{a.from, s.x(a, level+1), s.next, a.weight})
	}
	slices.SortFunc(s.fresh, byBottom)
}

// x is where an ascent is at a level, m.
func (s *lift) x(a ascent, level int) float64 {
	if level == a.last {
		return a.to
	}
	from, to := s.levels[a.first], s.levels[a.last]
	return a.from + (a.to-a.from)*((s.levels[level]-from)/(to-from))
}

// meet finds where the strands of a slab change places: sorting them by their tops,
// one swap of neighbours at a time, swaps exactly those that do.
func (s *lift) meet(height float64) error {
	s.meetings, s.order = s.meetings[:0], append(s.order[:0], s.strands...)
	near, cuts := s.size*coincidentShare, 0
	for i := range s.order {
		for k := i; k > 0 && s.order[k-1].top > s.order[k].top; k-- {
			a, b := s.order[k-1], s.order[k]
			before, after := b.bottom-a.bottom, a.top-b.top
			m := meeting{before / (before + after), a, b, a.coincides(b, height, near)}
			if !m.coincide {
				cuts++
			}
			s.meetings = append(s.meetings, m)
			s.order[k-1], s.order[k] = b, a
			s.crossings++
		}
		if s.crossings > CrossingsMax {
			return DimensionError{"crossings", float64(s.crossings), Number, fmt.Sprintf("at most %d", CrossingsMax)}
		}
	}
	s.handled += len(s.strands) * (cuts + 1)
	if s.handled > stretchesMax {
		return DimensionError{"stretches", float64(s.handled), Number, fmt.Sprintf("at most %d between levels", stretchesMax)}
	}
	slices.SortFunc(s.meetings, byShare)
	return nil
}

func byShare(a, b meeting) int {
	return cmp.Or(cmp.Compare(a.share, b.share), cmp.Compare(a.a.ascent, b.a.ascent), cmp.Compare(a.b.ascent, b.b.ascent))
}
