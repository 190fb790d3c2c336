package foam

import "errors"

// Bonding is how one blank is built up from blocks.
type Bonding struct {
	Pieces int     // 1 when the blank fits inside a block
	Area   float64 // of the glued joints, m2, each joint counted once
}

// Bond is how a blank is bonded up from pieces of a block: on a grid, the way round
// that needs the fewest pieces, the product of the three ceil(side / block side);
// among equals the one with the least area to glue. The blank's count does not matter.
//
// Source: geometry.
func Bond(blank Blank, block Block) (Bonding, error) {
	if err := errors.Join(blank.Check(), block.Check()); err != nil {
		return Bonding{}, err
	}
	g := gridFor(blank.box(), block.box())
	return Bonding{Pieces: int(g.pieces()), Area: g.area()}, nil
}

// layout is a blank, turned, on a grid of so many blocks along each side.
type layout struct {
	blank, block, along box
}

// gridFor tries the six ways round, from the sorted sides, so that it does not matter
// which side a caller calls the width.
func gridFor(blank, block box) layout {
	var best layout
	for i, b := range blank.sorted().turned() {
		g := layout{b, block, box{ceil(b[0], block[0]), ceil(b[1], block[1]), ceil(b[2], block[2])}}
		if i == 0 || g.better(best) {
			best = g
		}
	}
	return best
}

func (g layout) better(than layout) bool {
	if g.pieces() != than.pieces() {
		return g.pieces() < than.pieces()
	}
	return g.area() < than.area()
}

func (g layout) pieces() int64 {
	return g.along.volume()
}

// area is the glued area, m2: along each axis one joint fewer than the pieces, each
// over the blank's whole section.
func (g layout) area() float64 {
	b, n := g.blank, g.along
	joints := (n[0]-1)*b[1]*b[2] + (n[1]-1)*b[0]*b[2] + (n[2]-1)*b[0]*b[1]
	return float64(joints) * (grain * grain)
}

// lots is the pieces of count such blanks. Along each side all are a full block but
// the last; full ones waste nothing, where equal parts would waste in every block.
func (g layout) lots(count int64) []lot {
	out := []lot{{count: count}}
	for axis := range 3 {
		full := g.along[axis] - 1
		last := g.blank[axis] - full*g.block[axis]
		out = divided(out, axis, full, g.block[axis], last)
	}
	return out
}

// divided gives every lot its size along one axis: full boxes of one side and one of the
// last side.
func divided(lots []lot, axis int, full, side, last int64) []lot {
	var out []lot
	for _, l := range lots {
		if full > 0 {
			whole := lot{l.box, l.count * full}
			whole.box[axis] = side
			out = append(out, whole)
		}
		l.box[axis] = last
		out = append(out, l)
	}
	return out
}

func (b Block) box() box {
	return box{grains(b.Width), grains(b.Depth), grains(b.Height)}
}

func (b Blank) box() box {
	return box{grains(b.Width), grains(b.Depth), grains(b.Height)}
}

func ceil(a, b int64) int64 {
	return (a + b - 1) / b
}
