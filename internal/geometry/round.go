package geometry

import "math"

// Sphere is a ball.
type Sphere struct {
	Diameter float64 // m
}

// Faults lists what is wrong with the sphere's dimensions.
func (s Sphere) Faults() []DimensionError {
	var f faultList
	f.length("diameter", s.Diameter)
	return f
}

// Measure gives area pi d^2 and volume pi d^3/6 (MH p. 91).
func (s Sphere) Measure() Measures { return s.body().whole() }

// Half gives the measures of an open-backed half ball.
func (s Sphere) Half() Measures { return s.body().half() }

// RadiusAt gives sqrt(h (d - h)) at height h above the lowest point. Elementary.
func (s Sphere) RadiusAt(height float64) (float64, error) {
	return Spheroid{s.Diameter, s.Diameter}.RadiusAt(height)
}

func (s Sphere) body() body {
	d, disc := s.Diameter, circleArea(s.Diameter)
	return body{
		skin: math.Pi * d * d, volume: math.Pi * d * d * d / 6, profile: math.Pi * d,
		front: disc, side: disc, plan: disc,
		extent: Extent{d, d, d},
	}
}

// Spheroid is an ellipse turned about its vertical axis: an egg if it is taller
// than wide (prolate), a bun if it is wider than tall (oblate).
type Spheroid struct {
	Diameter float64 // m, of the round waist
	Height   float64 // m, along the axis
}

// Faults lists what is wrong with the spheroid's dimensions.
func (s Spheroid) Faults() []DimensionError {
	var f faultList
	f.length("diameter", s.Diameter)
	f.length("height", s.Height)
	return f
}

// Measure gives the measures of an ellipsoid with two equal axes; volume
// 4/3 pi a b^2 (MH p. 91).
func (s Spheroid) Measure() Measures { return s.body().whole() }

// Half gives the measures of the spheroid cut down its axis.
func (s Spheroid) Half() Measures { return s.body().half() }

// RadiusAt gives d/H sqrt(h (H - h)) at height h above the lowest point.
// Elementary.
func (s Spheroid) RadiusAt(height float64) (float64, error) {
	if err := onSolid(height, s.Height); err != nil {
		return 0, err
	}
	return s.Diameter * (math.Sqrt(height*(s.Height-height)) / s.Height), nil
}

func (s Spheroid) body() body { return Ellipsoid{s.Diameter, s.Diameter, s.Height}.body() }

// Ellipsoid has three axes of its own, each measured right across.
type Ellipsoid struct {
	Width  float64 // m
	Depth  float64 // m
	Height float64 // m
}

// Faults lists what is wrong with the ellipsoid's dimensions.
func (e Ellipsoid) Faults() []DimensionError {
	var f faultList
	f.length("width", e.Width)
	f.length("depth", e.Depth)
	f.length("height", e.Height)
	return f
}

// Measure gives the area of [EllipsoidArea] and volume 4/3 pi a b c with
// semi-axes a, b, c (elementary; MH p. 91 for the spheroid).
func (e Ellipsoid) Measure() Measures { return e.body().whole() }

// Half gives the measures of the ellipsoid with its depth halved.
func (e Ellipsoid) Half() Measures { return e.body().half() }

func (e Ellipsoid) body() body {
	a, b, c := e.Width/2, e.Depth/2, e.Height/2
	return body{
		skin:    ellipsoidArea(a, b, c),
		volume:  4 * math.Pi * a * b * c / 3,
		profile: ellipsePerimeter(a, c),
		front:   math.Pi * a * c, side: math.Pi * b * c, plan: math.Pi * a * b,
		extent: Extent(e),
	}
}
