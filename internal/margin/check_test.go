package margin_test

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

func TestMarginAndMarkupCheckValues(t *testing.T) {
	const notEighty = "one stored page prints 80 % for this case - WRONG; 66.667 % is right"
	const table = "estimating notes, section 6: margin g is markup g/(1-g)"
	markup := func(onPrice string) unit.Decimal {
		cost := decimal("3000")
		return percentOf(margin.OnPrice(cost, decimal(onPrice), pounds()).Sub(cost), cost).RoundHAZ(3)
	}
	checkRows(t, []row{
		{"COM-01", "markup of a margin of 40 %", notEighty, "computed", markup("40"), "66.667"},
		{"section 6", "markup of a margin of 10 %", table, "computed", markup("10"), "11.111"},
		{"section 6", "markup of a margin of 20 %", table, "computed", markup("20"), "25"},
		{"section 6", "markup of a margin of 50 %", table, "computed", markup("50"), "100"},
		{"COM-03", "price at a margin of 35 %", "identity", "computed", margin.OnPrice(decimal("1234.56"), decimal("35"), pounds()), "1899.32"},
		{
			"COM-03", "the same through Apply", "identity", "computed",
			apply([]margin.Item{item("1234.56", 0)}, "0", ratebook.Terms{Margin: decimal("35")}).Net, "1899.32",
		},
		{
			"COM-01", "the same price by its markup", notEighty, "computed",
			apply([]margin.Item{item("3000", 0)}, "0", ratebook.Terms{Markup: decimal("66.666666666666666667")}).Net, "5000",
		},
	})
}

// Overhead is absorbed at a rate for each hour worked; what was spent beyond it is
// under-absorbed.
func TestOverheadCheckValues(t *testing.T) {
	const blackhall, ba2 = "Blackhall management accounting solution 3.6", "BA2 workbook p.81 rounds the rate to 14.58 (absorbed 167,670; under 14,330)"
	absorbed := func(rate unit.Decimal, worked float64) unit.Decimal {
		p := apply([]margin.Item{item("1000", worked)}, "0", ratebook.Terms{OverheadPerHour: rate})
		return p.Lines[0].Parts.Overhead
	}
	rate := must(decimal("10000").Div(decimal("5000")))
	unrounded := must(decimal("175000").Div(decimal("12000")))
	checkRows(t, []row{
		{"COM-04", "rate an hour", blackhall, "read", rate, "2.00"},
		{"COM-04", "absorbed by 5100 h", blackhall, "read", absorbed(rate, 5100), "10200"},
		{"COM-04", "under-absorbed of 11000", blackhall, "read", decimal("11000").Sub(absorbed(rate, 5100)), "800"},
		{"COM-06", "under-absorbed of 182000, to the penny", ba2, "read", decimal("182000").Sub(absorbed(unrounded, 11500)), "14291.67"},
		{"COM-06", "the printed figure, by the rounded rate", ba2, "read", decimal("182000").Sub(absorbed(decimal("14.58"), 11500)), "14330"},
	})
}

// taxed prices lines of such amounts, all at one rate of tax.
func taxed(rate *ratebook.TaxRate, amounts ...string) margin.Price {
	items := make([]margin.Item, len(amounts))
	for i, a := range amounts {
		items[i] = item(a, 0)
		items[i].Tax = rate
	}
	return apply(items, "0", ratebook.Terms{})
}

func TestTaxCheckValues(t *testing.T) {
	const hmrc = "HMRC VATREC12010, 12030; Notice 700 s.17.5: line half-up 0.69, document half-up 0.68, rounded down 0.67"
	const ubl = "UBL-Quotation-2.1-Example.xml"
	vat := taxed(at("20"), "1.13", "1.13", "1.13")
	tenders := taxed(at("25"), "150500", "43750", "1750", "1750")
	checkRows(t, []row{
		{"COM-13", "VAT of three lines of 1.13, once on the document", hmrc, "rule read; computed", vat.Taxes[0].Tax, "0.68"},
		{"COM-13", "to pay", hmrc, "rule read; computed", vat.Gross, "4.07"},
		{"COM-15", "25 % of 1460.50", "ubl-tc434-example2.xml", "read", taxed(at("25"), "1460.50").Taxes[0].Tax, "365.13"},
		{"COM-19", "sum of the lines", ubl, "read", tenders.Net, "197750.00"},
		{"COM-19", "tax of 25 %", ubl, "read", tenders.Taxes[0].Tax, "49437.50"},
		{"COM-19", "total with tax", ubl, "read", tenders.Gross, "247187.50"},
	})
	if len(vat.Taxes) != 1 {
		t.Errorf("three lines of one rate have %d tax lines, want 1", len(vat.Taxes))
	}
}

