package unit_test

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/quagmt/udecimal"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/unit"
)

// The oracle works in fractions of unbounded integers, with nothing shared with
// the code under test but the text of a decimal.

func mustRat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("no number: " + s)
	}
	return r
}

func rat(d unit.Decimal) *big.Rat { return mustRat(d.String()) }

func bigTenTo(n int) *big.Int {
	return new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(n)), nil)
}

// roundRat rounds r half away from zero to so many decimals.
func roundRat(r *big.Rat, decimals int) *big.Rat {
	scale := new(big.Rat).SetInt(bigTenTo(decimals))
	scaled := new(big.Rat).Mul(new(big.Rat).Abs(r), scale)
	scaled.Add(scaled, big.NewRat(1, 2))
	floor := new(big.Int).Div(scaled.Num(), scaled.Denom())
	if r.Sign() < 0 {
		floor.Neg(floor)
	}
	return new(big.Rat).Quo(new(big.Rat).SetInt(floor), scale)
}

// isTie reports whether r lies exactly half way at so many decimals.
func isTie(r *big.Rat, decimals int) bool {
	twice := new(big.Rat).Mul(r, new(big.Rat).SetInt(bigTenTo(decimals)))
	twice.Add(twice, twice)
	return twice.IsInt() && twice.Num().Bit(0) == 1
}

// dice deals out the cases; its seed is fixed and named so that a failure can be
// met again.
type dice struct{ *rand.Rand }

func newDice(seed uint64) dice { return dice{rand.New(rand.NewPCG(seed, 4217))} }

// decimal returns a number of up to 10^digits with up to places decimals; one in
// three is short, so that exact halves come up.
func (d dice) decimal(digits, places int) unit.Decimal {
	if d.IntN(3) == 0 {
		digits, places = min(digits, 3), min(places, 5)
	}
	text := []byte("-")[:d.IntN(2)]
	for range 1 + d.IntN(digits) {
		text = append(text, byte('0'+d.IntN(10)))
	}
	if n := d.IntN(places + 1); n > 0 {
		text = append(text, '.')
		for range n - 1 {
			text = append(text, byte('0'+d.IntN(10)))
		}
		text = append(text, "0515"[d.IntN(4)])
	}
	return dec(string(text))
}

func (d dice) currency() unit.Currency {
	return money([]string{"JPY", "GBP", "KWD", "CLF"}[d.IntN(4)])
}

// quantity returns an amount of up to 10^12 in any unit; half of them are small.
func (d dice) quantity() unit.Quantity {
	u := allUnits()[d.IntN(len(allUnits()))]
	limit := pow10f(1 + d.IntN(12))
	q, err := unit.Measure((d.Float64()*2-1)*limit*0.99, u)
	if err != nil {
		panic(err)
	}
	if d.IntN(2) == 0 {
		q, _ = unit.Measure(float64(d.IntN(2000)-1000)/8, u)
	}
	return q
}

func pow10f(n int) float64 {
	f, _ := new(big.Float).SetInt(bigTenTo(n)).Float64()
	return f
}

// cases is how many random cases each oracle test runs.
func cases() int {
	if testing.Short() {
		return 5_000
	}
	return 100_000
}

func TestRoundMatchesOracle(t *testing.T) {
	d, ties := newDice(1), 0
	for range cases() {
		c, v := d.currency(), d.decimal(12, 18)
		want := roundRat(rat(v), c.Digits)
		require.Zero(t, rat(c.Round(v)).Cmp(want), "%v %s", v, c.Code)
		if isTie(rat(v), c.Digits) {
			ties++
		}
	}
	require.Greater(t, ties, cases()/100, "too few exact halves to prove anything")
}

func TestExtendMatchesOracle(t *testing.T) {
	d, ties := newDice(2), 0
	for range cases() {
		c, q, price := d.currency(), d.quantity(), d.decimal(12, 18)
		exact := new(big.Rat).Mul(rat(q.Decimal()), rat(price))
		require.Zero(t, rat(unit.Extend(q, price, c)).Cmp(roundRat(exact, c.Digits)), "%v x %v %s", q, price, c.Code)
		if isTie(exact, c.Digits) {
			ties++
		}
	}
	require.Greater(t, ties, cases()/200, "too few exact halves to prove anything")
}

func TestPercentMatchesOracle(t *testing.T) {
	d, ties := newDice(3), 0
	for range cases() {
		c, of, percent := d.currency(), d.decimal(12, 18), d.decimal(3, 18)
		exact := new(big.Rat).Mul(rat(of), rat(percent))
		exact.Quo(exact, big.NewRat(100, 1))
		require.Zero(t, rat(unit.Percent(of, percent, c)).Cmp(roundRat(exact, c.Digits)), "%v %% of %v %s", percent, of, c.Code)
		if isTie(exact, c.Digits) {
			ties++
		}
	}
	require.Greater(t, ties, cases()/200, "too few exact halves to prove anything")
}

func TestSumMatchesOracle(t *testing.T) {
	d := newDice(4)
	for range cases() / 5 {
		ds, want := make([]unit.Decimal, d.IntN(12)), new(big.Rat)
		for i := range ds {
			ds[i] = d.decimal(12, 18)
			want.Add(want, rat(ds[i]))
		}
		require.Zero(t, rat(unit.Sum(ds...)).Cmp(want), "%v", ds)
	}
}

func TestSplitMatchesOracle(t *testing.T) {
	d := newDice(5)
	for range cases() / 4 {
		c := d.currency()
		total := c.Round(d.decimal(12, 6))
		weights := make([]unit.Decimal, 1+d.IntN(8))
		for i := range weights {
			weights[i] = d.decimal(12, 18).Abs()
		}
		got := unit.Split(total, weights, c)
		want := splitRat(rat(total), weights, c.Digits)
		for i := range want {
			require.Zero(t, rat(got[i]).Cmp(want[i]), "%v by %v %s: got %v", total, weights, c.Code, got)
		}
		require.True(t, unit.Sum(got...).Equal(total))
	}
}

