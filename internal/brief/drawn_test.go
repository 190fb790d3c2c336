package brief_test

import (
	"math"
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
)

// whole is a form that is one solid by itself.
func whole(kind string, shape geometry.Solid) func(*brief.Brief, *brief.Piece) {
	return func(_ *brief.Brief, p *brief.Piece) {
		p.Form = brief.Form{Whole: kind, Solids: []brief.Solid{solid(kind, shape)}}
	}
}

// tube is a sweep half a metre long with a bend in the middle.
func tube(diameter float64) geometry.Sweep {
	return geometry.Sweep{Stations: []geometry.Station{{Diameter: diameter}, {Z: 0.25, Diameter: diameter}, {X: 0.25, Z: 0.25, Diameter: diameter}}}
}

// Faults of such a form stand at the form's own fields, in the units of the caller.
func TestFaultsOfWholeForms(t *testing.T) {
	points := func(p ...geometry.ProfilePoint) geometry.Profile { return geometry.Profile{Points: p} }
	square := geometry.Region{Area: 0.01, Perimeter: 0.4, High: geometry.Point{X: 0.1, Y: 0.1}}
	letter := geometry.ExtrudedOutline{Region: square, Depth: 0.05, EdgeRadius: 0.06}
	roomless := geometry.ExtrudedOutline{Region: square, Depth: 0.2, EdgeRadius: 0.06, InsetLoss: 8}
	const at = "pieces[0].form."
	check(t, []row{
		{"sound sweep", whole("sweep", tube(0.05)), nil},
		{"tube wider than its legs", whole("sweep", tube(0.6)), fault.List{
			{Path: at + "sweep.stations[1].diameterMm", Message: "got 0.6 m, allowed: less, or a wider bend: the mitres take 0.3 m of the 0.25 m from stations[0] to stations[1]"},
			{Path: at + "sweep.stations[1].diameterMm", Message: "got 0.6 m, allowed: less, or a wider bend: the mitres take 0.3 m of the 0.25 m from stations[1] to stations[2]"},
		}},
		{"one station", whole("sweep", geometry.Sweep{Stations: []geometry.Station{{Diameter: 1}}}), one(at+"sweep.stations", "got 1, allowed: at least 2 stations")},
		{"two stations in one place", whole("sweep", geometry.Sweep{Stations: []geometry.Station{{Diameter: 1}, {Diameter: 1}}}), one(at+"sweep.stations[1]", "got 0 m, allowed: at least 1e-06 m from the station before")},
		{"sound profile", whole("profile", points(geometry.ProfilePoint{Radius: 0.1}, geometry.ProfilePoint{Radius: 0.05, Height: 0.4})), nil},
		{"profile of one point", whole("profile", points(geometry.ProfilePoint{Radius: 0.1})), one(at+"profile.points", "got 1, allowed: at least 2 points")},
		{"profile drawn downwards", whole("profile", points(geometry.ProfilePoint{Radius: 0.1, Height: 1}, geometry.ProfilePoint{Radius: 0.1})), one(at+"profile.points[1].heightMm", "got 0 m, allowed: above the 1 m of the first point: the line runs from base to top")},
		{"sound letter", whole("outline", geometry.ExtrudedOutline{Region: square, Depth: 0.05, EdgeRadius: 0.01, InsetLoss: 8, Ends: geometry.EndsTop}), nil},
		{"round deeper than the letter", whole("outline", letter), one(at+"outline.edgeRadiusMm", "got 0.06 m, allowed: 0 to 0.05 m, the depth")},
		{"round wider than the letter", whole("outline", roomless), one(at+"outline.edgeRadiusMm", "got 0.06 m, allowed: at most 0.05 m, which leaves nothing of the front")},
		{"too big a sweep", whole("sweep", geometry.Sweep{Stations: []geometry.Station{{Diameter: 10}, {Z: 50, Diameter: 10}}}), one(at+"sweep", "got a surface of 1728 m2, allowed: at most 1000 m2 a cast")},
		{"too small a profile", whole("profile", points(geometry.ProfilePoint{Radius: 1e-3}, geometry.ProfilePoint{Radius: 1e-3, Height: 1e-3})), one(at+"profile", "got a surface of 1.2566370614359173e-05 m2 after contact areas, allowed: at least 0.0001 m2")},
		{"unreadable drawing", func(_ *brief.Brief, p *brief.Piece) {
			p.Body = ratebook.OpenBacked
			p.Form = brief.Form{Whole: "outline", Solids: []brief.Solid{{Kind: "outline", Count: 1, Unread: "path data at byte 3: no"}}}
		}, one(at+"outline.pathData", "path data at byte 3: no")},
		{"a size that does not hold it", func(b *brief.Brief, p *brief.Piece) {
			whole("sweep", geometry.Sweep{Stations: []geometry.Station{{Diameter: 0.1}, {Z: 2, Diameter: 0.1}}})(b, p)
			p.Size = &geometry.Extent{Width: 1, Depth: 1, Height: 1}
		}, one("pieces[0].overallSize", "got 1000 x 1000 x 1000 mm, allowed: a size that holds the sweep, which is 2000 mm long and encloses 0.01571 m3")},
	})
}

