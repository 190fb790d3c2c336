package pack_test

import (
	"slices"
	"testing"

	"github.com/mouldwright/mouldwright/internal/pack"
	"pgregory.net/rapid"
)

func packs(size, cost int64) *rapid.Generator[[]pack.Pack] {
	one := rapid.Custom(func(t *rapid.T) pack.Pack {
		return pack.Pack{Size: rapid.Int64Range(1, size).Draw(t, "size"), Cost: rapid.Int64Range(0, cost).Draw(t, "cost")}
	})
	return rapid.SliceOfN(one, 1, 4)
}

// everyWay tries every purchase whose packs are all needed, and gives the cheapest's
// cost, packs and size bought: the dull oracle for Cover.
func everyWay(need int64, packs []pack.Pack) [3]int64 {
	if need <= 0 {
		return [3]int64{}
	}
	if len(packs) == 1 {
		n := (need + packs[0].Size - 1) / packs[0].Size
		return [3]int64{n * packs[0].Cost, n, n * packs[0].Size}
	}
	best := [3]int64{1 << 62}
	for n := int64(0); (n-1)*packs[0].Size < need; n++ {
		rest := everyWay(need-n*packs[0].Size, packs[1:])
		way := [3]int64{rest[0] + n*packs[0].Cost, rest[1] + n, rest[2] + n*packs[0].Size}
		if slices.Compare(way[:], best[:]) < 0 {
			best = way
		}
	}
	return best
}

func checkTally(t *rapid.T, need int64, packs []pack.Pack, p pack.Purchase) {
	var cost, bought int64
	for i, n := range p.Counts {
		if n < 0 {
			t.Fatalf("%d packs", n)
		}
		cost += int64(n) * packs[i].Cost
		bought += int64(n) * packs[i].Size
	}
	if cost != p.Cost || bought != p.Bought || p.Left != bought-need || p.Left < 0 || len(p.Counts) != len(packs) {
		t.Fatalf("the purchase %+v of %v does not add up or cover %d", p, packs, need)
	}
}

func TestCoverAgainstEveryWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ps, need := packs(12, 30).Draw(t, "packs"), rapid.Int64Range(0, 60).Draw(t, "need")
		p := must(pack.Cover(need, ps))
		checkTally(t, need, ps, p)
		count := int64(0)
		for _, n := range p.Counts {
			count += int64(n)
		}
		if got, want := [3]int64{p.Cost, count, p.Bought}, everyWay(need, ps); got != want || !p.Proved {
			t.Fatalf("cost, packs, bought %v, cheapest %v", got, want)
		}
	})
}

// cheapestCosts is the plain recurrence with no short cut, for needs of 0 to most.
func cheapestCosts(most int64, packs []pack.Pack) []int64 {
	costs := make([]int64, most+1)
	for w := int64(1); w <= most; w++ {
		costs[w] = 1 << 62
		for _, p := range packs {
			costs[w] = min(costs[w], p.Cost+costs[max(0, w-p.Size)])
		}
	}
	return costs
}

// Needs far beyond the table's certain part, so that the bulk is bought ahead of it.
func TestBulkIsAsCheapAsTheRecurrence(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ps := packs(15, 100).Draw(t, "packs")
		costs := cheapestCosts(5000, ps)
		for need := int64(0); need <= 5000; need += 97 {
			p := must(pack.Cover(need, ps))
			checkTally(t, need, ps, p)
			if p.Cost != costs[need] || !p.Proved {
				t.Fatalf("need %d: cost %d, cheapest %d", need, p.Cost, costs[need])
			}
		}
	})
}

func TestCoverOfAnyNeedIsBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ps, need := packs(1_000_000_000, 1_000_000_000).Draw(t, "packs"), rapid.Int64Range(0, 1_000_000_000).Draw(t, "need")
		checkTally(t, need, ps, must(pack.Cover(need, ps)))
	})
}

func TestCoverIsMonotoneAndScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ps, need := packs(40, 500).Draw(t, "packs"), rapid.Int64Range(0, 2000).Draw(t, "need")
		p := must(pack.Cover(need, ps))
		if must(pack.Cover(need+1, ps)).Cost < p.Cost {
			t.Fatal("a larger need is cheaper")
		}
		grams := slices.Clone(ps)
		for i := range grams {
			grams[i].Size *= 1000
		}
		if g := must(pack.Cover(need*1000, grams)); g.Cost != p.Cost || !slices.Equal(g.Counts, p.Counts) {
			t.Fatal("the purchase changes with the unit")
		}
	})
}

