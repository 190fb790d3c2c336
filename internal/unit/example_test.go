package unit_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/unit"
)

// A rim of 1.005 m lies a hair below the half in binary and is still 1.01 m, as
// by hand.
func ExampleMeasure() {
	rim, err := unit.Measure(1.005, unit.Metre)
	fmt.Println(rim, err)
	_, err = unit.Measure(1e12, unit.Metre)
	fmt.Println(err)
	// Output:
	// 1.01 m <nil>
	// quantity 1e+12 m: want a finite number between -10^12 and 10^12
}

// 12.345 kg at 7.30 is 90.1185, billed as 90.12.
func ExampleExtend() {
	pounds, _ := unit.ParseCurrency("GBP")
	resin, _ := unit.Measure(12.3451, unit.Kilogram)
	price, _ := unit.ParseDecimal("7.30")
	fmt.Println(resin, "=", pounds.Format(unit.Extend(resin, price, pounds)))
	// Output: 12.345 kg = 90.12
}

// VAT at 25 % on 1460.50 is 365.125 (EN 16931, ubl-tc434-example2.xml).
func ExamplePercent() {
	euro, _ := unit.ParseCurrency("EUR")
	taxable, _ := unit.ParseDecimal("1460.50")
	rate, _ := unit.ParseDecimal("25")
	fmt.Println(euro.Format(unit.Percent(taxable, rate, euro)))
	// Output: 365.13
}

// A total shared over three lines that cost the same: the penny left over goes
// to the first.
func ExampleSplit() {
	pounds, _ := unit.ParseCurrency("GBP")
	total, _ := unit.ParseDecimal("1.00")
	one, _ := unit.ParseDecimal("1")
	fmt.Println(unit.Split(total, []unit.Decimal{one, one, one}, pounds))
	// Output: [0.34 0.33 0.33]
}

// 100.00 over 7 casts: 14.29 each would make 100.03, 14.286 makes 100.00.
func ExamplePriceEach() {
	pounds, _ := unit.ParseCurrency("GBP")
	amount, _ := unit.ParseDecimal("100.00")
	price := unit.PriceEach(amount, unit.Count(7), pounds)
	fmt.Println(price, pounds.Format(unit.Extend(unit.Count(7), price, pounds)))
	// Output: 14.286 100.00
}

func ExampleCurrency_Round() {
	pounds, _ := unit.ParseCurrency("GBP")
	yen, _ := unit.ParseCurrency("JPY")
	d, _ := unit.ParseDecimal("-1234.505")
	fmt.Println(pounds.Round(d), yen.Round(d))
	// Output: -1234.51 -1235
}

func ExampleCurrency_FormatGrouped() {
	pounds, _ := unit.ParseCurrency("GBP")
	d, _ := unit.ParseDecimal("1234.5")
	fmt.Println(pounds.Format(d), pounds.FormatGrouped(d))
	// Output: 1234.50 1,234.50
}

func ExampleSum() {
	a, _ := unit.ParseDecimal("0.1")
	b, _ := unit.ParseDecimal("0.2")
	fmt.Println(unit.Sum(a, b))
	// Output: 0.3
}

func ExampleRange_Check() {
	fmt.Println(unit.Range{Low: 2, Likely: 3, High: 5}.Check())
	fmt.Println(unit.Range{Low: 4, Likely: 3, High: 5}.Check())
	// Output:
	// <nil>
	// range 4/3/5: want low <= likely <= high
}
