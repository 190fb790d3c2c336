package margin_test

import (
	"errors"
	"testing"

	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// two are the lines of the cases below: 100.00 with 10 h of labour, four of them;
// 50.00 with 2.5 h, one.
func two() []margin.Item {
	items := []margin.Item{item("100", 10), item("50", 2.5)}
	items[0].Quantity = unit.Count(4)
	return items
}

// Each term alone, on 150.00 and 12.5 h. Where no share of the term is exact, the
// comment shows how the penny left over falls to the largest remainder.
func TestEachTermAlone(t *testing.T) {
	for _, c := range []struct {
		name, shared string
		terms        ratebook.Terms
		code         string // of the step that the term adds
		step         string
		first, other string
		net          string
	}{
		{name: "nothing", shared: "0", code: "cost", step: "150", first: "100", other: "50", net: "150"},
		// 15 by 100 : 50 is 10 and 5.
		{name: "left-overs shared by cost", shared: "15", code: "left_over", step: "15", first: "110", other: "55", net: "165"},
		// 0.50 by 100 : 50 is 0.333 and 0.166; the penny goes to the larger rest, .666 of a penny.
		{name: "left-overs that do not divide", shared: "0.50", code: "left_over", step: "0.50", first: "100.33", other: "50.17", net: "150.50"},
		// 12.5 h x 4 = 50, by the hours 10 : 2.5.
		{name: "overhead an hour", shared: "0", terms: ratebook.Terms{OverheadPerHour: decimal("4")}, code: "overhead", step: "50", first: "140", other: "60", net: "200"},
		// 10 % of 150.
		{name: "overhead in percent", shared: "0", terms: ratebook.Terms{OverheadPercent: decimal("10")}, code: "overhead", step: "15", first: "110", other: "55", net: "165"},
		// 50 by the hours and 15 by cost.
		{
			name: "overhead both ways", shared: "0", terms: ratebook.Terms{OverheadPerHour: decimal("4"), OverheadPercent: decimal("10")},
			code: "overhead", step: "65", first: "150", other: "65", net: "215",
		},
		// 5 % of 150 is 7.50, by 100 : 50.
		{name: "contingency", shared: "0", terms: ratebook.Terms{Contingency: decimal("5")}, code: "contingency", step: "7.50", first: "105", other: "52.50", net: "157.50"},
		// 150 / 0.75 = 200.
		{name: "margin", shared: "0", terms: ratebook.Terms{Margin: decimal("25")}, code: "margin", step: "50", first: "133.33", other: "66.67", net: "200"},
		// 150 x 25 % = 37.50.
		{name: "markup", shared: "0", terms: ratebook.Terms{Markup: decimal("25")}, code: "margin", step: "37.50", first: "125", other: "62.50", net: "187.50"},
		{name: "rush", shared: "0", terms: ratebook.Terms{Rush: decimal("10")}, code: "rush", step: "15", first: "110", other: "55", net: "165"},
		{name: "discount", shared: "0", terms: ratebook.Terms{Discount: decimal("10")}, code: "discount", step: "-15", first: "90", other: "45", net: "135"},
		// 180 - 150 = 30, by 100 : 50.
		{name: "minimum charge", shared: "0", terms: ratebook.Terms{MinimumCharge: decimal("180")}, code: "minimum", step: "30", first: "120", other: "60", net: "180"},
		{name: "minimum charge that is passed", shared: "0", terms: ratebook.Terms{MinimumCharge: decimal("149.99")}, code: "cost", step: "150", first: "100", other: "50", net: "150"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := apply(two(), c.shared, c.terms)
			last := p.Steps[len(p.Steps)-1]
			if last.Code != c.code {
				t.Errorf("last step is %q, want %q", last.Code, c.code)
			}
			same(t, "step", last.Amount, c.step)
			same(t, "running", last.Running, c.net)
			same(t, "first line", p.Lines[0].Amount, c.first)
			same(t, "second line", p.Lines[1].Amount, c.other)
			same(t, "net", p.Net, c.net)
		})
	}
}

