// Package margin turns cost into price: overhead, contingency, margin or markup,
// rush, discount and minimum charge, spread over the lines that a client sees so
// that the lines sum exactly to the total; then tax, once for each rate. Costs
// by line flow in, prices flow out. It knows neither brief nor takeoff, so a
// caller with a costing of its own is priced by the same rules.
//
// Money is exact decimal in one currency; percentages are decimal percent.
package margin

import (
	"errors"

	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Item is what a client pays for, at cost.
type Item struct {
	Code        string // unique among the items
	Piece       string // code; empty for the job
	Zone        string
	Stage       ratebook.Stage
	Description string
	Quantity    unit.Quantity // how many the price is for, above 0
	Cost        unit.Decimal
	Hours       unit.Quantity // of labour in the cost
	Tax         *ratebook.TaxRate
}

// Line is an item with its price.
type Line struct {
	Item
	Parts     Parts
	Amount    unit.Decimal // the sum of the parts
	UnitPrice unit.Decimal // amount = quantity x unit price, rounded
}

// Parts are what a price is made of.
type Parts struct {
	Cost        unit.Decimal
	LeftOver    unit.Decimal // of whole packs, spread over the job
	Overhead    unit.Decimal
	Contingency unit.Decimal
	Margin      unit.Decimal
	Rush        unit.Decimal
	Discount    unit.Decimal // negative or zero
	Minimum     unit.Decimal // what lifts the job to the minimum charge
}

// Sum adds the parts up.
func (p *Parts) Sum() unit.Decimal {
	return unit.Sum(p.Cost, p.LeftOver, p.Overhead, p.Contingency, p.Margin, p.Rush, p.Discount, p.Minimum)
}

// Step is one step from cost to price.
type Step struct {
	Code        string
	Description string
	Amount      unit.Decimal
	Running     unit.Decimal
}

// TaxLine is the tax at one rate.
type TaxLine struct {
	*ratebook.TaxRate
	Net unit.Decimal
	Tax unit.Decimal
}

// Price is priced items.
type Price struct {
	Lines []Line
	Steps []Step
	Net   unit.Decimal
	Taxes []TaxLine
	Gross unit.Decimal
}

// ErrNothing says that there was nothing to price.
var ErrNothing = errors.New("nothing to price: a job needs at least one line")

// Apply prices items on terms. Shared is what whole packs leave over, which
// belongs to no one item: it is spread over them by their cost.
func Apply(items []Item, shared unit.Decimal, t *ratebook.Terms, c unit.Currency) (Price, error) {
	if len(items) == 0 {
		return Price{}, ErrNothing
	}
	if t.SpreadTooling {
		items = spreadTooling(items)
	}
	b := build{currency: c, terms: t, lines: make([]Line, len(items)), running: make([]unit.Decimal, len(items))}
	for i := range items {
		b.lines[i].Item = items[i]
	}
	b.climb(shared)
	return b.price(), nil
}

// build climbs from cost to price. Each step is worked out once on the whole
// job and spread over the lines in proportion to what they have come to, by the
// largest remainder, so that lines and steps can never disagree.
type build struct {
	currency unit.Currency
	terms    *ratebook.Terms
	lines    []Line
	running  []unit.Decimal // of each line
	total    unit.Decimal
	steps    []Step
}

func (b *build) climb(shared unit.Decimal) {
	b.cost()
	b.step("left_over", "what whole packs leave over, spread over the lines by their cost", shared, func(p *Parts) *unit.Decimal { return &p.LeftOver })
	b.overhead()
	b.step("contingency", percentWords(b.terms.Contingency, "contingency on cost and overhead"),
		unit.Percent(b.total, b.terms.Contingency, b.currency), func(p *Parts) *unit.Decimal { return &p.Contingency })
	b.margin()
	b.step("rush", percentWords(b.terms.Rush, "for speed, on the price"),
		unit.Percent(b.total, b.terms.Rush, b.currency), func(p *Parts) *unit.Decimal { return &p.Rush })
	b.step("discount", percentWords(b.terms.Discount, "discount on the price"),
		unit.Percent(b.total, b.terms.Discount, b.currency).Neg(), func(p *Parts) *unit.Decimal { return &p.Discount })
	b.minimum()
}

func percentWords(percent unit.Decimal, what string) string { return percent.String() + " % " + what }

func (b *build) cost() {
	for i := range b.lines {
		b.running[i] = b.lines[i].Cost
		b.lines[i].Parts.Cost = b.running[i]
		b.total = b.total.Add(b.running[i])
	}
	b.steps = append(b.steps, Step{Code: "cost", Description: "cost of labour, materials, equipment and what is bought in", Amount: b.total, Running: b.total})
}

// spread shares an amount out over the lines by what they have come to.
func (b *build) spread(amount unit.Decimal) []unit.Decimal {
	if amount.IsZero() {
		return nil
	}
	return unit.Split(amount, b.running, b.currency)
}

// step adds an amount to the job, spread over its lines. Steps of nothing leave
// no trace.
func (b *build) step(code, description string, amount unit.Decimal, part func(*Parts) *unit.Decimal) {
	b.put(code, description, amount, b.spread(amount), part)
}

func (b *build) put(code, description string, amount unit.Decimal, shares []unit.Decimal, part func(*Parts) *unit.Decimal) {
	if amount.IsZero() {
		return
	}
	for i, share := range shares {
		*part(&b.lines[i].Parts) = share
		b.running[i] = b.running[i].Add(share)
	}
	b.total = b.total.Add(amount)
	b.steps = append(b.steps, Step{Code: code, Description: description, Amount: amount, Running: b.total})
}

// overhead is recovered by the labour hour, in percent of cost, or both.
func (b *build) overhead() {
	hours := make([]unit.Decimal, len(b.lines))
	for i := range b.lines {
		hours[i] = b.lines[i].Hours.Decimal()
	}
	rate := b.terms.OverheadPerHour
	byHour := b.currency.Round(unit.Sum(hours...).Mul(rate))
	byCost := unit.Percent(b.total, b.terms.OverheadPercent, b.currency)
	shares := unit.Split(byHour, hours, b.currency)
	for i, share := range b.spread(byCost) {
		shares[i] = shares[i].Add(share)
	}
	b.put("overhead", b.overheadWords(), byHour.Add(byCost), shares, func(p *Parts) *unit.Decimal { return &p.Overhead })
}

func (b *build) overheadWords() string {
	t := b.terms
	hourly := b.currency.FormatPrice(t.OverheadPerHour)
	switch {
	case t.OverheadPercent.IsZero():
		return "overhead at " + hourly + " a labour hour"
	case t.OverheadPerHour.IsZero():
		return percentWords(t.OverheadPercent, "overhead on cost")
	default:
		return "overhead at " + hourly + " a labour hour and " + t.OverheadPercent.String() + " % of cost"
	}
}

func (b *build) margin() {
	part := func(p *Parts) *unit.Decimal { return &p.Margin }
	if !b.terms.Markup.IsZero() {
		b.step("margin", percentWords(b.terms.Markup, "markup on the cost"), unit.Percent(b.total, b.terms.Markup, b.currency), part)
		return
	}
	price := OnPrice(b.total, b.terms.Margin, b.currency)
	b.step("margin", percentWords(b.terms.Margin, "margin on the price"), price.Sub(b.total), part)
}

// OnPrice returns the price at which a cost leaves a margin of so many percent
// of the price: cost / (1 - margin/100), rounded to the minor unit. Margin is 0
// to 95 percent. Source: definition of margin on price.
func OnPrice(cost, marginPercent unit.Decimal, c unit.Currency) unit.Decimal {
	hundred := unit.Count(100).Decimal()
	price, err := cost.Mul(hundred).Div(hundred.Sub(marginPercent))
	if err != nil { // a margin of 100 percent, which no terms may hold
		return cost
	}
	return c.Round(price)
}

func (b *build) minimum() {
	lacking := b.currency.Round(b.terms.MinimumCharge).Sub(b.total)
	if lacking.IsPos() {
		b.step("minimum", "to the minimum charge of "+b.currency.FormatPrice(b.terms.MinimumCharge), lacking, func(p *Parts) *unit.Decimal { return &p.Minimum })
	}
}

func (b *build) price() Price {
	for i := range b.lines {
		l := &b.lines[i]
		l.Amount = b.running[i]
		l.UnitPrice = unit.PriceEach(l.Amount, l.Quantity, b.currency)
	}
	p := Price{Lines: b.lines, Steps: b.steps, Net: b.total}
	p.Taxes = Taxes(b.lines, b.currency)
	p.Gross = p.Net
	for i := range p.Taxes {
		p.Gross = p.Gross.Add(p.Taxes[i].Tax)
	}
	return p
}

// Taxes returns the tax of each rate that the lines carry, in order of first
// use: the net of all its lines times the rate, rounded once, as EN 16931 has it
// (BR-CO-17).
func Taxes(lines []Line, c unit.Currency) []TaxLine {
	var taxes []TaxLine
	for i := range lines {
		t := taxOf(&taxes, lines[i].Tax)
		t.Net = t.Net.Add(lines[i].Amount)
	}
	for i := range taxes {
		taxes[i].Tax = unit.Percent(taxes[i].Net, taxes[i].Percent, c)
	}
	return taxes
}

func taxOf(taxes *[]TaxLine, rate *ratebook.TaxRate) *TaxLine {
	for i := range *taxes {
		if (*taxes)[i].TaxRate == rate {
			return &(*taxes)[i]
		}
	}
	*taxes = append(*taxes, TaxLine{TaxRate: rate})
	return &(*taxes)[len(*taxes)-1]
}

// spreadTooling puts patterns and moulds into the casts of their piece. A piece
// without casts keeps its tooling as lines.
func spreadTooling(items []Item) []Item {
	out := make([]Item, 0, len(items))
	for _, it := range items {
		if !it.tooling() || castOf(items, it.Piece) < 0 {
			out = append(out, it)
		}
	}
	for _, it := range items {
		if i := castOf(out, it.Piece); it.tooling() && i >= 0 {
			cast := &out[i]
			cast.Cost = cast.Cost.Add(it.Cost)
			// Hours of two lines of one job are far from the quantity limit.
			cast.Hours, _ = cast.Hours.Add(it.Hours)
		}
	}
	return out
}

func (it *Item) tooling() bool {
	return it.Piece != "" && (it.Stage == ratebook.PatternStage || it.Stage == ratebook.MouldStage)
}

func castOf(items []Item, piece string) int {
	for i := range items {
		if items[i].Piece == piece && items[i].Stage == ratebook.CastStage {
			return i
		}
	}
	return -1
}

// Payments splits a total over the stages of payment, exactly.
func Payments(total unit.Decimal, shares []ratebook.StageShare, c unit.Currency) []unit.Decimal {
	weights := make([]unit.Decimal, len(shares))
	for i := range shares {
		weights[i] = shares[i].Percent
	}
	return unit.Split(total, weights, c)
}
