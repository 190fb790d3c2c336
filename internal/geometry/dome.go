package geometry

import "math"

// DomeProfile says what curve a dome is turned from.
type DomeProfile int

// The profiles of a dome.
const (
	// Cap is part of a sphere: its edge meets the base at an angle, unless it is
	// exactly a hemisphere.
	Cap DomeProfile = iota
	// HalfSpheroid is half an ellipse turned: its edge stands upright on the base.
	HalfSpheroid
)

// Dome is a rounded top on a flat round base, such as a toadstool's cap. A Cap
// taller than half its diameter is more than a hemisphere and bulges beyond its
// base; its extent and silhouette are then the sphere's. Only the base of Ends
// counts: EndsBoth and EndsBase mould it, EndsTop and EndsNeither leave it open.
type Dome struct {
	Diameter float64 // m, of the base
	Height   float64 // m
	Profile  DomeProfile
	Ends     Ends
}

// Faults lists what is wrong with the dome's dimensions.
func (d Dome) Faults() []DimensionError {
	var f faultList
	f.length("diameter", d.Diameter)
	f.length("height", d.Height)
	f.choice("profile", int(d.Profile), int(HalfSpheroid))
	f.choice("ends", int(d.Ends), int(EndsNeither))
	return f
}

// Measure gives the measures of [SphericalCap] or of half a [Spheroid], with the
// base if it is moulded.
func (d Dome) Measure() Measures { return d.body().whole() }

// Half gives the measures of the dome cut down its axis.
func (d Dome) Half() Measures { return d.body().half() }

// RadiusAt gives, at height z above the base, sqrt((h-z)(c^2/(4h)+z)) for a cap of
// base c and height h, and d/2 sqrt(1-(z/h)^2) for half a spheroid. Elementary.
func (d Dome) RadiusAt(height float64) (float64, error) {
	if err := onSolid(height, d.Height); err != nil {
		return 0, err
	}
	below := d.Height - height
	if d.Profile == HalfSpheroid {
		return d.Diameter / 2 * (math.Sqrt(below*(d.Height+height)) / d.Height), nil
	}
	return math.Sqrt(below * (d.Diameter*d.Diameter/(4*d.Height) + height)), nil
}

func (d Dome) body() body {
	b := d.capBody()
	if d.Profile == HalfSpheroid {
		b = d.halfSpheroidBody()
	}
	b.base = roundFace(d.Diameter, d.Ends.BaseMoulded())
	return b
}

func (d Dome) halfSpheroidBody() body {
	whole := Spheroid{d.Diameter, 2 * d.Height}.body()
	return body{
		skin: whole.skin / 2, volume: whole.volume / 2, profile: whole.profile / 2,
		front: whole.front / 2, side: whole.side / 2, plan: whole.plan,
		extent: Extent{d.Diameter, d.Diameter, d.Height},
	}
}

func (d Dome) capBody() body {
	c, h := d.Diameter, d.Height
	arc, segment := circularSegment(c, h)
	widest := c
	if h > c/2 {
		widest = h + c*c/(4*h)
	}
	return body{
		skin: capArea(c, h), volume: capVolume(c, h), profile: arc,
		front: segment, side: segment, plan: circleArea(widest),
		extent: Extent{widest, widest, h},
	}
}

// SphericalCap gives the curved area pi (c^2/4 + h^2) and the volume
// pi h (c^2/8 + h^2/6) of a cap with base chord c and height h, in metres
// (MH p. 91). The height may be more than the sphere's radius.
func SphericalCap(chord, height float64) (Shell, error) {
	var f faultList
	f.length("chord", chord)
	f.length("height", height)
	if err := f.err(); err != nil {
		return Shell{}, err
	}
	return Shell{Area: capArea(chord, height), Volume: capVolume(chord, height)}, nil
}

func capArea(c, h float64) float64 { return math.Pi * (c*c/4 + h*h) }

func capVolume(c, h float64) float64 { return math.Pi * h * (c*c/8 + h*h/6) }

// circularSegment gives the arc 2 r t and the area r^2 (2t - sin 2t)/2 of a
// circular segment with chord c and height h, where r = (c^2 + 4h^2)/(8h) and
// t = 2 atan(2h/c) is half the angle at the centre. Elementary.
func circularSegment(c, h float64) (arc, area float64) {
	r := h/2 + c*c/(8*h)
	t := 2 * math.Atan2(2*h, c)
	return 2 * r * t, r * r * lessSine(2*t) / 2
}

// lessSine is x - sin x. A shallow dome has so small an angle that subtraction
// would leave no digits, so below 1/2 the power series is summed instead.
func lessSine(x float64) float64 {
	if x > 0.5 {
		return x - math.Sin(x)
	}
	term := x * x * x / 6
	sum := term
	for n := 4.0; n < 16; n += 2 {
		term *= -x * x / (n * (n + 1))
		sum += term
	}
	return sum
}

// onSolid says whether a height is on a solid that stands from 0 to top.
func onSolid(height, top float64) error {
	if height >= 0 && height <= top {
		return nil
	}
	return DimensionError{"height", height, Millimetres, "0 to " + atMost(top, typedDigits) + " above the base"}
}
