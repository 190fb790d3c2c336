package quote

import (
	"slices"
	"strconv"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/cost"
	"github.com/mouldwright/mouldwright/internal/derivation"
	"github.com/mouldwright/mouldwright/internal/labour"
	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/takeoff"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Costing is everything reckoned before a price.
type Costing struct {
	Brief     *brief.Brief
	Edition   *ratebook.Edition
	Pieces    []Piece
	Labour    []labour.Line
	Costs     []cost.Line
	LeftOvers []cost.Line
	Purchases []cost.Purchase
	Routes    []Route
}

// place is where a cost falls on the quote: a stage of a piece, or one of its
// zones.
type place struct {
	piece *takeoff.Piece
	zone  *takeoff.Zone
	stage ratebook.Stage
}

// Items gathers the costs into what a client pays for, piece by piece and stage
// by stage, the whole job last.
func (c *Costing) Items() ([]margin.Item, []Line, error) {
	room := stages
	for i := range c.Pieces {
		room += stages + len(c.Pieces[i].Zones)
	}
	g := grouping{costing: c, at: make(map[place]int, room), items: make([]margin.Item, 0, room), lines: make([]Line, 0, room)}
	for i := range c.Pieces {
		g.open(&c.Pieces[i])
	}
	g.openJob()
	for i := range c.Labour {
		if err := g.work(&c.Labour[i]); err != nil {
			return nil, nil, err
		}
	}
	for i := range c.Costs {
		g.cost(&c.Costs[i])
	}
	items, lines := g.costing.used(g.items, g.lines)
	return items, lines, nil
}

// stages is how many stages a piece's lines may fall on.
const stages = int(ratebook.Dispatch)

type grouping struct {
	costing *Costing
	at      map[place]int
	last    place // the place asked for last: work comes in runs of one place
	lastAt  int
	items   []margin.Item
	lines   []Line
}

// open makes room for the lines of a piece in the order that they are printed.
func (g *grouping) open(p *Piece) {
	tax := taxOf(g.costing, p.Tax)
	for s := ratebook.Design; s <= ratebook.Dispatch; s++ {
		g.add(place{piece: &p.Piece, stage: s}, p, nil, margin.Item{
			Code: p.Code + "/" + s.String(), Piece: p.Code, Stage: s, Description: lineName(p, s, nil), Quantity: count(p, s), Tax: tax,
		})
		if s != ratebook.FinishStage {
			continue
		}
		for i := range p.Zones {
			z := &p.Zones[i]
			g.add(place{piece: &p.Piece, zone: z, stage: s}, p, z, margin.Item{
				Code: p.Code + "/" + s.String() + "/" + strconv.Itoa(i+1), Piece: p.Code, Zone: z.Name, Stage: s, Description: lineName(p, s, z), Quantity: unit.Count(z.Total), Tax: tax,
			})
		}
	}
}

func (g *grouping) openJob() {
	b := g.costing.Brief
	for s := ratebook.Design; s <= ratebook.Dispatch; s++ {
		quantity := unit.Count(1)
		if s == ratebook.Dispatch && b.Delivery != nil {
			quantity = unit.Count(b.Delivery.Consignments)
		}
		g.add(place{stage: s}, nil, nil, margin.Item{Code: "job/" + s.String(), Stage: s, Description: jobName(b, s), Quantity: quantity, Tax: taxOf(g.costing, "")})
	}
}

func (g *grouping) add(at place, p *Piece, z *takeoff.Zone, item margin.Item) {
	item.Hours, _ = unit.Measure(0, unit.Hour) // nothing is never out of range
	g.at[at] = len(g.items)
	g.items = append(g.items, item)
	g.lines = append(g.lines, Line{Line: margin.Line{Item: item}, Of: p, OfZone: z, life: g.costing.Edition.Policies.MouldLife})
}

// count is how many of a stage's work a client sees.
func count(p *Piece, s ratebook.Stage) unit.Quantity {
	switch {
	case s == ratebook.Design:
		return unit.Count(1)
	case s == ratebook.PatternStage && !p.Direct:
		return unit.Count(p.Patterns())
	case s == ratebook.MouldStage && !p.Direct:
		return unit.Count(p.Moulds())
	default:
		return unit.Count(p.Casts())
	}
}

func taxOf(c *Costing, code string) *ratebook.TaxRate {
	tax, _ := c.Edition.Tax(c.Brief.TaxOf(code))
	return tax
}

// placed returns which item a line of work falls on: what is done on a zone is
// the zone's, whatever its stage.
func (g *grouping) placed(w *labour.Line) int {
	at := place{piece: w.Piece, zone: w.Zone, stage: w.Stage}
	if w.Zone != nil {
		at.stage = ratebook.FinishStage
	}
	if at != g.last {
		g.last, g.lastAt = at, g.at[at]
	}
	return g.lastAt
}

func (g *grouping) work(w *labour.Line) error {
	it := &g.items[g.placed(w)]
	sum, err := it.Hours.Add(w.Hours)
	it.Hours = sum
	return err
}

func (g *grouping) cost(l *cost.Line) {
	it := &g.items[g.placed(l.Work)]
	it.Cost = it.Cost.Add(l.Cost)
}

// used leaves out the lines that cost nothing.
func (c *Costing) used(items []margin.Item, lines []Line) ([]margin.Item, []Line) {
	kept := 0
	for i := range items {
		if items[i].Cost.IsZero() && items[i].Hours.IsZero() {
			continue
		}
		items[kept], lines[kept] = items[i], lines[i]
		kept++
	}
	return items[:kept], lines[:kept]
}

// Compose makes the quote of a costing and its price. Lines are matched to the
// price's by place, since spreading tooling leaves some out.
func Compose(c *Costing, price *margin.Price, lines []Line, skills []labour.SkillHours) *Quote {
	q := &Quote{
		Brief: c.Brief, Edition: c.Edition, Pieces: c.Pieces, Net: price.Net, Taxes: price.Taxes, Gross: price.Gross,
		Workings: Workings{
			Labour: c.Labour, Skills: skills, Costs: append(c.Costs, c.LeftOvers...), Steps: price.Steps, Purchases: c.Purchases, Routes: c.Routes,
		},
	}
	q.Lines = matched(price.Lines, lines)
	q.subtotals()
	q.zoneCounts()
	q.payments()
	q.Assumptions, q.Warnings = Notes(c)
	q.Assumptions = slices.Concat(exchange(c.Edition), q.Assumptions, c.Edition.Policies.Assumptions)
	q.Exclusions = q.Edition.Policies.Exclusions
	q.Cautions = cautions(q)
	return q
}

// matched gives each priced line back its piece and zone. Both lists are in the
// same order; the priced one may lack some.
func matched(priced []margin.Line, lines []Line) []Line {
	out := make([]Line, 0, len(priced))
	next := 0
	for i := range priced {
		for lines[next].Code != priced[i].Code {
			next++
		}
		l := lines[next]
		l.Line = priced[i]
		out = append(out, l)
		next++
	}
	return out
}

func (q *Quote) subtotals() {
	q.ByPiece = sums(q.Lines, func(l *Line) Subtotal {
		if l.Of == nil {
			return Subtotal{Description: "Whole job"}
		}
		return Subtotal{Piece: l.Piece, Description: l.Of.Name}
	})
	byStage := sums(q.Lines, func(l *Line) Subtotal { return Subtotal{Stage: l.Stage, Description: l.Stage.String()} })
	for s := ratebook.Design; s <= ratebook.Dispatch; s++ {
		for i := range byStage {
			if byStage[i].Stage == s {
				q.ByStage = append(q.ByStage, byStage[i])
			}
		}
	}
}

// sums adds lines up under the subtotal that each belongs to, in order of first
// use.
func sums(lines []Line, under func(*Line) Subtotal) []Subtotal {
	type key struct {
		piece string
		stage ratebook.Stage
	}
	at := map[key]int{}
	var out []Subtotal
	for i := range lines {
		s := under(&lines[i])
		k := key{s.Piece, s.Stage}
		if _, ok := at[k]; !ok {
			at[k] = len(out)
			out = append(out, s)
		}
		sum := &out[at[k]]
		sum.Amount = sum.Amount.Add(lines[i].Amount)
	}
	return out
}

// zoneCounts counts zones of one name and finish over all pieces: so many casts
// times so many on each, added up.
func (q *Quote) zoneCounts() {
	for i := range q.Pieces {
		p := &q.Pieces[i]
		for j := range p.Zones {
			q.countZone(p, &p.Zones[j])
		}
	}
	for i := range q.ByZone {
		z := &q.ByZone[i]
		if len(z.Steps) < 2 {
			continue
		}
		terms := make([]derivation.Term, len(z.Steps))
		for j, s := range z.Steps {
			terms[j] = s.Result
		}
		z.Steps = append(z.Steps, derivation.Do(derivation.Sum, z.Name+" in all", "", terms...))
	}
}

func (q *Quote) countZone(p *Piece, z *takeoff.Zone) {
	i := slices.IndexFunc(q.ByZone, func(c ZoneCount) bool { return c.Name == z.Name && c.Finish == z.Treatment.Code })
	if i < 0 {
		i = len(q.ByZone)
		q.ByZone = append(q.ByZone, ZoneCount{Name: z.Name, Finish: z.Treatment.Code})
	}
	c := &q.ByZone[i]
	c.Count += z.Total
	c.Steps = append(c.Steps, derivation.Do(derivation.Product, "", "",
		derivation.Term{Value: float64(p.Casts()), Label: plural("cast", p.Casts())}, derivation.Term{Value: float64(z.Count), Label: "each"}))
}

func (q *Quote) payments() {
	shares := q.Edition.Policies.StagePayments
	for i, amount := range margin.Payments(q.Gross, shares, q.Edition.Currency) {
		q.Payments = append(q.Payments, Payment{StageShare: shares[i], Amount: amount})
	}
}

// Add adds an alternative: its price beside the quote's own, and the cautions and
// warnings that only the alternative calls for.
func (q *Quote) Add(o *brief.Option, with *Quote) {
	q.Options = append(q.Options, Option{Code: o.Code, Name: o.Name, Net: with.Net, Difference: with.Net.Sub(q.Net)})
	for _, c := range with.Cautions {
		if !slices.ContainsFunc(q.Cautions, func(own Caution) bool { return own.Code == c.Code }) {
			c.Because = "alternative " + o.Name + ": " + c.Because
			q.Cautions = append(q.Cautions, c)
		}
	}
	for _, w := range with.Warnings {
		if !slices.Contains(q.Warnings, w) {
			q.Warnings = append(q.Warnings, "Alternative "+o.Name+": "+w)
		}
	}
}
