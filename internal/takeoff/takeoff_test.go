package takeoff_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
	"github.com/mouldwright/mouldwright/internal/takeoff"
)

// slab is one block, 1 x 1 x 0.5 m: surface 2 x 1 + 4 x 0.5 = 4 m2, volume 0.5 m3,
// outline at the cut plane 2 x (1 + 0.5) = 3 m, largest elevation 1 m2.
func slab() brief.Solid {
	return brief.Solid{Kind: "box", Shape: geometry.Block{Width: 1, Depth: 1, Height: 0.5}, Count: 1}
}

// piece is five casts of the solids.
func piece(solids ...brief.Solid) *brief.Piece {
	return &brief.Piece{Code: "p", Name: "Piece", Quantity: 5, Texture: 1, Exposure: ratebook.Outdoor, Form: brief.Form{Solids: solids}}
}

func measure(t *testing.T, b *brief.Piece) takeoff.Piece {
	t.Helper()
	p, faults := takeoff.Measure(b, ratebooktest.Tiny(t), false)
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	return p
}

// near holds a figure to the last bits that arithmetic may leave.
func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-11*math.Max(1, math.Abs(want)) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

func TestASlabByHand(t *testing.T) {
	p := measure(t, piece(slab()))
	near(t, "surface", p.Surface, 4)
	near(t, "rim", p.Rim, 0)
	near(t, "volume", p.Volume, 0.5)
	near(t, "blank", p.Blank, 0.5)
	near(t, "silhouette", p.Silhouette, 1)
	near(t, "parting", p.Parting, 3) // two pieces, so one line, as long as the outline
	near(t, "box", p.BoxVolume(), 0.5)
	near(t, "stands at", p.StandsAt(), 0.5)
	if p.Body != ratebook.Closed || p.MouldParts != 2 {
		t.Errorf("body %s, mould in %d; want closed, 2", p.Body, p.MouldParts)
	}
	if want := (takeoff.Basis{
		Blank:   "box round each solid, before carving",
		Surface: "handbook formula", Rim: "openings and halved outline", Volume: "handbook formula", Silhouette: "largest elevation",
		Parting: "outline at the cut plane", Size: "the solid's own",
	}); p.Basis != want {
		t.Errorf("basis %+v", p.Basis)
	}
}

// The cast's skin: 0.5 mm of gelcoat and 2 x 450 g mat at 30 % of glass, without
// gelcoat over foam. WGT-03, 2.602 mm within 0.2 % (LAM + GEL formulas; computed).
func TestThicknessOfTheSkin(t *testing.T) {
	p := measure(t, piece(slab()))
	if got := 1000 * p.Thickness(); math.Abs(got-2.602) > 0.002*2.602 {
		t.Errorf("WGT-03: got %.4f mm, want 2.602", got)
	}
	direct, _ := takeoff.Measure(piece(slab()), ratebooktest.Tiny(t), true)
	near(t, "over foam", direct.Thickness(), direct.Laminate.Stack.Thickness())
	if direct.Laminate.Code != "combo" {
		t.Errorf("laminate over foam is %q, want the studio's for that route", direct.Laminate.Code)
	}
}

// MLD-04: both sides of a 5 m split line, 75 mm wide, are 2 x 5 x 0.075 = 0.75 m2
// (flange width 50-75 mm: common practice, no source). A rim takes a flange on one
// side only.
func TestFlangeByHand(t *testing.T) {
	parting := 5.0
	b := piece(slab())
	b.Mould.Parting = &parting
	p := measure(t, b)
	near(t, "MLD-04", p.Flange, 0.75)
	near(t, "mould with its flange", p.MouldArea(), 4.75)
	if p.Basis.Parting != "as given" {
		t.Errorf("parting rests on %q", p.Basis.Parting)
	}

	// A tray: the slab open at its top. Surface 3, rim 4, outline still 3, one piece
	// and so no parting line: flange 4 x 0.075 = 0.3.
	open := slab()
	open.Shape = geometry.Block{Width: 1, Depth: 1, Height: 0.5, Ends: geometry.EndsBase}
	tray := measure(t, piece(open))
	near(t, "tray, surface", tray.Surface, 3)
	near(t, "tray, rim", tray.Rim, 4)
	near(t, "tray, parting", tray.Parting, 0)
	near(t, "tray, flange", tray.Flange, 0.3)
	if tray.Body != ratebook.OpenBacked || tray.MouldParts != 1 {
		t.Errorf("tray: body %s, mould in %d; want open-backed, 1", tray.Body, tray.MouldParts)
	}
}

// A mould of n pieces has n-1 parting lines, each taken as long as the outline, 3 m.
func TestPartingOfManyPieces(t *testing.T) {
	for pieces, want := range map[int]float64{1: 0, 2: 3, 4: 9} {
		b := piece(slab())
		b.Mould.Pieces = pieces
		near(t, "parting", measure(t, b).Parting, want)
	}
}

