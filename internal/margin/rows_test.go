package margin_test

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// row is one published check value, in decimals: where it is from and how that is
// known stand beside it.
type row struct {
	id, quantity  string
	source, known string
	got           unit.Decimal
	want          string
}

func checkRows(t *testing.T, rows []row) {
	t.Helper()
	for _, r := range rows {
		t.Run(r.id+" "+r.quantity, func(t *testing.T) {
			if !r.got.Equal(decimal(r.want)) {
				t.Errorf("got %s, want %s (%s; %s)", r.got, r.want, r.source, r.known)
			}
		})
	}
}

// must gives the value of a call that a test has no reason to see refused.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func decimal(s string) unit.Decimal { return must(unit.ParseDecimal(s)) }

func pounds() unit.Currency { return must(unit.ParseCurrency("GBP")) }

func hours(h float64) unit.Quantity { return must(unit.Measure(h, unit.Hour)) }

// at is a tax rate of so many percent.
func at(percent string) *ratebook.TaxRate {
	return &ratebook.TaxRate{Code: percent, Name: percent + " %", Percent: decimal(percent)}
}

// item is one of something at a cost that took so many hours, free of tax.
func item(cost string, h float64) margin.Item {
	return margin.Item{Quantity: unit.Count(1), Cost: decimal(cost), Hours: hours(h), Tax: at("0")}
}

func apply(items []margin.Item, shared string, terms ratebook.Terms) margin.Price {
	return must(margin.Apply(items, decimal(shared), &terms, pounds()))
}

// percentOf is part / of, in percent.
func percentOf(part, of unit.Decimal) unit.Decimal {
	return must(part.Mul(decimal("100")).Div(of))
}
