package unit

import (
	"fmt"
	"strings"

	"github.com/bojanz/currency"
	"github.com/quagmt/udecimal"
)

// Currency is a currency of ISO 4217. Make one with ParseCurrency; the zero
// value has no code and no minor unit and rounds to whole numbers.
type Currency struct {
	Code   string // three capital letters: "GBP"
	Digits int    // decimals of the minor unit, 0 to 4: 2 for the penny
}

// ParseCurrency returns the currency with an ISO 4217 code, which is three
// capital letters. Codes without a minor unit (gold, drawing rights, testing)
// are not currencies to quote in and are refused.
func ParseCurrency(code string) (Currency, error) {
	if !threeCapitals(code) {
		return Currency{}, fmt.Errorf("currency %.20q: want three capital letters of ISO 4217, such as GBP", code)
	}
	digits, ok := currency.GetDigits(code)
	if !ok {
		return Currency{}, fmt.Errorf("currency %q: not a current currency of ISO 4217", code)
	}
	return Currency{Code: code, Digits: int(digits)}, nil
}

// threeCapitals reports whether code is three letters A to Z.
func threeCapitals(code string) bool {
	for _, c := range []byte(code) {
		if c < 'A' || c > 'Z' {
			return false
		}
	}
	return len(code) == 3
}

// Round returns d rounded half away from zero to the minor unit of c:
// 365.125 GBP is 365.13, -365.125 is -365.13.
func (c Currency) Round(d Decimal) Decimal {
	return d.RoundHAZ(uint8(c.Digits))
}

// Minor returns one minor unit of c: 0.01 for GBP, 1 for JPY.
func (c Currency) Minor() Decimal {
	return udecimal.MustFromInt64(1, uint8(c.Digits))
}

// Format returns d rounded to the minor unit and written plainly with all its
// decimals, without code or grouping: "1234.50".
func (c Currency) Format(d Decimal) string {
	return c.Round(d).StringFixed(uint8(c.Digits))
}

// FormatGrouped is Format with a comma between thousands, for reading:
// "1,234.50".
func (c Currency) FormatGrouped(d Decimal) string { return Grouped(c.Format(d)) }

// FormatPrice returns a unit price written plainly: with the decimals of the
// minor unit, and with more where it has more, so that nothing of it is lost.
func (c Currency) FormatPrice(d Decimal) string {
	if c.Round(d).Equal(d) {
		return c.Format(d)
	}
	return d.String()
}

// Grouped puts a comma between the thousands of a plainly written number.
func Grouped(plain string) string {
	start := leadingSign(plain)
	whole := leadingDigits(plain[start:])
	var b strings.Builder
	b.WriteString(plain[:start])
	for i := range whole {
		if i > 0 && (whole-i)%3 == 0 {
			b.WriteByte(',')
		}
		b.WriteByte(plain[start+i])
	}
	b.WriteString(plain[start+whole:])
	return b.String()
}

// leadingSign returns the length of the minus sign that s begins with, 0 or 1.
func leadingSign(s string) int {
	if strings.HasPrefix(s, "-") {
		return 1
	}
	return 0
}
