package allowance_test

import (
	"math"
	"testing"

	"github.com/mouldwright/mouldwright/internal/allowance"
	"pgregory.net/rapid"
)

func elements() float64 {
	return must(allowance.BasicTime(4.8, 0.8)) + must(allowance.BasicTime(9.2, 0.7)) + must(allowance.BasicTime(6.6, 1.2))
}

func sample() []float64 { return []float64{3.5, 3.2, 4.1, 3.6, 3.9} }

func TestTimeStudyCheckValues(t *testing.T) {
	const quesba = "problem data: quesba 848603; answer rounds up to 15"
	checkRows(t, []row{
		{"TIM-01", "basic time, s", "MTM blog (walk 1 km)", "read", must(allowance.BasicTime(800, 1.10)), 880, 0},
		{"TIM-02", "standard time on work, min", "homeworksource 1143767: 20.748", "read", must(allowance.OnWork(elements(), 0.14)), 20.748, 0},
		{
			"TIM-04", "standard time on shift, min", "Univ. Hawaii Hilo QBA361 handout", "inputs read; computed",
			must(allowance.OnShift(must(allowance.BasicTime(129.0/6, 0.85)), 0.10)), 20.3055555556, 1e-9,
		},
		{"TIM-06", "observations, unrounded", quesba, "data read; computed", must(allowance.SampleSize(3.66, math.Sqrt(0.123), 1.96, 0.05)), 14.1096121114, 1e-9},
		{"TIM-06", "observations", quesba, "data read; computed", float64(must(allowance.Observations(sample(), 1.96, 0.05))), 15, 0},
		{"worked (ii)", "standard time on shift, min", "Heizer/Render/Munson 11e ch.10 pr.23, prints 5.4", "read", must(allowance.OnShift(4.7445, 0.12)), 5.3915, 1e-4},
	})
}

func TestAllowanceKeepsItsConvention(t *testing.T) {
	checkRows(t, []row{
		{"TIM-02", "10 h on work", "definition", "arithmetic identity", must(allowance.Allowance{Share: 0.12, Of: allowance.OfWork}.Standard(10)), 11.2, 0},
		{"TIM-04", "10 h on shift", "definition", "arithmetic identity", must(allowance.Allowance{Share: 0.12, Of: allowance.OfShift}.Standard(10)), 10 / 0.88, 0},
	})
}

func TestWhatIsRefused(t *testing.T) {
	for _, c := range []struct {
		name string
		err  error
	}{
		{"an allowance without its convention", second(allowance.Allowance{Share: 0.1}.Standard(1))},
		{"a whole shift of rest", second(allowance.OnShift(1, 1))},
		{"a negative allowance", second(allowance.OnWork(1, -0.1))},
		{"an allowance in percent", second(allowance.OnWork(1, 14))},
		{"a rating in percent", second(allowance.BasicTime(1, 110))},
		{"a negative time", second(allowance.BasicTime(-1, 1))},
		{"a time that is no number", second(allowance.OnWork(math.NaN(), 0.1))},
		{"one observation", second(allowance.Observations([]float64{3.5}, 1.96, 0.05))},
		{"observations of nothing", second(allowance.Observations([]float64{0, 0}, 1.96, 0.05))},
		{"no accuracy", second(allowance.SampleSize(3, 1, 1.96, 0))},
	} {
		if c.err == nil {
			t.Errorf("%s was taken", c.name)
		}
	}
}

func TestFaultSaysWhatIsAllowed(t *testing.T) {
	_, err := allowance.OnWork(1, 14)
	if want := "allowance, share of work time: got 14, allowed 0 to 2"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %q", err, want)
	}
}

func TestConventionsConvert(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		basic, share := rapid.Float64Range(0, 1e4).Draw(t, "basic"), rapid.Float64Range(0, 0.6).Draw(t, "share")
		onShift := must(allowance.OnShift(basic, share))
		if !near(must(allowance.OnWork(basic, share/(1-share))), onShift, 1e-12) {
			t.Fatal("A of the shift is not A/(1-A) of the work")
		}
		if onWork := must(allowance.OnWork(basic, share)); onWork < basic || onShift < onWork*(1-1e-12) {
			t.Fatalf("basic %g, on work %g, on shift %g", basic, onWork, onShift)
		}
	})
}

func TestNoAllowanceChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		basic := rapid.Float64Range(0, 1e9).Draw(t, "basic")
		if must(allowance.OnWork(basic, 0)) != basic || must(allowance.OnShift(basic, 0)) != basic {
			t.Fatal("no allowance changed the time")
		}
	})
}

func TestTimesScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		basic, share := rapid.Float64Range(0, 1e4).Draw(t, "basic"), rapid.Float64Range(0, 0.6).Draw(t, "share")
		if !near(must(allowance.OnWork(3*basic, share)), 3*must(allowance.OnWork(basic, share)), 1e-12) {
			t.Fatal("standard time does not scale")
		}
	})
}

func TestHalfTheErrorTakesFourTimesTheObservations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mean, s := rapid.Float64Range(0.1, 100).Draw(t, "mean"), rapid.Float64Range(0.01, 10).Draw(t, "s")
		h := rapid.Float64Range(0.01, 0.5).Draw(t, "accuracy")
		if !near(must(allowance.SampleSize(mean, s, 1.96, h/2)), 4*must(allowance.SampleSize(mean, s, 1.96, h)), 1e-12) {
			t.Fatal("not four times")
		}
	})
}

func second[T any](_ T, err error) error { return err }
