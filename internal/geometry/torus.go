package geometry

import "math"

// fullTurnTolerance is how near, in radians, a bent tube must come to a full turn
// to count as a closed ring with no ends: degrees turned into radians lose a bit.
const fullTurnTolerance = 1e-9

// Ring is a torus that stands upright, facing front. A half is cut by the plane of
// the ring, so that it lies flat against a wall.
type Ring struct {
	CentreDiameter float64 // m, of the circle down the middle of the tube
	TubeDiameter   float64 // m, no more than CentreDiameter
}

// Faults lists what is wrong with the ring's dimensions.
func (r Ring) Faults() []DimensionError {
	var f faultList
	f.length("centreDiameter", r.CentreDiameter)
	f.length("tubeDiameter", r.TubeDiameter)
	if r.CentreDiameter < r.TubeDiameter {
		f.add("centreDiameter", r.CentreDiameter, Millimetres,
			"at least the tube diameter ("+atLeast(r.TubeDiameter, typedDigits)+"), or the tube runs into itself")
	}
	return f
}

// Measure gives area pi^2 D d and volume pi^2 D d^2/4 (MH p. 93).
func (r Ring) Measure() Measures { return r.tube().Measure() }

// Half gives the measures of the ring split like a bagel.
func (r Ring) Half() Measures { return r.tube().Half() }

func (r Ring) tube() BentTube {
	return BentTube{BendRadius: r.CentreDiameter / 2, TubeDiameter: r.TubeDiameter, Angle: 2 * math.Pi}
}

// BentTube is an arc of a torus: a handle, hook or tail. It stands as an arch, its
// middle uppermost and the plane of its bend facing front; a half is cut by that
// plane, so that it lies flat against a wall. Its start is the base of Ends, its
// far end the top; a full turn has neither.
type BentTube struct {
	BendRadius   float64 // m, of the line down the middle; at least half of TubeDiameter
	TubeDiameter float64 // m
	Angle        float64 // rad, of the bend: more than 0, at most 2 pi
	Ends         Ends
}

// Faults lists what is wrong with the tube's dimensions.
func (t BentTube) Faults() []DimensionError {
	var f faultList
	f.length("bendRadius", t.BendRadius)
	f.length("tubeDiameter", t.TubeDiameter)
	if t.BendRadius < t.TubeDiameter/2 {
		f.add("bendRadius", t.BendRadius, Millimetres,
			"at least half the tube diameter ("+atLeast(t.TubeDiameter/2, typedDigits)+"), or the tube runs into itself")
	}
	f.angle("angle", t.Angle)
	f.choice("ends", int(t.Ends), int(EndsNeither))
	return f
}

// Measure gives wall 2 pi r R t, volume pi r^2 R t and the ends that are moulded,
// for a tube of radius r bent to radius R through t radians (Pappus-Guldin).
func (t BentTube) Measure() Measures { return t.body().whole() }

// Half gives the measures of the tube split along its bend.
func (t BentTube) Half() Measures { return t.body().half() }

func (t BentTube) body() body {
	d, length := t.TubeDiameter, t.BendRadius*t.Angle
	b := body{
		skin: math.Pi * d * length, volume: circleArea(d) * length,
		profile: 2 * length, // the inner arc is short by what the outer is long
		front:   d * length, side: t.sideElevation(), plan: t.planElevation(),
		extent: t.extent(),
	}
	if t.Angle < 2*math.Pi-fullTurnTolerance {
		b.base = roundFace(d, t.Ends.BaseMoulded())
		b.top = roundFace(d, t.Ends.TopMoulded())
	}
	return b
}

// span gives the height of the tube's two end centres above the centre of the
// bend, and the greatest distance of the centre line from the middle plane, both
// as shares of the bend radius.
func (t BentTube) span() (level, reach float64) {
	level = math.Cos(t.Angle / 2)
	if t.Angle >= math.Pi {
		return level, 1
	}
	return level, math.Sin(t.Angle / 2)
}

// sideElevation is the area in m2 seen along x. Slices of the tube at distance y
// from the plane of the bend run from R-k to R+k in radius, k^2 = r^2 - y^2; seen
// from the side they reach up to R+k, and down to the end: to c (R-k) if the end's
// level c is above the bend's centre, to c (R+k) if below. Integrated over y, with
// 2 r R for R and pi r^2/2 for k.
func (t BentTube) sideElevation() float64 {
	straight, bulge := t.TubeDiameter*t.BendRadius, circleArea(t.TubeDiameter)/2
	level, _ := t.span()
	if level < 0 {
		return (1 - level) * (straight + bulge)
	}
	return (1-level)*straight + (1+level)*bulge
}

// planElevation is the area in m2 seen along z: the same slices, each reaching
// R+k times the ends' reach to both sides.
func (t BentTube) planElevation() float64 {
	_, reach := t.span()
	return 2 * reach * (t.TubeDiameter*t.BendRadius + circleArea(t.TubeDiameter)/2)
}

func (t BentTube) extent() Extent {
	tube := t.TubeDiameter / 2
	outer, inner := t.BendRadius+tube, t.BendRadius-tube
	level, reach := t.span()
	lowest := level * inner
	if level < 0 {
		lowest = level * outer
	}
	return Extent{Width: 2 * reach * outer, Depth: t.TubeDiameter, Height: outer - lowest}
}
