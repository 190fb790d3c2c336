package learning_test

import (
	"math"
	"testing"

	"github.com/mouldwright/mouldwright/internal/learning"
	"pgregory.net/rapid"
)

const (
	chapter13 = `"Chapter 13 Learning Curves" instructor solutions (Course Hero 6536972)`
	cran      = "CRAN learningCurve 1.1.2 manual (Boehmke & Freels)"
	wideman   = "RAND/Wideman definitions of both models; textbook coefficient tables round these"
)

func TestLearningCheckValues(t *testing.T) {
	checkRows(t, []row{
		{"LRN-01", "slope exponent at 80 %", "definition", "computed", must(learning.Exponent(0.80)), -0.321928094887, 1e-9},
		{"LRN-02", "fifth unit of 300 h at 80 %", chapter13 + ": 178.7", "read", must(learning.Unit(300, 0.80, 5)), 178.691203084, 1e-9},
		{"LRN-04", "cumulative coefficient, 18 at 80 %", chapter13 + ": Table 13.2 9.716", "read", must(learning.Total(1, 0.80, 18)), 9.71617997507, 1e-9},
		{"LRN-05", "third unit of 9 h at 70 %", chapter13 + ": 5.114", "read", must(learning.Unit(9, 0.70, 3)), 5.11362305777, 1e-9},
		{"LRN-06", "three units of 15 min at 70 %", chapter13 + ": 34.023", "read", must(learning.Total(15, 0.70, 3)), 34.0227050963, 1e-9},
		{"LRN-08", "unit 125 of 100 h at 85 %", cran + " unit_curve: 32.23647", "read", must(learning.Unit(100, 0.85, 125)), 32.23646873, 1e-9},
		{"LRN-10", "unit 125 from unit 100", cran + ": 94.90257", "read", must(learning.FromKnown(100, 0.85, 100, 125)), 94.9025690742, 1e-9},
		{"LRN-12", "Wright unit 2200 of 110 h at 88.5 %", cran + " ca_unit: 23.34001", "read", must(learning.CumulativeUnit(110, 0.885, 2200)), 23.340010074, 1e-9},
		{"LRN-14", "Wright total of 16 at 80 %", "accounting coursebook p.324 (flipbuilder vksq p330): 100,160,256,409.6,655.36", "read", must(learning.CumulativeTotal(100, 0.80, 16)), 655.36, 1e-12},
		{"LRN-15", "Wright lot 9 to 16", "same page prints 254.76, a transposition; correct 245.76", "read", must(learning.CumulativeLot(100, 0.80, 9, 16)), 245.76, 1e-9},
		{"LRN-16", "12 casts of 14 h at 90 %", "own", "computed", must(learning.Total(14, 0.90, 12)), 131.242410848, 1e-9},
	})
}

// The coefficient table of the estimating notes, section 2: unit, unit-theory total and
// Wright total of a first unit of 1.
func TestCoefficientTable(t *testing.T) {
	for _, c := range []struct {
		rate              float64
		n                 int
		unit, sum, wright float64
	}{
		{0.80, 1, 1, 1, 1},
		{0.80, 5, 0.59563734, 3.737741, 2.9781867},
		{0.80, 10, 0.47650987, 6.315373, 4.7650987},
		{0.80, 50, 0.28382708, 20.121714, 14.191354},
		{0.80, 100, 0.22706166, 32.650811, 22.706166},
		{0.85, 4, 0.7225, 3.3454148, 2.89},
		{0.85, 25, 0.4701448, 14.800727, 11.75362},
		{0.85, 100, 0.33967962, 43.753867, 33.967962},
		{0.90, 3, 0.84620599, 2.746206, 2.538618},
		{0.90, 20, 0.63421924, 14.607759, 12.684385},
		{0.90, 100, 0.49658525, 58.14102, 49.658525},
	} {
		checkRows(t, []row{
			{"table", "unit", wideman, "computed at 30 digits", must(learning.Unit(1, c.rate, c.n)), c.unit, 1e-7},
			{"table", "total", wideman, "computed at 30 digits", must(learning.Total(1, c.rate, c.n)), c.sum, 1e-7},
			{"table", "Wright total", wideman, "computed at 30 digits", must(learning.CumulativeTotal(1, c.rate, c.n)), c.wright, 1e-7},
		})
	}
}

// directly adds the terms one by one with a running correction (Kahan, from memory), so
// that the oracle's own rounding stays far below what it is asked to judge.
func directly(rate float64, n int) float64 {
	b, sum, lost := math.Log2(rate), 0.0, 0.0
	for k := 1; k <= n; k++ {
		term := math.Pow(float64(k), b) - lost
		next := sum + term
		lost = (next - sum) - term
		sum = next
	}
	return sum
}

func TestTotalAgainstTheDirectSum(t *testing.T) {
	for _, rate := range []float64{math.Nextafter(0.5, 1), 0.500001, 0.55, 0.7, 0.8, 0.9, 0.99, 0.999999, 1} {
		for _, n := range []int{1, 2, 63, 64, 65, 66, 100, 1000, 10_000, 1_000_000} {
			want := directly(rate, n)
			if got := must(learning.Total(1, rate, n)); !near(got, want, 1e-12) {
				t.Errorf("rate %g, n %d: got %.17g, want %.17g", rate, n, got, want)
			}
		}
	}
}