// Casts of one hand over its moulds: a mould of the tiny studio gives 10.
func TestPulls(t *testing.T) {
	for _, c := range []struct {
		name         string
		casts, asked int
		want         []int
	}{
		{"one cast", 1, 0, []int{1}},
		{"a mould's whole life", 10, 0, []int{10}},
		{"one more", 11, 0, []int{6, 5}},
		{"three moulds, shared evenly", 25, 0, []int{9, 8, 8}},
		{"more moulds asked for", 10, 4, []int{3, 3, 2, 2}},
		{"fewer asked for than their life allows", 25, 1, []int{9, 8, 8}},
		{"no mould without a pull", 3, 7, []int{1, 1, 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := piece(slab())
			b.Quantity, b.Mould.PerHand = c.casts, c.asked
			if got := measure(t, b).Pulls; !slices.Equal(got, c.want) {
				t.Errorf("got %v, want %v", got, c.want)
			}
		})
	}
}

// A handed pair: each hand has its own pattern and its own moulds.
func TestHandedPair(t *testing.T) {
	b := piece(slab())
	b.Quantity, b.Pair = 11, true
	p := measure(t, b)
	if p.Patterns() != 2 || p.Moulds() != 4 || p.Casts() != 22 {
		t.Errorf("%d patterns, %d moulds, %d casts; want 2, 4, 22", p.Patterns(), p.Moulds(), p.Casts())
	}
	direct, _ := takeoff.Measure(b, ratebooktest.Tiny(t), true)
	if direct.Patterns() != 0 || direct.Moulds() != 0 || direct.Flange != 0 || direct.Casts() != 22 {
		t.Errorf("direct: %d patterns, %d moulds, flange %v, %d casts; want none, and 22", direct.Patterns(), direct.Moulds(), direct.Flange, direct.Casts())
	}
}

// Two slabs, each losing 0.25 m2 where it meets its neighbour, and half a ball of
// 1 m, open at the back, that loses 0.1 m2 and 1 m of its rim:
//
//	surface    2 x (4 - 0.25) + pi/2 - 0.1 = 7.4 + pi/2
//	rim        2 x 0 + pi - 1 (the open back, less what is joined)
//	volume     2 x 0.5 + pi/12
//	silhouette 2 x 1 + pi/4
//	parting    2 x (3 - w) + pi - v for the one line of a mould in two, less the widths
//	           of round contacts: w = 2 sqrt(0.25/pi), v = 2 sqrt(0.1/pi)
//	blank      2 x 0.5 + 1 x 0.5 x 1
//	extent     widest 1, deepest 1, heights stacked: 2 x 0.5 + 1 = 2
func TestSolidsAddUpByHand(t *testing.T) {
	slabs := slab()
	slabs.Count, slabs.Contact = 2, 0.25
	ball := brief.Solid{Kind: "sphere", Shape: geometry.Sphere{Diameter: 1}, Count: 1, Halved: true, Contact: 0.1, Joined: 1}
	b := piece(slabs, ball)
	b.Mould.Pieces = 2
	p := measure(t, b)
	near(t, "surface", p.Surface, 7.4+math.Pi/2)
	near(t, "rim", p.Rim, math.Pi-1)
	near(t, "volume", p.Volume, 1+math.Pi/12)
	near(t, "silhouette", p.Silhouette, 2+math.Pi/4)
	near(t, "parting", p.Parting, 2*(3-2*math.Sqrt(0.25/math.Pi))+math.Pi-2*math.Sqrt(0.1/math.Pi))
	near(t, "blank", p.Blank, 1.5)
	if want := (geometry.Extent{Width: 1, Depth: 1, Height: 2}); p.Extent != want {
		t.Errorf("extent %+v, want %+v", p.Extent, want)
	}
	if p.Basis.Size != "solids taken as stacked" || !strings.HasPrefix(p.Basis.Surface, "sum of the solids") {
		t.Errorf("basis %+v", p.Basis)
	}
	if len(p.Blanks) != 2 || p.Blanks[0].Count != 2 {
		t.Errorf("blanks %+v, want two of the slab and one of the ball", p.Blanks)
	}
}

func TestSizeGivenStandsForTheStack(t *testing.T) {
	b := piece(slab())
	b.Size = &geometry.Extent{Width: 2, Depth: 1, Height: 3}
	p := measure(t, b)
	near(t, "box", p.BoxVolume(), 6)
	near(t, "stands at", p.StandsAt(), 3)
	near(t, "blank, still of the solid", p.Blank, 0.5)
	if p.Basis.Size != "as given" {
		t.Errorf("size rests on %q", p.Basis.Size)
	}
	b.Standing = 4
	p = measure(t, b)
	near(t, "stands at, on a wall", p.StandsAt(), 4)
}

// Texture multiplies the surface and nothing else: 4 x 1.5 = 6.
func TestTexture(t *testing.T) {
	b := piece(slab())
	b.Texture = 1.5
	p := measure(t, b)
	near(t, "surface", p.Surface, 6)
	near(t, "volume", p.Volume, 0.5)
	near(t, "parting", p.Parting, 3)
	if !strings.HasSuffix(p.Basis.Surface, "times the texture factor given") {
		t.Errorf("surface rests on %q", p.Basis.Surface)
	}
}

