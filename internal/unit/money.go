package unit

import (
	"slices"

	"github.com/quagmt/udecimal"
)

// maxPlaces is the most decimals that a Decimal holds.
const maxPlaces = 19

// Extend returns quantity times unit price, exactly, rounded half away from
// zero to the minor unit of c: what a calculator gives from the figures that
// the quote prints.
func Extend(q Quantity, price Decimal, c Currency) Decimal {
	return c.Round(q.Decimal().Mul(price))
}

// Percent returns of * percent / 100, exactly, rounded half away from zero to
// the minor unit of c. VAT is Percent of the document's taxable amount per
// rate (EN 16931, BR-CO-17), not of each line.
func Percent(of, percent Decimal, c Currency) Decimal {
	hundredth := udecimal.MustFromInt64(1, 2)
	return c.Round(of.Mul(percent).Mul(hundredth))
}

// Split shares total out in proportion to weights, in whole minor units of c,
// so that the shares sum exactly to total: each share is cut to the minor unit
// and the units left over go one each to the largest remainders, the first of
// equals first. No share is a minor unit or more away from its exact value,
// and a zero weight gets nothing.
//
// Weights must not be negative; one that is counts as zero. When no weight is
// above zero the shares are equal. A negative total is shared as its mirror
// image. A total finer than the minor unit is shared in units of its own last
// decimal, so that the sum still holds. Without weights there are no shares.
func Split(total Decimal, weights []Decimal, c Currency) []Decimal {
	if len(weights) == 0 {
		return nil
	}
	places := placesOf(total, c)
	parts := shares(inSteps(total.Abs(), places), shareable(weights))
	step := udecimal.MustFromInt64(int64(total.Sign()), places)
	for i := range parts {
		parts[i] = parts[i].Mul(step)
	}
	return parts
}

// placesOf returns the fewest decimals, at least those of c, that hold total.
func placesOf(total Decimal, c Currency) uint8 {
	places := uint8(c.Digits)
	for places < maxPlaces && !total.Trunc(places).Equal(total) {
		places++
	}
	return places
}

// inSteps returns d * 10^places as an integer held without decimals. d must
// have no more decimals than that.
//
// Whoever divides with a remainder divides such integers, for two reasons:
// nothing is cut off, and the decimal library (v1.10.1) is kept from scaling
// the dividend to 256 bits by itself, where its division panics for a divisor
// above 2^64 when the quotient is just 2^64.
func inSteps(d Decimal, places uint8) Decimal {
	for ; places >= maxPlaces; places-- {
		d = d.Mul(tenTo(1)) // 10^19 does not fit tenTo
	}
	return d.Mul(tenTo(int(places))).Trunc(0)
}

// shareable returns weights in proportion, as integers: negative ones as zero,
// and all of them one when none is above zero.
func shareable(weights []Decimal) []Decimal {
	finest := uint8(0)
	for _, w := range weights {
		finest = max(finest, w.PrecUint())
	}
	ws := make([]Decimal, len(weights))
	for i, w := range weights {
		if w.IsPos() {
			ws[i] = inSteps(w, finest)
		}
	}
	if Sum(ws...).IsZero() {
		for i := range ws {
			ws[i] = tenTo(0)
		}
	}
	return ws
}

// shares splits a whole count into whole parts in proportion to whole weights by
// the largest remainder.
func shares(count Decimal, weights []Decimal) []Decimal {
	whole := Sum(weights...)
	parts := make([]Decimal, len(weights))
	rests := make([]Decimal, len(weights))
	for i, w := range weights {
		parts[i], rests[i] = count.Mul(w).MustQuoRem(whole)
	}
	left := count.Sub(Sum(parts...)) // below the number of remainders
	for _, i := range largestFirst(rests) {
		if !left.IsPos() {
			break
		}
		parts[i] = parts[i].Add64(1)
		left = left.Sub64(1)
	}
	return parts
}

// largestFirst returns the indexes of ds by falling value, equals in order.
func largestFirst(ds []Decimal) []int {
	order := make([]int, len(ds))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return ds[b].Cmp(ds[a]) })
	return order
}

// PriceEach returns the price with the fewest decimals, at least those of c,
// for which Extend(q, price, c) is exactly amount; of several, the one nearest
// to amount / q, and of two as near the one towards zero. It is how a line that was priced as a whole is printed with a
// unit price that a reader can multiply out. An amount finer than the minor
// unit is rounded to it first. When q is zero, amount must be zero, and so is
// the price.
//
// Such a price always exists and needs at most c.Digits decimals plus one for
// each digit that q has before its point. Proof, for positive amount A and
// q: let D = c.Digits. Extend gives A for every price p with
//
//	A - 10^-D/2 <= p*q < A + 10^-D/2,
//
// a half-open interval of p that is 10^-D/q long. With d decimals prices lie
// 10^-d apart, so one falls into it as soon as 10^-d <= 10^-D/q, that is
// d >= D + log10(q). If q < 10^n, then d = D + n is enough (d = D if q < 1). Signs
// mirror. A quantity is below 10^12 and a currency has at most 4 digits, so d is
// at most 16, within the 19 decimals of a Decimal.
func PriceEach(amount Decimal, q Quantity, c Currency) Decimal {
	if q.IsZero() {
		return Decimal{}
	}
	amount = c.Round(amount)
	var price Decimal
	for places := c.Digits; places < maxPlaces; places++ {
		price = nearestPrice(amount, q, places)
		if Extend(q, price, c).Equal(amount) {
			break
		}
	}
	return price
}

// nearestPrice returns amount / q to the given decimals, halves towards zero.
// amount is rounded to a minor unit of at most as many decimals.
// Nearest is enough to try: the prices that extend to amount lie evenly about
// amount / q, and of its two ends that interval holds the one towards zero.
func nearestPrice(amount Decimal, q Quantity, places int) Decimal {
	divisor := udecimal.MustFromInt64(q.scaled, 0)
	sign := int64(amount.Sign() * divisor.Sign())
	divisor = divisor.Abs()
	n, rest := inSteps(amount.Abs(), uint8(places+q.unit.Decimals())).MustQuoRem(divisor)
	if rest.Add(rest).GreaterThan(divisor) {
		n = n.Add64(1)
	}
	return n.Mul(udecimal.MustFromInt64(sign, uint8(places)))
}
