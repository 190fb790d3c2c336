package foam

import (
	"math"
	"slices"
)

// spaces is how many sizes of leftover the bench keeps. Beyond it the smallest are
// thrown away, as a workshop does: the answer stays a cutting that can be made, and the
// work stays bounded.
const spaces = 64

// bench is the blocks opened so far and what is left of them.
type bench struct {
	block  box
	blocks int64
	free   []lot // sorted boxes, smallest first, no two of one size
	least  int64 // volume of the smallest piece to come; smaller leftovers are waste
}

// cutAll cuts all the lots, which come largest first.
func (b *bench) cutAll(lots []lot) {
	if len(lots) > 0 {
		b.least = lots[len(lots)-1].volume()
	}
	for _, l := range lots {
		b.cutLot(l)
	}
}

func (b *bench) cutLot(l lot) {
	for l.count > 0 {
		if at := b.room(l.box); at >= 0 {
			l.count -= b.fill(at, l.box, l.count)
			continue
		}
		// Opened by what a block holds in all: by its first grid alone, blocks
		// would be opened that the leftovers of the others spare.
		n := max(1, l.count/capacity(b.block, l.box))
		b.blocks += n
		b.keep(lot{b.block, n})
	}
}

// room is the place of the smallest space that holds a piece, or -1.
func (b *bench) room(piece box) int {
	return slices.IndexFunc(b.free, func(s lot) bool { return piece.fits(s.box) })
}

// fill cuts up to n pieces from the spaces of one size and says how many it cut: as
// many whole spaces as n fills, or part of one.
func (b *bench) fill(at int, piece box, n int64) int64 {
	space := b.free[at].box
	used, held := densest(space, piece, n)
	filled := min(b.free[at].count, n/held)
	b.take(at, filled)
	b.leave(space, used, filled)
	return filled * held
}

// densest is the corner of a space that up to n pieces use, and how many of them, lying
// in the way round in which the space could hold most of the n; among equals the one that
// leaves the largest slab. Where the corner holds fewer than that way round could, the
// others still fit in the leftovers next to it.
func densest(space, piece box, n int64) (used box, held int64) {
	most, slab := int64(0), int64(0)
	for _, t := range piece.turned() {
		grid := space.over(t)
		could := min(grid.volume(), n)
		if could < max(1, most) {
			continue
		}
		grid = partly(grid, n)
		u := t.times(grid)
		if _, left := largestSlab(space, u); could > most || left > slab {
			used, held, most, slab = u, grid.volume(), could, left
		}
	}
	return used, held
}

// partly is the part of a grid that n pieces fill in a box: all of it, else whole
// layers, else whole rows, else part of a row. What n then still holds comes next.
func partly(grid box, n int64) box {
	switch layer := grid[0] * grid[1]; {
	case n >= grid.volume():
		return grid
	case n >= layer:
		return box{grid[0], grid[1], n / layer}
	case n >= grid[0]:
		return box{grid[0], n / grid[0], 1}
	default:
		return box{n, 1, 1}
	}
}

// take removes spaces of one size.
func (b *bench) take(at int, n int64) {
	b.free[at].count -= n
	if b.free[at].count == 0 {
		b.free = slices.Delete(b.free, at, at+1)
	}
}

// leave keeps what cutting a box out of a corner of a space leaves: the largest slab
// right across first, so that large leftovers stay whole.
func (b *bench) leave(space, used box, n int64) {
	for range 3 {
		cut, _ := largestSlab(space, used)
		slab := space
		slab[cut] -= used[cut]
		space[cut] = used[cut]
		b.keep(lot{slab, n})
	}
}

// largestSlab is the axis across which the largest slab comes off, and its volume. An
// axis already cut has a slab of nothing.
func largestSlab(space, used box) (best int, largest int64) {
	for axis := range 3 {
		slab := space
		slab[axis] -= used[axis]
		if v := slab.volume(); v > largest {
			best, largest = axis, v
		}
	}
	return best, largest
}

// keep puts spaces of one size on the bench, in order, if a piece could still come
// from them.
func (b *bench) keep(l lot) {
	if l.volume() < max(1, b.least) {
		return
	}
	l.box = l.sorted()
	at, found := slices.BinarySearchFunc(b.free, l.box, func(s lot, size box) int { return s.compare(size) })
	if found {
		b.free[at].count += l.count
		return
	}
	b.free = slices.Insert(b.free, at, l)
	if len(b.free) > spaces {
		b.free = slices.Delete(b.free, 0, 1)
	}
}

// capacity is how many equal pieces one block holds when it is cut for them alone.
func capacity(block, piece box) int64 {
	b := bench{block: block, least: piece.volume()}
	b.keep(lot{block, 1})
	held := int64(0)
	for at := b.room(piece); at >= 0; at = b.room(piece) {
		held += b.fill(at, piece, math.MaxInt64)
	}
	return held
}