// COM-17, EN 16931 example 1 (ubl-tc434-example1.xml, read): a tax line for each rate.
func TestTaxOfTwoRates(t *testing.T) {
	const source = "ubl-tc434-example1.xml"
	low, high := item("183.23", 0), item("46.37", 0)
	low.Tax, high.Tax = at("6"), at("21")
	p := apply([]margin.Item{low, high}, "0", ratebook.Terms{})
	checkRows(t, []row{
		{"COM-17", "6 % of 183.23", source, "read", p.Taxes[0].Tax, "10.99"},
		{"COM-17", "21 % of 46.37", source, "read", p.Taxes[1].Tax, "9.74"},
		{"COM-17", "total with tax", source, "read", p.Gross, "250.33"},
	})
}

// The whole of EN 16931 example 2 (ubl-tc434-example2.xml, read), with its credits,
// allowance and charge as lines: a taxable amount for each category (BR-S-08).
func TestTaxesOfTheSampleInvoice(t *testing.T) {
	const source = "ubl-tc434-example2.xml"
	standard, low, exempt := at("25"), at("15"), at("0")
	lines := []margin.Line{}
	add := func(amount string, rate *ratebook.TaxRate) {
		lines = append(lines, margin.Line{Item: margin.Item{Tax: rate}, Amount: decimal(amount)})
	}
	add("1273.00", standard)
	add("-3.96", low)
	add("4.96", low)
	add("-25.00", exempt)
	add("187.50", standard)
	add("-100", standard)
	add("100", standard)
	taxes := margin.Taxes(lines, pounds())
	net := unit.Sum(taxes[0].Net, taxes[1].Net, taxes[2].Net)
	checkRows(t, []row{
		{"EN 16931", "taxable at 25 %", source, "read", taxes[0].Net, "1460.50"},
		{"EN 16931", "tax at 25 %", source, "read", taxes[0].Tax, "365.13"},
		{"EN 16931", "tax at 15 % of 1.00", source, "read", taxes[1].Tax, "0.15"},
		{"EN 16931", "exempt", source, "read", taxes[2].Net, "-25.00"},
		{"EN 16931", "net", source, "read", net, "1436.50"},
		{"EN 16931", "total with tax", source, "read", unit.Sum(net, taxes[0].Tax, taxes[1].Tax, taxes[2].Tax), "1801.78"},
	})
}

func TestStagePaymentCheckValues(t *testing.T) {
	const own = "own: largest remainder, ties to the first"
	stages := func(total string, weights ...string) []unit.Decimal {
		shares := make([]ratebook.StageShare, len(weights))
		for i, w := range weights {
			shares[i].Percent = decimal(w)
		}
		return margin.Payments(decimal(total), shares, pounds())
	}
	three, even, tied := stages("1000.01", "40", "40", "20"), stages("1.00", "1", "1", "1"), stages("1234.57", "3", "3", "1")
	checkRows(t, []row{
		{"COM-23", "first of 40/40/20", own, "computed", three[0], "400.01"},
		{"COM-23", "second of 40/40/20", own, "computed", three[1], "400.00"},
		{"COM-23", "third of 40/40/20", own, "computed", three[2], "200.00"},
		{"COM-23", "first of thirds", own, "computed", even[0], "0.34"},
		{"COM-23", "last of thirds", own, "computed", even[2], "0.33"},
		{"COM-24", "first of 3:3:1", own, "computed", tied[0], "529.10"},
		{"COM-24", "second of 3:3:1", own, "computed", tied[1], "529.10"},
		{"COM-24", "third of 3:3:1", own, "computed", tied[2], "176.37"},
	})
}

// mouldAndCasts are a mould at 1800 and casts at 140 each.
func mouldAndCasts(casts int) []margin.Item {
	mould, cast := item("1800", 0), item("140", 0)
	mould.Piece, mould.Stage, mould.Code = "p", ratebook.MouldStage, "mould"
	cast.Piece, cast.Stage, cast.Code = "p", ratebook.CastStage, "cast"
	cast.Quantity = unit.Count(casts)
	cast.Cost = cast.Cost.Mul(cast.Quantity.Decimal())
	return []margin.Item{mould, cast}
}

func TestToolingCheckValues(t *testing.T) {
	each := func(casts int) unit.Decimal {
		return apply(mouldAndCasts(casts), "0", ratebook.Terms{SpreadTooling: true}).Lines[0].UnitPrice
	}
	apart := apply(mouldAndCasts(5), "0", ratebook.Terms{})
	checkRows(t, []row{
		{"COM-11", "one cast with its mould", "own", "computed", each(1), "1940"},
		{"COM-11", "each of 5", "own", "computed", each(5), "500"},
		{"COM-11", "each of 25", "own", "computed", each(25), "212"},
		{"COM-11", "a mould on its own line", "own", "computed", apart.Lines[0].UnitPrice, "1800"},
		{"COM-11", "and each of its 5 casts", "own", "computed", apart.Lines[1].UnitPrice, "140"},
		{"section 6", "the total is the same either way", "own", "computed", apart.Net, "2500"},
	})
}
