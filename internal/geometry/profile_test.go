package geometry_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

// turned gives a profile of n pieces with the radius of a turned solid at each height.
func turned(s geometry.Turned, height float64, n int, ends geometry.Ends) geometry.Profile {
	p := geometry.Profile{Ends: ends}
	for i := range n + 1 {
		z := height * (1 - math.Cos(math.Pi*float64(i)/float64(n))) / 2 // closer where a ball closes
		p.Points = append(p.Points, geometry.ProfilePoint{Radius: must(s.RadiusAt(z)), Height: z})
	}
	return p
}

// The profile of a frustum, cone or cylinder is the solid, in every measure, whole
// and halved (MH pp. 89-90); so it is when its line has more points.
func TestProfilesAreFrusta(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := func(name string) float64 { return rapid.Float64Range(0.01, 3).Draw(t, name) }
		stem := geometry.Frustum{BaseDiameter: length("base"), TopDiameter: length("top"), Height: length("height"), Ends: geometry.Ends(rapid.IntRange(0, 3).Draw(t, "ends"))}
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0:
			stem.TopDiameter = 0
		case 1:
			stem.BaseDiameter = 0
		case 2:
			stem.TopDiameter = stem.BaseDiameter
		}
		p := turned(stem, stem.Height, rapid.IntRange(1, 9).Draw(t, "pieces"), stem.Ends)
		lift := rapid.Float64Range(0, 2).Draw(t, "lift")
		for i := range p.Points {
			p.Points[i].Height += lift // from any level
		}
		if faults := p.Faults(); len(faults) > 0 {
			t.Fatal(faults)
		}
		if got, want := p.Measure(), stem.Measure(); !sameMeasures(got, want, 1e-9) || !same(got.Seam, want.Seam, 1e-9) {
			t.Fatalf("got %+v, want %+v", got, want)
		}
		if got, want := p.Half(), stem.Half(); !sameMeasures(got, want, 1e-9) {
			t.Fatalf("half: got %+v, want %+v", got, want)
		}
		z := rapid.Float64Range(0, 0.999).Draw(t, "height") * stem.Height
		if got, want := must(p.RadiusAt(z)), must(stem.RadiusAt(z)); math.Abs(got-want) > 1e-9 {
			t.Fatalf("radius at %g: got %g, want %g", z, got, want)
		}
	})
}

// Rows of published solids, turned from their profiles.
func TestTurnedProfiles(t *testing.T) {
	const n = 20000
	ball := turned(geometry.Sphere{Diameter: 6.5}, 6.5, n, geometry.EndsBoth).Measure()
	halfColumn := geometry.Profile{Points: []geometry.ProfilePoint{{0.15, 0}, {0.15, 2}}, Ends: geometry.EndsNeither}.Half()
	bowl := geometry.Profile{Ends: geometry.EndsBase}
	for i := range n + 1 {
		y := float64(i) / n
		bowl.Points = append(bowl.Points, geometry.ProfilePoint{Radius: y, Height: y * y})
	}
	check(t, []row{
		{"GEO-01", "sphere area", ball.Surface, 132.732289614, 1e-7, handbook + "p.91, prints 132.73", "read"},
		{"GEO-02", "sphere volume", ball.Volume, 143.793313749, 1e-7, handbook + "p.91, prints 143.79", "read"},
		{"own", "sphere silhouette", ball.Silhouette, math.Pi * 6.5 * 6.5 / 4, 1e-7, "elementary", "computed"},
		{"GEO-37", "half-round open-back column, curved face", halfColumn.Surface, 0.942477796077, 1e-9, "derived", "computed"},
		{"GEO-54", "surface of revolution y=sqrt(x), 0..1", bowl.Measure().Surface, 5.33041350027, 1e-8, "calculus textbook classic", "memory; recomputed"},
		{"own", "its mouth is rim", bowl.Measure().Rim, 2 * math.Pi, 1e-12, "elementary", "computed"},
	})
}

