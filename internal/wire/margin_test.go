package wire_test

import (
	"fmt"
	"slices"
	"testing"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/unit"
	"github.com/mouldwright/mouldwright/internal/wire"
)

func cost(code string) *mouldwrightv1.CostAmount {
	return &mouldwrightv1.CostAmount{
		Code: code, Description: "Casting", Stage: mouldwrightv1.Stage_STAGE_CAST, Piece: "cap", Cost: "120.50", LabourHours: 4.5, Tax: "reduced",
		Quantity: &mouldwrightv1.Quantity{Value: "6", Unit: "each"},
	}
}

func TestFaultsOfCostsToPrice(t *testing.T) {
	book, faults := desk.OpenBook(demo.Document(), rules(t))
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	for _, r := range []struct {
		name  string
		spoil func(*mouldwrightv1.ApplyMarginRequest)
		want  fault.List
	}{
		{"nothing", func(*mouldwrightv1.ApplyMarginRequest) {}, nil},
		{"code twice", func(q *mouldwrightv1.ApplyMarginRequest) { q.Costs[1].Code = "a" }, one("costs[1].code", `got "a", which stands in the list already; codes are unique in a request`)},
		{"unknown tax", func(q *mouldwrightv1.ApplyMarginRequest) { q.Costs[1].Tax = "vat" }, one("costs[1].tax", `got "vat", which is no tax rate of rate book demo-2026.1`)},
		{"finer than a penny", func(q *mouldwrightv1.ApplyMarginRequest) { q.Costs[1].Cost = "1.005" }, one("costs[1].cost", "got 1.005, allowed: at most 2 decimals in GBP")},
		{"no number", func(q *mouldwrightv1.ApplyMarginRequest) { q.Costs[1].Cost = "1,50" }, one("costs[1].cost", `got "1,50", allowed: a decimal number such as "12.50"`)},
		{"unknown unit", func(q *mouldwrightv1.ApplyMarginRequest) { q.Costs[1].Quantity.Unit = "pcs" }, one("costs[1].quantity.unit", `unit "pcs": want one of each, h, kg, L, m2, m, m3, km, pack, lot`)},
		{"half a cast", func(q *mouldwrightv1.ApplyMarginRequest) { q.Costs[1].Quantity.Value = "1.5" }, one("costs[1].quantity.value", "got 1.5, allowed: at most 0 decimals for each")},
		{"price for none", func(q *mouldwrightv1.ApplyMarginRequest) { q.Costs[1].Quantity.Value = "0" }, one("costs[1].quantity.value", "got 0, allowed: above 0")},
		{"hours finer than they are printed", func(q *mouldwrightv1.ApplyMarginRequest) { q.Costs[1].LabourHours = 1.005 }, one("costs[1].labourHours", "got 1.005, allowed: at most 2 decimals for h")},
		{"hours that binary left a bit beside", func(q *mouldwrightv1.ApplyMarginRequest) { q.Costs[1].LabourHours = 0.30000000000000004 }, nil},
		{"margin and markup", func(q *mouldwrightv1.ApplyMarginRequest) {
			q.Terms = &mouldwrightv1.MarginTerms{MarginPercent: "30", MarkupPercent: "40"}
		}, one("terms.markupPercent", "got 40 beside a margin of 30; allowed: one of the two")},
	} {
		t.Run(r.name, func(t *testing.T) {
			request := &mouldwrightv1.ApplyMarginRequest{Costs: []*mouldwrightv1.CostAmount{cost("a"), cost("b")}}
			r.spoil(request)
			if _, _, got := wire.MarginItems(request, book.Edition); !slices.Equal(got, r.want) {
				t.Errorf("got %v, want %v", got, r.want)
			}
		})
	}
}

func TestCostsComeInWhole(t *testing.T) {
	book, _ := desk.OpenBook(demo.Document(), rules(t))
	items, terms, faults := wire.MarginItems(&mouldwrightv1.ApplyMarginRequest{Costs: []*mouldwrightv1.CostAmount{cost("a")}}, book.Edition)
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	i := items[0]
	if i.Code != "a" || i.Description != "Casting" || i.Piece != "cap" || i.Stage.String() != "cast" || i.Cost.String() != "120.5" ||
		i.Hours.String() != "4.50 h" || i.Quantity != unit.Count(6) || i.Tax.Code != "reduced" {
		t.Errorf("got %+v", i)
	}
	if terms != &book.Edition.Policies.Terms {
		t.Error("without terms of its own a request is priced on the rate book's")
	}
}

