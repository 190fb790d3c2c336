package foam_test

import (
	"math"
	"slices"
	"testing"

	"github.com/mouldwright/mouldwright/internal/foam"
	"pgregory.net/rapid"
)

const inch = 0.0254 // m

// giant is the 40 x 48 x 96 in block.
func giant() foam.Block { return foam.Block{Width: 40 * inch, Depth: 48 * inch, Height: 96 * inch} }

// cube is a block of a metre, for answers that can be seen.
func cube() foam.Block { return foam.Block{Width: 1, Depth: 1, Height: 1} }

func TestPatternCheckValues(t *testing.T) {
	const computed = "FORMULA/INPUTS read; result computed"
	const pound, squareFoot = 0.45359237, 0.3048 * 0.3048
	const coat, table = "Exterior Foam Coat #026 coverage table (hotwirefoamfactory.com)", computed + " (same from the 36 ft2 @ 1/64 and 2.25 ft2 @ 1/4 rows)"
	ball := math.Pi * (6 * inch) * (6 * inch)
	checkRows(t, []row{
		{"PAT-01", "EPS density of 0.90 pcf, kg/m3", "ASTM D6817/C578 table, geofoamusa.com, northwestfoam.com", "VERIFIED: inputs and result both printed", must(foam.FromPCF(0.90)), 14.4, 5e-3},
		{"PAT-03", "block of 40 x 48 x 96 in, m3", "block size: univfoam.com giant foam sculptures", computed, giant().Volume(), 3.0205, 1e-3},
		{"PAT-04", "its mass at the least density, kg", "as PAT-01, PAT-03", computed, must(giant().Mass(14.4)), 43.5, 5e-3},
		{"PAT-05", "hard coat, kg/m2 per mm", coat, table, must(foam.CoatRate(3*pound, 9*squareFoot, inch/16)) / 1000, 1.025, 2e-3},
		{"PAT-05", "hard coat, 36 ft2 at 1/64 in", coat, table, must(foam.CoatRate(3*pound, 36*squareFoot, inch/64)) / 1000, 1.025, 2e-3},
		{"PAT-05", "hard coat, 2.25 ft2 at 1/4 in", coat, table, must(foam.CoatRate(3*pound, 2.25*squareFoot, inch/4)) / 1000, 1.025, 2e-3},
		{"PAT-07", "hard coat with mesh, cured, kg/m2 per mm", `sculpt.com "Working with Exterior Foam Coat"`, computed, must(foam.CoatRate(pound, ball, inch/8)) / 1000, 1.96, 0.01},
		{"section 4", "sphere's share of its cube", "pi/6 identity", "arithmetic identity", must(foam.CarvingShare(math.Pi/6, 1)), 0.52, 0.01},
	})
}

// Cuttings that can be counted by hand.
func TestCountedByHand(t *testing.T) {
	for _, c := range []struct {
		name           string
		blanks         []foam.Blank
		blocks, pieces int
		bond           float64
	}{
		{"nothing", nil, 0, 0, 0},
		{"none of a size", []foam.Blank{{1, 1, 1, 0}}, 0, 0, 0},
		{"a whole block", []foam.Blank{{1, 1, 1, 1}}, 1, 1, 0},
		{"eight half cubes", []foam.Blank{{0.5, 0.5, 0.5, 8}}, 1, 8, 0},
		{"nine half cubes", []foam.Blank{{0.5, 0.5, 0.5, 9}}, 2, 9, 0},
		{"ten slabs of a tenth", []foam.Blank{{1, 0.1, 1, 10}}, 1, 10, 0},
		{"two thirds do not share", []foam.Blank{{0.6, 0.6, 0.6, 2}}, 2, 2, 0},
		{"a two-block column", []foam.Blank{{1, 1, 2, 1}}, 2, 2, 1},
		{"one and a half, twice: the halves share", []foam.Blank{{1, 1, 1.5, 2}}, 3, 4, 2},
		{"a cube of two", []foam.Blank{{2, 2, 2, 1}}, 8, 8, 12},
		{"the small go into what the large leave", []foam.Blank{{0.1, 0.1, 0.1, 100}, {1, 1, 0.9, 1}}, 1, 101, 0},
		{"ten thousand of a tenth", []foam.Blank{{0.1, 0.1, 0.1, 10_000}}, 10, 10_000, 0},
		{"mixed ways round in one block", []foam.Blank{{0.6, 0.4, 1, 4}}, 2, 4, 0},
	} {
		got := must(foam.Cut(c.blanks, cube()))
		if got.Blocks != c.blocks || got.Pieces != c.pieces || !near(got.BondArea, c.bond, 1e-9) {
			t.Errorf("%s: %d blocks, %d pieces, %g m2 bonded; by hand %d, %d, %g", c.name, got.Blocks, got.Pieces, got.BondArea, c.blocks, c.pieces, c.bond)
		}
	}
}

