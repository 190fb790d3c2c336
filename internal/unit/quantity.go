package unit

import (
	"fmt"
	"math"
	"strconv"

	"github.com/quagmt/udecimal"
)

// quantityLimit bounds the magnitude of every quantity, in its own unit. With
// it a scaled amount stays below 10^16, an int64 has room to add, and PriceEach
// never needs more decimals than a Decimal has.
const quantityLimit = 1_000_000_000_000

// Quantity is an amount in a unit, already rounded to the decimals that the
// unit prints. Its magnitude is below 10^12. Quantities are comparable with ==;
// the zero value is 0 each.
type Quantity struct {
	scaled int64 // the amount times 10^unit.Decimals()
	unit   Unit
}

// Measure returns v in u, rounded half away from zero to the decimals of u.
// v must be finite and below 10^12 in magnitude.
//
// The rounding works on the decimal number that v stands for, v to 15
// significant digits, and not on its binary expansion. A float64 carries any
// 15-digit decimal there and back unharmed (C's DBL_DIG, IEEE 754 binary64),
// so 1.005 m, which binary holds as 1.00499999999999989..., is 1.01 m as it is
// by hand; and an amount that arithmetic left a bit or two beside a half is
// rounded as that half on every processor. (Only a number that by chance, not by
// being round, lies within a bit of the edge of that window is still open.)
func Measure(v float64, u Unit) (Quantity, error) {
	if err := u.check(); err != nil {
		return Quantity{}, err
	}
	// Written so that NaN fails it too.
	if !(math.Abs(v) < quantityLimit) {
		return Quantity{}, errRange(strconv.FormatFloat(v, 'g', -1, 64), u)
	}
	if scaled, ok := plainly(v, u); ok {
		return Quantity{scaled, u}, nil
	}
	mantissa, exponent := decimal15(v)
	return bounded(shift10(mantissa, exponent+u.Decimals()), u)
}

// plainly rounds what is far from a half, as nearly all is, without writing v
// out in decimal. Below 10^9 in scale, v's 15 digits and the product here are
// together less than a millionth away from v itself, so beyond that distance from
// a half all three round alike.
func plainly(v float64, u Unit) (scaled int64, ok bool) {
	exact := v * float64(pow10(u.Decimals()))
	if !(math.Abs(exact) < 1e9) {
		return 0, false
	}
	from := math.Abs(exact - math.Trunc(exact))
	return int64(math.Round(exact)), math.Abs(from-0.5) > 1e-6
}

// decimal15 returns v to 15 significant digits as mantissa * 10^exponent.
// v must be finite.
func decimal15(v float64) (mantissa int64, exponent int) {
	var room [24]byte
	text := strconv.AppendFloat(room[:0], v, 'e', 14, 64) // -d.dddddddddddddde-ddd
	i := 0
	for ; text[i] != 'e'; i++ {
		if '0' <= text[i] && text[i] <= '9' {
			mantissa = mantissa*10 + int64(text[i]-'0')
		}
	}
	if text[0] == '-' {
		mantissa = -mantissa
	}
	return mantissa, smallInt(text[i+1:]) - 14
}

// smallInt reads a sign and decimal digits, as strconv wrote them.
func smallInt(text []byte) int {
	n := 0
	for _, c := range text[1:] {
		n = n*10 + int(c-'0')
	}
	if text[0] == '-' {
		return -n
	}
	return n
}

// shift10 returns m * 10^n rounded half away from zero to an integer.
// m has at most 15 digits and the result must fit an int64.
func shift10(m int64, n int) int64 {
	switch {
	case n >= 0:
		return m * pow10(n)
	case n < -15:
		return 0 // |m| < 10^15, so less than a tenth is left
	}
	divisor := pow10(-n)
	half := divisor / 2
	if m < 0 {
		half = -half
	}
	return (m + half) / divisor
}

// bounded returns the quantity of a scaled amount, or says that it is too big.
func bounded(scaled int64, u Unit) (Quantity, error) {
	q := Quantity{scaled, u}
	limit := quantityLimit * pow10(u.Decimals())
	if scaled <= -limit || scaled >= limit {
		return Quantity{}, errRange(q.Decimal().String(), u)
	}
	return q, nil
}

func errRange(got string, u Unit) error {
	return fmt.Errorf("quantity %s %s: want a finite number between -10^12 and 10^12", got, u)
}

// Whole returns n whole units of u: 3 packs, 1 lot, 8 hours. n must be below
// 10^12 in magnitude.
func Whole(n int, u Unit) (Quantity, error) {
	if err := u.check(); err != nil {
		return Quantity{}, err
	}
	// In 64 bits, as the limit does not fit the int of a 32-bit machine.
	if n := int64(n); n <= -quantityLimit || n >= quantityLimit {
		return Quantity{}, errRange(strconv.FormatInt(n, 10), u)
	}
	return Quantity{int64(n) * pow10(u.Decimals()), u}, nil
}

// Count returns n each. It is for numbers that the program has counted or
// checked itself and panics when n is not below 10^12 in magnitude; a number
// from outside goes through Whole, which returns an error.
func Count(n int) Quantity {
	q, err := Whole(n, Each)
	if err != nil {
		panic(err)
	}
	return q
}

// Decimal returns the amount of q, exactly.
func (q Quantity) Decimal() Decimal {
	return udecimal.MustFromInt64(q.scaled, uint8(q.unit.Decimals()))
}

// Float returns the amount of q as the nearest float64, for reckoning that is
// not money.
func (q Quantity) Float() float64 {
	return float64(q.scaled) / float64(pow10(q.unit.Decimals()))
}

// Unit returns what q is counted in.
func (q Quantity) Unit() Unit { return q.unit }

// IsZero reports whether the amount of q is zero, in whatever unit.
func (q Quantity) IsZero() bool { return q.scaled == 0 }

// Add returns q + r. It is an error when the two are in different units or the
// sum reaches 10^12.
func (q Quantity) Add(r Quantity) (Quantity, error) {
	if q.unit != r.unit {
		return Quantity{}, fmt.Errorf("add %v to %v: the units differ", r, q)
	}
	return bounded(q.scaled+r.scaled, q.unit)
}

// String returns q for reading, with all the decimals of its unit: "12.340 kg",
// "8 each".
func (q Quantity) String() string {
	return q.Decimal().StringFixed(uint8(q.unit.Decimals())) + " " + q.unit.Symbol()
}

// Steady returns v to 12 significant digits. Processors that round a product and
// a sum once, and those that round twice, differ in the last digits of a float64;
// measures pass through here once, so that a quote's figures are the same on all
// of them, down to those that are only shown in a derivation.
func Steady(v float64) float64 {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return v
	}
	var room [32]byte
	text := strconv.AppendFloat(room[:0], v, 'e', 11, 64)
	steady, err := strconv.ParseFloat(string(text), 64)
	if err != nil { // only for a magnitude past the largest float64
		return v
	}
	return steady
}