// A thick bowl: the line goes up outside, over the lip and down inside. The surfaces
// are those of two frusta, a floor inside and a foot; the hollow does not show from
// the side (elementary).
func TestOverhangingProfile(t *testing.T) {
	bowl := geometry.Profile{Points: []geometry.ProfilePoint{{0.2, 0}, {0.4, 0.3}, {0.35, 0.3}, {0.15, 0.05}, {0, 0.05}}}
	if faults := bowl.Faults(); len(faults) > 0 {
		t.Fatal(faults)
	}
	outside := geometry.Frustum{BaseDiameter: 0.4, TopDiameter: 0.8, Height: 0.3, Ends: geometry.EndsNeither}.Measure()
	inside := geometry.Frustum{BaseDiameter: 0.3, TopDiameter: 0.7, Height: 0.25, Ends: geometry.EndsNeither}.Measure()
	m := bowl.Measure()
	lip, floor, foot := math.Pi*(0.16-0.1225), math.Pi*0.0225, math.Pi*0.04
	check(t, []row{
		{"own", "surface", m.Surface, outside.Surface + inside.Surface + lip + floor + foot, 1e-12, "elementary", "computed"},
		{"own", "volume", m.Volume, outside.Volume - inside.Volume, 1e-12, "elementary", "computed"},
		{"own", "height", m.Extent.Height, 0.3, 1e-12, "elementary", "computed"},
		{"own", "silhouette: its plan", m.Silhouette, math.Pi * 0.16, 1e-12, "elementary", "computed"},
		{"own", "radius half way up is the outer one", must(bowl.RadiusAt(0.15)), 0.3, 1e-12, "elementary", "computed"},
		{"own", "radius at the level lip", must(bowl.RadiusAt(0.3)), 0.4, 1e-12, "elementary", "computed"},
	})
	if m.Rim != 0 {
		t.Errorf("rim %g of a closed bowl", m.Rim)
	}
	for _, off := range []float64{-0.01, 0.31, math.NaN()} {
		if _, err := bowl.RadiusAt(off); err == nil {
			t.Errorf("a radius at %g", off)
		}
	}
}

// A mushroom hangs over its stem: the elevation is cap and stem, each by itself.
func TestElevationOfAnOverhang(t *testing.T) {
	p := geometry.Profile{Points: []geometry.ProfilePoint{{0.1, 0}, {0.1, 1}, {0.5, 0.8}, {0.5, 1.4}, {0, 1.4}}}
	if faults := p.Faults(); len(faults) > 0 {
		t.Fatal(faults)
	}
	// Below 0.8 the stem's 0.2, above it the cap's 1.0.
	if got := p.Measure().Silhouette; !same(got, 0.2*0.8+1*0.6, 1e-12) && !same(got, math.Pi/4, 1e-12) {
		t.Errorf("silhouette %g", got)
	}
	slim := geometry.Profile{Points: []geometry.ProfilePoint{{0.1, 0}, {0.1, 3}, {0.5, 2.8}, {0.5, 3.4}, {0, 3.4}}}
	if got := slim.Measure().Silhouette; !same(got, 0.2*2.8+1*0.6, 1e-12) {
		t.Errorf("silhouette %g", got)
	}
}

