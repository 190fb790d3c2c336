package brief_test

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/wire"
)

func demoEdition(t testing.TB) *ratebook.Edition {
	t.Helper()
	var document mouldwrightv1.RateBook
	if err := wire.Decode(demo.Document(), &document).Err(); err != nil {
		t.Fatal(err)
	}
	book, faults := wire.RateBook(&document)
	e, more := ratebook.Open(book)
	if err := append(faults, more...).Err(); err != nil {
		t.Fatal(err)
	}
	return e
}

func solid(kind string, shape geometry.Solid) brief.Solid {
	return brief.Solid{Kind: kind, Shape: shape, Count: 1}
}

// ball is a piece that nothing is wrong with: a ball of half a metre.
func ball(code string) brief.Piece {
	return brief.Piece{
		Code: code, Name: "Ball", Quantity: 3, Texture: 1, Exposure: ratebook.Outdoor,
		Form: brief.Form{Solids: []brief.Solid{solid("sphere", geometry.Sphere{Diameter: 0.5})}},
	}
}

// trail is a brief that nothing is wrong with.
func trail() *brief.Brief {
	return &brief.Brief{
		Title: "Trail", PreparedOn: day(2027, 3, 1), Deadline: day(2027, 3, 1),
		Pieces:   []brief.Piece{ball("red-cap"), ball("snail")},
		Delivery: &brief.Delivery{Distance: 85, Consignments: 1},
		Options:  []brief.Option{{Code: "fewer", Name: "Fewer", Without: []string{"snail"}}},
	}
}

func day(year, month, of int) time.Time {
	return time.Date(year, time.Month(month), of, 0, 0, 0, 0, time.UTC)
}

func pointer[T any](v T) *T { return &v }

type row struct {
	name  string
	spoil func(b *brief.Brief, p *brief.Piece) // p is the brief's first piece
	want  fault.List
}

func one(path, message string) fault.List { return fault.List{{Path: path, Message: message}} }

func check(t *testing.T, rows []row) {
	t.Helper()
	e := demoEdition(t)
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			b := trail()
			r.spoil(b, &b.Pieces[0])
			if got := b.Check(e); !slices.Equal(got, r.want) {
				t.Errorf("got\n%v\nwant\n%v", got, r.want)
			}
		})
	}
}

const (
	laminates     = "allowed: extra-heavy, heavy, light, mould-six, over-foam, over-foam-heavy, standard, standard-pigmented, sturdy"
	castFinishes  = "allowed: bare-gelcoat, flock, gloss, hand-flake, hand-painted, matt, metal-flake, metal-leaf, patina, polished-gelcoat, satin, stone and 1 more"
	zoneFinishes  = "allowed: flock, gloss, hand-flake, hand-painted, matt, metal-flake, metal-leaf, satin, stone"
	ofThisEdition = " of rate book demo-2026.1; "
)

func TestFaultsOfTheCircumstances(t *testing.T) {
	check(t, []row{
		{"nothing", func(*brief.Brief, *brief.Piece) {}, nil},
		{"no piece", func(b *brief.Brief, _ *brief.Piece) { b.Pieces, b.Options = nil, nil }, one("pieces", "got 0, allowed: 1 to 200 pieces")},
		{"too many pieces", func(b *brief.Brief, _ *brief.Piece) { b.Pieces, b.Options = pieces(201), nil }, one("pieces", "got 201, allowed: 1 to 200 pieces")},
		{"deadline before preparedOn", func(b *brief.Brief, _ *brief.Piece) { b.Deadline = day(2027, 2, 28) }, one("deadline", "got 2027-02-28, allowed: on or after preparedOn 2027-03-01")},
		{"deadline without preparedOn", func(b *brief.Brief, _ *brief.Piece) { b.PreparedOn = time.Time{} }, nil},
		{"unknown tax", func(b *brief.Brief, _ *brief.Piece) { b.Tax = "reduce" }, one("tax", `got "reduce", which is no tax rate`+ofThisEdition+`did you mean "reduced"? allowed: reduced, standard, zero`)},
		{"unknown rush", func(b *brief.Brief, _ *brief.Piece) { b.Rush = "flatout" }, one("rush", `got "flatout", which is no rush term`+ofThisEdition+`did you mean "flat-out"? allowed: brisk, fast, flat-out`)},
		{"delivery backwards", func(b *brief.Brief, _ *brief.Piece) { b.Delivery.Distance = -1 }, one("delivery.distanceKm", "got -1, allowed: 0 to 20000 km")},
		{"delivery round the world", func(b *brief.Brief, _ *brief.Piece) { b.Delivery.Distance = math.NaN() }, one("delivery.distanceKm", "got NaN, allowed: 0 to 20000 km")},
		{"no consignment", func(b *brief.Brief, _ *brief.Piece) { b.Delivery.Consignments = 0 }, one("delivery.consignments", "got 0, allowed: 1 to 100 consignments")},
	})
}

