package drawing

import (
	"math"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

// subpath is what is drawn from one start.
type subpath struct {
	offset int // bytes of path data before it
	start  spot
	curves []curve
	closed bool // by Z
}

// gap is how far the end is from the start.
func (p subpath) gap() float64 { return p.end().from(p.start).length() }

func (p subpath) end() spot {
	if n := len(p.curves); n > 0 {
		return p.curves[n-1].end()
	}
	return p.start
}

// pen draws commands.
type pen struct {
	reach     float64 // how far from the origin a point may be, drawing units
	subpaths  []subpath
	at        spot
	control   spot // the last control point of the last curve
	last      byte // the last command, small
	low, high spot // box round all points
}

// radiusMax and radiusMin bound the radii of arcs, as shares of the pen's reach.
const (
	radiusMax = 100
	radiusMin = 1e-15
)

// draw carries out one command with one set of arguments. Relative ones are made
// absolute first.
func (p *pen) draw(command byte, a [7]float64, offset int) error {
	small := command | 0x20
	origin := spot{}
	if command == small {
		origin = p.at
	}
	to := func(i int) spot { return spot{a[i], a[i+1]}.plus(origin) }
	var c curve
	switch small {
	case 'm':
		return p.move(to(0), offset)
	case 'z':
		return p.close()
	case 'h':
		c = line(p.at, spot{origin.x + a[0], p.at.y})
	case 'v':
		c = line(p.at, spot{p.at.x, origin.y + a[0]})
	case 'l':
		c = line(p.at, to(0))
	case 'c':
		c = cubic(p.at, to(0), to(2), to(4))
	case 's':
		c = cubic(p.at, p.reflected("cs"), to(0), to(2))
	case 'q':
		c = quadratic(p.at, to(0), to(2))
	case 't':
		c = quadratic(p.at, p.reflected("qt"), to(0))
	case 'a':
		return p.arc(a, to(5), offset)
	}
	return p.add(c, small, offset)
}

// reflected is the last control point reflected in where the pen is, or where the pen
// is if the last command drew no curve of the kind (SVG 2, sections 9.3.6 and 9.3.7).
func (p *pen) reflected(kind string) spot {
	if p.last == kind[0] || p.last == kind[1] {
		return p.at.times(2).from(p.control)
	}
	return p.at
}

func (p *pen) move(to spot, offset int) error {
	if err := p.within(to, offset); err != nil {
		return err
	}
	p.subpaths = append(p.subpaths, subpath{offset: offset, start: to})
	p.at, p.last = to, 'm'
	return nil
}

func (p *pen) close() error {
	s := &p.subpaths[len(p.subpaths)-1]
	s.closed = true
	p.at, p.last = s.start, 'z'
	return nil
}

// add draws a curve. After Z it begins a subpath where the last one began.
func (p *pen) add(c curve, command byte, offset int) error {
	for _, q := range c.points[1:] {
		if err := p.within(q, offset); err != nil {
			return err
		}
	}
	if p.last == 'z' {
		p.subpaths = append(p.subpaths, subpath{offset: offset, start: p.at})
	}
	s := &p.subpaths[len(p.subpaths)-1]
	s.curves = append(s.curves, c)
	p.at, p.last = c.end(), command
	if n := len(c.points); n > 2 {
		p.control = c.points[n-2]
	}
	return nil
}

// within widens the box by a point, which must be on the sheet.
func (p *pen) within(q spot, offset int) error {
	if far := max(math.Abs(q.x), math.Abs(q.y)); !(far <= p.reach) { // NaN compares false with all
		return faultAt(offset, "a point at (%.6g, %.6g), allowed is up to %.6g units (%g m) either way",
			q.x, q.y, p.reach, float64(geometry.LengthMax))
	}
	if len(p.subpaths) == 0 {
		p.low, p.high = q, q
	}
	p.low = spot{min(p.low.x, q.x), min(p.low.y, q.y)}
	p.high = spot{max(p.high.x, q.x), max(p.high.y, q.y)}
	return nil
}

// size is the larger side of the box round all points.
func (p *pen) size() float64 { return max(p.high.x-p.low.x, p.high.y-p.low.y) }

// arc draws an elliptical arc. One without a radius is a line, one that ends where it
// begins is nothing, and the sign of a radius does not count (SVG 2, B.2.5).
func (p *pen) arc(a [7]float64, to spot, offset int) error {
	if err := p.within(to, offset); err != nil {
		return err
	}
	rx, ry := math.Abs(a[0]), math.Abs(a[1])
	if rx == 0 || ry == 0 || to.from(p.at).length() < radiusMin*p.reach {
		return p.add(line(p.at, to), 'a', offset)
	}
	if min(rx, ry) < radiusMin*p.reach || max(rx, ry) > radiusMax*p.reach {
		return faultAt(offset, "radii of an arc %g and %g, allowed is 0 or %.6g to %.6g units",
			a[0], a[1], radiusMin*p.reach, radiusMax*p.reach)
	}
	e := newEllipse(p.at, to, rx, ry, math.Mod(a[2], 360)*math.Pi/180, a[3] != 0, a[4] != 0)
	return p.add(curve{points: []spot{p.at, to}, arc: &e}, 'a', offset)
}
