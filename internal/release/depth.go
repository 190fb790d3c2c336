package release

import "math"

// buffer is how near and how far the surface is in every pixel of a square, seen
// along a direction: two opposite directions at once.
type buffer struct {
	side   int
	depths [][2]float32 // the greatest and the least along the direction, in pixels
	spots  [][3]float32 // the caster's vertices: across, up and along, in pixels
	// across, up and along turn a place of the frame into pixels; shift brings the
	// lowest to the first pixel.
	axes  [3][3]float32
	scale float32
	shift [2]float32
	// grain is how far the surface may stand out where it is not meant to, in the frame.
	grain float32
	off   float32 // how far a sample is moved off the surface, pixels
}

// offset is how far at least a sample is moved off the surface before its depth is compared,
// pixels. Without it a wall along the pull falls into the pixel of its own top edge;
// with it no allowance for slope is needed, as the surface is nowhere as far off.
const offset = 1.5

func newBuffer(side int, grain float32) *buffer {
	return &buffer{side: side, grain: grain, depths: make([][2]float32, side*side)}
}

// cast draws all faces of c as seen along d.
func (b *buffer) cast(c *caster, d Direction) {
	b.wipe()
	b.project(c.vertices, d)
	for _, f := range c.faces {
		b.draw(&b.spots[f[0]], &b.spots[f[1]], &b.spots[f[2]])
	}
}

func (b *buffer) wipe() {
	inf := float32(math.Inf(1))
	for i := range b.depths {
		b.depths[i] = [2]float32{-inf, inf}
	}
}

// project turns every vertex once and fits the picture into the square, with a pixel
// to spare on every side.
func (b *buffer) project(vertices [][3]float32, d Direction) {
	u, v := d.across()
	b.axes = [3][3]float32{u.single(), v.single(), d.single()}
	if cap(b.spots) < len(vertices) {
		b.spots = make([][3]float32, len(vertices))
	}
	b.spots = b.spots[:len(vertices)]
	inf := float32(math.Inf(1))
	low, high := [2]float32{inf, inf}, [2]float32{-inf, -inf}
	for i, p := range vertices {
		x, y := dot(b.axes[0], p), dot(b.axes[1], p)
		low[0], high[0] = min(low[0], x), max(high[0], x)
		low[1], high[1] = min(low[1], y), max(high[1], y)
		b.spots[i] = [3]float32{x, y, dot(b.axes[2], p)}
	}
	b.scale = float32(b.side-3) / max(high[0]-low[0], high[1]-low[1], 1e-3)
	b.off = max(offset, b.grain*b.scale)
	b.shift = [2]float32{1 - float32(low[0]*b.scale), 1 - float32(low[1]*b.scale)}
	for i := range b.spots {
		b.spots[i] = b.pixels(b.spots[i])
	}
}

func (b *buffer) pixels(q [3]float32) [3]float32 {
	return [3]float32{float32(q[0]*b.scale) + b.shift[0], float32(q[1]*b.scale) + b.shift[1], q[2] * b.scale}
}

// spot is a place of the frame in pixels. The middles of pixels are whole numbers.
func (b *buffer) spot(p [3]float32) [3]float32 {
	return b.pixels([3]float32{dot(b.axes[0], p), dot(b.axes[1], p), dot(b.axes[2], p)})
}

// facing is n.d.
func (b *buffer) facing(normal [3]float32) float32 { return dot(b.axes[2], normal) }

// clear says whether nothing lies above a place along the direction, and nothing
// along the opposite one.
func (b *buffer) clear(place, normal [3]float32) (above, below bool) {
	q := b.spot(place)
	x := int(q[0] + float32(b.off*dot(b.axes[0], normal)) + 0.5)
	y := int(q[1] + float32(b.off*dot(b.axes[1], normal)) + 0.5)
	z := q[2] + float32(b.off*dot(b.axes[2], normal))
	if x < 0 || y < 0 || x >= b.side || y >= b.side {
		return true, true
	}
	at := b.depths[y*b.side+x]
	return z >= at[0], z <= at[1]
}

// draw enters the depths of a face in the pixels whose middles it covers, its rim
// included so that neighbours leave no gap. Most faces of a fine mesh cover none and
// are left at once.
func (b *buffer) draw(p, q, r *[3]float32) {
	bottom, top := min(p[1], q[1], r[1]), max(p[1], q[1], r[1])
	if !meets(bottom, top) || !meets(min(p[0], q[0], r[0]), max(p[0], q[0], r[0])) {
		return
	}
	if p[1] > q[1] {
		p, q = q, p
	}
	if q[1] > r[1] {
		q, r = r, q
	}
	if p[1] > q[1] {
		p, q = q, p
	}
	s := slopeOf(p, q, r)
	for y := ceil(bottom); y <= floor(top); y++ {
		at := float32(y)
		left, right := crossing(p, r, at), crossing(p, q, at)
		if at > q[1] || p[1] == q[1] {
			right = crossing(q, r, at)
		}
		if left > right {
			left, right = right, left
		}
		b.span(&s, y, ceil(left), floor(right))
	}
}

// span enters the depths of one row from one pixel to another.
func (b *buffer) span(s *slope, y, from, to int) {
	row := b.depths[y*b.side : (y+1)*b.side]
	from, to = max(from, 0), min(to, b.side-1)
	for x := from; x <= to; x++ {
		z := s.at(x, y)
		at := &row[x]
		if z > at[0] {
			at[0] = z
		}
		if z < at[1] {
			at[1] = z
		}
	}
}

// slope is the depth over a face: along x and along y from a corner, never outside
// what its corners have, however steep it is.
type slope struct {
	corner, alongX, alongY float32
	x, y, least, most      float32
}

func slopeOf(p, q, r *[3]float32) slope {
	s := slope{corner: p[2], x: p[0], y: p[1], least: min(p[2], q[2], r[2]), most: max(p[2], q[2], r[2])}
	ax, ay, az := q[0]-p[0], q[1]-p[1], q[2]-p[2]
	bx, by, bz := r[0]-p[0], r[1]-p[1], r[2]-p[2]
	if area := float32(ax*by) - float32(ay*bx); area != 0 {
		s.alongX, s.alongY = (float32(az*by)-float32(ay*bz))/area, (float32(ax*bz)-float32(az*bx))/area
	}
	return s
}

func (s *slope) at(x, y int) float32 {
	z := s.corner + float32(s.alongX*(float32(x)-s.x)) + float32(s.alongY*(float32(y)-s.y))
	return max(s.least, min(s.most, z))
}

// crossing is where the edge from p up to q is at a height. Both faces at an edge
// reckon it alike.
func crossing(p, q *[3]float32, y float32) float32 {
	if q[1] == p[1] {
		return p[0]
	}
	return p[0] + float32((q[0]-p[0])*((y-p[1])/(q[1]-p[1])))
}

// meets says whether a whole number lies between two that are not negative.
func meets(low, high float32) bool { return float32(int32(high)) >= low }

// ceil and floor are of numbers that are not negative but for rounding.
func ceil(x float32) int {
	n := int(x)
	if float32(n) < x {
		n++
	}
	return n
}

func floor(x float32) int { return int(x) }