func measured() *brief.Measured {
	return &brief.Measured{Surface: 3, Volume: 0.2, Rim: 1.5, Size: geometry.Extent{Width: 1.2, Depth: 0.5, Height: 0.8}}
}

// Silhouette 1.2 x 0.8, outline 2 x (1.2 + 0.8) = 4, blank 1.2 x 0.5 x 0.8 = 0.48.
func TestMeasuredForm(t *testing.T) {
	b := piece()
	b.Form = brief.Form{Measured: measured()}
	b.Mould.Pieces = 2
	p := measure(t, b)
	near(t, "surface", p.Surface, 3)
	near(t, "rim", p.Rim, 1.5)
	near(t, "volume", p.Volume, 0.2)
	near(t, "silhouette", p.Silhouette, 0.96)
	near(t, "parting", p.Parting, 4)
	near(t, "blank", p.Blank, 0.48)
	if p.Basis.Silhouette != "width x height of the size given" || p.Body != ratebook.OpenBacked {
		t.Errorf("silhouette rests on %q, body %s", p.Basis.Silhouette, p.Body)
	}
	b.Form.Measured.Silhouette = 0.7
	p = measure(t, b)
	near(t, "silhouette as given", p.Silhouette, 0.7)
	if p.Basis.Silhouette != "as given" {
		t.Errorf("silhouette rests on %q", p.Basis.Silhouette)
	}
}

func zone(finish string, count int, shape brief.ZoneShape) brief.Zone {
	return brief.Zone{Name: "zone", Finish: finish, Count: count, Shape: shape}
}

// Each shape of zone on a column of 0.4 m and 1 m, whose surface is
// 2 x pi 0.4^2/4 + pi 0.4 x 1 = 0.48 pi.
func TestZonesByHand(t *testing.T) {
	const least = "the least that its area can have"
	column, solid := brief.Solid{Kind: "cylinder", Shape: geometry.Cylinder{Diameter: 0.4, Height: 1}, Count: 1}, 0
	for _, c := range []struct {
		name       string
		shape      brief.ZoneShape
		area, edge float64
		basis      string
	}{
		{"spot", brief.ZoneShape{Spot: &geometry.Spot{Diameter: 0.2}}, math.Pi * 0.01, math.Pi * 0.2, "from its shape"},
		{"band of a diameter", brief.ZoneShape{Band: &brief.Band{Width: 0.05, Diameter: 0.3}}, math.Pi * 0.015, math.Pi * 0.6, "from its shape"},
		{"band round a solid", brief.ZoneShape{Band: &brief.Band{Width: 0.05, Solid: &solid, Height: 0.5}}, math.Pi * 0.02, math.Pi * 0.8, "from its shape"},
		{"panel with its edge", brief.ZoneShape{Panel: &brief.Panel{Share: 0.25, Edge: 2}}, 0.12 * math.Pi, 2, "from its shape"},
		// 2 sqrt(pi x 0.12 pi) = 2 pi sqrt(0.12).
		{"panel without", brief.ZoneShape{Panel: &brief.Panel{Share: 0.25}}, 0.12 * math.Pi, 2 * math.Pi * math.Sqrt(0.12), least},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := piece(column)
			b.Pair = true
			b.Zones = []brief.Zone{zone("flake", 3, c.shape)}
			z := measure(t, b).Zones[0]
			near(t, "area", z.Area, c.area)
			near(t, "edge", z.Edge, c.edge)
			if z.Basis != c.basis || z.Total != 30 || z.Treatment.Code != "flake" {
				t.Errorf("basis %q, %d in all, finish %q; want %q, 5 x 2 x 3 = 30, flake", z.Basis, z.Total, z.Treatment.Code, c.basis)
			}
		})
	}
}

// Zones of one finish may not cover more than there is; zones of different finishes
// may lie on top of each other.
func TestZonesThatCoverTooMuch(t *testing.T) {
	half := brief.ZoneShape{Panel: &brief.Panel{Share: 0.5}}
	b := piece(slab())
	b.Zones = []brief.Zone{zone("flake", 1, half), zone("flake", 1, half)}
	measure(t, b) // the whole of it is allowed
	b.Zones = append(b.Zones, zone("flake", 2, brief.ZoneShape{Spot: &geometry.Spot{Diameter: 0.1}}))
	_, faults := takeoff.Measure(b, ratebooktest.Tiny(t), false)
	// 4 + 2 x pi/400 = 4.0157...
	want := fault.List{{Path: "zones[2]", Message: `zones with finish "flake" then cover 4.016 m2 of a surface of 4.000 m2; allowed: no more than there is`}}
	if !slices.Equal(faults, want) {
		t.Errorf("got %v, want %v", faults, want)
	}
}