func TestSizesWithNoCommonMeasure(t *testing.T) {
	ps := []pack.Pack{{1009, 1200}, {997, 1190}, {25013, 26000}}
	p := must(pack.Cover(900_000_000, ps))
	floor := float64(900_000_000) * 26000 / 25013
	if p.Proved || p.Left < 0 || float64(p.Cost) < floor || float64(p.Cost) > floor*1.0001 {
		t.Errorf("%+v against at least %.0f", p, floor)
	}
	if huge := must(pack.Cover(200_003, []pack.Pack{{997, 1000}, {999_999_999, 2_000_000}})); huge.Counts[1] != 0 {
		t.Errorf("bought a thousand tonnes to cover two hundred kilograms: %+v", huge)
	}
}

func TestGrossUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		need, waste := rapid.Float64Range(0, 1e6).Draw(t, "need"), rapid.Float64Range(0, 0.95).Draw(t, "waste")
		buy := must(pack.GrossUp(need, waste))
		if !near(buy*(1-waste), need, 1e-12) || buy < need {
			t.Fatalf("%g bought for %g", buy, need)
		}
		if must(pack.GrossUp(need, 0)) != need {
			t.Fatal("no waste changed the need")
		}
	})
}

func TestChargeableWeightIsNeverBelowEither(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side, actual := rapid.Float64Range(0.01, 5).Draw(t, "side"), rapid.Float64Range(0, 2000).Draw(t, "actual")
		got := must(pack.ChargeableWeight(side, side, side, actual, pack.AirDivisor))
		larger := max(actual, side*side*side*1e6/6000)
		if got < larger*(1-1e-8) || got >= larger+1 {
			t.Fatalf("charged %g for %g", got, larger)
		}
	})
}

func TestBarsHoldAllPiecesOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bar := rapid.Int64Range(1, 1000).Draw(t, "bar")
		pieces := rapid.SliceOfN(rapid.Int64Range(1, bar), 0, 60).Draw(t, "pieces")
		cut := must(pack.FirstFitDecreasing(bar, pieces))
		var seen []int
		for _, b := range cut {
			length := int64(0)
			for _, i := range b.Pieces {
				length += pieces[i]
			}
			if length+b.Left != bar || b.Left < 0 || len(b.Pieces) == 0 {
				t.Fatalf("a bar of %d holds %d and leaves %d", bar, length, b.Left)
			}
			seen = append(seen, b.Pieces...)
		}
		slices.Sort(seen)
		for i, s := range seen {
			if i != s {
				t.Fatal("a piece is missing or cut twice")
			}
		}
		if bound := must(pack.LowerBound(bar, pieces)); len(seen) != len(pieces) || len(cut) < bound {
			t.Fatalf("%d bars, bound %d", len(cut), bound)
		}
	})
}

// fewest tries every bar for every piece: the dull oracle for the two bounds.
func fewest(pieces, room []int64, bar int64) int {
	if len(pieces) == 0 {
		return len(room)
	}
	best := fewest(pieces[1:], append(slices.Clone(room), bar-pieces[0]), bar)
	for i, left := range room {
		if left >= pieces[0] {
			used := slices.Clone(room)
			used[i] -= pieces[0]
			best = min(best, fewest(pieces[1:], used, bar))
		}
	}
	return best
}

// Dosa: first fit decreasing takes at most 11/9 of the fewest bars + 6/9.
func TestBarsAgainstTheFewest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bar := rapid.Int64Range(1, 30).Draw(t, "bar")
		pieces := rapid.SliceOfN(rapid.Int64Range(1, bar), 0, 7).Draw(t, "pieces")
		opt, cut := fewest(pieces, nil, bar), len(must(pack.FirstFitDecreasing(bar, pieces)))
		if bound := must(pack.LowerBound(bar, pieces)); bound > opt || cut < opt || 9*cut > 11*opt+6 {
			t.Fatalf("bound %d, fewest %d, cut %d", bound, opt, cut)
		}
	})
}

func BenchmarkCover(b *testing.B) {
	grams := []pack.Pack{{750, 1200}, {5000, 4500}, {20_300, 15_000}}
	for b.Loop() {
		must(pack.Cover(1_234_567, grams))
	}
}
