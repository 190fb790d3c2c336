package margin_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// COM-03: 1234.56 / (1 - 0.35).
func ExampleOnPrice() {
	fmt.Println(pounds().Format(margin.OnPrice(decimal("1234.56"), decimal("35"), pounds())))
	// Output: 1899.32
}

// A mould at 1800 and five casts at 700, sold with 20 % margin on the price.
func ExampleApply() {
	mould, casts := item("1800", 40), item("700", 25)
	casts.Quantity = unit.Count(5)
	price, err := margin.Apply([]margin.Item{mould, casts}, unit.Decimal{}, &ratebook.Terms{Margin: decimal("20")}, pounds())
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, l := range price.Lines {
		fmt.Println(l.Quantity, "at", pounds().Format(l.UnitPrice), "is", pounds().Format(l.Amount))
	}
	fmt.Println("net", pounds().Format(price.Net))
	// Output:
	// 1 each at 2250.00 is 2250.00
	// 5 each at 175.00 is 875.00
	// net 3125.00
}

// Two rates of tax on one document, each rounded once (EN 16931 example 1).
func ExampleTaxes() {
	lines := []margin.Line{
		{Item: margin.Item{Tax: at("6")}, Amount: decimal("183.23")},
		{Item: margin.Item{Tax: at("21")}, Amount: decimal("46.37")},
	}
	for _, t := range margin.Taxes(lines, pounds()) {
		fmt.Println(t.Name, "of", t.Net, "is", t.Tax)
	}
	// Output:
	// 6 % of 183.23 is 10.99
	// 21 % of 46.37 is 9.74
}

// COM-23: 1000.01 by 40, 40 and 20 percent, to the last penny.
func ExamplePayments() {
	stages := []ratebook.StageShare{{Percent: decimal("40")}, {Percent: decimal("40")}, {Percent: decimal("20")}}
	for _, payment := range margin.Payments(decimal("1000.01"), stages, pounds()) {
		fmt.Println(pounds().Format(payment))
	}
	// Output:
	// 400.01
	// 400.00
	// 200.00
}
