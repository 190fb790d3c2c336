package unit_test

import (
	"math"
	"math/big"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/unit"
)

func allUnits() []unit.Unit {
	return []unit.Unit{
		unit.Each, unit.Hour, unit.Kilogram, unit.Litre, unit.SquareMetre,
		unit.Metre, unit.CubicMetre, unit.Kilometre, unit.Pack, unit.Lot,
	}
}

func anyUnit(t *rapid.T) unit.Unit { return rapid.SampledFrom(allUnits()).Draw(t, "unit") }

func TestUnitTable(t *testing.T) {
	for i, r := range []struct {
		code, symbol string
		decimals     int
	}{
		{"each", "each", 0},
		{"h", "h", 2},
		{"kg", "kg", 3},
		{"L", "L", 3},
		{"m2", "m²", 3},
		{"m", "m", 2},
		{"m3", "m³", 4},
		{"km", "km", 1},
		{"pack", "pack", 0},
		{"lot", "lot", 0},
	} {
		u, err := unit.ParseUnit(r.code)
		require.NoError(t, err)
		require.Equal(t, allUnits()[i], u)
		require.Equal(t, r.code, u.Code())
		require.Equal(t, r.code, u.String())
		require.Equal(t, r.symbol, u.Symbol())
		require.Equal(t, r.decimals, u.Decimals())
	}
}

func TestParseUnitRefuses(t *testing.T) {
	for _, code := range []string{"", "KG", "l", "m²", " kg", "hour", "unit(99)"} {
		_, err := unit.ParseUnit(code)
		require.ErrorContains(t, err, "each, h, kg, L, m2, m, m3, km, pack, lot")
	}
}

func TestUnknownUnit(t *testing.T) {
	odd := unit.Unit(99)
	require.Equal(t, "unit(99)", odd.String())
	require.Empty(t, odd.Code())
	_, err := unit.Measure(1, odd)
	require.ErrorContains(t, err, "unit(99)")
	_, err = unit.Whole(1, odd)
	require.ErrorContains(t, err, "unit(99)")
}

// Halves as a person rounds them by hand, of numbers that binary holds a hair
// below the half. Source: binary trap values; read.
func TestMeasureRows(t *testing.T) {
	for _, r := range []struct {
		v    float64
		u    unit.Unit
		want string
	}{
		{1.005, unit.Metre, "1.01 m"},
		{-1.005, unit.Metre, "-1.01 m"},
		{2.675, unit.Hour, "2.68 h"},
		{1.1 + 0.575, unit.Hour, "1.68 h"}, // sums to 1.6749999999999998
		{4.35 * 100, unit.Kilogram, "435.000 kg"},
		{0.00005, unit.CubicMetre, "0.0001 m³"},
		{0.00004999999999999, unit.CubicMetre, "0.0000 m³"},
		{12.34, unit.Kilogram, "12.340 kg"},
		{0.05, unit.Kilometre, "0.1 km"},
		{7.5, unit.Each, "8 each"},
		{math.Copysign(0, -1), unit.Metre, "0.00 m"},
		{5e-324, unit.Litre, "0.000 L"},
		{-1e-300, unit.Litre, "0.000 L"},
		{999_999_999_999, unit.SquareMetre, "999999999999.000 m²"},
	} {
		q, err := unit.Measure(r.v, r.u)
		require.NoError(t, err)
		require.Equal(t, r.want, q.String())
	}
}

func TestMeasureRefuses(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e12, -1e12, 999_999_999_999.9, math.MaxFloat64} {
		q, err := unit.Measure(v, unit.Each)
		require.ErrorContains(t, err, "10^12", "%v", v)
		require.Zero(t, q)
	}
}

func TestWholeAndCount(t *testing.T) {
	packs, err := unit.Whole(3, unit.Pack)
	require.NoError(t, err)
	require.Equal(t, "3 pack", packs.String())
	hours, err := unit.Whole(-8, unit.Hour)
	require.NoError(t, err)
	require.Equal(t, "-8.00 h", hours.String())
	require.Equal(t, unit.Quantity{}, unit.Count(0))
	require.True(t, unit.Count(0).IsZero())
	for _, n := range []int{1e12, -1e12, math.MaxInt, math.MinInt} {
		_, err = unit.Whole(n, unit.CubicMetre)
		require.ErrorContains(t, err, "10^12")
		require.Panics(t, func() { unit.Count(n) })
	}
}

func TestAdd(t *testing.T) {
	sum, err := unit.Count(2).Add(unit.Count(-5))
	require.NoError(t, err)
	require.Equal(t, unit.Count(-3), sum)
	hour, err := unit.Whole(1, unit.Hour)
	require.NoError(t, err)
	_, err = unit.Count(2).Add(hour)
	require.EqualError(t, err, "add 1.00 h to 2 each: the units differ")
	_, err = unit.Count(999_999_999_999).Add(unit.Count(1))
	require.ErrorContains(t, err, "10^12")
}

// Against an oracle in fractions: the 15-digit decimal of v, rounded.
func TestMeasureMatchesOracle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := anyUnit(t)
		v := rapid.OneOf(
			rapid.Float64Range(-1e12, 1e12),
			rapid.Float64Range(-100, 100),
			rapid.Map(rapid.Int64Range(-1e9, 1e9), func(n int64) float64 { return float64(n) / 1e5 }),
		).Draw(t, "v")
		q, err := unit.Measure(v, u)
		if err != nil {
			require.GreaterOrEqual(t, math.Abs(v), 999_999_999_999.)
			return
		}
		exact, _ := new(big.Rat).SetString(strconv.FormatFloat(v, 'e', 14, 64))
		require.Zero(t, rat(q.Decimal()).Cmp(roundRat(exact, u.Decimals())), "%v: %v", v, q)
		require.InDelta(t, v, q.Float(), 0.5*math.Pow10(-u.Decimals())+5e-15*math.Abs(v))
	})
}

func TestMeasureLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := anyUnit(t)
		a := rapid.Float64Range(-1e9, 1e9).Draw(t, "a")
		b := rapid.Float64Range(-1e9, 1e9).Draw(t, "b")
		qa, err := unit.Measure(a, u)
		require.NoError(t, err)
		qb, err := unit.Measure(b, u)
		require.NoError(t, err)
		mirrored, err := unit.Measure(-a, u)
		require.NoError(t, err)
		again, err := unit.Measure(qa.Float(), u)
		require.NoError(t, err)
		sum, err := qa.Add(qb)
		require.NoError(t, err)
		require.True(t, mirrored.Decimal().Equal(qa.Decimal().Neg()))
		require.Equal(t, qa, again, "measuring twice changes nothing")
		require.True(t, a > b || qa.Decimal().LessThanOrEqual(qb.Decimal()), "order is kept")
		require.True(t, sum.Decimal().Equal(unit.Sum(qa.Decimal(), qb.Decimal())))
		require.Equal(t, u, sum.Unit())
	})
}

func TestRangeCheck(t *testing.T) {
	require.NoError(t, unit.Range{}.Check())
	require.NoError(t, unit.Range{Low: -1, Likely: -1, High: 4}.Check())
	for _, r := range []unit.Range{
		{Low: 1},
		{Likely: 2, High: 1},
		{Low: math.NaN(), Likely: 1, High: 1},
		{Likely: 1, High: math.Inf(1)},
	} {
		require.Error(t, r.Check(), "%v", r)
	}
}
