package derivation_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/derivation"
)

func ExampleDerivation_Words() {
	d := derivation.Derivation{
		derivation.Do(derivation.Product, "spots", "", derivation.Term{Value: 8, Label: "casts"}, derivation.Term{Value: 9, Label: "spots on each"}),
	}
	fmt.Println(d.Words())
	// Output: 8 casts × 9 spots on each = 72 spots
}

func ExampleDo() {
	s := derivation.Do(derivation.RoundUp, "moulds", "", derivation.Term{Value: 45, Label: "casts"}, derivation.Term{Value: 20, Label: "casts from a mould"})
	fmt.Println(s.Result.Value, derivation.Derivation{s}.Words())
	// Output: 3 45 casts ÷ 20 casts from a mould, rounded up = 3 moulds
}

func TestWordsKeepWholeNumbersAndFourDigits(t *testing.T) {
	for v, want := range map[float64]string{
		1234567.891: "1234568 x", 0.000123456: "0.0001235 x", 1.13097e-7: "0.0000001131 x", 12.30001: "12.3 x", 3: "3 x", -2.5: "-2.5 x", 0.07: "0.07 x", 999.96: "1000 x",
	} {
		d := derivation.Derivation{derivation.Do(derivation.Sum, "", "", derivation.Term{Value: v, Label: "x"})}
		if got := d.Words(); got != want {
			t.Errorf("%v: got %q, want %q", v, got, want)
		}
	}
}

func TestAStepIsItsOwnProof(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(0.001, 1000), 2, 6).Draw(t, "values")
		terms := make([]derivation.Term, len(values))
		for i, v := range values {
			terms[i].Value = v
		}
		for _, o := range []derivation.Operator{derivation.Product, derivation.Sum, derivation.Quotient, derivation.RoundUp} {
			s := derivation.Do(o, "", "", terms...)
			if s.Result.Value != s.Compute() || math.IsNaN(s.Result.Value) {
				t.Fatalf("operator %d over %v gives %v", o, values, s.Result.Value)
			}
		}
	})
}
