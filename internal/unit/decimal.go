package unit

import (
	"fmt"

	"github.com/quagmt/udecimal"
)

// Decimal is an exact decimal number: a price, a rate or an amount of money.
// The zero value is 0. Compare with Equal or Cmp, never with ==, because 1.5
// and 1.50 are the same number held in two ways.
type Decimal = udecimal.Decimal

// Limits of what ParseDecimal reads. Thirty digits fit the fast 128-bit form
// with eight to spare; eighteen decimals leave one for arithmetic.
const (
	maxDigits   = 30
	maxDecimals = 18
)

// ParseDecimal reads a number in plain decimal notation: an optional sign,
// one digit or more, and optionally a point with one digit or more. It takes at
// most 30 digits in all, leading zeros included, of which at most 18 after the
// point. There is no exponent, no grouping, no NaN and no infinity.
func ParseDecimal(s string) (Decimal, error) {
	if err := checkPlain(s); err != nil {
		return Decimal{}, err
	}
	d, err := udecimal.Parse(s)
	if err != nil {
		return Decimal{}, fmt.Errorf("decimal %q: %w", s, err)
	}
	return d, nil
}

// checkPlain says what is wrong with s as a plain decimal number. It stands
// before the decimal library's own parser because that one takes up to 200
// characters and 19 decimals, which arithmetic would then cut.
func checkPlain(s string) error {
	// A sign and a point come on top of the digits. The length is checked
	// first so that a long text is neither scanned nor repeated in the error.
	if len(s) > maxDigits+2 {
		return fmt.Errorf("decimal of %d characters: at most %d digits are allowed", len(s), maxDigits)
	}
	whole, decimals, ok := countDigits(s)
	switch {
	case !ok:
		return fmt.Errorf("decimal %q: want plain notation such as -1234.50", s)
	case whole+decimals > maxDigits:
		return fmt.Errorf("decimal %q has %d digits: at most %d are allowed", s, whole+decimals, maxDigits)
	case decimals > maxDecimals:
		return fmt.Errorf("decimal %q has %d decimals: at most %d are allowed", s, decimals, maxDecimals)
	}
	return nil
}

// countDigits counts the digits before and after the point of s; ok is false
// when s is not plain decimal notation.
func countDigits(s string) (whole, decimals int, ok bool) {
	if s != "" && (s[0] == '-' || s[0] == '+') {
		s = s[1:]
	}
	whole = leadingDigits(s)
	rest := s[whole:]
	if whole == 0 || rest == "" {
		return whole, 0, whole > 0
	}
	if rest[0] != '.' {
		return whole, 0, false
	}
	decimals = leadingDigits(rest[1:])
	return whole, decimals, decimals > 0 && decimals == len(rest)-1
}

// leadingDigits counts the ASCII digits that s begins with.
func leadingDigits(s string) int {
	n := 0
	for n < len(s) && '0' <= s[n] && s[n] <= '9' {
		n++
	}
	return n
}

// Sum adds up ds exactly. The sum of none is zero.
func Sum(ds ...Decimal) Decimal {
	var sum Decimal
	for _, d := range ds {
		sum = sum.Add(d)
	}
	return sum
}

// tenTo returns 10^n as an integer Decimal, for n from 0 to 18.
func tenTo(n int) Decimal {
	return udecimal.MustFromInt64(pow10(n), 0)
}

// pow10 returns 10^n for n from 0 to 18, the powers that an int64 holds.
func pow10(n int) int64 {
	p := int64(1)
	for range n {
		p *= 10
	}
	return p
}
