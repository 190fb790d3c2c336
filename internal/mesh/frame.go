package mesh

import "math"

// plus returns p + q.
func (p Point) plus(q Point) Point { return Point{p[0] + q[0], p[1] + q[1], p[2] + q[2]} }

// times returns f p.
func (p Point) times(f float64) Point { return Point{f * p[0], f * p[1], f * p[2]} }

// unit is the direction of p, or up where it has no length.
func (p Point) unit() Point {
	if l := p.length(); l > 0 {
		return p.times(1 / l)
	}
	return Point{0, 0, 1}
}

// square is some direction square to a direction.
func (p Point) square() Point {
	other := Point{1, 0, 0}
	if math.Abs(p[0]) > 0.7 {
		other = Point{0, 1, 0}
	}
	return p.cross(other).unit()
}

// frame is three directions square to each other.
type frame [3]Point

// turnedAbout is a frame with its first axis given and the second turned by an
// angle from a fixed start.
func turnedAbout(axis Point, angle float64) frame {
	u := axis.square()
	v := axis.cross(u)
	w := u.times(math.Cos(angle)).plus(v.times(math.Sin(angle)))
	return frame{axis, w, axis.cross(w)}
}

// into gives the coordinates of a in the frame.
func (f frame) into(a Point) Point { return Point{f[0].dot(a), f[1].dot(a), f[2].dot(a)} }

// out gives what has the coordinates c in the frame.
func (f frame) out(c Point) Point {
	return f[0].times(c[0]).plus(f[1].times(c[1])).plus(f[2].times(c[2]))
}

// hemisphere spreads n directions evenly over the upper half of all (a Fibonacci
// spiral: equal steps of height, turned by the golden angle).
func hemisphere(n int) []Point {
	golden := math.Pi * (3 - math.Sqrt(5))
	all := make([]Point, n)
	for i := range all {
		z := 1 - (float64(i)+0.5)/float64(n)
		r, a := math.Sqrt(1-z*z), golden*float64(i)
		all[i] = Point{r * math.Cos(a), r * math.Sin(a), z}
	}
	return all
}
