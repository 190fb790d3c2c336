package allowance_test

import (
	"math"
	"testing"
)

// row is one published check value: where it is from and how that is known stand
// beside it.
type row struct {
	id, quantity  string
	source, known string
	got           float64
	want          float64
	within        float64 // relative; 0 is exact
}

func checkRows(t *testing.T, rows []row) {
	t.Helper()
	for _, r := range rows {
		t.Run(r.id+" "+r.quantity, func(t *testing.T) {
			// The last term is for binary noise in rows that are exact in decimals.
			if math.Abs(r.got-r.want) <= r.within*math.Abs(r.want)+1e-14*math.Abs(r.want) {
				return
			}
			t.Errorf("got %.12g, want %.12g within %g (%s; %s)", r.got, r.want, r.within, r.source, r.known)
		})
	}
}

// must gives the value of a call that a test has no reason to see refused.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// near says whether two numbers agree to a relative tolerance.
func near(a, b, within float64) bool {
	return math.Abs(a-b) <= within*math.Max(math.Abs(a), math.Abs(b))
}
