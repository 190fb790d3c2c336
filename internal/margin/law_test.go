package margin_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// hundredths draws a decimal with two places, and zero often.
func hundredths(t *rapid.T, name string, most int) unit.Decimal {
	n := rapid.OneOf(rapid.Just(0), rapid.IntRange(0, 100*most)).Draw(t, name)
	return decimal(fmt.Sprintf("%d.%02d", n/100, n%100))
}

func someItems(t *rapid.T) []margin.Item {
	rates := []*ratebook.TaxRate{at("20"), at("5"), at("0")}
	items := make([]margin.Item, rapid.IntRange(1, 7).Draw(t, "lines"))
	for i := range items {
		items[i] = margin.Item{
			Code: fmt.Sprint(i), Piece: rapid.SampledFrom([]string{"", "a", "b"}).Draw(t, "piece"),
			Stage:    ratebook.Stage(rapid.IntRange(int(ratebook.Design), int(ratebook.Dispatch)).Draw(t, "stage")),
			Quantity: unit.Count(rapid.IntRange(1, 200).Draw(t, "quantity")), Cost: hundredths(t, "cost", 20_000),
			Hours: hours(float64(rapid.IntRange(0, 50_000).Draw(t, "hours")) / 100), Tax: rapid.SampledFrom(rates).Draw(t, "tax"),
		}
	}
	return items
}

func someTerms(t *rapid.T) ratebook.Terms {
	terms := ratebook.Terms{
		OverheadPerHour: hundredths(t, "overhead an hour", 60), OverheadPercent: hundredths(t, "overhead", 80), Contingency: hundredths(t, "contingency", 30),
		Discount: hundredths(t, "discount", 90), Rush: hundredths(t, "rush", 100), MinimumCharge: hundredths(t, "minimum", 5000),
	}
	if rapid.Bool().Draw(t, "by margin") {
		terms.Margin = hundredths(t, "margin", 95)
	} else {
		terms.Markup = hundredths(t, "markup", 300)
	}
	return terms
}

// The package against fractions of whole numbers: every part of every line.
func TestApplyAgainstFractions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		items, terms, shared := someItems(t), someTerms(t), hundredths(t, "left over", 500)
		got, want := must(margin.Apply(items, shared, &terms, pounds())), price(items, shared, &terms)
		if minor(got.Net).Cmp(want.total) != 0 {
			t.Fatalf("net: got %s, want %s pence", got.Net, want.total)
		}
		for i := range got.Lines {
			p := &got.Lines[i].Parts
			for k, part := range []unit.Decimal{p.Cost, p.LeftOver, p.Overhead, p.Contingency, p.Margin, p.Rush, p.Discount, p.Minimum} {
				if minor(part).Cmp(want.parts[i][k]) != 0 {
					t.Fatalf("line %d part %d: got %s, want %s pence", i, k, part, want.parts[i][k])
				}
			}
		}
	})
}

// Parts make lines, lines and steps make the net, the net and its taxes the gross;
// and a reader can multiply every line out.
func TestEverythingAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		terms := someTerms(t)
		terms.SpreadTooling = rapid.Bool().Draw(t, "spread tooling")
		p := must(margin.Apply(someItems(t), hundredths(t, "left over", 500), &terms, pounds()))
		var lines, steps, taxable unit.Decimal
		for i := range p.Lines {
			l := &p.Lines[i]
			lines = lines.Add(l.Amount)
			if !l.Parts.Sum().Equal(l.Amount) || !unit.Extend(l.Quantity, l.UnitPrice, pounds()).Equal(l.Amount) || l.Amount.IsNeg() {
				t.Fatalf("line %d: %+v", i, l)
			}
		}
		for _, s := range p.Steps {
			steps = steps.Add(s.Amount)
			if !steps.Equal(s.Running) {
				t.Fatalf("step %s runs at %s, want %s", s.Code, s.Running, steps)
			}
		}
		gross := p.Net
		for _, x := range p.Taxes {
			taxable, gross = taxable.Add(x.Net), gross.Add(x.Tax)
		}
		if !lines.Equal(p.Net) || !steps.Equal(p.Net) || !taxable.Equal(p.Net) || !gross.Equal(p.Gross) {
			t.Fatalf("net %s: lines %s, steps %s, taxable %s; gross %s: %s", p.Net, lines, steps, taxable, p.Gross, gross)
		}
	})
}