// A body is open-backed where the form opens, as for solids.
func TestBodiesOfWholeForms(t *testing.T) {
	column := geometry.Profile{Points: []geometry.ProfilePoint{{Radius: 0.1}, {Radius: 0.1, Height: 1}}}
	hollow := column
	hollow.Ends = geometry.EndsTop
	square := geometry.Region{Area: 0.01, Perimeter: 0.4, High: geometry.Point{X: 0.1, Y: 0.1}}
	for name, c := range map[string]struct {
		kind  string
		shape geometry.Solid
		half  bool
		want  ratebook.Body
	}{
		"column":         {"profile", column, false, ratebook.Closed},
		"open foot":      {"profile", hollow, false, ratebook.OpenBacked},
		"halved column":  {"profile", column, true, ratebook.OpenBacked},
		"halved sweep":   {"sweep", geometry.Keep(tube(0.05)), true, ratebook.OpenBacked},
		"letter":         {"outline", geometry.ExtrudedOutline{Region: square, Depth: 0.05}, false, ratebook.Closed},
		"letter, hollow": {"outline", geometry.ExtrudedOutline{Region: square, Depth: 0.05, Ends: geometry.EndsTop}, false, ratebook.OpenBacked},
	} {
		p := ball("p")
		whole(c.kind, c.shape)(nil, &p)
		p.Form.Solids[0].Halved = c.half
		if got := p.BodyTaken(); got != c.want {
			t.Errorf("%s: taken as %v, want %v", name, got, c.want)
		}
	}
	check(t, []row{
		{"closed letter without a back", func(b *brief.Brief, p *brief.Piece) {
			whole("profile", column)(b, p)
			p.Body, p.Form.Solids[0].Halved = ratebook.Closed, true
		}, one("pieces[0].body", "got a closed body with a halved solid; allowed: open-backed, or whole solids")},
		{"open-backed, with nothing open", func(b *brief.Brief, p *brief.Piece) {
			whole("profile", column)(b, p)
			p.Body = ratebook.OpenBacked
		}, one("pieces[0].body", "got an open-backed body with nothing open; allowed: halve a solid, open an end, or give a rim")},
	})
}

func TestFaultsOfStripesAndLettering(t *testing.T) {
	stripe := func(s geometry.HelicalStripe) func(*brief.Brief, *brief.Piece) {
		return func(_ *brief.Brief, p *brief.Piece) {
			p.Zones = []brief.Zone{{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Stripe: &s}}}
		}
	}
	const at = "pieces[0].zones[0]."
	check(t, []row{
		{"sound stripe", stripe(geometry.HelicalStripe{Diameter: 0.2, Pitch: 0.1, Turns: 2.5, Width: 0.03}), nil},
		{"stripe of nothing", stripe(geometry.HelicalStripe{Width: -1, Turns: 1001}), fault.List{
			{Path: at + "stripe.widthMm", Message: "got -1000, allowed: above 0, at most 20000 mm"},
			{Path: at + "stripe.diameterMm", Message: "got 0, allowed: above 0, at most 20000 mm"},
			{Path: at + "stripe.pitchMm", Message: "got 0, allowed: above 0, at most 20000 mm"},
			{Path: at + "stripe.turns", Message: "got 1001, allowed: above 0, at most 1000 turns"},
		}},
		{"stripe over itself", stripe(geometry.HelicalStripe{Diameter: 1 / math.Pi, Pitch: 0.75, Turns: 1, Width: 0.7}), one(at+"stripe.widthMm", "got 0.7 m, allowed: at most 0.6 m, or the stripe overlaps itself")},
		{"unreadable lettering", func(_ *brief.Brief, p *brief.Piece) {
			p.Zones = []brief.Zone{{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Lettering: &brief.Lettering{Unread: "path data at byte 0: no"}}}}
		}, one(at+"lettering.pathData", "path data at byte 0: no")},
		{"band round a profile", func(b *brief.Brief, p *brief.Piece) {
			whole("profile", geometry.Profile{Points: []geometry.ProfilePoint{{Radius: 0.1}, {Radius: 0.1, Height: 1}}})(b, p)
			p.Zones = []brief.Zone{{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Band: &brief.Band{Width: 0.05, Solid: pointer(0), Height: 0.5}}}}
		}, nil},
		{"band round a sweep", func(b *brief.Brief, p *brief.Piece) {
			whole("sweep", geometry.Keep(tube(0.05)))(b, p)
			p.Zones = []brief.Zone{{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Band: &brief.Band{Width: 0.05, Solid: pointer(0), Height: 0.1}}}}
		}, one(at+"band.solid", "got 0, which is a sweep and not turned; allowed: a turned solid, or a diameter instead")},
	})
}
