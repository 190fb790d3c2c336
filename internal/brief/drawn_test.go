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
			{Path: at + "sweep.stations[1].diameterMm", Message: "got 600 mm, allowed: less, or a wider bend: the mitres take 300 mm of the 250 mm from stations[0] to stations[1]"},
			{Path: at + "sweep.stations[1].diameterMm", Message: "got 600 mm, allowed: less, or a wider bend: the mitres take 300 mm of the 250 mm from stations[1] to stations[2]"},
		}},
		{"one station", whole("sweep", geometry.Sweep{Stations: []geometry.Station{{Diameter: 1}}}), one(at+"sweep.stations", "got 1, allowed: at least 2 stations")},
		{"two stations in one place", whole("sweep", geometry.Sweep{Stations: []geometry.Station{{Diameter: 1}, {Diameter: 1}}}), one(at+"sweep.stations[1]", "got 0 mm, allowed: at least 0.001 mm from the station before")},
		{"sound profile", whole("profile", points(geometry.ProfilePoint{Radius: 0.1}, geometry.ProfilePoint{Radius: 0.05, Height: 0.4})), nil},
		{"profile of one point", whole("profile", points(geometry.ProfilePoint{Radius: 0.1})), one(at+"profile.points", "got 1, allowed: at least 2 points")},
		{"profile drawn downwards", whole("profile", points(geometry.ProfilePoint{Radius: 0.1, Height: 1}, geometry.ProfilePoint{Radius: 0.1})), one(at+"profile.points[1].heightMm", "got 0 mm, allowed: above the 1000 mm of the first point: the line runs from base to top")},
		{"sound letter", whole("outline", geometry.ExtrudedOutline{Region: square, Depth: 0.05, EdgeRadius: 0.01, InsetLoss: 8, Ends: geometry.EndsTop}), nil},
		{"round deeper than the letter", whole("outline", letter), one(at+"outline.edgeRadiusMm", "got 60 mm, allowed: 0 to 50 mm, the depth")},
		{"round wider than the letter", whole("outline", roomless), one(at+"outline.edgeRadiusMm", "got 60 mm, allowed: at most 50 mm, which leaves nothing of the front")},
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
		{"closed letter whose back is open", func(b *brief.Brief, p *brief.Piece) {
			whole("outline", geometry.ExtrudedOutline{Region: square, Depth: 0.05, Ends: geometry.EndsTop})(b, p)
			p.Body = ratebook.Closed
		}, one("pieces[0].body", "got a closed body of an outline without a back; allowed: set closedBack, or leave body out")},
		{"closed letter with a back", func(b *brief.Brief, p *brief.Piece) {
			whole("outline", geometry.ExtrudedOutline{Region: square, Depth: 0.05})(b, p)
			p.Body = ratebook.Closed
		}, nil},
		// Whole bodies with an open end: halves that are joined, as a stem that stands.
		{"closed column with an open foot", func(b *brief.Brief, p *brief.Piece) {
			whole("profile", hollow)(b, p)
			p.Body = ratebook.Closed
		}, nil},
		{"closed tail with an open root", func(b *brief.Brief, p *brief.Piece) {
			root := tube(0.05)
			root.Ends = geometry.EndsTop
			whole("sweep", geometry.Keep(root))(b, p)
			p.Body = ratebook.Closed
		}, nil},
		{"open-backed, with nothing open", func(b *brief.Brief, p *brief.Piece) {
			whole("profile", column)(b, p)
			p.Body = ratebook.OpenBacked
		}, one("pieces[0].body", "got an open-backed body with nothing open; allowed: halve a solid, open an end, or give a rim")},
	})
}