func TestBondTurnsTheBlank(t *testing.T) {
	slab := foam.Block{Width: 2.4, Depth: 1.2, Height: 0.6}
	upright := must(foam.Bond(foam.Blank{Width: 0.6, Depth: 1.2, Height: 2.4}, slab))
	if upright.Pieces != 1 || upright.Area != 0 {
		t.Errorf("a block stood on end is bonded from %+v", upright)
	}
	thick := must(foam.Bond(foam.Blank{Width: 1.2, Depth: 1.2, Height: 2.4}, slab))
	if thick.Pieces != 2 || !near(thick.Area, 1.2*2.4, 1e-9) {
		t.Errorf("two slabs face to face are bonded from %+v", thick)
	}
}

func TestWhatIsRefused(t *testing.T) {
	one := []foam.Blank{{1, 1, 1, 1}}
	for _, c := range []struct {
		name string
		err  error
	}{
		{"a flat block", second(foam.Cut(one, foam.Block{Width: 1, Depth: 1}))},
		{"a block in mm", second(foam.Cut(one, foam.Block{Width: 2440, Depth: 1220, Height: 610}))},
		{"a blank of nothing", second(foam.Cut([]foam.Blank{{0, 1, 1, 1}}, cube()))},
		{"a side that is no number", second(foam.Cut([]foam.Blank{{math.NaN(), 1, 1, 1}}, cube()))},
		{"fewer than no blanks", second(foam.Cut([]foam.Blank{{1, 1, 1, -1}}, cube()))},
		{"more pieces than can be cut", second(foam.Cut([]foam.Blank{{100, 100, 100, 1_000_000}}, foam.Block{Width: 0.01, Depth: 0.01, Height: 0.01}))},
		{"more sizes than 10,000", second(foam.Cut(slices.Repeat(one, 10_001), cube()))},
		{"no density", second(cube().Mass(0))},
		{"a density of nothing", second(foam.FromPCF(0))},
		{"more carved than there was", second(foam.CarvingShare(2, 1))},
		{"a carved share of nothing", second(foam.BlankVolume(1, 0))},
		{"a coat of nothing", second(foam.CoatRate(1, 1, 0))},
		{"a negative coat", second(foam.CoatMass(1, -1, 1000))},
	} {
		if c.err == nil {
			t.Errorf("%s was taken", c.name)
		}
	}
}

func TestFaultSaysWhatIsAllowed(t *testing.T) {
	_, err := foam.FromPCF(0)
	if want := "density, lb/ft3: got 0, allowed 0.05 to 200"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %q", err, want)
	}
}

func blanks(longest float64, count int) *rapid.Generator[[]foam.Blank] {
	side := rapid.Float64Range(0.01, longest)
	one := rapid.Custom(func(t *rapid.T) foam.Blank {
		return foam.Blank{side.Draw(t, "w"), side.Draw(t, "d"), side.Draw(t, "h"), rapid.IntRange(0, count).Draw(t, "count")}
	})
	return rapid.SliceOfN(one, 0, 12)
}

func TestCuttingsCanBeTrue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bs := blanks(3, 500).Draw(t, "blanks")
		c := must(foam.Cut(bs, giant()))
		if c.Blocks < c.AtLeast || c.Blocks > c.Pieces || c.Offcut < 0 || c.Offcut >= 1 || c.BondArea < 0 {
			t.Fatalf("%+v", c)
		}
		if c.Net > c.Bought*(1+1e-9) {
			t.Fatalf("%g m3 out of %g", c.Net, c.Bought)
		}
		volume := 0.0
		for _, b := range bs {
			volume += b.Volume() * float64(b.Count)
		}
		// Sides are worked to 0.1 mm, half of it each way on sides of 10 mm or more.
		if !near(c.Net, volume, 0.016) {
			t.Fatalf("net %g, blanks %g m3", c.Net, volume)
		}
	})
}

func TestTheOrderOfBlanksDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bs := blanks(2, 50).Draw(t, "blanks")
		turned := slices.Clone(bs)
		slices.Reverse(turned)
		for i, b := range turned {
			turned[i].Width, turned[i].Height = b.Height, b.Width
		}
		a, b := must(foam.Cut(bs, giant())), must(foam.Cut(turned, giant()))
		if a.Blocks != b.Blocks || a.Pieces != b.Pieces || !near(a.BondArea, b.BondArea, 1e-9) {
			t.Fatalf("%+v, and turned %+v", a, b)
		}
	})
}

func TestOneSizeSplitInTwoIsOneSize(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.Float64Range(0.05, 2.5)
		b := foam.Blank{side.Draw(t, "w"), side.Draw(t, "d"), side.Draw(t, "h"), rapid.IntRange(0, 5000).Draw(t, "n")}
		c := b
		c.Count = rapid.IntRange(0, 5000).Draw(t, "m")
		both := b
		both.Count += c.Count
		if must(foam.Cut([]foam.Blank{b, c}, giant())).Blocks != must(foam.Cut([]foam.Blank{both}, giant())).Blocks {
			t.Fatal("two lots of one size take other blocks than one")
		}
	})
}

func TestMoreOfASizeNeverTakesFewerBlocks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.Float64Range(0.05, 1)
		b := foam.Blank{side.Draw(t, "w"), side.Draw(t, "d"), side.Draw(t, "h"), rapid.IntRange(0, 500).Draw(t, "n")}
		before := must(foam.Cut([]foam.Blank{b}, giant())).Blocks
		b.Count++
		if after := must(foam.Cut([]foam.Blank{b}, giant())).Blocks; after < before || after > before+1 {
			t.Fatalf("%d blocks, then %d for one more", before, after)
		}
	})
}

func TestPiecesOfABlankAreTheCeilings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := [3]int{rapid.IntRange(1, 5).Draw(t, "a"), rapid.IntRange(1, 5).Draw(t, "b"), rapid.IntRange(1, 5).Draw(t, "c")}
		b := must(foam.Bond(foam.Blank{Width: float64(n[0]), Depth: float64(n[1]), Height: float64(n[2])}, cube()))
		joints := (n[0]-1)*n[1]*n[2] + n[0]*(n[1]-1)*n[2] + n[0]*n[1]*(n[2]-1)
		if b.Pieces != n[0]*n[1]*n[2] || !near(b.Area, float64(joints), 1e-9) {
			t.Fatalf("%v: %+v", n, b)
		}
	})
}

func TestSharesAndCoatsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		carved, share := rapid.Float64Range(0.001, 100).Draw(t, "carved"), rapid.Float64Range(0.01, 1).Draw(t, "share")
		blank := must(foam.BlankVolume(carved, share))
		if blank < carved || !near(must(foam.CarvingShare(carved, blank)), share, 1e-12) {
			t.Fatalf("%g m3 out of %g", carved, blank)
		}
		film, rate := rapid.Float64Range(0.0005, 0.02).Draw(t, "film"), rapid.Float64Range(100, 3000).Draw(t, "rate")
		if !near(must(foam.CoatRate(must(foam.CoatMass(carved, film, rate)), carved, film)), rate, 1e-12) {
			t.Fatal("the rate does not come back from the mass")
		}
	})
}

func second[T any](_ T, err error) error { return err }

// The worst case that the engine meets: 200 sizes, 10,000 of each, all of them bonded up.
func BenchmarkCut(b *testing.B) {
	var many []foam.Blank
	for i := range 200 {
		x := float64(i)
		many = append(many, foam.Blank{1.1 + x*0.0071, 0.4 + x*0.0093, 2.6 - x*0.0037, 10_000})
	}
	for b.Loop() {
		must(foam.Cut(many, giant()))
	}
}
