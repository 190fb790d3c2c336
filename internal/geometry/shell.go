package geometry

import "math"

// ExponentMin and ExponentMax bound the exponents of a superellipsoid: below it is
// all spikes, above it is a box to the eye.
const (
	ExponentMin = 0.2
	ExponentMax = 100
)

// Shell is the curved area and the enclosed volume of a handbook shape; flat faces
// are not in the area.
type Shell struct {
	Area   float64 // m2
	Volume float64 // m3
}

// SphericalWedge gives the curved area a d^2/2 and volume a d^3/12 of a segment, as
// of an orange, cut from a ball of diameter d in metres by two planes through its
// axis at an angle of a radians (MH p. 92: the share a/(2 pi) of the ball).
func SphericalWedge(diameter, angle float64) (Shell, error) {
	var f faultList
	f.length("diameter", diameter)
	f.angle("angle", angle)
	if err := f.err(); err != nil {
		return Shell{}, err
	}
	area := angle * diameter * diameter / 2
	return Shell{Area: area, Volume: area * diameter / 6}, nil
}

// Paraboloid gives the measures of a parabola's bowl with mouth diameter d and
// depth h in metres: area 2 pi/(3p) ((d^2/4 + p^2)^1.5 - p^3) with p = d^2/(8h),
// and volume pi d^2 h/8 (MH p. 92).
func Paraboloid(diameter, height float64) (Shell, error) {
	var f faultList
	f.length("diameter", diameter)
	f.length("height", height)
	if err := f.err(); err != nil {
		return Shell{}, err
	}
	return Shell{Area: paraboloidArea(diameter/2, height), Volume: circleArea(diameter) * height / 2}, nil
}

// paraboloidArea is the handbook's formula with the difference of cubes divided
// out, which in a shallow bowl would leave no digits: with mouth radius u and
// q^2 = u^2 + 4 h^2 it is 2 pi u/3 (q^2 + q u + u^2)/(q + u).
func paraboloidArea(u, h float64) float64 {
	q := math.Hypot(u, 2*h)
	return 2 * math.Pi * u / 3 * (q*q + q*u + u*u) / (q + u)
}

// ObliqueCylinder gives the wall pi d (h1 + h2)/2 and volume pi d^2 (h1 + h2)/8 of
// a cylinder whose top is cut at a slant, from its diameter and its lowest and
// highest wall height in metres (MH p. 89). [ObliqueFace] is the slanting top.
func ObliqueCylinder(diameter, low, high float64) (Shell, error) {
	if err := obliqueFaults(diameter, low, high).err(); err != nil {
		return Shell{}, err
	}
	mean := (low + high) / 2
	return Shell{Area: math.Pi * diameter * mean, Volume: circleArea(diameter) * mean}, nil
}

// ObliqueFace gives the area pi r sqrt(r^2 + ((h2 - h1)/2)^2) in m2 of the ellipse
// at the top of an [ObliqueCylinder] (elementary: semi-axes r and half the slant).
func ObliqueFace(diameter, low, high float64) (float64, error) {
	if err := obliqueFaults(diameter, low, high).err(); err != nil {
		return 0, err
	}
	r := diameter / 2
	return math.Pi * r * math.Hypot(r, (high-low)/2), nil
}

func obliqueFaults(diameter, low, high float64) faultList {
	var f faultList
	f.length("diameter", diameter)
	f.lengthOrZero("low", low)
	f.length("high", high)
	if low > high {
		f.add("low", low, Millimetres, "no more than the highest wall height")
	}
	return f
}

// Capsule gives the area 2 pi r L + 4 pi r^2 and volume pi r^2 L + 4/3 pi r^3 of a
// cylinder with a half ball at each end, from its diameter 2 r and the length L of
// its straight part in metres. Elementary.
func Capsule(diameter, straight float64) (Shell, error) {
	var f faultList
	f.length("diameter", diameter)
	f.lengthOrZero("straight", straight)
	if err := f.err(); err != nil {
		return Shell{}, err
	}
	ball := Sphere{diameter}.body()
	return Shell{
		Area:   math.Pi*diameter*straight + ball.skin,
		Volume: circleArea(diameter)*straight + ball.volume,
	}, nil
}

// SuperellipsoidVolume gives the volume in m3 of a rounded box or superegg with
// full axes in metres. The plan exponent r shapes the level sections and the
// elevation exponent t the upright ones: (|x/a|^r + |y/b|^r)^(t/r) + |z/c|^t = 1
// with semi-axes a, b, c. Exponent 2 is round, 1 a diamond, more is squarer.
//
// V = 2 a b c e f B(e/2 + 1, e) B(f/2, f/2), e = 2/t, f = 2/r, B Euler's beta (from
// memory). With r = t = n it is 8 a b c G(1 + 1/n)^3/G(1 + 3/n), G Euler's gamma
// (MathWorld, Supersphere).
func SuperellipsoidVolume(width, depth, height, planExponent, elevationExponent float64) (float64, error) {
	var f faultList = Ellipsoid{width, depth, height}.Faults()
	f.within("planExponent", planExponent, ExponentMin, ExponentMax, Number, "")
	f.within("elevationExponent", elevationExponent, ExponentMin, ExponentMax, Number, "")
	if err := f.err(); err != nil {
		return 0, err
	}
	e, p := 2/elevationExponent, 2/planExponent
	return width * depth * height / 4 * e * p * beta(e/2+1, e) * beta(p/2, p/2), nil
}

// beta is Euler's G(x) G(y)/G(x+y) for positive x and y, by logarithms so that no
// gamma overflows.
func beta(x, y float64) float64 {
	lx, _ := math.Lgamma(x)
	ly, _ := math.Lgamma(y)
	lxy, _ := math.Lgamma(x + y)
	return math.Exp(lx + ly - lxy)
}