// A stripe winds up no further than its form goes, and round nothing wider: the axial
// climb of a helix is its pitch times its turns (elementary).
func TestStripesFitTheirForms(t *testing.T) {
	stripe := func(form func(*brief.Brief, *brief.Piece), diameter, pitch, turns float64) func(*brief.Brief, *brief.Piece) {
		return func(b *brief.Brief, p *brief.Piece) {
			form(b, p)
			s := geometry.HelicalStripe{Diameter: diameter, Pitch: pitch, Turns: turns, Width: 0.01}
			p.Zones = []brief.Zone{{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Stripe: &s}}}
		}
	}
	finial := whole("profile", geometry.Profile{Points: []geometry.ProfilePoint{{Radius: 0.06}, {Radius: 0.14, Height: 0.5}, {Height: 0.82}}})
	tail := whole("sweep", geometry.Keep(tube(0.05))) // half a metre of line, a quarter high
	tower := func(_ *brief.Brief, p *brief.Piece) {
		p.Form.Solids = []brief.Solid{
			{Kind: "cylinder", Shape: geometry.Cylinder{Diameter: 0.2, Height: 0.3}, Count: 2},
			{Kind: "cone", Shape: geometry.Cone{Diameter: 0.4, Height: 0.2}, Count: 1},
		}
	}
	// Half a circle of radius 0.3 is 0.942478 m long, and 0.05 m of flat end to either side.
	handle := dims("bentTube", geometry.BentTube{BendRadius: 0.3, TubeDiameter: 0.05, Angle: math.Pi})
	measures := func(_ *brief.Brief, p *brief.Piece) {
		p.Form = brief.Form{Measured: &brief.Measured{Surface: 3, Volume: 0.2, Size: geometry.Extent{Width: 1, Depth: 1, Height: 1}}}
	}
	const at = "pieces[0].zones[0].stripe."
	check(t, []row{
		{"up a profile", stripe(finial, 0.12, 0.082, 10), nil},
		{"above a profile", stripe(finial, 0.12, 0.1, 9), one(at+"turns", "got 9, which climbs 900 mm at 100 mm a turn, allowed: a climb of at most the form's height, 820 mm")},
		{"round its widest", stripe(finial, 0.28, 0.1, 4), nil},
		{"round more", stripe(finial, 0.3, 0.1, 4), one(at+"diameterMm", "got 300 mm, allowed: at most the form's greatest width, 280 mm")},
		{"along a sweep", stripe(tail, 0.05, 0.1, 5), nil},
		{"beyond a sweep", stripe(tail, 0.05, 0.3, 15), one(at+"turns", "got 15, which climbs 4500 mm at 300 mm a turn, allowed: a climb of at most the length of the sweep's centre line, 500 mm")},
		{"round more than a sweep", stripe(tail, 0.06, 0.1, 4), one(at+"diameterMm", "got 60 mm, allowed: at most the form's greatest width, 50 mm")},
		{"up stacked solids", stripe(tower, 0.2, 0.1, 8), nil},
		{"above stacked solids", stripe(tower, 0.5, 0.1, 8.1), fault.List{
			{Path: at + "turns", Message: "got 8.1, which climbs 810 mm at 100 mm a turn, allowed: a climb of at most the form's height, 800 mm"},
			{Path: at + "diameterMm", Message: "got 500 mm, allowed: at most the form's greatest width, 400 mm"},
		}},
		{"along a bent tube", stripe(handle, 0.05, 0.1, 9.4), nil},
		{"beyond a bent tube", stripe(handle, 0.05, 0.1, 11), one(at+"turns", "got 11, which climbs 1100 mm at 100 mm a turn, allowed: a climb of at most the form's height, 992.478 mm")},
		{"on a form of measures", stripe(measures, 3, 1, 9), nil},
		{"on a faulty solid", stripe(dims("sphere", geometry.Sphere{Diameter: -1}), 3, 1, 9), one("pieces[0].form.solids[0].sphere.diameterMm", "got -1000 mm, allowed: 0.001 to 1000000 mm")},
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
		{"stripe over itself", stripe(geometry.HelicalStripe{Diameter: 1 / math.Pi, Pitch: 0.75, Turns: 1, Width: 0.7}), fault.List{
			{Path: at + "stripe.widthMm", Message: "got 700 mm, allowed: at most 600 mm, or the stripe overlaps itself"},
			{Path: at + "stripe.turns", Message: "got 1, which climbs 750 mm at 750 mm a turn, allowed: a climb of at most the form's height, 500 mm"},
		}},
		{"as high as the ball", stripe(geometry.HelicalStripe{Diameter: 0.5, Pitch: 0.1, Turns: 5, Width: 0.03}), nil},
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
