// Package pack works out what to buy and how it ships: the cheapest pack sizes that
// cover a need, bars cut from stock, and the weight that a carrier charges for.
//
// Sizes and needs are whole numbers of one small unit (grams, millilitres,
// millimetres) and costs whole minor units of one currency, so that the cheapest is
// the cheapest exactly and not to a rounding.
package pack

import (
	"errors"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Limits that keep every cost and size within 64 bits and the work bounded.
const (
	most    = 1_000_000_000 // of a need, a size (small units) and a cost (minor units)
	kinds   = 64            // of pack
	states  = 100_000       // of the table
	allowed = "0 to 1e9"
)

// Pack is a size that can be bought any number of times.
type Pack struct {
	Size int64 // in the small unit, 1 to 1e9
	Cost int64 // in minor units, 0 to 1e9
}

// Purchase is what to buy.
type Purchase struct {
	Counts []int // of each pack, in the order given
	Cost   int64 // minor units
	Bought int64 // small units
	Left   int64 // bought less the need, small units
	// Proved says that no cheaper purchase exists. It is false only where sizes with
	// next to no common measure (1009 g and 997 g) meet a large need: then the bulk is
	// bought in the pack of the best value and only the rest is optimised.
	Proved bool
}

// Cover is the cheapest purchase that covers a need (0 to 1e9 small units) from 1 to
// 64 kinds of pack. Among equals it takes the fewest packs, then the least left over.
//
// Source: unbounded knapsack, C(w) = min over i of c_i + C(max(0, w - s_i)), C(0) = 0.
func Cover(need int64, packs []Pack) (Purchase, error) {
	if err := checkCover(need, packs); err != nil {
		return Purchase{}, err
	}
	unit := measure(packs)
	counts, proved := cheapest((need+unit-1)/unit, scaled(packs, unit))
	return tally(need, packs, counts, proved), nil
}

// measure is the greatest common measure of the sizes. Every purchase is a whole
// number of it, so it is the coarsest grid that loses nothing.
func measure(packs []Pack) int64 {
	g := int64(0)
	for _, p := range packs {
		for a := p.Size; a != 0; {
			g, a = a, g%a
		}
	}
	return g
}

// scaled is the packs with their sizes in grid units.
func scaled(packs []Pack, unit int64) []Pack {
	out := make([]Pack, len(packs))
	for i, p := range packs {
		out[i] = Pack{Size: p.Size / unit, Cost: p.Cost}
	}
	return out
}

// cheapest is the number of each pack that covers the units, and whether that is
// proved to be the cheapest.
func cheapest(units int64, packs []Pack) (counts []int, proved bool) {
	bulk := bestValue(packs)
	n := certain(units, packs, packs[bulk].Size)
	rest := units - n*packs[bulk].Size
	proved = rest < states
	table := fill(min(rest, states-1), packs)
	if !proved {
		bulk, n = bulkBuy(units, packs, table)
		rest = max(0, units-n*packs[bulk].Size)
	}
	counts = walk(table, rest, packs)
	counts[bulk] += int(n)
	return counts, proved
}

// bestValue is the place of the pack with the lowest cost per size; of equals the
// largest, which also takes the fewest packs.
func bestValue(packs []Pack) int {
	best := 0
	for i, p := range packs {
		b := packs[best]
		mine, its := p.Cost*b.Size, b.Cost*p.Size
		if mine < its || mine == its && p.Size > b.Size {
			best = i
		}
	}
	return best
}

// certain is how many packs of the best value, of size s, some cheapest purchase holds
// at least.
//
// Any s other packs hold some that add up to a multiple of s (pigeonhole on the
// running totals modulo s), and packs of the best value in their stead cost no more. So
// some cheapest purchase holds fewer than s others, which cover at most (s-1) x the
// largest pack: what is beyond that is packs of the best value.
func certain(units int64, packs []Pack, s int64) int64 {
	largest := int64(0)
	for _, p := range packs {
		largest = max(largest, p.Size)
	}
	beyond := units - (s-1)*largest // below 1e18, as sizes are
	return max(0, (beyond+s-1)/s)
}

// bulkBuy is the pack, and the number of it, that brings a need down to the table
// at the lowest cost altogether.
func bulkBuy(units int64, packs []Pack, table []step) (bulk int, n int64) {
	var best step
	for i, p := range packs {
		count := (units - int64(len(table)) + p.Size) / p.Size
		s := table[max(0, units-count*p.Size)]
		s.cost += count * p.Cost
		s.packs += count
		s.bought += count * p.Size
		if i == 0 || s.less(best) {
			best, bulk, n = s, i, count
		}
	}
	return bulk, n
}

// step is the best way to cover a need: its cost, packs and size, and the pack that
// it ends with.
type step struct {
	cost, packs, bought int64
	with                int
}

// fill is the table of the recurrence for needs of 0 up to units.
func fill(units int64, packs []Pack) []step {
	table := make([]step, units+1)
	for w := int64(1); w <= units; w++ {
		table[w] = bestStep(table, w, packs)
	}
	return table
}

// bestStep is the best way to cover w, all smaller needs being known.
func bestStep(table []step, w int64, packs []Pack) step {
	var best step
	for i, p := range packs {
		s := table[max(0, w-p.Size)]
		s = step{s.cost + p.Cost, s.packs + 1, s.bought + p.Size, i}
		if i == 0 || s.less(best) {
			best = s
		}
	}
	return best
}

// walk follows the table back from a need and counts the packs on the way.
func walk(table []step, units int64, packs []Pack) []int {
	counts := make([]int, len(packs))
	for w := units; w > 0; {
		i := table[w].with
		counts[i]++
		w -= packs[i].Size
	}
	return counts
}

// less orders by cost, then packs, then size bought.
func (s step) less(t step) bool {
	if s.cost != t.cost {
		return s.cost < t.cost
	}
	if s.packs != t.packs {
		return s.packs < t.packs
	}
	return s.bought < t.bought
}

func tally(need int64, packs []Pack, counts []int, proved bool) Purchase {
	p := Purchase{Counts: counts, Proved: proved}
	for i, n := range counts {
		p.Cost += int64(n) * packs[i].Cost
		p.Bought += int64(n) * packs[i].Size
	}
	p.Left = p.Bought - need
	return p
}

func checkCover(need int64, packs []Pack) error {
	err := errors.Join(
		fault.Unless(need >= 0 && need <= most, "need, small units", float64(need), allowed),
		fault.Unless(len(packs) >= 1 && len(packs) <= kinds, "kinds of pack", float64(len(packs)), "1 to 64"),
	)
	for _, p := range packs {
		err = errors.Join(err,
			fault.Unless(p.Size >= 1 && p.Size <= most, "pack size, small units", float64(p.Size), "1 to 1e9"),
			fault.Unless(p.Cost >= 0 && p.Cost <= most, "pack cost, minor units", float64(p.Cost), allowed))
	}
	return err
}
