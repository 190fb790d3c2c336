package takeoff_test

import (
	"math"
	"slices"
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
	"github.com/mouldwright/mouldwright/internal/takeoff"
)

// A form that is one solid by itself has that solid's measures, and says what they
// rest on.
func TestWholeForms(t *testing.T) {
	column := geometry.Profile{Points: []geometry.ProfilePoint{{Radius: 0.25}, {Radius: 0.25, Height: 2}}}
	tube := geometry.Sweep{Stations: []geometry.Station{{Diameter: 0.5}, {Z: 2, Diameter: 0.5}}}
	letter := geometry.ExtrudedOutline{
		Region: geometry.Region{Area: 0.5, Perimeter: 3, High: geometry.Point{X: 1, Y: 0.5}}, Depth: 0.1, Ends: geometry.EndsTop,
	}
	for kind, c := range map[string]struct {
		shape                                               geometry.Solid
		surface, rim, volume, silhouette, parting, ofHeight float64
		basis                                               takeoff.Basis
	}{
		"profile": {column, math.Pi + math.Pi/8, 0, math.Pi / 8, 1, 5, 2, takeoff.Basis{
			Blank:   "box round each solid, before carving",
			Surface: "profile turned piece by piece", Volume: "profile turned piece by piece", Rim: "openings and halved outline",
			Silhouette: "largest elevation", Parting: "outline at the cut plane", Size: "the profile's own",
		}},
		"sweep": {geometry.Keep(tube), math.Pi + math.Pi/8, 0, math.Pi / 8, 1, 5, 2, takeoff.Basis{
			Blank:   "box round each solid, before carving",
			Surface: "tube along its centre line", Volume: "tube along its centre line", Rim: "openings and halved outline",
			Silhouette: "largest elevation, overlap not taken off", Parting: "outline at the cut plane", Size: "box round the tube as it is drawn",
		}},
		"outline": {letter, 0.8, 3, 0.05, 0.5, 0, 0.5, takeoff.Basis{
			Blank:   "box round each solid, before carving",
			Surface: "area and edge of the outline, by its depth", Volume: "area of the outline, by its depth", Rim: "edge of an open back",
			Silhouette: "largest elevation", Parting: "edge of the outline, holes included", Size: "the outline's own",
		}},
	} {
		b := piece(brief.Solid{Kind: kind, Shape: c.shape, Count: 1})
		b.Form.Whole = kind
		p, faults := takeoff.Measure(b, ratebooktest.Tiny(t), false)
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		near(t, kind+": surface", p.Surface, c.surface)
		near(t, kind+": rim", p.Rim, c.rim)
		near(t, kind+": volume", p.Volume, c.volume)
		near(t, kind+": silhouette", p.Silhouette, c.silhouette)
		near(t, kind+": parting", p.Parting, c.parting)
		near(t, kind+": height", p.Extent.Height, c.ofHeight)
		if p.Basis != c.basis {
			t.Errorf("%s: got %+v", kind, p.Basis)
		}
	}
}

// A sweep that passes through itself is priced as drawn, with a warning.
func TestASweepThroughItselfIsWarnedOf(t *testing.T) {
	for name, c := range map[string]struct {
		above float64 // m, of the second leg over the first
		want  []string
	}{
		"over itself":    {0.3, nil},
		"through itself": {0.1, []string{"the sweep passes through itself near stations[0]: its surface counts twice there"}},
	} {
		line := []geometry.Station{{X: -1}, {X: 2}, {X: 2, Y: 2}, {Y: 2, Z: c.above}, {Y: -2, Z: c.above}}
		for i := range line {
			line[i].Diameter = 0.2
		}
		b := piece(brief.Solid{Kind: "sweep", Shape: geometry.Keep(geometry.Sweep{Stations: line}), Count: 1})
		b.Form.Whole = "sweep"
		p, faults := takeoff.Measure(b, ratebooktest.Tiny(t), false)
		if len(faults) > 0 || !slices.Equal(p.Warnings, c.want) {
			t.Errorf("%s: got %q, %v", name, p.Warnings, faults)
		}
	}
}

// A stripe is the zone of the geometry (GEO-41: developed cylinder), lettering what
// its drawing fills.
func TestStripesAndLettering(t *testing.T) {
	b := piece(brief.Solid{Kind: "cylinder", Shape: geometry.Cylinder{Diameter: 0.5, Height: 3}, Count: 1})
	b.Zones = []brief.Zone{
		{Name: "stripe", Count: 1, Shape: brief.ZoneShape{Stripe: &geometry.HelicalStripe{Diameter: 0.5, Pitch: 0.8, Turns: 3.5, Width: 0.1}}},
		{Name: "name", Count: 2, Shape: brief.ZoneShape{Lettering: &brief.Lettering{Area: 0.04, Edge: 1.6}}},
	}
	p, faults := takeoff.Measure(b, ratebooktest.Tiny(t), false)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	near(t, "masking of the stripe", p.Zones[0].Edge, 12.339475431)
	near(t, "area of the stripe", p.Zones[0].Area, 0.61697377155)
	near(t, "lettering", p.Zones[1].Area, 0.04)
	near(t, "edge of the lettering", p.Zones[1].Edge, 1.6)
}