func same(t *testing.T, what string, got unit.Decimal, want string) {
	t.Helper()
	if !got.Equal(decimal(want)) {
		t.Errorf("%s: got %s, want %s", what, got, want)
	}
}

// every is all terms at once.
func every() ratebook.Terms {
	return ratebook.Terms{
		OverheadPerHour: decimal("4"), OverheadPercent: decimal("10"), Contingency: decimal("5"), Margin: decimal("35"),
		Rush: decimal("10"), Discount: decimal("5"), MinimumCharge: decimal("400"),
	}
}

// All terms together, worked by hand. A is 100 with 10 h, B 50 with 2.5 h.
//
//	cost         150                                                          A 100.00  B  50.00
//	left over    15 by 100:50 = 10 + 5                                        A 110.00  B  55.00
//	overhead     12.5 h x 4 = 50 by hours = 40 + 10; 10 % of 165 = 11 + 5.50  A 161.00  B  70.50
//	contingency  5 % of 231.50 = 11.575, 11.58: 8.0534 + 3.5266 = 8.05 + 3.53 A 169.05  B  74.03
//	margin       243.08 / 0.65 = 373.969, 373.97, less 243.08 = 130.89:
//	             91.0275 + 39.8625 = 91.03 + 39.86                            A 260.08  B 113.89
//	rush         10 % of 373.97 = 37.40: 26.0101 + 11.3899 = 26.01 + 11.39    A 286.09  B 125.28
//	discount     5 % of 411.37 = 20.57: 14.3055 + 6.2645 = 14.31 + 6.26       A 271.78  B 119.02
//	minimum      400 - 390.80 = 9.20: 6.3981 + 2.8019 = 6.40 + 2.80           A 278.18  B 121.82
//	tax          20 % of 400 = 80
func TestAllTermsTogether(t *testing.T) {
	items := two()
	vat := at("20")
	items[0].Tax, items[1].Tax = vat, vat
	p := apply(items, "15", every())
	for i, want := range []struct{ code, amount, running string }{
		{"cost", "150", "150"},
		{"left_over", "15", "165"},
		{"overhead", "66.50", "231.50"},
		{"contingency", "11.58", "243.08"},
		{"margin", "130.89", "373.97"},
		{"rush", "37.40", "411.37"},
		{"discount", "-20.57", "390.80"},
		{"minimum", "9.20", "400"},
	} {
		if p.Steps[i].Code != want.code {
			t.Fatalf("step %d is %q, want %q", i, p.Steps[i].Code, want.code)
		}
		same(t, want.code, p.Steps[i].Amount, want.amount)
		same(t, want.code+", running", p.Steps[i].Running, want.running)
	}
	checkParts(t, "A", &p.Lines[0].Parts, "100", "10", "51", "8.05", "91.03", "26.01", "-14.31", "6.40")
	checkParts(t, "B", &p.Lines[1].Parts, "50", "5", "15.50", "3.53", "39.86", "11.39", "-6.26", "2.80")
	same(t, "A", p.Lines[0].Amount, "278.18")
	same(t, "each of the four of A", p.Lines[0].UnitPrice, "69.545") // 69.54 x 4 = 278.16, 69.55 x 4 = 278.20
	same(t, "B", p.Lines[1].Amount, "121.82")
	same(t, "net", p.Net, "400")
	same(t, "tax", p.Taxes[0].Tax, "80")
	same(t, "gross", p.Gross, "480")
}

func checkParts(t *testing.T, line string, p *margin.Parts, want ...string) {
	t.Helper()
	got := []unit.Decimal{p.Cost, p.LeftOver, p.Overhead, p.Contingency, p.Margin, p.Rush, p.Discount, p.Minimum}
	for i, name := range []string{"cost", "left over", "overhead", "contingency", "margin", "rush", "discount", "minimum"} {
		same(t, line+" "+name, got[i], want[i])
	}
}

