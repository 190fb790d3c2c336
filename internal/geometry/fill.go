package geometry

import (
	"fmt"
	"math"
	"slices"
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
// a place as comes to it. Where at some height more goes up than comes down, that is
// an error; a gap that runs level cannot be told from a level edge and is bridged.
func FillEdges(edges []Edge, rule Rule) (Region, error) {
	s, err := newLift(edges)
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
			f.add(fmt.Sprintf("loops[%d]", i), float64(len(loop)), Number, "at least 3 points")
		}
		for k, p := range loop {
			edges = append(edges, Edge{p, loop[(k+1)%len(loop)], 1})
		}
	}
	return edges, f.err()
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
		if !m.coincide && m.share > from && m.share < 1 {
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
		return DimensionError{"edges", float64(winding), Number, "edges that close: 0 left over at every level"}
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
