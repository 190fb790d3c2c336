package ratebook

import (
	"github.com/mouldwright/mouldwright/internal/allowance"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/laminate"
	"github.com/mouldwright/mouldwright/internal/unit"
)

func (c *check) checkPolicies() {
	var root fault.Path
	p, pol := root.Field("policies"), &c.Policies
	c.needLaminate(p.Field("defaultLaminate"), pol.DefaultLaminate)
	c.defaultFinish(p.Field("defaultFinish"), pol.DefaultFinish)
	c.needLaminate(p.Field("directLaminate"), pol.DirectLaminate)
	c.needLaminate(p.Field("mouldLaminate"), pol.MouldLaminate)
	c.within(p.Field("mouldLifeCasts"), float64(pol.MouldLife), 1, 10000, "casts")
	c.within(p.Field("flangeWidthMm"), 1000*pol.FlangeWidth, 0, 500, "mm")
	c.laps(p.Field("lapMm"))
	c.allowances(p)
	c.faults = append(c.faults, pol.Terms.Check(c.Currency).Under("policies.margin")...)
	c.taxes(p)
	c.rushes(p)
	c.payments(p)
	c.within(p.Field("validityDays"), float64(pol.ValidityDays), 1, 365, "days")
}

func (c *check) defaultFinish(p fault.Path, code string) {
	switch f := c.finishes[code]; {
	case f == nil:
		c.unknown(p, "finish", code, sortedCodes(c.finishes))
	case !f.onCasts():
		c.faults.Add(p, "got %q, which is for zones only; %s", code, fault.Allowed(code, c.castFinishes()))
	}
}

func (c *check) castFinishes() []string {
	var list []string
	for _, code := range sortedCodes(c.finishes) {
		if c.finishes[code].onCasts() {
			list = append(list, code)
		}
	}
	return list
}

func (c *check) needLaminate(p fault.Path, code string) {
	if c.laminates[code] == nil {
		c.unknown(p, "laminate", code, sortedCodes(c.laminates))
	}
}

// laps: a lap of more than half the roll would double the laminate.
func (c *check) laps(p fault.Path) {
	from := len(c.faults)
	if c.within(p, 1000*c.Policies.Lap, 0, 300, "mm"); len(c.faults) > from || !c.sound {
		return // which would be said of every roll
	}
	for i := range c.Materials {
		g := c.Materials[i].Glass
		if g == nil || g.RollWidth == 0 || c.Policies.Lap == 0 {
			continue
		}
		if _, err := laminate.Overlap(g.RollWidth, c.Policies.Lap); err != nil {
			c.faults.Add(p, "got %.10g, allowed: 0 to %.10g, half the roll width of %q", 1000*c.Policies.Lap, 500*g.RollWidth, c.Materials[i].Code)
		}
	}
}

// allowances tries the formula that lifts working time, beside the limits above.
func (c *check) allowances(p fault.Path) {
	for _, a := range []struct {
		field string
		share float64
	}{{"relaxationPercent", c.Policies.Relaxation}, {"delayPercent", c.Policies.Delay}} {
		at := p.Field(a.field)
		from := len(c.faults)
		if c.within(at, 100*a.share, 0, 100, "percent"); len(c.faults) == from {
			_, err := allowance.OnWork(1, a.share)
			c.refused(at, err)
		}
	}
}

// Check returns what is wrong with the terms in a currency, with paths from the
// terms.
func (t *Terms) Check(c unit.Currency) fault.List {
	var faults fault.List
	var root fault.Path
	for _, price := range []struct {
		field string
		value unit.Decimal
	}{{"overheadPerLabourHour", t.OverheadPerHour}, {"minimumCharge", t.MinimumCharge}} {
		if price.value.IsNeg() {
			faults.Add(root.Field(price.field), "got %s, allowed: 0 or more", price.value)
		}
	}
	if least := t.MinimumCharge; c.Code != "" && !c.Round(least).Equal(least) {
		faults.Add(root.Field("minimumCharge"), "got %s, allowed: at most %d decimals in %s", least, c.Digits, c.Code)
	}
	for _, share := range []struct {
		field string
		value unit.Decimal
		most  int
	}{
		{"overheadPercent", t.OverheadPercent, 999},
		{"contingencyPercent", t.Contingency, 999},
		{"marginPercent", t.Margin, 95},
		{"markupPercent", t.Markup, 9999},
		{"discountPercent", t.Discount, 90},
		{"rushPercent", t.Rush, 999},
	} {
		percentWithin(&faults, root.Field(share.field), share.value, share.most)
	}
	if !t.Margin.IsZero() && !t.Markup.IsZero() {
		faults.Add(root.Field("markupPercent"), "got %s beside a margin of %s; allowed: one of the two", t.Markup, t.Margin)
	}
	return faults
}

// percentWithin checks a percentage against an inclusive upper limit.
func percentWithin(faults *fault.List, p fault.Path, d unit.Decimal, most int) {
	if d.IsNeg() || d.GreaterThan(unit.Count(most).Decimal()) {
		faults.Add(p, "got %s percent, allowed: 0 to %d", d, most)
	}
}

func (c *check) taxes(p fault.Path) {
	seen := codes{}
	for i := range c.Policies.TaxRates {
		item := p.Item("taxRates", i)
		seen.check(c, item, c.Policies.TaxRates[i].Code)
		percentWithin(&c.faults, item.Field("percent"), c.Policies.TaxRates[i].Percent, 99)
	}
	known := byCode(c.Policies.TaxRates, func(t *TaxRate) string { return t.Code })
	if known[c.Policies.DefaultTax] == nil {
		c.unknown(p.Field("defaultTax"), "tax rate", c.Policies.DefaultTax, sortedCodes(known))
	}
}

func (c *check) rushes(p fault.Path) {
	seen := codes{}
	for i := range c.Policies.RushTerms {
		item := p.Item("rushTerms", i)
		seen.check(c, item, c.Policies.RushTerms[i].Code)
		percentWithin(&c.faults, item.Field("percent"), c.Policies.RushTerms[i].Percent, 999)
	}
}

func (c *check) payments(p fault.Path) {
	if len(c.Policies.StagePayments) == 0 {
		return
	}
	shares := make([]unit.Decimal, len(c.Policies.StagePayments))
	for i := range c.Policies.StagePayments {
		shares[i] = c.Policies.StagePayments[i].Percent
		item := p.Item("stagePayments", i)
		percentWithin(&c.faults, item.Field("percent"), shares[i], 100)
	}
	if sum := unit.Sum(shares...); !sum.Equal(unit.Count(100).Decimal()) {
		c.faults.Add(p.Field("stagePayments"), "got %s percent in all, allowed: 100", sum)
	}
}
