package unit

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The quick way of rounding must never differ from the decimal one.
func TestPlainRoundingIsDecimalRounding(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := Unit(rapid.IntRange(0, int(unitEnd)-1).Draw(t, "unit"))
		whole := rapid.Int64Range(-1_000_000_000_000, 1_000_000_000_000).Draw(t, "whole")
		v := float64(whole) / float64(pow10(rapid.IntRange(0, 9).Draw(t, "decimals")))
		for range rapid.IntRange(0, 3).Draw(t, "bits") {
			v = math.Nextafter(v, math.Inf(1))
		}
		quick, ok := plainly(v, u)
		if !ok {
			return
		}
		mantissa, exponent := decimal15(v)
		if slow := shift10(mantissa, exponent+u.Decimals()); quick != slow {
			t.Fatalf("%v %s: %d the quick way, %d in decimal", v, u, quick, slow)
		}
	})
}

func TestSteadyKeepsTwelveDigits(t *testing.T) {
	for v, want := range map[float64]float64{
		0: 0, 0.1 + 0.2: 0.3, 2.0 / 3: 0.666666666667, -1234567.8901234567: -1234567.89012, 1e-300: 1e-300, 12: 12,
	} {
		if got := Steady(v); got != want {
			t.Errorf("Steady(%v) = %v, want %v", v, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Draw(t, "v")
		if once := Steady(v); Steady(once) != once || math.Abs(once-v) > 1e-11*math.Abs(v) {
			t.Fatalf("Steady(%v) = %v, then %v", v, once, Steady(once))
		}
	})
}