func pieces(n int) []brief.Piece {
	list := make([]brief.Piece, n)
	for i := range list {
		list[i] = ball("ball-" + strings.Repeat("x", i))
	}
	return list
}

func TestFaultsOfPieces(t *testing.T) {
	check(t, []row{
		{"duplicate code", func(b *brief.Brief, p *brief.Piece) { b.Pieces = append(b.Pieces, *p) }, one("pieces[2].code", `got "red-cap", which pieces[0] has already; codes are unique in a brief`)},
		{"no cast", func(_ *brief.Brief, p *brief.Piece) { p.Quantity = 0 }, one("pieces[0].quantity", "got 0, allowed: 1 to 10000 casts")},
		{"too many casts", func(_ *brief.Brief, p *brief.Piece) { p.Quantity = 10_001 }, one("pieces[0].quantity", "got 10001, allowed: 1 to 10000 casts")},
		{"texture that smooths", func(_ *brief.Brief, p *brief.Piece) { p.Texture = 0.9 }, one("pieces[0].textureFactor", "got 0.9, allowed: 1 to 10")},
		{"texture without a number", func(_ *brief.Brief, p *brief.Piece) { p.Texture = math.NaN() }, one("pieces[0].textureFactor", "got NaN, allowed: 1 to 10")},
		{"unknown laminate", func(_ *brief.Brief, p *brief.Piece) { p.Laminate = "study" }, one("pieces[0].laminate", `got "study", which is no laminate`+ofThisEdition+`did you mean "sturdy"? `+laminates)},
		{"unknown finish", func(_ *brief.Brief, p *brief.Piece) { p.Finish = "saitn" }, one("pieces[0].finish", `got "saitn", which is no finish`+ofThisEdition+`did you mean "satin"? `+castFinishes)},
		{"finish like none", func(_ *brief.Brief, p *brief.Piece) { p.Finish = "chrome-plated" }, one("pieces[0].finish", `got "chrome-plated", which is no finish`+ofThisEdition+castFinishes)},
		{"gelcoat finish direct", func(_ *brief.Brief, p *brief.Piece) { p.Finish, p.Route = "bare-gelcoat", brief.Direct }, one("pieces[0].finish", `got "bare-gelcoat", which is the gelcoat of a mould; allowed direct over foam: a finish that is put on afterwards`)},
		{"gelcoat finish by either route", func(_ *brief.Brief, p *brief.Piece) { p.Finish = "bare-gelcoat" }, nil},
		{"overall size without a width", func(_ *brief.Brief, p *brief.Piece) { p.Size = &geometry.Extent{Depth: 1, Height: 1} }, one("pieces[0].overallSize.widthMm", "got 0, allowed: above 0, at most 20000 mm")},
		{"standing in the sky", func(_ *brief.Brief, p *brief.Piece) { p.Standing = 101 }, one("pieces[0].installedHeightMm", "got 101000, allowed: 0 to 100000 mm")},
		{"unknown tax", func(_ *brief.Brief, p *brief.Piece) { p.Tax = "vat" }, one("pieces[0].tax", `got "vat", which is no tax rate`+ofThisEdition+"allowed: reduced, standard, zero")},
		{"unknown fixing", func(_ *brief.Brief, p *brief.Piece) { p.Fixings = []brief.Fixing{{Code: "stud-m8", Count: 1}} }, one("pieces[0].fixings[0].code", `got "stud-m8", which is no fixing`+ofThisEdition+`did you mean "stud-m10"? allowed: armature-steel, base-plate, insert-m8, stud-m10, tab`)},
		{"fixings of none", func(_ *brief.Brief, p *brief.Piece) { p.Fixings = []brief.Fixing{{Code: "tab"}} }, one("pieces[0].fixings[0].countPerCast", "got 0, allowed: 1 to 200 fixings in a cast")},
		{"too many kinds of fixing", func(_ *brief.Brief, p *brief.Piece) {
			p.Fixings = slices.Repeat([]brief.Fixing{{Code: "tab", Count: 1}}, 51)
		}, one("pieces[0].fixings", "got 51, allowed: 0 to 50 kinds of fixing")},
		{"mould in too many pieces", func(_ *brief.Brief, p *brief.Piece) { p.Mould.Pieces = 25 }, one("pieces[0].mould.pieces", "got 25, allowed: 0 to 24 mould pieces")},
		{"moulds below nothing", func(_ *brief.Brief, p *brief.Piece) { p.Mould.PerHand = -1 }, one("pieces[0].mould.mouldsPerHand", "got -1, allowed: 0 to 1000 moulds")},
		{"parting line below nothing", func(_ *brief.Brief, p *brief.Piece) { p.Mould.Parting = pointer(-0.1) }, one("pieces[0].mould.partingLengthMm", "got -100, allowed: 0 to 1000000 mm")},
	})
}