// Terms are the rate book's but for what a request says, term by term.
func TestTermsOfARequestStandBesideTheBooks(t *testing.T) {
	book, _ := desk.OpenBook(demo.Document(), rules(t))
	of := *book.Edition
	decimal := func(text string) unit.Decimal {
		d, err := unit.ParseDecimal(text)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	ours := ratebook.Terms{
		OverheadPerHour: decimal("11"), OverheadPercent: decimal("12"), Contingency: decimal("13"), Margin: decimal("14"),
		Discount: decimal("15"), Rush: decimal("16"), MinimumCharge: decimal("17"), SpreadTooling: true,
	}
	byMarkup := func(x *ratebook.Terms) { x.Margin, x.Markup = unit.Decimal{}, decimal("40") }
	for _, r := range []struct {
		name   string
		book   func(*ratebook.Terms) // changes the book's terms
		terms  *mouldwrightv1.MarginTerms
		expect func(*ratebook.Terms) // changes them into what is expected
	}{
		{"nothing said", nil, &mouldwrightv1.MarginTerms{}, nil},
		{"overhead by the hour", nil, &mouldwrightv1.MarginTerms{OverheadPerLabourHour: "1.5"}, func(x *ratebook.Terms) { x.OverheadPerHour = decimal("1.5") }},
		{"no overhead by the hour", nil, &mouldwrightv1.MarginTerms{OverheadPerLabourHour: "0"}, func(x *ratebook.Terms) { x.OverheadPerHour = unit.Decimal{} }},
		{"overhead on cost", nil, &mouldwrightv1.MarginTerms{OverheadPercent: "2"}, func(x *ratebook.Terms) { x.OverheadPercent = decimal("2") }},
		{"contingency", nil, &mouldwrightv1.MarginTerms{ContingencyPercent: "3"}, func(x *ratebook.Terms) { x.Contingency = decimal("3") }},
		{"margin", nil, &mouldwrightv1.MarginTerms{MarginPercent: "4"}, func(x *ratebook.Terms) { x.Margin = decimal("4") }},
		{"markup for the book's margin", nil, &mouldwrightv1.MarginTerms{MarkupPercent: "5"}, func(x *ratebook.Terms) { x.Margin, x.Markup = unit.Decimal{}, decimal("5") }},
		{"margin for the book's markup", byMarkup, &mouldwrightv1.MarginTerms{MarginPercent: "4"}, func(x *ratebook.Terms) { x.Margin, x.Markup = decimal("4"), unit.Decimal{} }},
		{"the book's markup", byMarkup, &mouldwrightv1.MarginTerms{RushPercent: "7"}, func(x *ratebook.Terms) { x.Rush = decimal("7") }},
		{"discount", nil, &mouldwrightv1.MarginTerms{DiscountPercent: "6"}, func(x *ratebook.Terms) { x.Discount = decimal("6") }},
		{"minimum", nil, &mouldwrightv1.MarginTerms{MinimumCharge: "8"}, func(x *ratebook.Terms) { x.MinimumCharge = decimal("8") }},
		{"tooling", nil, &mouldwrightv1.MarginTerms{Tooling: mouldwrightv1.ToolingCharge_TOOLING_CHARGE_SEPARATE}, func(x *ratebook.Terms) { x.SpreadTooling = false }},
	} {
		t.Run(r.name, func(t *testing.T) {
			theirs := ours
			if r.book != nil {
				r.book(&theirs)
			}
			copied := *of.Book
			copied.Policies.Terms, of.Book = theirs, &copied
			want := theirs
			if r.expect != nil {
				r.expect(&want)
			}
			_, got, faults := wire.MarginItems(&mouldwrightv1.ApplyMarginRequest{Costs: []*mouldwrightv1.CostAmount{cost("a")}, Terms: r.terms}, &of)
			if len(faults) > 0 || !sameTerms(*got, want) {
				t.Errorf("got %+v, %v, want %+v", *got, faults, want)
			}
			if !sameTerms(of.Policies.Terms, theirs) {
				t.Errorf("the rate book's own terms became %+v", of.Policies.Terms)
			}
		})
	}
}

func sameTerms(a, b ratebook.Terms) bool { return fmt.Sprint(a) == fmt.Sprint(b) }
