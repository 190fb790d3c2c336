package wire

import (
	"strconv"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// MarginItems translates costs to price and the terms to price them on: the
// rate book's, but for what the request says.
func MarginItems(pb *mouldwrightv1.ApplyMarginRequest, e *ratebook.Edition) ([]margin.Item, *ratebook.Terms, fault.List) {
	t := translation{}
	var root fault.Path
	items := make([]margin.Item, len(pb.GetCosts()))
	seen := make(map[string]bool, len(items))
	for i, c := range pb.GetCosts() {
		p := root.Item("costs", i)
		if seen[c.GetCode()] {
			t.faults.Add(p.Field("code"), "got %q, which stands in the list already; codes are unique in a request", clip(c.GetCode()))
		}
		seen[c.GetCode()] = true
		items[i] = t.item(p, c, e)
	}
	terms := &e.Policies.Terms
	if pb.GetTerms() != nil {
		own := e.Policies.Terms
		t.override(&own, root.Field("terms"), pb.GetTerms())
		t.faults = append(t.faults, own.Check(e.Currency).Under("terms")...)
		terms = &own
	}
	return items, terms, t.faults
}

// override puts terms of a request in the place of the rate book's, each for
// itself: what the request leaves out stays. Only margin and markup are two names
// for one thing, so that either takes the other's place.
func (t *translation) override(terms *ratebook.Terms, at fault.Path, pb *mouldwrightv1.MarginTerms) {
	if pb.GetMarginPercent()+pb.GetMarkupPercent() != "" {
		terms.Margin, terms.Markup = unit.Decimal{}, unit.Decimal{}
	}
	for _, said := range []struct {
		field, text string
		term        *unit.Decimal
	}{
		{"overheadPerLabourHour", pb.GetOverheadPerLabourHour(), &terms.OverheadPerHour},
		{"overheadPercent", pb.GetOverheadPercent(), &terms.OverheadPercent},
		{"contingencyPercent", pb.GetContingencyPercent(), &terms.Contingency},
		{"marginPercent", pb.GetMarginPercent(), &terms.Margin},
		{"markupPercent", pb.GetMarkupPercent(), &terms.Markup},
		{"discountPercent", pb.GetDiscountPercent(), &terms.Discount},
		{"rushPercent", pb.GetRushPercent(), &terms.Rush},
		{"minimumCharge", pb.GetMinimumCharge(), &terms.MinimumCharge},
	} {
		if said.text != "" {
			*said.term = t.decimal(at.Field(said.field), said.text)
		}
	}
	if pb.GetTooling() != mouldwrightv1.ToolingCharge_TOOLING_CHARGE_UNSPECIFIED {
		terms.SpreadTooling = pb.GetTooling() == mouldwrightv1.ToolingCharge_TOOLING_CHARGE_SPREAD
	}
}

func (t *translation) item(p fault.Path, pb *mouldwrightv1.CostAmount, e *ratebook.Edition) margin.Item {
	tax, ok := e.Tax(pb.GetTax())
	if !ok {
		t.faults.Add(p.Field("tax"), "got %q, which is no tax rate of rate book %s", clip(pb.GetTax()), e.Revision)
	}
	return margin.Item{
		Code: pb.GetCode(), Piece: pb.GetPiece(), Stage: ratebook.Stage(pb.GetStage()), Description: pb.GetDescription(),
		Quantity: t.quantity(p.Field("quantity"), pb.GetQuantity()), Cost: t.cost(p.Field("cost"), pb.GetCost(), e.Currency),
		Hours: t.hours(p.Field("labourHours"), pb.GetLabourHours()), Tax: tax,
	}
}

// hours takes what hours print, to the 15 digits that a double carries: a sum of
// such hours that binary left a bit beside is taken as meant.
func (t *translation) hours(p fault.Path, h float64) unit.Quantity {
	q, err := unit.Measure(h, unit.Hour)
	switch {
	case err != nil:
		t.faults.Add(p, "%v", err)
	case digits15(q.Float()) != digits15(h):
		t.faults.Add(p, "got %v, allowed: at most %d decimals for %s", h, unit.Hour.Decimals(), unit.Hour.Code())
	}
	return q
}

func digits15(v float64) string { return strconv.FormatFloat(v, 'g', 15, 64) }

// cost takes no finer than the currency goes: a line of a quote is in whole
// minor units.
func (t *translation) cost(p fault.Path, text string, c unit.Currency) unit.Decimal {
	d := t.decimal(p, text)
	if !c.Round(d).Equal(d) {
		t.faults.Add(p, "got %s, allowed: at most %d decimals in %s", d, c.Digits, c.Code)
	}
	return d
}

// quantity takes what the unit prints, and no nothing: a price for none of
// something has no unit price.
func (t *translation) quantity(p fault.Path, pb *mouldwrightv1.Quantity) unit.Quantity {
	u, err := unit.ParseUnit(pb.GetUnit())
	if err != nil {
		t.faults.Add(p.Field("unit"), "%v", err)
		return unit.Quantity{}
	}
	d := t.decimal(p.Field("value"), pb.GetValue())
	q, err := unit.Measure(d.InexactFloat64(), u)
	switch {
	case err != nil:
		t.faults.Add(p.Field("value"), "%v", err)
	case !q.Decimal().Equal(d):
		t.faults.Add(p.Field("value"), "got %s, allowed: at most %d decimals for %s", d, u.Decimals(), u.Code())
	case !d.IsPos():
		t.faults.Add(p.Field("value"), "got %s, allowed: above 0", d)
	}
	return q
}

// Price returns priced items as the contract has it.
func Price(p *margin.Price, e *ratebook.Edition) *mouldwrightv1.ApplyMarginResponse {
	o := out{e.Currency}
	pb := &mouldwrightv1.ApplyMarginResponse{
		RateBookRevision: e.Revision, Steps: o.steps(p.Steps), Net: o.money(p.Net), Taxes: o.taxes(p.Taxes), Gross: o.money(p.Gross),
		Lines: make([]*mouldwrightv1.PriceLine, len(p.Lines)),
	}
	for i := range p.Lines {
		pb.Lines[i] = o.line(&p.Lines[i])
		pb.Lines[i].Parts = o.parts(&p.Lines[i].Parts)
	}
	return pb
}
