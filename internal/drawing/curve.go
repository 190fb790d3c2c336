package drawing

import "math"

// curve is a stretch of a subpath: by its points a line (two), a quadratic (three) or
// a cubic Bezier (four); or an arc between two.
type curve struct {
	points []spot
	arc    *ellipse
}

func line(a, b spot) curve { return curve{points: []spot{a, b}} }

func quadratic(a, control, b spot) curve { return curve{points: []spot{a, control, b}} }

func cubic(a, first, second, b spot) curve { return curve{points: []spot{a, first, second, b}} }

func (c curve) end() spot { return c.points[len(c.points)-1] }

// at is where the curve is at t, 0 to 1 (de Casteljau).
func (c curve) at(t float64) spot {
	if c.arc != nil {
		return c.arc.at(t)
	}
	var p [4]spot
	n := copy(p[:], c.points)
	for ; n > 1; n-- {
		for i := range n - 1 {
			p[i] = p[i].times(1 - t).plus(p[i+1].times(t))
		}
	}
	return p[0]
}

// pieces is how many chords, over equal steps of t, leave the curve by no more than
// deviation: n with (largest second derivative)/(8 n^2) <= deviation (the error of
// linear interpolation; elementary). More than PointsMax are not told apart.
func (c curve) pieces(deviation float64) int {
	if len(c.points) == 2 && c.arc == nil {
		return 1
	}
	n := math.Ceil(math.Sqrt(c.bend() / (8 * deviation)))
	if !(n <= PointsMax) { // NaN compares false with all
		return PointsMax + 1
	}
	return max(1, int(n))
}

// bend bounds the length of the second derivative by t.
func (c curve) bend() float64 {
	if c.arc != nil {
		return max(c.arc.rx, c.arc.ry) * c.arc.sweep * c.arc.sweep
	}
	largest, degree := 0.0, float64(len(c.points)-1)
	for i := range len(c.points) - 2 {
		second := c.points[i].plus(c.points[i+2]).from(c.points[i+1].times(2))
		largest = max(largest, second.length())
	}
	return degree * (degree - 1) * largest
}

// ellipse is an elliptical arc by its centre.
type ellipse struct {
	centre       spot
	rx, ry       float64
	sin, cos     float64 // of the turn of its x axis
	first, sweep float64 // rad, where it begins and how far it goes, by the parameter
}

// newEllipse finds the arc between two points (SVG 2, B.2.4, steps 1 to 4). Radii too
// small to span them are scaled up (B.2.5).
func newEllipse(a, b spot, rx, ry, turn float64, large, clockwise bool) ellipse {
	e := ellipse{rx: rx, ry: ry}
	e.sin, e.cos = math.Sincos(turn)
	half := e.unturned(a.from(b).times(0.5))
	u := spot{half.x / rx, half.y / ry} // on the unit circle
	reach := u.length()
	if reach > 1 {
		e.rx, e.ry, u = rx*reach, ry*reach, u.times(1/reach)
		reach = 1
	}
	side := math.Sqrt(max(0, (1-reach)*(1+reach))) / reach
	if large == clockwise {
		side = -side
	}
	centre := spot{side * u.y, -side * u.x}
	e.centre = e.turned(spot{centre.x * e.rx, centre.y * e.ry}).plus(a.plus(b).times(0.5))
	start, end := u.from(centre), u.times(-1).from(centre)
	e.first = math.Atan2(start.y, start.x)
	e.sweep = swept(e.first, math.Atan2(end.y, end.x), clockwise)
	return e
}

// swept is the angle from one to another; positive angles are clockwise as drawn.
func swept(first, last float64, clockwise bool) float64 {
	sweep := last - first
	switch {
	case clockwise && sweep < 0:
		sweep += 2 * math.Pi
	case !clockwise && sweep > 0:
		sweep -= 2 * math.Pi
	}
	return sweep
}

func (e ellipse) turned(p spot) spot {
	return spot{e.cos*p.x - e.sin*p.y, e.sin*p.x + e.cos*p.y}
}

func (e ellipse) unturned(p spot) spot {
	return spot{e.cos*p.x + e.sin*p.y, e.cos*p.y - e.sin*p.x}
}

func (e ellipse) at(t float64) spot {
	sin, cos := math.Sincos(e.first + t*e.sweep)
	return e.turned(spot{e.rx * cos, e.ry * sin}).plus(e.centre)
}