// dims gives the first piece one solid.
func dims(kind string, shape geometry.Solid) func(*brief.Brief, *brief.Piece) {
	return func(_ *brief.Brief, p *brief.Piece) { p.Form.Solids[0] = solid(kind, shape) }
}

func TestFaultsOfForms(t *testing.T) {
	const at = "pieces[0].form.solids[0]"
	const length = "mm, allowed: 0.001 to 1000000 mm"
	check(t, []row{
		{"sphere of nothing", dims("sphere", geometry.Sphere{}), one(at+".sphere.diameterMm", "got 0 "+length)},
		{"tube wider than its bend", dims("bentTube", geometry.BentTube{BendRadius: 0.1, TubeDiameter: 0.3, Angle: 1}), one(at+".bentTube.bendRadiusMm", "got 100 mm, allowed: at least half the tube diameter (150 mm), or the tube runs into itself")},
		{"tube wider than its ring", dims("ring", geometry.Ring{CentreDiameter: 0.2, TubeDiameter: 0.3}), one(at+".ring.centreDiameterMm", "got 200 mm, allowed: at least the tube diameter (300 mm), or the tube runs into itself")},
		{"more than a turn", dims("bentTube", geometry.BentTube{BendRadius: 1, TubeDiameter: 0.1, Angle: 7}), one(at+".bentTube.angleDeg", "got 401.07 degrees, allowed: above 0, at most 360 degrees (a full turn)")},
		{"prism of two sides", dims("prism", geometry.Prism{Sides: 2, SideLength: 1, Height: 1}), one(at+".prism.sides", "got 2, allowed: 3 to 64 sides")},
		{"curve of another kind", dims("dome", geometry.Dome{Diameter: 1, Height: 1, Profile: 7}), one(at+".dome.curve", "got 7, allowed: 0 to 1 (a named choice)")},
		{"ends of another kind", dims("dome", geometry.Dome{Diameter: 1, Height: 1, Ends: 7}), one(at+".dome.ends", "got 7, allowed: 0 to 3 (a named choice)")},
		{"all of a block", dims("box", geometry.Block{Width: -1, Depth: math.NaN(), Height: math.Inf(1)}), fault.List{
			{Path: at + ".box.widthMm", Message: "got -1000 " + length}, {Path: at + ".box.depthMm", Message: "got NaN " + length}, {Path: at + ".box.heightMm", Message: "got +Inf " + length},
		}},
		{"solids of none", func(_ *brief.Brief, p *brief.Piece) { p.Form.Solids[0].Count = 0 }, one(at+".count", "got 0, allowed: 1 to 1000 solids")},
		{"too many solids", func(_ *brief.Brief, p *brief.Piece) {
			p.Form.Solids = slices.Repeat(p.Form.Solids, 201)
		}, one("pieces[0].form.solids", "got 201, allowed: 0 to 200 solids")},
		// pi d2 of half a metre is 0.7853981634 m2.
		{"contact area above surface", func(_ *brief.Brief, p *brief.Piece) { p.Form.Solids[0].Contact = 0.8 }, one(at+".contactAreaM2", "got 0.8, allowed: 0 to 0.7853981634 m2, the solid's own surface")},
		{"contact area below nothing", func(_ *brief.Brief, p *brief.Piece) { p.Form.Solids[0].Contact = -0.1 }, one(at+".contactAreaM2", "got -0.1, allowed: 0 to 0.7853981634 m2, the solid's own surface")},
		{"contact area of all", func(_ *brief.Brief, p *brief.Piece) { p.Form.Solids[0].Contact = math.Pi / 4 }, one("pieces[0].form.solids", "got a surface of 0 m2 after contact areas, allowed: at least 0.0001 m2")},
		{"joined where there is no rim", func(_ *brief.Brief, p *brief.Piece) { p.Form.Solids[0].Joined = 0.1 }, one(at+".contactRimMm", "got 100, allowed: 0 to 0 mm, the solid's own rim")},
		{"too big a cast", func(_ *brief.Brief, p *brief.Piece) {
			p.Form.Solids[0] = solid("sphere", geometry.Sphere{Diameter: 20})
			p.Form.Solids[0].Count = 4
		}, one("pieces[0].form.solids", "got a surface of 5027 m2, allowed: at most 1000 m2 a cast")},
		{"closed body with halved solid", func(_ *brief.Brief, p *brief.Piece) { p.Body, p.Form.Solids[0].Halved = ratebook.Closed, true }, one("pieces[0].body", "got a closed body with a halved solid; allowed: open-backed, or whole solids")},
		{"open-backed with nothing open", func(_ *brief.Brief, p *brief.Piece) { p.Body = ratebook.OpenBacked }, one("pieces[0].body", "got an open-backed body with nothing open; allowed: halve a solid, open an end, or give a rim")},
		{"open-backed measures without a rim", func(_ *brief.Brief, p *brief.Piece) {
			p.Body, p.Form = ratebook.OpenBacked, brief.Form{Measured: &brief.Measured{Surface: 1, Volume: 0.02, Size: geometry.Extent{Width: 1, Depth: 1, Height: 1}}}
		}, one("pieces[0].body", "got an open-backed body with nothing open; allowed: halve a solid, open an end, or give a rim")},
		{"open-backed form of another time", func(_ *brief.Brief, p *brief.Piece) {
			p.Body, p.Form = ratebook.OpenBacked, brief.Form{Later: "likeness"}
		}, nil},
		{"shape that another check names", func(_ *brief.Brief, p *brief.Piece) { p.Form.Solids[0].Shape = nil }, nil},
	})
}