// changed prices items on terms and on the terms as change makes them.
func changed(t *rapid.T, change func([]margin.Item, *ratebook.Terms)) (before, after unit.Decimal) {
	items, terms, shared := someItems(t), someTerms(t), hundredths(t, "left over", 500)
	before = must(margin.Apply(items, shared, &terms, pounds())).Net
	change(items, &terms)
	return before, must(margin.Apply(items, shared, &terms, pounds())).Net
}

func TestMoreCostNeverLowersThePrice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		before, after := changed(t, func(items []margin.Item, _ *ratebook.Terms) {
			dear := &items[rapid.IntRange(0, len(items)-1).Draw(t, "dearer line")]
			dear.Cost = dear.Cost.Add(hundredths(t, "more", 100))
			dear.Hours = must(dear.Hours.Add(hours(float64(rapid.IntRange(0, 100).Draw(t, "more hours")))))
		})
		if after.LessThan(before) {
			t.Fatalf("%s fell to %s", before, after)
		}
	})
}

func TestAHigherTermNeverLowersThePrice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		more := hundredths(t, "more", 5)
		before, after := changed(t, func(_ []margin.Item, terms *ratebook.Terms) {
			raised := rapid.SampledFrom([]*unit.Decimal{
				&terms.OverheadPerHour, &terms.OverheadPercent, &terms.Contingency, &terms.Rush, &terms.MinimumCharge,
			}).Draw(t, "raised")
			*raised = raised.Add(more)
			if !terms.Markup.IsZero() {
				terms.Markup = terms.Markup.Add(more)
			}
		})
		if after.LessThan(before) {
			t.Fatalf("%s fell to %s", before, after)
		}
	})
}

func TestADiscountNeverRaisesThePrice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		before, after := changed(t, func(_ []margin.Item, terms *ratebook.Terms) {
			terms.Discount = terms.Discount.Add(hundredths(t, "more discount", 5))
		})
		if after.GreaterThan(before) {
			t.Fatalf("%s rose to %s", before, after)
		}
	})
}

// Where the tooling stands moves money between lines, and never the total.
func TestSpreadToolingKeepsTheTotal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		before, after := changed(t, func(_ []margin.Item, terms *ratebook.Terms) { terms.SpreadTooling = true })
		if !after.Equal(before) {
			t.Fatalf("%s became %s", before, after)
		}
	})
}

// By definition the cost is (1 - g) of the price, to the half penny that the price
// is rounded by.
func TestMarginIsOfThePrice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cost, g := hundredths(t, "cost", 100_000), hundredths(t, "margin", 95)
		price := margin.OnPrice(cost, g, pounds())
		kept := must(price.Mul(decimal("100").Sub(g)).Div(decimal("100")))
		if kept.Sub(cost).Abs().GreaterThan(decimal("0.005")) {
			t.Fatalf("%s %% of margin on %s: price %s keeps %s", g, cost, price, kept)
		}
	})
}

func TestPaymentsSumToTheTotal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		total := hundredths(t, "total", 100_000)
		stages := make([]ratebook.StageShare, rapid.IntRange(1, 6).Draw(t, "stages"))
		for i := range stages {
			stages[i].Percent = hundredths(t, "share", 100)
		}
		if sum := unit.Sum(margin.Payments(total, stages, pounds())...); !sum.Equal(total) {
			t.Fatalf("%s paid as %s", total, sum)
		}
	})
}
