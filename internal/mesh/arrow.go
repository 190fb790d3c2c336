package mesh

import "math"

// arrow is a length with a direction, m, or a direction alone.
type arrow [3]float64

func from(p, q Point) arrow { return arrow{q[0] - p[0], q[1] - p[1], q[2] - p[2]} }

func (a arrow) dot(b arrow) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

func (a arrow) cross(b arrow) arrow {
	return arrow{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

func (a arrow) plus(b arrow) arrow { return arrow{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

func (a arrow) times(f float64) arrow { return arrow{f * a[0], f * a[1], f * a[2]} }

func (a arrow) length() float64 { return math.Sqrt(a.dot(a)) }

// unit is the direction of a, or up where a has no length.
func (a arrow) unit() arrow {
	if l := a.length(); l > 0 {
		return a.times(1 / l)
	}
	return arrow{0, 0, 1}
}

// square is some direction square to a direction.
func (a arrow) square() arrow {
	other := arrow{1, 0, 0}
	if math.Abs(a[0]) > 0.7 {
		other = arrow{0, 1, 0}
	}
	return a.cross(other).unit()
}

// areaVector is square to a triangle, outward, and as long as its area, m2.
func areaVector(t Triangle) arrow { return from(t[0], t[1]).cross(from(t[0], t[2])).times(0.5) }

// frame is three directions square to each other.
type frame [3]arrow

// turnedAbout is a frame with its first axis given and the second turned by an
// angle from a fixed start.
func turnedAbout(axis arrow, angle float64) frame {
	u := axis.square()
	v := axis.cross(u)
	w := u.times(math.Cos(angle)).plus(v.times(math.Sin(angle)))
	return frame{axis, w, axis.cross(w)}
}

// into gives the coordinates of a in the frame.
func (f frame) into(a arrow) arrow { return arrow{f[0].dot(a), f[1].dot(a), f[2].dot(a)} }

// out gives what has the coordinates c in the frame.
func (f frame) out(c arrow) arrow {
	return f[0].times(c[0]).plus(f[1].times(c[1])).plus(f[2].times(c[2]))
}

// hemisphere spreads n directions evenly over the upper half of all (a Fibonacci
// spiral: equal steps of height, turned by the golden angle).
func hemisphere(n int) []arrow {
	golden := math.Pi * (3 - math.Sqrt(5))
	all := make([]arrow, n)
	for i := range all {
		z := 1 - (float64(i)+0.5)/float64(n)
		r, a := math.Sqrt(1-z*z), golden*float64(i)
		all[i] = arrow{r * math.Cos(a), r * math.Sin(a), z}
	}
	return all
}