func TestFaultsOfMeasures(t *testing.T) {
	measured := func(m brief.Measured) func(*brief.Brief, *brief.Piece) {
		return func(_ *brief.Brief, p *brief.Piece) { p.Form = brief.Form{Measured: &m} }
	}
	cube := geometry.Extent{Width: 1, Depth: 1, Height: 1}
	const at = "pieces[0].form.measured."
	check(t, []row{
		{"sound", measured(brief.Measured{Surface: 3, Volume: 0.2, Rim: 4, Size: cube}), nil},
		{"surface of nothing", measured(brief.Measured{Volume: 0.2, Size: cube}), one(at+"surfaceM2", "got 0, allowed: above 0, at most 1000 m2")},
		{"volume of nothing", measured(brief.Measured{Surface: 3, Size: cube}), one(at+"volumeM3", "got 0, allowed: above 0, at most 1000 m3")},
		{"rim below nothing", measured(brief.Measured{Surface: 3, Volume: 0.2, Rim: -1, Size: cube}), one(at+"rimM", "got -1, allowed: 0 to 10000 m")},
		{"silhouette below nothing", measured(brief.Measured{Surface: 3, Volume: 0.2, Silhouette: -1, Size: cube}), one(at+"silhouetteM2", "got -1, allowed: 0 to 400 m2")},
		{"size without a depth", measured(brief.Measured{Surface: 3, Volume: 1e-9, Size: geometry.Extent{Width: 1, Height: 1, Depth: -1}}), one(at+"size.depthMm", "got -1000, allowed: above 0, at most 20000 mm")},
		{"more volume than its box", measured(brief.Measured{Surface: 6, Volume: 1.01, Size: cube}), one(at+"volumeM3", "got 1.01 m3, allowed: at most the 1 m3 that the size holds")},
		{"as much volume as its box", measured(brief.Measured{Surface: 6, Volume: 1, Size: cube}), nil},
		// A half ball of diameter 1 m encloses pi/12 m3 under pi/2 m2: the least there is.
		{"an open half ball", measured(brief.Measured{Surface: math.Pi / 2, Volume: math.Pi / 6, Rim: math.Pi, Size: cube}), nil},
		{"less surface than a half ball", measured(brief.Measured{Surface: 1.57, Volume: math.Pi / 6, Rim: math.Pi, Size: cube}), one(at+"surfaceM2", "got 1.57 m2, allowed: at least 1.571 m2 round 0.523599 m3, even with an open back")},
	})
}