func TestWhatIsRefused(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name string
		err  error
	}{
		{"a rate of a half", second(learning.Total(1, 0.5, 2))},
		{"a rate above 1", second(learning.Total(1, 1.01, 2))},
		{"a rate in percent", second(learning.Exponent(80))},
		{"a rate that is no number", second(learning.Unit(1, nan, 2))},
		{"unit 0", second(learning.Unit(1, 0.8, 0))},
		{"no units", second(learning.Total(1, 0.8, 0))},
		{"a negative time", second(learning.Total(-1, 0.8, 1))},
		{"an endless time", second(learning.CumulativeTotal(math.Inf(1), 0.8, 1))},
		{"a lot that ends before it starts", second(learning.Lot(1, 0.8, 3, 2))},
		{"a Wright lot from unit 0", second(learning.CumulativeLot(1, 0.8, 0, 2))},
		{"a record of slowing down", second(learning.FitWright(1, 3, 2))},
		{"a record of one unit", second(learning.FitWright(1, 1, 1))},
		{"two records of one unit", second(learning.FitCrawford(1, 3, 1, 3))},
		{"a record of no time", second(learning.FitCrawford(1, 3, 0, 4))},
	} {
		if c.err == nil {
			t.Errorf("%s was taken", c.name)
		}
	}
}

func TestFaultSaysWhatIsAllowed(t *testing.T) {
	_, err := learning.Exponent(80)
	if want := "learning rate: got 80, allowed above 0.5 to 1"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %q", err, want)
	}
}

func rates() *rapid.Generator[float64] { return rapid.Float64Range(0.501, 1) }

func TestNoLearningIsExactlyLinear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		first, n := rapid.Float64Range(0, 1e4).Draw(t, "first"), rapid.IntRange(1, 1e9).Draw(t, "n")
		linear := first * float64(n)
		if must(learning.Total(first, 1, n)) != linear || must(learning.CumulativeTotal(first, 1, n)) != linear {
			t.Fatal("the total is not first x n")
		}
		if must(learning.Unit(first, 1, n)) != first || must(learning.CumulativeUnit(first, 1, n)) != first {
			t.Fatal("the unit is not the first")
		}
	})
}

func TestDoublingFallsToTheRate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, n := rates().Draw(t, "rate"), rapid.IntRange(1, 1e6).Draw(t, "n")
		if !near(must(learning.Unit(1, r, 2*n)), r*must(learning.Unit(1, r, n)), 1e-12) {
			t.Fatal("a unit's time does not fall to the rate")
		}
		if !near(must(learning.CumulativeTotal(1, r, 2*n))/2, r*must(learning.CumulativeTotal(1, r, n)), 1e-12) {
			t.Fatal("Wright's average does not fall to the rate")
		}
	})
}

func TestTotalsGrowByTheirUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, n := rates().Draw(t, "rate"), rapid.IntRange(2, 10_000).Draw(t, "n")
		if !near(must(learning.Total(1, r, n)), must(learning.Total(1, r, n-1))+must(learning.Unit(1, r, n)), 1e-12) {
			t.Fatal("unit theory's total does not grow by the unit")
		}
		if !near(must(learning.CumulativeTotal(1, r, n)), must(learning.CumulativeTotal(1, r, n-1))+must(learning.CumulativeUnit(1, r, n)), 1e-12) {
			t.Fatal("Wright's total does not grow by the unit")
		}
		if must(learning.CumulativeTotal(1, r, n)) > must(learning.Total(1, r, n))*(1+1e-12) {
			t.Fatal("Wright's total is above unit theory's")
		}
	})
}

func TestLotsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, m := rates().Draw(t, "rate"), rapid.IntRange(1, 1000).Draw(t, "m")
		n := m + rapid.IntRange(1, 1000).Draw(t, "more")
		if !near(must(learning.Lot(1, r, 1, m))+must(learning.Lot(1, r, m+1, n)), must(learning.Total(1, r, n)), 1e-12) {
			t.Fatal("unit theory's lots do not add up")
		}
		if !near(must(learning.CumulativeLot(1, r, 1, m))+must(learning.CumulativeLot(1, r, m+1, n)), must(learning.CumulativeTotal(1, r, n)), 1e-12) {
			t.Fatal("Wright's lots do not add up")
		}
	})
}

func TestTotalsLieBetweenOneAndAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, n := rates().Draw(t, "rate"), rapid.IntRange(1, 1e9).Draw(t, "n")
		for _, total := range []float64{must(learning.Total(1, r, n)), must(learning.CumulativeTotal(1, r, n))} {
			if total < 1 || total > float64(n)*(1+1e-12) {
				t.Fatalf("%d units take %g firsts", n, total)
			}
		}
	})
}

func TestFitsFindTheRate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, m := rates().Draw(t, "rate"), rapid.IntRange(1, 1000).Draw(t, "m")
		n := m + rapid.IntRange(1, 1000).Draw(t, "more")
		if got := must(learning.FitWright(7, must(learning.CumulativeTotal(7, r, n)), n)); !near(got, r, 1e-9) {
			t.Fatalf("Wright: rate %g fitted as %g", r, got)
		}
		if got := must(learning.FitCrawford(must(learning.Unit(7, r, m)), m, must(learning.Unit(7, r, n)), n)); !near(got, r, 1e-9) {
			t.Fatalf("Crawford: rate %g fitted as %g", r, got)
		}
	})
}

func second[T any](_ T, err error) error { return err }

func BenchmarkTotal(b *testing.B) {
	for b.Loop() {
		must(learning.Total(14, 0.9, 10_000))
	}
}