// The words of each step say at which rate.
func TestStepsSayTheirRates(t *testing.T) {
	p := apply(two(), "0", every())
	for i, want := range []string{
		"cost of labour, materials, equipment and what is bought in",
		"overhead at 4.00 a labour hour and 10 % of cost",
		"5 % contingency on cost and overhead",
		"35 % margin on the price",
		"10 % for speed, on the price",
		"5 % discount on the price",
		"to the minimum charge of 400.00",
	} {
		if got := p.Steps[i].Description; got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	for words, terms := range map[string]ratebook.Terms{
		"overhead at 4.00 a labour hour": {OverheadPerHour: decimal("4")},
		"10 % overhead on cost":          {OverheadPercent: decimal("10")},
		"25 % markup on the cost":        {Markup: decimal("25")},
	} {
		if got := apply(two(), "0", terms).Steps[1].Description; got != words {
			t.Errorf("got %q, want %q", got, words)
		}
	}
}

// What costs nothing can still carry a minimum charge: it is shared evenly.
func TestMinimumChargeOnNothing(t *testing.T) {
	p := apply([]margin.Item{item("0", 0), item("0", 0)}, "0", ratebook.Terms{MinimumCharge: decimal("1.01")})
	same(t, "first", p.Lines[0].Amount, "0.51")
	same(t, "second", p.Lines[1].Amount, "0.50")
}

func TestNothingToPrice(t *testing.T) {
	if _, err := margin.Apply(nil, decimal("1"), &ratebook.Terms{}, pounds()); !errors.Is(err, margin.ErrNothing) {
		t.Errorf("got %v, want %v", err, margin.ErrNothing)
	}
}

// No terms may hold a margin of 100 %; the formula gives the cost back rather than
// an infinite price.
func TestMarginOfTheWholePrice(t *testing.T) {
	same(t, "price", margin.OnPrice(decimal("10"), decimal("100"), pounds()), "10")
}

// Tooling goes into the casts of its own piece only, with its hours. A piece without
// casts, and the whole job, keep their lines.
func TestSpreadToolingGoesToItsOwnCasts(t *testing.T) {
	line := func(code, piece string, s ratebook.Stage, cost string, h float64) margin.Item {
		it := item(cost, h)
		it.Code, it.Piece, it.Stage = code, piece, s
		return it
	}
	items := []margin.Item{
		line("a/design", "a", ratebook.Design, "5", 1),
		line("a/pattern", "a", ratebook.PatternStage, "30", 2),
		line("a/mould", "a", ratebook.MouldStage, "70", 3),
		line("a/cast", "a", ratebook.CastStage, "100", 4),
		line("b/mould", "b", ratebook.MouldStage, "11", 5),
		line("job/mould", "", ratebook.MouldStage, "13", 6),
	}
	p := apply(items, "0", ratebook.Terms{SpreadTooling: true, OverheadPerHour: decimal("1")})
	want := []struct{ code, cost, overhead string }{
		{"a/design", "5", "1"}, {"a/cast", "200", "9"}, {"b/mould", "11", "5"}, {"job/mould", "13", "6"},
	}
	if len(p.Lines) != len(want) {
		t.Fatalf("got %d lines, want %d", len(p.Lines), len(want))
	}
	for i, w := range want {
		l := p.Lines[i]
		if l.Code != w.code {
			t.Errorf("line %d is %q, want %q", i, l.Code, w.code)
		}
		same(t, w.code+" cost", l.Parts.Cost, w.cost)
		same(t, w.code+" overhead", l.Parts.Overhead, w.overhead)
	}
	if same := items[3].Cost.Equal(decimal("100")); !same {
		t.Error("the caller's items were changed")
	}
}

// A currency without a minor unit is priced in whole units: 150 + 5 % = 157.5, 158.
func TestCurrencyWithoutMinorUnit(t *testing.T) {
	yen := must(unit.ParseCurrency("JPY"))
	p := must(margin.Apply(two(), unit.Decimal{}, &ratebook.Terms{Contingency: decimal("5")}, yen))
	same(t, "net", p.Net, "158")
	same(t, "first", p.Lines[0].Amount, "105") // 8 by 100:50 is 5.33 and 2.67: 5 and 3
	same(t, "second", p.Lines[1].Amount, "53")
}