func TestFaultsOfZones(t *testing.T) {
	zone := func(z brief.Zone) func(*brief.Brief, *brief.Piece) {
		return func(_ *brief.Brief, p *brief.Piece) { p.Zones = []brief.Zone{z} }
	}
	spot := brief.ZoneShape{Spot: &geometry.Spot{Diameter: 0.05}}
	band := func(b brief.Band) func(*brief.Brief, *brief.Piece) {
		return zone(brief.Zone{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Band: &b}})
	}
	const at = "pieces[0].zones[0]"
	check(t, []row{
		{"sound", zone(brief.Zone{Finish: "gloss", Count: 9, Shape: spot}), nil},
		{"without a finish", zone(brief.Zone{Count: 9, Shape: spot}), one(at+".finish", "missing, a zone needs a finish")},
		{"unknown finish", zone(brief.Zone{Finish: "glosy", Count: 9, Shape: spot}), one(at+".finish", `got "glosy", which is no finish`+ofThisEdition+`did you mean "gloss"? `+zoneFinishes)},
		{"finish for casts only", zone(brief.Zone{Finish: "bare-gelcoat", Count: 9, Shape: spot}), one(at+".finish", `got "bare-gelcoat", which is for whole casts only; `+zoneFinishes)},
		{"zones of none", zone(brief.Zone{Finish: "gloss", Shape: spot}), one(at+".countPerCast", "got 0, allowed: 1 to 1000 zones of this kind on a cast")},
		{"spot of nothing", zone(brief.Zone{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Spot: &geometry.Spot{}}}), one(at+".spot.diameterMm", "got 0, allowed: above 0, at most 20000 mm")},
		{"panel of more than all", zone(brief.Zone{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Panel: &brief.Panel{Share: 1.01}}}), one(at+".panel.sharePercent", "got 101, allowed: above 0, at most 100 percent")},
		{"panel's edge below nothing", zone(brief.Zone{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Panel: &brief.Panel{Share: 1, Edge: -1}}}), one(at+".panel.edgeMm", "got -1000, allowed: 0 to 1000000 mm")},
		{"band without a width", band(brief.Band{Diameter: 0.5}), one(at+".band.widthMm", "got 0, allowed: above 0, at most 20000 mm")},
		{"band round nothing", band(brief.Band{Width: 0.05}), one(at+".band.diameterMm", "missing, a band needs a diameter, or the solid it runs round and its height")},
		{"band too wide round", band(brief.Band{Width: 0.05, Diameter: math.NaN()}), one(at+".band.diameterMm", "got NaN, allowed: above 0, at most 20000 mm")},
		{"band told twice", band(brief.Band{Width: 0.05, Diameter: 0.5, Solid: pointer(0)}), one(at+".band.solid", "got 0 beside a diameter; allowed: one of the two")},
		{"band round a solid that is not there", band(brief.Band{Width: 0.05, Solid: pointer(1)}), one(at+".band.solid", "got 1, allowed: 0 to 0, a solid of this form")},
		{"band round a solid", band(brief.Band{Width: 0.05, Solid: pointer(0), Height: 0.25}), nil},
		{"band off its solid", band(brief.Band{Width: 0.05, Solid: pointer(0), Height: 0.6}), one(at+".band.atHeightMm", "got 600: off the solid: height: got 600 mm, allowed is 0 to 500 mm above the base")},
		{"band at a point", band(brief.Band{Width: 0.05, Solid: pointer(0)}), one(at+".band.atHeightMm", "got 0: solid 0 has no width at that height")},
		{"band round a form of measures", func(_ *brief.Brief, p *brief.Piece) {
			p.Form = brief.Form{Measured: &brief.Measured{Surface: 3, Volume: 0.2, Size: geometry.Extent{Width: 1, Depth: 1, Height: 1}}}
			p.Zones = []brief.Zone{{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Band: &brief.Band{Width: 0.05, Solid: pointer(0)}}}}
		}, one(at+".band.solid", "got 0, allowed: none, since this form has no solids; give the band a diameter")},
		{"band round a box", func(_ *brief.Brief, p *brief.Piece) {
			p.Form.Solids[0] = solid("box", geometry.Block{Width: 1, Depth: 1, Height: 1})
			p.Zones = []brief.Zone{{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Band: &brief.Band{Width: 0.05, Solid: pointer(0), Height: 0.5}}}}
		}, one(at+".band.solid", "got 0, which is a box and not turned; allowed: a turned solid, or a diameter instead")},
		{"band round a faulty solid", func(_ *brief.Brief, p *brief.Piece) {
			p.Form.Solids[0] = solid("sphere", geometry.Sphere{Diameter: -1})
			p.Zones = []brief.Zone{{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Band: &brief.Band{Width: 0.05, Solid: pointer(0), Height: 0.1}}}}
		}, one("pieces[0].form.solids[0].sphere.diameterMm", "got -1000 mm, allowed: 0.001 to 1000000 mm")},
		{"band round a missing shape", func(_ *brief.Brief, p *brief.Piece) {
			p.Form.Solids[0].Shape = nil
			p.Zones = []brief.Zone{{Finish: "gloss", Count: 1, Shape: brief.ZoneShape{Band: &brief.Band{Width: 0.05, Solid: pointer(0), Height: 0.1}}}}
		}, nil},
	})
}

