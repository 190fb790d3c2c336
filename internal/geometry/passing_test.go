package geometry_test

import (
	"math"
	"testing"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

// hairpin is a U of two legs of 1 m, apart from middle to middle.
func hairpin(apart, diameter float64) geometry.Sweep {
	var s geometry.Sweep
	for _, p := range [][2]float64{{0, 0}, {0, 0.5}, {0, 1}, {0.5, 1}, {1, 1}, {1, 0.5}, {1, 0}} {
		s.Stations = append(s.Stations, geometry.Station{X: p[0] * apart, Z: p[1], Diameter: diameter})
	}
	return s
}

// bottle is a smooth line of two legs of 1 m round a wide bend, which draw together to a
// neck, apart from middle to middle, and part again.
func bottle(neck, diameter float64) geometry.Sweep {
	s := geometry.Sweep{Smooth: true, Stations: []geometry.Station{
		{X: -0.4, Z: -1.2, Diameter: diameter},
		{X: -0.3, Z: -0.95, Diameter: diameter},
		{X: -neck / 2, Z: -0.7, Diameter: diameter},
		{X: -0.3, Z: -0.45, Diameter: diameter},
	}}
	s.Stations = append(s.Stations, arch(0.4, math.Pi*1.2, diameter, 12)...)
	for _, at := range []geometry.Station{{X: 0.3, Z: -0.45}, {X: neck / 2, Z: -0.7}, {X: 0.3, Z: -0.95}, {X: 0.4, Z: -1.2}} {
		at.Diameter = diameter
		s.Stations = append(s.Stations, at)
	}
	return s
}

// coil winds round an upright axis, a number of stations to each turn.
func coil(radius, pitch, turns, diameter float64, each int) geometry.Sweep {
	s := geometry.Sweep{Smooth: true}
	for i := range int(turns*float64(each)) + 1 {
		turn := float64(i) / float64(each)
		sin, cos := math.Sincos(2 * math.Pi * turn)
		s.Stations = append(s.Stations, geometry.Station{X: radius * cos, Y: radius * sin, Z: pitch * turn, Diameter: diameter})
	}
	return s
}

// fan is a tube that widens, back beside itself: two legs that are far enough apart where
// they turn and not where they end.
func fan(apart float64) geometry.Sweep {
	s := hairpin(apart, 0.1)
	s.Stations[0].Diameter, s.Stations[6].Diameter = 0.4, 0.4
	return s
}

// crossed is a line that comes back across itself, so high above itself.
func crossed(above, diameter float64, smooth bool) geometry.Sweep {
	return geometry.Sweep{Smooth: smooth, Stations: []geometry.Station{
		{X: -3, Diameter: diameter},
		{X: 3, Diameter: diameter},
		{X: 3, Y: 3, Z: above / 2, Diameter: diameter},
		{Y: 3, Z: above, Diameter: diameter},
		{Y: -3, Z: above, Diameter: diameter},
	}}
}

// looped sets the stations of an arc, back to where it starts for a full turn.
func looped(radius, angle, diameter float64, n int, smooth bool) geometry.Sweep {
	return geometry.Sweep{Smooth: smooth, Stations: arch(radius, angle, diameter, n)}
}

// Two stretches pass through each other where their middles are nearer than their radii
// together (elementary), at a bend no more than at a wall: a tube bent through any angle
// about an axis that it does not reach is whole (Pappus-Guldin).
func TestWhereATubePassesThroughItself(t *testing.T) {
	const degree = math.Pi / 180
	for name, c := range map[string]struct {
		sweep   geometry.Sweep
		passes  bool
		station int
	}{
		"a straight tube":                   {geometry.Sweep{Stations: []geometry.Station{{Diameter: 0.1}, {Z: 1, Diameter: 0.1}}}, false, 0},
		"a U whose legs are apart":          {hairpin(0.3, 0.2), false, 0},
		"a U whose legs touch":              {hairpin(0.2, 0.2), false, 0},
		"a U that widens and has the room":  {fan(0.45), false, 0},
		"a U that widens into itself":       {fan(0.35), true, 0},
		"a neck with room":                  {bottle(0.11, 0.1), false, 0},
		"a neck without":                    {bottle(0.09, 0.1), true, 2},
		"a coil with room":                  {coil(0.5, 0.25, 3, 0.2, 24), false, 0},
		"a coil that touches":               {coil(0.5, 0.201, 3, 0.2, 24), false, 0},
		"a coil too close":                  {coil(0.5, 0.15, 3, 0.2, 24), true, 0},
		"a long coil too close":             {coil(0.1, 0.018, 40, 0.02, 24), true, 1},
		"a long coil with room":             {coil(0.1, 0.022, 40, 0.02, 24), false, 0},
		"the tightest half turn":            {looped(0.102, 180*degree, 0.2, 24, true), false, 0},
		"the tightest hook":                 {looped(0.102, 300*degree, 0.2, 40, true), false, 0},
		"the tightest hook, mitred":         {looped(0.102, 240*degree, 0.2, 32, false), false, 0},
		"a ring that ends where it starts":  {looped(0.5, 360*degree, 0.2, 48, true), false, 0},
		"a mitred ring":                     {looped(0.5, 360*degree, 0.2, 48, false), false, 0},
		"a turn and a quarter in one plane": {looped(0.5, 450*degree, 0.2, 60, true), true, 0},
		"a sharp mitre":                     {geometry.Sweep{Stations: []geometry.Station{{Diameter: 0.2}, {Z: 1, Diameter: 0.2}, {X: 0.5, Z: 0.1, Diameter: 0.2}}}, false, 0},
		"a thin tube across itself":         {crossed(0.01, 0.02, false), true, 0},
		"a thin tube across itself, smooth": {crossed(0.01, 0.02, true), true, 0},
		"a thin tube above itself":          {crossed(0.021, 0.02, false), false, 0},
		"a thin tube above itself, smooth":  {crossed(0.03, 0.02, true), false, 0},
		"in one plane across itself":        {crossed(0, 0.02, false), true, 0},
		"an end butted against its side": {geometry.Sweep{Stations: []geometry.Station{
			{X: -1, Diameter: 0.2}, {X: 1, Diameter: 0.2}, {X: 1, Y: 1, Diameter: 0.2}, {Y: 1, Diameter: 0.2}, {Y: 0.1, Diameter: 0.2},
		}}, false, 0},
		"an end let into its side": {geometry.Sweep{Stations: []geometry.Station{
			{X: -1, Diameter: 0.2}, {X: 1, Diameter: 0.2}, {X: 1, Y: 1, Diameter: 0.2}, {Y: 1, Diameter: 0.2}, {Y: 0.05, Diameter: 0.2},
		}}, true, 0},
	} {
		if faults := c.sweep.Faults(); len(faults) > 0 {
			t.Errorf("%s: %v", name, faults)
			continue
		}
		if station, passes := c.sweep.PassesItself(); passes != c.passes || station != c.station {
			t.Errorf("%s: passes itself: %v, at %d", name, passes, station)
		}
	}
}

// The length of a helix is sqrt((2 pi r)^2 + p^2) a turn (GEO-39: developed cylinder).
func TestLengthOfACentreLine(t *testing.T) {
	helix := coil(0.1, 0.3, 2, 0.03, 400)
	check(t, []row{
		{"GEO-39", "length of a turn", helix.Length() / 2, 0.696264444047, 1e-8, "developed cylinder (unrolled right triangle)", "computed"},
	})
	if got, ok := geometry.AsSweep(geometry.Keep(hairpin(0.3, 0.2))); !ok || !same(got.Length(), 2.3, 1e-12) || got.Widest() != 0.2 {
		t.Errorf("a U of two legs of 1 m, 0.3 m apart: %v m, %v wide", got.Length(), got.Widest())
	}
	if _, ok := geometry.AsSweep(geometry.Sphere{Diameter: 1}); ok {
		t.Error("a sphere is taken for a sweep")
	}
}

func BenchmarkPassesItself(b *testing.B) {
	tail := geometry.Sweep{Smooth: true, Stations: []geometry.Station{
		{Diameter: 0.08}, {X: 0.25, Z: 0.05, Diameter: 0.18}, {X: 0.5, Z: 0.2, Diameter: 0.2}, {X: 0.6, Z: 0.45, Diameter: 0.04},
	}}
	for name, s := range map[string]geometry.Sweep{"tail": tail, "coil of 2000": coil(0.1, 0.022, 40, 0.02, 50), "arch of 2000": looped(1, 2, 0.1, 1999, true)} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				s.PassesItself()
			}
		})
	}
}
