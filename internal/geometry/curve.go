package geometry

import "math"

// vector is a length and a direction in space, in metres along x, y and z.
type vector [3]float64

func (v vector) plus(w vector) vector { return vector{v[0] + w[0], v[1] + w[1], v[2] + w[2]} }

func (v vector) minus(w vector) vector { return vector{v[0] - w[0], v[1] - w[1], v[2] - w[2]} }

func (v vector) times(f float64) vector { return vector{v[0] * f, v[1] * f, v[2] * f} }

func (v vector) dot(w vector) float64 { return v[0]*w[0] + v[1]*w[1] + v[2]*w[2] }

func (v vector) cross(w vector) vector {
	return vector{v[1]*w[2] - v[2]*w[1], v[2]*w[0] - v[0]*w[2], v[0]*w[1] - v[1]*w[0]}
}

func (v vector) length() float64 { return math.Sqrt(v.dot(v)) }

func (v vector) unit() vector { return v.times(1 / v.length()) }

// cubic is the polynomial c0 + c1 u + c2 u^2 + c3 u^3.
type cubic [4]float64

func (c cubic) at(u float64) float64 { return c[0] + u*(c[1]+u*(c[2]+u*c[3])) }

func (c cubic) slope(u float64) float64 { return c[1] + u*(2*c[2]+3*u*c[3]) }

func (c cubic) bend(u float64) float64 { return 2*c[2] + 6*u*c[3] }

// line runs straight from p at 0 to q at 1.
func line(p, q float64) cubic { return cubic{p, q - p} }

// hermite runs from p at 0 to q at 1 with the given slopes there.
func hermite(p, q, slopeP, slopeQ float64) cubic {
	return cubic{p, slopeP, 3*(q-p) - 2*slopeP - slopeQ, slopeP + slopeQ - 2*(q-p)}
}

// through gives the cubics between values that are a knot step apart, each on 0 to
// 1, with the slopes that a rule sets at the values.
func through(steps, values []float64, slopes func(steps, rises []float64) []float64) []cubic {
	rises := make([]float64, len(steps))
	for i, step := range steps {
		rises[i] = (values[i+1] - values[i]) / step
	}
	m := slopes(steps, rises)
	out := make([]cubic, len(steps))
	for i, step := range steps {
		out[i] = hermite(values[i], values[i+1], m[i]*step, m[i+1]*step)
	}
	return out
}

// parabolaSlopes are those of the parabola through a value and its two neighbours,
// at the ends through the nearest three.
func parabolaSlopes(steps, rises []float64) []float64 {
	n := len(rises)
	out := make([]float64, n+1)
	out[0], out[n] = rises[0], rises[n-1]
	for i := 1; i < n; i++ {
		share := steps[i-1] / (steps[i-1] + steps[i])
		out[i] = rises[i-1]*(1-share) + rises[i]*share
	}
	if n > 1 {
		out[0], out[n] = 2*rises[0]-out[1], 2*rises[n-1]-out[n-1]
	}
	return out
}

// monotoneSlopes keep the cubics between the values they join: flat where the values
// turn, else the weighted harmonic mean of the rises on both sides. At the ends the
// curve runs as straight as that allows.
func monotoneSlopes(steps, rises []float64) []float64 {
	n := len(rises)
	out := make([]float64, n+1)
	for i := 1; i < n; i++ {
		if p, q := rises[i-1], rises[i]; p*q > 0 {
			share := (1 + steps[i]/(steps[i-1]+steps[i])) / 3
			out[i] = p * q / (share*q + (1-share)*p)
		}
	}
	out[0], out[n] = rises[0], rises[n-1]
	if n > 1 {
		out[0], out[n] = endSlope(rises[0], out[1]), endSlope(rises[n-1], out[n-1])
	}
	return out
}

// endSlope is (3 rise - slope)/2, which leaves no bend at the end, held to what
// keeps a cubic monotone: from nothing to three times the rise.
func endSlope(rise, inner float64) float64 {
	free := (3*rise - inner) / 2
	if rise >= 0 {
		return min(max(free, 0), 3*rise)
	}
	return max(min(free, 0), 3*rise)
}
