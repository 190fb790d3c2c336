package pack

import (
	"errors"
	"slices"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Bar is one length of stock and what is cut from it.
type Bar struct {
	Pieces []int // places of the pieces in the list given, longest first
	Left   int64 // small units
}

// FirstFitDecreasing cuts pieces from bars of one length, longest piece first, each
// from the first bar with room. It needs at most 11/9 of the fewest bars + 6/9.
// A saw kerf k is allowed for by giving pieces of l + k and bars of L + k. Pieces number up to
// 10,000, each of 1 small unit to a bar's length; equal pieces stay in the order given.
//
// Source: Dosa, LNCS 4614 (2007) pp. 1-11, for the bound.
func FirstFitDecreasing(bar int64, pieces []int64) ([]Bar, error) {
	if err := checkPieces(bar, pieces); err != nil {
		return nil, err
	}
	var bars []Bar
	for _, i := range longestFirst(pieces) {
		at := slices.IndexFunc(bars, func(b Bar) bool { return b.Left >= pieces[i] })
		if at < 0 {
			at = len(bars)
			bars = append(bars, Bar{Left: bar})
		}
		bars[at].Pieces = append(bars[at].Pieces, i)
		bars[at].Left -= pieces[i]
	}
	return bars, nil
}

// LowerBound is a number of bars that no cutting can go below: Martello
// and Toth's L2, which counts the pieces that cannot share a bar and is never below
// the total length over the bar's, rounded up.
//
// Source: Martello and Toth, "Knapsack Problems" (1990), section 8.3.2 (from memory).
func LowerBound(bar int64, pieces []int64) (int, error) {
	if err := checkPieces(bar, pieces); err != nil {
		return 0, err
	}
	bound := unsharedBound(bar, pieces, 0)
	for _, shortest := range slices.Compact(slices.Sorted(slices.Values(pieces))) {
		if shortest <= bar/2 {
			bound = max(bound, unsharedBound(bar, pieces, shortest))
		}
	}
	return int(bound), nil
}

// unsharedBound leaves out the pieces below shortest. Pieces above bar - shortest
// share with none that are left; the others above half a bar do not share with each
// other; what the rest needs beyond the room beside those is further bars.
func unsharedBound(bar int64, pieces []int64, shortest int64) int64 {
	var alone, halves, rest, beside int64
	for _, l := range pieces {
		switch {
		case l > bar-shortest:
			alone++
		case 2*l > bar:
			halves++
			beside += bar - l
		case l >= shortest:
			rest += l
		}
	}
	return alone + halves + barsFor(max(0, rest-beside), bar)
}

func barsFor(length, bar int64) int64 {
	return (length + bar - 1) / bar
}

func longestFirst(pieces []int64) []int {
	order := make([]int, len(pieces))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return int(pieces[b] - pieces[a]) })
	return order
}

func checkPieces(bar int64, pieces []int64) error {
	err := errors.Join(
		fault.Unless(bar >= 1 && bar <= most, "bar, small units", float64(bar), "1 to 1e9"),
		fault.Unless(len(pieces) <= 10_000, "pieces", float64(len(pieces)), "up to 10000"),
	)
	for _, l := range pieces {
		err = errors.Join(err, fault.Unless(l >= 1 && l <= bar, "piece, small units", float64(l), "1 to the bar's length"))
	}
	return err
}
