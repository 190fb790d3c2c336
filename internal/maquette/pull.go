package maquette

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/release"
)

// MostPulls bounds the pulls that a caller may force.
const MostPulls = 6

// PullFaults finds what is wrong with forced pulls.
func PullFaults(pulls []release.Direction) fault.List {
	var faults fault.List
	var root fault.Path
	if len(pulls) > MostPulls {
		faults.Add(root.Field("pulls"), "got %d, allowed: at most %d", len(pulls), MostPulls)
	}
	for i, d := range pulls {
		if length := math.Hypot(math.Hypot(d[0], d[1]), d[2]); !(length >= 1e-6 && length <= 1e6) {
			faults.Add(root.Item("pulls", i), "got a direction of length %g, allowed: 0.000001 to 1000000; only the way it points matters", length)
		}
	}
	return faults
}

// PullWords says in words which way a piece of a mould is pulled.
func PullWords(d release.Direction) string {
	const square = 1 - 1e-9
	for i, words := range [3][2]string{{"to the left (-x)", "to the right (+x)"}, {"to the front (-y)", "to the back (+y)"}, {"down (-z)", "up (+z)"}} {
		switch {
		case d[i] > square:
			return words[1]
		case d[i] < -square:
			return words[0]
		}
	}
	return fmt.Sprintf("slanting, x %.2f, y %.2f, z %.2f", d[0], d[1], d[2])
}