func TestFaultsOfOptions(t *testing.T) {
	option := func(o brief.Option) func(*brief.Brief, *brief.Piece) {
		return func(b *brief.Brief, _ *brief.Piece) { b.Options = []brief.Option{o} }
	}
	spoilt := ball("red-cap")
	spoilt.Quantity = 0
	check(t, []row{
		{"without a piece that is not there", option(brief.Option{Code: "o", Without: []string{"red-cup"}}), one("options[0].without[0]", `got "red-cup", which is no piece of the brief; did you mean "red-cap"? allowed: red-cap, snail`)},
		{"without all", option(brief.Option{Code: "o", Without: []string{"snail", "red-cap"}}), one("options[0]", "leaves 0 pieces, allowed: 1 to 200")},
		{"without all, but with another", option(brief.Option{Code: "o", Without: []string{"snail", "red-cap"}, Pieces: []brief.Piece{ball("hare")}}), nil},
		{"with too many", option(brief.Option{Code: "o", Pieces: pieces(200)}), one("options[0]", "leaves 202 pieces, allowed: 1 to 200")},
		{"with a faulty piece", option(brief.Option{Code: "o", Pieces: []brief.Piece{spoilt}}), one("options[0].pieces[0].quantity", "got 0, allowed: 1 to 10000 casts")},
		{"with one piece twice", option(brief.Option{Code: "o", Pieces: []brief.Piece{ball("hare"), ball("hare")}}), one("options[0].pieces[1].code", `got "hare", which pieces[0] has already; codes are unique in a brief`)},
		{"rush", option(brief.Option{Code: "o", Rush: pointer("fest")}), one("options[0].rush", `got "fest", which is no rush term`+ofThisEdition+`did you mean "fast"? allowed: brisk, fast, flat-out`)},
		{"no rush", option(brief.Option{Code: "o", Rush: pointer("")}), nil},
		{"delivery", option(brief.Option{Code: "o", Delivery: &brief.Delivery{Distance: 30_000, Consignments: 101}}), fault.List{
			{Path: "options[0].delivery.distanceKm", Message: "got 30000, allowed: 0 to 20000 km"}, {Path: "options[0].delivery.consignments", Message: "got 101, allowed: 1 to 100 consignments"},
		}},
		{"code twice", func(b *brief.Brief, _ *brief.Piece) { b.Options = append(b.Options, b.Options[0]) }, one("options[1].code", `got "fewer", which another option has already; codes are unique in a brief`)},
		{"too many", func(b *brief.Brief, _ *brief.Piece) {
			for _, c := range "abcdefghij" {
				b.Options = append(b.Options, brief.Option{Code: string(c)})
			}
		}, one("options", "got 11, allowed: 0 to 10 options")},
	})
}

