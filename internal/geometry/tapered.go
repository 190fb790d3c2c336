package geometry

import "math"

// Cylinder is a straight round column standing upright.
type Cylinder struct {
	Diameter float64 // m
	Height   float64 // m
	Ends     Ends
}

// Faults lists what is wrong with the cylinder's dimensions.
func (c Cylinder) Faults() []DimensionError {
	var f faultList
	f.length("diameter", c.Diameter)
	f.length("height", c.Height)
	f.choice("ends", int(c.Ends), int(EndsNeither))
	return f
}

// Measure gives, from the frustum with equal ends, side pi d h, volume pi d^2 h/4
// (MH p. 89) and the ends that are moulded.
func (c Cylinder) Measure() Measures { return c.frustum().Measure() }

// Half gives the measures of a half-round column with an open back.
func (c Cylinder) Half() Measures { return c.frustum().Half() }

// RadiusAt gives d/2 at every height of the cylinder.
func (c Cylinder) RadiusAt(height float64) (float64, error) { return c.frustum().RadiusAt(height) }

func (c Cylinder) frustum() Frustum { return Frustum{c.Diameter, c.Diameter, c.Height, c.Ends} }

// Cone is a round cone standing on its base. Only the base of Ends counts.
type Cone struct {
	Diameter float64 // m, of the base
	Height   float64 // m
	Ends     Ends
}

// Faults lists what is wrong with the cone's dimensions.
func (c Cone) Faults() []DimensionError {
	var f faultList
	f.length("diameter", c.Diameter)
	f.length("height", c.Height)
	f.choice("ends", int(c.Ends), int(EndsNeither))
	return f
}

// Measure gives, from the frustum with no top, side pi r sqrt(r^2 + h^2), volume
// pi d^2 h/12 (MH p. 90) and the base if it is moulded.
func (c Cone) Measure() Measures { return c.frustum().Measure() }

// Half gives the measures of the cone cut down its axis.
func (c Cone) Half() Measures { return c.frustum().Half() }

// RadiusAt gives d/2 (1 - z/h) at height z above the base.
func (c Cone) RadiusAt(height float64) (float64, error) { return c.frustum().RadiusAt(height) }

func (c Cone) frustum() Frustum { return Frustum{c.Diameter, 0, c.Height, c.Ends} }

// Frustum is a tapering round stem. Either end, but not both, may have diameter
// zero: it is then a point with no face and no rim.
type Frustum struct {
	BaseDiameter float64 // m
	TopDiameter  float64 // m
	Height       float64 // m
	Ends         Ends
}

// Faults lists what is wrong with the frustum's dimensions.
func (s Frustum) Faults() []DimensionError {
	var f faultList
	f.lengthOrZero("baseDiameter", s.BaseDiameter)
	f.lengthOrZero("topDiameter", s.TopDiameter)
	if s.BaseDiameter == 0 && s.TopDiameter == 0 {
		f.add("baseDiameter", 0, Millimetres, "more than 0 mm where the top diameter is 0")
	}
	f.length("height", s.Height)
	f.choice("ends", int(s.Ends), int(EndsNeither))
	return f
}

// Measure gives side pi (R + r) sqrt(h^2 + (R - r)^2), volume
// pi h/3 (R^2 + R r + r^2) (MH p. 90) and the ends that are moulded.
func (s Frustum) Measure() Measures { return s.body().whole() }

// Half gives the measures of the frustum cut down its axis.
func (s Frustum) Half() Measures { return s.body().half() }

// RadiusAt gives R + (r - R) z/h at height z above the base. Elementary.
func (s Frustum) RadiusAt(height float64) (float64, error) {
	if err := onSolid(height, s.Height); err != nil {
		return 0, err
	}
	share := height / s.Height
	return (s.BaseDiameter*(1-share) + s.TopDiameter*share) / 2, nil
}

func (s Frustum) body() body {
	side, volume := frustum(s.BaseDiameter/2, s.TopDiameter/2, s.Height)
	widest := max(s.BaseDiameter, s.TopDiameter)
	elevation := (s.BaseDiameter + s.TopDiameter) / 2 * s.Height
	return body{
		skin: side, volume: volume,
		profile: 2 * math.Hypot(s.Height, (s.BaseDiameter-s.TopDiameter)/2),
		base:    roundFace(s.BaseDiameter, s.Ends.BaseMoulded()),
		top:     roundFace(s.TopDiameter, s.Ends.TopMoulded()),
		front:   elevation, side: elevation, plan: circleArea(widest),
		extent: Extent{widest, widest, s.Height},
	}
}

// frustum gives the side and the volume of a cone frustum with radii r1, r2 and
// height h (MH p. 90); the volume has the sign of h, which [Revolve] needs.
func frustum(r1, r2, h float64) (side, volume float64) {
	side = math.Pi * (r1 + r2) * math.Hypot(h, r1-r2)
	return side, math.Pi * h / 3 * (r1*r1 + r1*r2 + r2*r2)
}