// splitRat shares total by the largest remainder, one leftover unit at a time.
func splitRat(total *big.Rat, weights []unit.Decimal, digits int) []*big.Rat {
	whole, ws := new(big.Rat), make([]*big.Rat, len(weights))
	for i, w := range weights {
		ws[i] = rat(w)
		whole.Add(whole, ws[i])
	}
	if whole.Sign() == 0 {
		for i := range ws {
			ws[i] = big.NewRat(1, 1)
		}
		whole.SetInt64(int64(len(ws)))
	}
	scale := new(big.Rat).SetInt(bigTenTo(digits))
	count := new(big.Rat).Mul(new(big.Rat).Abs(total), scale)
	left, parts, rests := new(big.Rat).Set(count), make([]*big.Rat, len(ws)), make([]*big.Rat, len(ws))
	for i, w := range ws {
		share := new(big.Rat).Quo(new(big.Rat).Mul(count, w), whole)
		parts[i] = new(big.Rat).SetInt(new(big.Int).Div(share.Num(), share.Denom()))
		rests[i] = share.Sub(share, parts[i])
		left.Sub(left, parts[i])
	}
	for one := big.NewRat(1, 1); left.Sign() > 0; left.Sub(left, one) {
		best := 0
		for i := range rests {
			if rests[i].Cmp(rests[best]) > 0 {
				best = i
			}
		}
		parts[best].Add(parts[best], one)
		rests[best] = big.NewRat(-1, 1)
	}
	for _, p := range parts {
		p.Quo(p, scale)
		if total.Sign() < 0 {
			p.Neg(p)
		}
	}
	return parts
}

// The price extends to the amount; no price with fewer decimals does; the count
// of decimals keeps to the bound that PriceEach proves.
func TestPriceEachMatchesOracle(t *testing.T) {
	d := newDice(6)
	for range cases() {
		c, q := d.currency(), d.quantity()
		amount := c.Round(d.decimal(12, 6))
		if q.IsZero() {
			continue
		}
		price := unit.PriceEach(amount, q, c)
		exact := new(big.Rat).Mul(rat(q.Decimal()), rat(price))
		require.Zero(t, roundRat(exact, c.Digits).Cmp(rat(amount)), "%v for %v %s: price %v", amount, q, c.Code, price)
		fewest := fewestDecimals(rat(amount), rat(q.Decimal()), c.Digits)
		require.Equal(t, fewest, max(c.Digits, trimmed(price)), "%v for %v %s: price %v", amount, q, c.Code, price)
		require.LessOrEqual(t, fewest, c.Digits+wholeDigits(q))
		require.LessOrEqual(t, price.Prec(), fewest)
	}
}

// fewestDecimals finds how many decimals a price needs, by asking for each count
// whether the half-open interval of prices that extend to amount holds one.
func fewestDecimals(amount, q *big.Rat, digits int) int {
	if amount.Sign() == 0 {
		return digits
	}
	half := new(big.Rat).SetFrac(big.NewInt(1), new(big.Int).Mul(big.NewInt(2), bigTenTo(digits)))
	a, abs := new(big.Rat).Abs(amount), new(big.Rat).Abs(q)
	low := new(big.Rat).Quo(new(big.Rat).Sub(a, half), abs)
	high := new(big.Rat).Quo(new(big.Rat).Add(a, half), abs)
	for n := digits; ; n++ {
		scale := new(big.Rat).SetInt(bigTenTo(n))
		from, to := new(big.Rat).Mul(low, scale), new(big.Rat).Mul(high, scale)
		first := new(big.Int).Sub(from.Num(), big.NewInt(1)) // ceiling of from
		first.Div(first, from.Denom()).Add(first, big.NewInt(1))
		if new(big.Rat).SetInt(first).Cmp(to) < 0 {
			return n
		}
	}
}

// trimmed counts the decimals of d without trailing zeros.
func trimmed(d unit.Decimal) int { return udecimal.MustParse(d.String()).Prec() }

// wholeDigits counts the digits of q before its point, 0 when it is below 1.
func wholeDigits(q unit.Quantity) int {
	whole := q.Decimal().Abs().Trunc(0)
	if whole.IsZero() {
		return 0
	}
	return len(whole.String())
}

// TestSplitLaws holds what Split promises for any input, odd ones too.
func TestSplitLaws(t *testing.T) {
	number := rapid.Custom(func(t *rapid.T) unit.Decimal {
		scaled := rapid.Int64().Draw(t, "scaled")
		return udecimal.MustFromInt64(scaled, rapid.Uint8Range(0, 19).Draw(t, "places"))
	})
	rapid.Check(t, func(t *rapid.T) {
		c := money(rapid.SampledFrom([]string{"JPY", "GBP", "KWD", "CLF"}).Draw(t, "currency"))
		total := number.Draw(t, "total")
		weights := rapid.SliceOfN(number, 1, 9).Draw(t, "weights")
		got := unit.Split(total, weights, c)
		require.Len(t, got, len(weights))
		require.True(t, unit.Sum(got...).Equal(total), "%v", got)
		mirror := unit.Split(total.Neg(), weights, c)
		for i, share := range got {
			require.NotEqual(t, -total.Sign(), signOr(share, total), "a share against the total: %v", got)
			require.True(t, mirror[i].Equal(share.Neg()))
		}
	})
}

// signOr returns the sign of d, or that of other when d is zero.
func signOr(d, other unit.Decimal) int {
	if d.IsZero() || other.IsZero() {
		return 2
	}
	return d.Sign()
}