func TestFaultsOfProfiles(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		points []geometry.ProfilePoint
		want   string
	}{
		"nothing":               {nil, "points"},
		"one point":             {[]geometry.ProfilePoint{{1, 0}}, "points"},
		"off bounds":            {[]geometry.ProfilePoint{{-1, nan}, {1001, 1001}}, "points[0].radius points[0].height points[1].radius points[1].height"},
		"downwards":             {[]geometry.ProfilePoint{{1, 1}, {1, 0}}, "points[1].height"},
		"flat":                  {[]geometry.ProfilePoint{{1, 1}, {0, 1}}, "points[1].height"},
		"the axis":              {[]geometry.ProfilePoint{{0, 0}, {0, 1}}, "points[0].radius"},
		"across itself":         {[]geometry.ProfilePoint{{1, 0}, {2, 2}, {1, 2}, {2, 1}, {3, 3}}, "points[0].radius"},
		"in a corner":           {[]geometry.ProfilePoint{{1, 0}, {2, 1}, {3, 2}, {3, 0}, {2, 1}, {1, 2}}, "points[3].radius"},
		"two lobes that touch":  {[]geometry.ProfilePoint{{1, 0}, {2, 1}, {3, 0}, {3, 2}, {2, 1}, {1, 2}}, ""},
		"through its own base":  {[]geometry.ProfilePoint{{2, 0}, {3, 1}, {3, -1}, {1, -1}, {1, 2}}, "points[3].radius"},
		"round a recessed base": {[]geometry.ProfilePoint{{2, 0}, {2, -1}, {3, -1}, {3, 2}}, ""},
		"a ring of a waist":     {[]geometry.ProfilePoint{{1, 0}, {0, 1}, {1, 2}}, ""},
	} {
		p := geometry.Profile{Points: c.points}
		if got := strings.Join(fields(p.Faults()), " "); got != c.want {
			t.Errorf("%s: faults in %q, want %q (%v)", name, got, c.want, p.Faults())
		}
	}
	crossed := geometry.Profile{Points: []geometry.ProfilePoint{{1, 0}, {2, 2}, {1, 2}, {2, 1}, {3, 3}}}
	const allowed = "a line that does not cross itself: after this point it crosses the line from points[2] to points[3], at radius 1667 mm and height 1333 mm"
	if faults := crossed.Faults(); len(faults) != 1 || faults[0].Allowed != allowed {
		t.Errorf("got %v", faults)
	}
	if faults := (geometry.Profile{Points: []geometry.ProfilePoint{{1, 0}, {1, 1}}, Ends: 9}).Faults(); len(faults) != 1 || faults[0].Field != "ends" {
		t.Errorf("got %v", faults)
	}
}

// GEO-61 for profiles, and what a kept solid says is what the solid says.
func TestProfileLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := geometry.Profile{Ends: geometry.Ends(rapid.IntRange(0, 3).Draw(t, "ends"))}
		large, z := p, 0.0
		for range rapid.IntRange(2, 9).Draw(t, "points") {
			z += rapid.Float64Range(0.01, 1).Draw(t, "rise")
			r := rapid.Float64Range(0.01, 2).Draw(t, "radius")
			p.Points = append(p.Points, geometry.ProfilePoint{Radius: r, Height: z})
			large.Points = append(large.Points, geometry.ProfilePoint{Radius: 2.5 * r, Height: 2.5 * z})
		}
		m, half := p.Measure(), p.Half()
		if got := large.Measure(); !sameMeasures(got, grown(m, 2.5), 1e-9) {
			t.Fatalf("got %+v, want %+v", got, grown(m, 2.5))
		}
		if kept := geometry.Keep(p); kept.Measure() != m || kept.Half() != half || len(kept.Faults()) > 0 {
			t.Fatalf("kept otherwise: %+v", kept)
		}
	})
	if kept := geometry.Keep(geometry.Profile{}); len(kept.Faults()) != 1 {
		t.Errorf("kept %v", kept.Faults())
	}
}

// A finial, its foot open.
func ExampleProfile() {
	finial := geometry.Profile{
		Points: []geometry.ProfilePoint{{0.12, 0}, {0.12, 0.05}, {0.05, 0.1}, {0.14, 0.3}, {0, 0.6}}, Ends: geometry.EndsTop,
	}
	m := finial.Measure()
	fmt.Printf("%.3f m2, %.4f m3, rim %.3f m, %d faults\n", m.Surface, m.Volume, m.Rim, len(finial.Faults()))
	// Output: 0.360 m2, 0.0157 m3, rim 0.754 m, 0 faults
}

func ExampleKeep() {
	kept := geometry.Keep(geometry.Block{Width: 1, Depth: 2, Height: 3})
	fmt.Println(kept.Measure().Surface, kept.Half().Volume)
	// Output: 22 3
}

func BenchmarkProfile(b *testing.B) {
	p := turned(geometry.Sphere{Diameter: 1}, 1, 1999, geometry.EndsBoth)
	for b.Loop() {
		_, _ = p.Faults(), p.Measure()
	}
}
