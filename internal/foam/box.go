package foam

import "slices"

// box is three sides in grains. Volumes stay below (1e6)^3 = 1e18, inside an int64.
type box [3]int64

// lot is a number of boxes of one size.
type lot struct {
	box
	count int64
}

func (b box) volume() int64 {
	return b[0] * b[1] * b[2]
}

// sorted is the box turned so that its sides rise; equal sizes then compare equal.
func (b box) sorted() box {
	slices.Sort(b[:])
	return b
}

// turned is the six ways a box can lie square to the axes.
func (b box) turned() [6]box {
	return [6]box{
		{b[0], b[1], b[2]},
		{b[0], b[2], b[1]},
		{b[1], b[0], b[2]},
		{b[1], b[2], b[0]},
		{b[2], b[0], b[1]},
		{b[2], b[1], b[0]},
	}
}

// fits says whether a box fits in another lying square to it. Both are sorted.
func (b box) fits(in box) bool {
	return b[0] <= in[0] && b[1] <= in[1] && b[2] <= in[2]
}

// times multiplies side by side.
func (b box) times(n box) box {
	return box{b[0] * n[0], b[1] * n[1], b[2] * n[2]}
}

// over is how many whole boxes of another size stand along each side.
func (b box) over(piece box) box {
	return box{b[0] / piece[0], b[1] / piece[1], b[2] / piece[2]}
}

// compare orders by volume, then by the sides.
func (b box) compare(c box) int {
	if b.volume() != c.volume() {
		if b.volume() < c.volume() {
			return -1
		}
		return 1
	}
	return slices.Compare(b[:], c[:])
}
