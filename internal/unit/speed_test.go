package unit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/unit"
)

// A quote is re-reckoned thousands of times for its range; what runs for every
// line must leave nothing for the collector.
func TestNoAllocation(t *testing.T) {
	gbp, price, lines := money("GBP"), dec("87.65"), decs("1.10", "23456.78", "-3.999", "0.01")
	q, err := unit.Measure(12.345, unit.Kilogram)
	require.NoError(t, err)
	var d unit.Decimal
	for name, f := range map[string]func(){
		"Extend":    func() { d = unit.Extend(q, price, gbp) },
		"Percent":   func() { d = unit.Percent(price, price, gbp) },
		"Sum":       func() { d = unit.Sum(lines...) },
		"Measure":   func() { q, _ = unit.Measure(12.345, unit.Kilogram) },
		"PriceEach": func() { d = unit.PriceEach(price, q, gbp) },
	} {
		require.Zero(t, testing.AllocsPerRun(100, f), name)
	}
	_ = d
}

func BenchmarkExtend(b *testing.B) {
	gbp, price := money("GBP"), dec("87.65")
	q, _ := unit.Measure(12.345, unit.Kilogram)
	b.ReportAllocs()
	for b.Loop() {
		unit.Extend(q, price, gbp)
	}
}

func BenchmarkSum(b *testing.B) {
	lines := decs("1.10", "23456.78", "-3.999", "0.01", "12.5", "8", "9.99", "1000")
	b.ReportAllocs()
	for b.Loop() {
		unit.Sum(lines...)
	}
}

func BenchmarkMeasure(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		_, _ = unit.Measure(12.3456789, unit.Kilogram)
	}
}

func BenchmarkPriceEach(b *testing.B) {
	gbp, amount := money("GBP"), dec("1082.04")
	q, _ := unit.Measure(12.345, unit.Kilogram)
	b.ReportAllocs()
	for b.Loop() {
		unit.PriceEach(amount, q, gbp)
	}
}

func BenchmarkSplit(b *testing.B) {
	gbp, total := money("GBP"), dec("12345.67")
	weights := decs("3", "3", "1", "20.5", "7.25", "0", "11", "4")
	b.ReportAllocs()
	for b.Loop() {
		unit.Split(total, weights, gbp)
	}
}
