package geometry_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

// told reads the bound that a fault of a field tells after some words, in mm.
func told(t *rapid.T, faults []geometry.DimensionError, field, after string) float64 {
	for _, f := range faults {
		_, rest, found := strings.Cut(f.Allowed, after)
		if f.Field != field || !found {
			continue
		}
		var mm float64
		if _, err := fmt.Sscanf(rest, "%g mm", &mm); err != nil {
			t.Fatalf("%s: %v", f, err)
		}
		return mm
	}
	t.Fatalf("no fault of %s that tells %q: %v", field, after, faults)
	return 0
}

// What a fault tells as a bound is itself accepted, once it is typed in millimetres.
func TestBoundsToldAreAccepted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := func(name string) float64 { return rapid.Float64Range(0.01, 5).Draw(t, name) }
		sound := func(s interface {
			Faults() []geometry.DimensionError
		},
		) {
			if faults := s.Faults(); len(faults) > 0 {
				t.Fatalf("%+v: %v", s, faults)
			}
		}
		letter := geometry.ExtrudedOutline{Region: geometry.Region{Area: length("area"), Perimeter: 9}, InsetLoss: 8, Depth: length("depth"), EdgeRadius: 6}
		letter.EdgeRadius = told(t, letter.Faults(), "edgeRadius", "0 to ") / 1000
		if len(letter.Faults()) > 0 {
			letter.EdgeRadius = told(t, letter.Faults(), "edgeRadius", "at most ") / 1000
		}
		sound(letter)
		tube := geometry.BentTube{BendRadius: 0.001, TubeDiameter: length("tube"), Angle: 1}
		tube.BendRadius = told(t, tube.Faults(), "bendRadius", "(") / 1000
		sound(tube)
		stripe := geometry.HelicalStripe{Diameter: length("column"), Pitch: length("pitch"), Turns: 1, Width: 6}
		stripe.Width = told(t, stripe.Faults(), "width", "at most ") / 1000
		sound(stripe)
	})
}

// A bound of a bend is that of the tightest there: a tube so wide all along is sound.
func TestBoundsOfBendsAreAccepted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := geometry.Sweep{Smooth: true}
		for i := range rapid.IntRange(3, 6).Draw(t, "stations") {
			coordinate := func(name string) float64 { return rapid.Float64Range(-0.4, 0.4).Draw(t, name) }
			s.Stations = append(s.Stations, geometry.Station{X: coordinate("x"), Y: coordinate("y"), Z: 0.3 * float64(i)})
		}
		even := func(d float64) {
			for i := range s.Stations {
				s.Stations[i].Diameter = d
			}
		}
		even(5)
		least := math.Inf(1)
		for _, f := range s.Faults() {
			least = min(least, told(t, []geometry.DimensionError{f}, f.Field, "at most "))
		}
		if math.IsInf(least, 1) {
			return // it hardly bends
		}
		if even(least / 1000); len(s.Faults()) > 0 {
			t.Fatalf("%g mm: %v", least, s.Faults())
		}
		if even(least / 1000 * 1.002); len(s.Faults()) == 0 {
			t.Fatalf("%g mm is told and more is accepted", least)
		}
	})
}

// Faults speak as people type: in millimetres and degrees, without binary noise.
func TestFaultsSpeakAsPeopleType(t *testing.T) {
	for _, c := range []struct {
		fault geometry.DimensionError
		want  string
	}{
		{geometry.DimensionError{Field: "a", Value: 0.09, Unit: geometry.Millimetres, Allowed: "x"}, "a: got 90 mm, allowed is x"},
		{geometry.DimensionError{Field: "a", Value: 0.1 + 0.2, Unit: geometry.Millimetres, Allowed: "x"}, "a: got 300 mm, allowed is x"},
		{geometry.DimensionError{Field: "a", Value: 1234.5678, Unit: geometry.Millimetres, Allowed: "x"}, "a: got 1234570 mm, allowed is x"},
		{geometry.DimensionError{Field: "a", Value: -1e-6, Unit: geometry.Millimetres, Allowed: "x"}, "a: got -0.001 mm, allowed is x"},
		{geometry.DimensionError{Field: "a", Value: 1e300, Unit: geometry.Millimetres, Allowed: "x"}, "a: got 1e+303 mm, allowed is x"},
		{geometry.DimensionError{Field: "a", Value: math.NaN(), Unit: geometry.Millimetres, Allowed: "x"}, "a: got NaN mm, allowed is x"},
		{geometry.DimensionError{Field: "a", Value: math.Pi / 180 * 361, Unit: geometry.Degrees, Allowed: "x"}, "a: got 361 degrees, allowed is x"},
		{geometry.DimensionError{Field: "a", Value: 0.25, Unit: geometry.SquareMetres, Allowed: "x"}, "a: got 0.25 m2, allowed is x"},
		{geometry.DimensionError{Field: "a", Value: 2, Unit: geometry.Number, Allowed: "x"}, "a: got 2, allowed is x"},
	} {
		if got := c.fault.Error(); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
	letter := geometry.ExtrudedOutline{Region: geometry.Region{Area: 1, Perimeter: 4}, InsetLoss: 8, Depth: 0.08, EdgeRadius: 0.09}
	if got := letter.Faults()[0].Error(); got != "edgeRadius: got 90 mm, allowed is 0 to 80 mm, the depth" {
		t.Error(got)
	}
}
