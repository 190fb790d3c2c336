package picture

// kind is what lies between two samples that are neighbours.
type kind uint8

const (
	none    kind = iota
	contour      // the piece ends, or passes before itself
	parting      // two mould pieces meet
)

// jump is how far the surface may fall between neighbours before it counts as
// passing before itself, as a part of the largest size.
const jump = 0.04

// steep is jump in steps of depth.
func (r *raster) steep() int32 {
	return int32(min(float64(jump*r.box.largest())*r.toDepth(), deepest))
}

// covered reports whether the piece is seen at a sample; outside the raster it is
// not.
func (r *raster) covered(at int) bool { return at >= 0 && r.depth[at] != nothing }

// between says what lies between two samples.
func (r *raster) between(a, b int, steep int32) kind {
	if !r.covered(a) || !r.covered(b) {
		if r.covered(a) == r.covered(b) {
			return none
		}
		return contour
	}
	if fall := r.depth[a] - r.depth[b]; fall > steep || fall < -steep {
		return contour
	}
	if r.label[a] != r.label[b] {
		return parting
	}
	return none
}

// halfPlace is a place on a raster in halves of a sample.
type halfPlace struct{ x, y int32 }

// chain is a line along the borders of samples.
type chain struct {
	places []halfPlace
	closed bool
}

// cracks are the borders between samples that a line follows. At each corner of the
// grid, bit 0 stands for the border to the right, bit 1 for the one below.
type cracks struct {
	w, h int // corners
	bits []uint8
}

// crack finds the borders that pick chooses. pick is given two neighbours, -1 for
// what lies outside.
func (r *raster) crack(pick func(a, b int) bool) cracks {
	c := cracks{r.w + 1, r.h + 1, make([]uint8, (r.w+1)*(r.h+1))}
	for y := range c.h {
		for x := range c.w {
			var bits uint8
			if x < r.w && pick(r.at(x, y-1), r.at(x, y)) {
				bits |= 1
			}
			if y < r.h && pick(r.at(x-1, y), r.at(x, y)) {
				bits |= 2
			}
			c.bits[y*c.w+x] = bits
		}
	}
	return c
}

// at is the index of a sample, -1 outside.
func (r *raster) at(x, y int) int {
	if x < 0 || y < 0 || x >= r.w || y >= r.h {
		return -1
	}
	return y*r.w + x
}

// border returns the corner and bit of the border that leads from a corner in a
// direction: 0 right, 1 down, 2 left, 3 up. The bit is 0 outside.
func (c *cracks) border(x, y, way int) (at int, bit uint8) {
	switch {
	case way == 0:
		return y*c.w + x, 1
	case way == 1:
		return y*c.w + x, 2
	case way == 2 && x > 0:
		return y*c.w + x - 1, 1
	case way == 3 && y > 0:
		return (y-1)*c.w + x, 2
	}
	return 0, 0
}

// odd reports whether a line ends or three meet at a corner.
func (c *cracks) odd(x, y int) bool {
	odd := false
	for way := range 4 {
		at, bit := c.border(x, y, way)
		odd = odd != (c.bits[at]&bit != 0)
	}
	return odd
}

// chains joins the borders into lines: first those that end somewhere, then loops.
// It uses the borders up.
func (c *cracks) chains() []chain {
	var all []chain
	for _, open := range []bool{true, false} {
		for i := range c.bits {
			for x, y := i%c.w, i/c.w; (!open && c.bits[i] != 0) || (open && c.odd(x, y)); {
				all = append(all, c.walk(x, y))
			}
		}
	}
	return all
}

// walk follows borders from a corner until there is none left, turning right where
// it can. The line goes through the middles of the borders, which cuts the corners
// of the grid as marching squares do.
func (c *cracks) walk(x, y int) chain {
	startX, startY, way := x, y, 0
	line := []halfPlace{{int32(2 * x), int32(2 * y)}} //nolint:gosec // a raster has fewer than 2^15 columns
	for {
		next, ok := c.take(x, y, way)
		if !ok {
			break
		}
		way = next
		dx, dy := step(way)
		line = append(line, halfPlace{int32(2*x + dx), int32(2*y + dy)}) //nolint:gosec // see above
		x, y = x+dx, y+dy
	}
	if x == startX && y == startY {
		return chain{line[1:], true}
	}
	return chain{append(line, halfPlace{int32(2 * x), int32(2 * y)}), false} //nolint:gosec // see above
}

func step(way int) (dx, dy int) {
	switch way {
	case 0:
		return 1, 0
	case 1:
		return 0, 1
	case 2:
		return -1, 0
	}
	return 0, -1
}

// take uses up the next border.
func (c *cracks) take(x, y, way int) (next int, ok bool) {
	for _, turn := range [4]int{1, 0, 3, 2} {
		next = (way + turn) % 4
		if at, bit := c.border(x, y, next); c.bits[at]&bit != 0 {
			c.bits[at] &^= bit
			return next, true
		}
	}
	return 0, false
}

// simplify leaves out places that lie within 0.7 samples, or coarse times as much, of
// the line without them (Douglas and Peucker's method).
func (c chain) simplify(coarse int64) chain {
	n := len(c.places)
	if n < 3 {
		return c
	}
	if !c.closed {
		return chain{append(thin(c.places, coarse), c.places[n-1]), false}
	}
	far, most := 0, int64(-1)
	for i, p := range c.places {
		if d := c.places[0].apart(p); d > most {
			far, most = i, d
		}
	}
	back := append(append([]halfPlace{}, c.places[far:]...), c.places[0])
	return chain{append(thin(c.places[:far+1], coarse), thin(back, coarse)...), true}
}

// thin simplifies a line and leaves its last place to whoever follows.
func thin(line []halfPlace, coarse int64) []halfPlace {
	var kept []halfPlace
	from, ends := 0, []int{len(line) - 1}
	for len(ends) > 0 {
		to := ends[len(ends)-1]
		if far := farthest(line, from, to, coarse); far > from {
			ends = append(ends, far)
			continue
		}
		kept = append(kept, line[from])
		from, ends = to, ends[:len(ends)-1]
	}
	return kept
}

// farthest returns the place between two of a line that lies farthest from their
// chord, or from where none lies farther than coarse times 0.7 samples.
func farthest(line []halfPlace, from, to int, coarse int64) int {
	far, most := from, int64(-1)
	a, b := line[from], line[to]
	length := a.apart(b)
	for i := from + 1; i < to; i++ {
		off := a.turn(b, line[i])
		d := off * off // twice an area, squared: over length it is a distance, squared
		if length == 0 {
			d = a.apart(line[i])
		}
		if d > most && d > 2*coarse*coarse*max(length, 1) {
			far, most = i, d
		}
	}
	return far
}

// apart is the square of a distance in halves of a sample.
func (p halfPlace) apart(q halfPlace) int64 {
	dx, dy := int64(q.x-p.x), int64(q.y-p.y)
	return dx*dx + dy*dy
}

// turn is twice the area of the triangle p, q, r.
func (p halfPlace) turn(q, r halfPlace) int64 {
	return int64(q.x-p.x)*int64(r.y-p.y) - int64(q.y-p.y)*int64(r.x-p.x)
}