// One fault hides no other, and they come in the order of the contract's fields.
func TestAllFaultsAtOnce(t *testing.T) {
	b := trail()
	b.Pieces[0].Quantity, b.Pieces[0].Finish, b.Pieces[1].Laminate = 0, "x", "x"
	b.Pieces[1].Form.Solids[0] = solid("dome", geometry.Dome{Diameter: -1, Height: -1})
	b.Deadline, b.Tax, b.Rush, b.Delivery.Consignments = day(2026, 1, 1), "x", "x", 0
	b.Options[0].Without = []string{"x"}
	var got []string
	for _, f := range b.Check(demoEdition(t)) {
		got = append(got, f.Path)
	}
	want := []string{
		"deadline", "pieces[0].quantity", "pieces[0].finish", "pieces[1].form.solids[0].dome.diameterMm", "pieces[1].form.solids[0].dome.heightMm",
		"pieces[1].laminate", "delivery.consignments", "rush", "tax", "options[0].without[0]",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// A cast of nothing is found even where another piece has a fault before it.
func TestASmallCastIsFoundBehindOtherFaults(t *testing.T) {
	b := trail()
	b.Pieces[0].Quantity = 0
	b.Pieces[1].Form.Solids[0].Contact = math.Pi / 4
	want := fault.List{
		{Path: "pieces[0].quantity", Message: "got 0, allowed: 1 to 10000 casts"},
		{Path: "pieces[1].form.solids", Message: "got a surface of 0 m2 after contact areas, allowed: at least 0.0001 m2"},
	}
	if got := b.Check(demoEdition(t)); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestLaterNamesWhatIsNotReckonedYet(t *testing.T) {
	b := trail()
	if later := b.Later(); len(later) > 0 {
		t.Errorf("a sound brief: got %v", later)
	}
	hare := ball("hare")
	hare.Form = brief.Form{Later: "likeness"}
	b.Pieces[1] = hare
	b.Options[0].Pieces = []brief.Piece{hare}
	want := fault.List{
		{Path: "pieces[1].form.likeness", Message: "this form is not reckoned yet; use solids, measured or another form"},
		{Path: "options[0].pieces[0].form.likeness", Message: "this form is not reckoned yet; use solids, measured or another form"},
	}
	if got := b.Later(); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestWithTakesWhatTheOptionSays(t *testing.T) {
	b := trail()
	b.Rush = "fast"
	other := ball("snail")
	other.Quantity = 9
	got := b.With(&brief.Option{Pieces: []brief.Piece{ball("hare"), other}, Without: []string{"red-cap"}, Rush: pointer("")})
	if codes(got.Pieces) != "snail hare" || got.Pieces[0].Quantity != 9 || got.Rush != "" || got.Delivery != b.Delivery || got.Options != nil {
		t.Errorf("got %+v", got)
	}
	got = b.With(&brief.Option{Delivery: &brief.Delivery{Distance: 1, Consignments: 2}})
	if codes(got.Pieces) != "red-cap snail" || got.Rush != "fast" || got.Delivery.Consignments != 2 {
		t.Errorf("got %+v", got)
	}
}

func codes(pieces []brief.Piece) string {
	var list []string
	for _, p := range pieces {
		list = append(list, p.Code)
	}
	return strings.Join(list, " ")
}

// An option changes no brief, keeps the order of what stays, puts what is new
// behind it in its own order, and holds each code once.
func TestWithKeepsTheBriefAndItsOrder(t *testing.T) {
	some := rapid.SliceOfNDistinct(rapid.SampledFrom(strings.Split("abcdefgh", "")), 0, 8, rapid.ID[string])
	rapid.Check(t, func(t *rapid.T) {
		mine, theirs, without := some.Draw(t, "brief"), some.Draw(t, "option"), some.Draw(t, "without")
		b := &brief.Brief{Title: "Trail", Options: []brief.Option{{Code: "o"}}}
		for i, c := range mine {
			b.Pieces = append(b.Pieces, brief.Piece{Code: c, Quantity: i + 1})
		}
		o := &brief.Option{Without: without}
		var want []string
		for _, c := range theirs {
			o.Pieces = append(o.Pieces, brief.Piece{Code: c, Quantity: 100})
		}
		for _, c := range mine {
			if !slices.Contains(without, c) {
				want = append(want, c)
			}
		}
		for _, c := range theirs {
			if !slices.Contains(mine, c) {
				want = append(want, c)
			}
		}
		before := *b
		before.Pieces = slices.Clone(b.Pieces)
		got := b.With(o)
		if !reflect.DeepEqual(*b, before) {
			t.Fatalf("the brief was changed to %v", b)
		}
		if codes(got.Pieces) != strings.Join(want, " ") {
			t.Fatalf("got %s, want %v", codes(got.Pieces), want)
		}
		for _, p := range got.Pieces {
			if swapped := slices.Contains(theirs, p.Code); swapped != (p.Quantity == 100) {
				t.Fatalf("%s: the wrong piece of the two", p.Code)
			}
		}
		got.Pieces = append(got.Pieces, brief.Piece{})
		if !reflect.DeepEqual(*b, before) {
			t.Fatal("the two share their pieces")
		}
	})
}

func TestPiecesCountTheirHands(t *testing.T) {
	p := ball("a")
	if p.Hands() != 1 || p.Casts() != 3 {
		t.Errorf("got %d hands and %d casts", p.Hands(), p.Casts())
	}
	p.Pair = true
	if p.Hands() != 2 || p.Casts() != 6 {
		t.Errorf("a pair: got %d hands and %d casts", p.Hands(), p.Casts())
	}
}

func TestBodyTaken(t *testing.T) {
	open, halved, faulty, given := ball("a"), ball("a"), ball("a"), ball("a")
	open.Form.Solids[0] = solid("cone", geometry.Cone{Diameter: 1, Height: 1, Ends: geometry.EndsNeither})
	halved.Form.Solids[0].Halved = true
	faulty.Form.Solids[0].Shape = geometry.Sphere{}
	given.Body = ratebook.Closed
	rimmed := brief.Piece{Form: brief.Form{Measured: &brief.Measured{Rim: 1}}}
	whole := ball("a")
	for _, r := range []struct {
		name string
		of   *brief.Piece
		want ratebook.Body
	}{
		{"whole", &whole, ratebook.Closed},
		{"open end", &open, ratebook.OpenBacked},
		{"halved", &halved, ratebook.OpenBacked},
		{"given", &given, ratebook.Closed},
		{"measured with a rim", &rimmed, ratebook.OpenBacked},
		{"measured without", &brief.Piece{Form: brief.Form{Measured: &brief.Measured{}}}, ratebook.Closed},
		{"faulty, to be named elsewhere", &faulty, ratebook.OpenBacked},
	} {
		if got := r.of.BodyTaken(); got != r.want {
			t.Errorf("%s: got %s, want %s", r.name, got, r.want)
		}
	}
}
