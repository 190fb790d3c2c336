package wire

import (
	"crypto/sha256"
	"encoding/hex"
	"strconv"
	"time"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/cost"
	"github.com/mouldwright/mouldwright/internal/derivation"
	"github.com/mouldwright/mouldwright/internal/labour"
	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Fingerprint returns the SHA-256 of a brief together with that of the rate book
// it was priced by, the edition of the engine, and what stands for the measures of
// its meshes: the same fingerprint means the
// same price.
func Fingerprint(pb *mouldwrightv1.Brief, bookSum string, engine int, meshSums ...string) (string, error) {
	doc, err := Encode(pb)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	h.Write([]byte(bookSum + strconv.Itoa(engine)))
	h.Write(doc)
	for _, sum := range meshSums {
		h.Write([]byte(sum))
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// out writes the values of one quote, all in one currency.
type out struct{ currency unit.Currency }

// Money returns an amount with at least the decimals of its currency.
func (o out) money(d unit.Decimal) *mouldwrightv1.Money {
	return &mouldwrightv1.Money{CurrencyCode: o.currency.Code, Amount: o.currency.Format(d)}
}

// price returns a unit price, which may have more decimals than the currency.
func (o out) price(d unit.Decimal) *mouldwrightv1.Money {
	return &mouldwrightv1.Money{CurrencyCode: o.currency.Code, Amount: o.currency.FormatPrice(d)}
}

// Quantity returns a quantity as it is printed.
func Quantity(q unit.Quantity) *mouldwrightv1.Quantity {
	return &mouldwrightv1.Quantity{Value: q.Decimal().StringFixed(uint8(q.Unit().Decimals())), Unit: q.Unit().Code()}
}

// Derivation returns the steps to a figure, with the same in words.
func Derivation(d derivation.Derivation) *mouldwrightv1.Derivation {
	pb := &mouldwrightv1.Derivation{Words: d.Words(), Steps: make([]*mouldwrightv1.Step, len(d))}
	for i, s := range d {
		step := &mouldwrightv1.Step{Operator: operatorOut(s.Operator), Result: term(s.Result), Terms: make([]*mouldwrightv1.Term, len(s.Terms))}
		for j, t := range s.Terms {
			step.Terms[j] = term(t)
		}
		pb.Steps[i] = step
	}
	return pb
}

func term(t derivation.Term) *mouldwrightv1.Term {
	return &mouldwrightv1.Term{Label: t.Label, Value: t.Value, Unit: t.Unit}
}

// Quote returns a quote as the contract has it, with the studio's own workings
// or without.
func Quote(q *quote.Quote, workings bool) *mouldwrightv1.Quote {
	o := out{q.Edition.Currency}
	pb := o.quote(q)
	if workings {
		pb.Workings = o.workings(&q.Workings)
		for i := range q.Lines {
			pb.Lines[i].Parts = o.parts(&q.Lines[i].Parts)
		}
	}
	return pb
}

func (o out) quote(q *quote.Quote) *mouldwrightv1.Quote {
	return &mouldwrightv1.Quote{
		Title: q.Brief.Title, Client: q.Brief.Client, Reference: q.Brief.Reference,
		Studio: q.Edition.Studio, RateBookRevision: q.Edition.Revision, RateBookBasis: q.Edition.Basis, CurrencyCode: q.Edition.Currency.Code,
		PreparedOn: date(q.Brief.PreparedOn), ValidUntil: date(q.ValidUntil()), ValidityDays: int32(q.Edition.Policies.ValidityDays),
		Fingerprint: q.Fingerprint,
		Pieces:      Takeoffs(q.Pieces, q.Edition),
		Lines:       o.lines(q.Lines), PieceSubtotals: o.subtotals(q.ByPiece), StageSubtotals: o.subtotals(q.ByStage),
		Net: o.money(q.Net), Taxes: o.taxes(q.Taxes), Gross: o.money(q.Gross), Payments: o.payments(q.Payments), Options: o.options(q.Options),
		Assumptions: q.Assumptions, Exclusions: q.Exclusions, Warnings: q.Warnings, Cautions: cautions(q.Cautions),
		ZoneCounts: zoneCounts(q.ByZone),
	}
}

func zoneCounts(counts []quote.ZoneCount) []*mouldwrightv1.ZoneCount {
	pbs := make([]*mouldwrightv1.ZoneCount, len(counts))
	for i, c := range counts {
		pbs[i] = &mouldwrightv1.ZoneCount{Name: c.Name, Finish: c.Finish, TotalCount: int32(c.Count), Derivation: Derivation(c.Steps)}
	}
	return pbs
}

func date(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(isoDate)
}

func (o out) lines(lines []quote.Line) []*mouldwrightv1.PriceLine {
	pbs := make([]*mouldwrightv1.PriceLine, len(lines))
	for i := range lines {
		pbs[i] = o.line(&lines[i].Line)
		pbs[i].Derivation = Derivation(lines[i].Derivation())
	}
	return pbs
}

func (o out) line(l *margin.Line) *mouldwrightv1.PriceLine {
	return &mouldwrightv1.PriceLine{
		Code: l.Code, Piece: l.Piece, Zone: l.Zone, Stage: stageOut(l.Stage), Description: l.Description, Quantity: Quantity(l.Quantity),
		UnitPrice: o.price(l.UnitPrice), Amount: o.money(l.Amount), Tax: l.Tax.Code,
	}
}

func (o out) parts(p *margin.Parts) *mouldwrightv1.PriceParts {
	return &mouldwrightv1.PriceParts{
		Cost: o.money(p.Cost), LeftOver: o.money(p.LeftOver), Overhead: o.money(p.Overhead), Contingency: o.money(p.Contingency), Margin: o.money(p.Margin),
		Rush: o.money(p.Rush), Discount: o.money(p.Discount), Minimum: o.money(p.Minimum),
	}
}

func (o out) subtotals(subtotals []quote.Subtotal) []*mouldwrightv1.Subtotal {
	pbs := make([]*mouldwrightv1.Subtotal, len(subtotals))
	for i, s := range subtotals {
		pbs[i] = &mouldwrightv1.Subtotal{Piece: s.Piece, Stage: stageOut(s.Stage), Description: s.Description, Amount: o.money(s.Amount)}
	}
	return pbs
}

func (o out) taxes(taxes []margin.TaxLine) []*mouldwrightv1.TaxLine {
	pbs := make([]*mouldwrightv1.TaxLine, len(taxes))
	for i := range taxes {
		t := &taxes[i]
		pbs[i] = &mouldwrightv1.TaxLine{Code: t.Code, Name: t.Name, Percent: t.Percent.String(), Net: o.money(t.Net), Tax: o.money(t.Tax)}
	}
	return pbs
}

func (o out) payments(payments []quote.Payment) []*mouldwrightv1.StagePayment {
	pbs := make([]*mouldwrightv1.StagePayment, len(payments))
	for i, p := range payments {
		pbs[i] = &mouldwrightv1.StagePayment{Name: p.Name, Percent: p.Percent.String(), Amount: o.money(p.Amount)}
	}
	return pbs
}

func (o out) options(options []quote.Option) []*mouldwrightv1.OptionPrice {
	pbs := make([]*mouldwrightv1.OptionPrice, len(options))
	for i, p := range options {
		pbs[i] = &mouldwrightv1.OptionPrice{Code: p.Code, Name: p.Name, Net: o.money(p.Net), Difference: o.money(p.Difference)}
	}
	return pbs
}

func cautions(cautions []quote.Caution) []*mouldwrightv1.QuoteCaution {
	pbs := make([]*mouldwrightv1.QuoteCaution, len(cautions))
	for i, c := range cautions {
		pbs[i] = &mouldwrightv1.QuoteCaution{
			Code: c.Code, Title: c.Title, Text: c.Text, Source: c.Source, DecidedBy: c.DecidedBy, Because: c.Because,
		}
	}
	return pbs
}

func (o out) workings(w *quote.Workings) *mouldwrightv1.Workings {
	return &mouldwrightv1.Workings{
		Labour: LabourLines(w.Labour), SkillHours: SkillHours(w.Skills), Costs: o.costs(w.Costs), Steps: o.steps(w.Steps),
		Purchases: o.purchases(w.Purchases), Routes: o.routes(w.Routes),
	}
}

// LabourLines returns the operations with their hours.
func LabourLines(lines []labour.Line) []*mouldwrightv1.LabourLine {
	pbs := make([]*mouldwrightv1.LabourLine, len(lines))
	for i := range lines {
		l := &lines[i]
		piece, zone := whereOf(l)
		pbs[i] = &mouldwrightv1.LabourLine{
			Piece: piece, Zone: zone, Operation: l.Code, Name: l.Name, Stage: stageOut(l.Stage), Skill: l.Skill,
			OccurrenceCount: int32(l.Count), Hours: Quantity(l.Hours), WaitHours: l.WaitHours, Derivation: Derivation(l.Derivation()),
		}
	}
	return pbs
}

func whereOf(l *labour.Line) (piece, zone string) {
	if l == nil {
		return "", ""
	}
	if l.Piece != nil {
		piece = l.Piece.Code
	}
	if l.Zone != nil {
		zone = l.Zone.Name
	}
	return piece, zone
}

// SkillHours returns hours by skill.
func SkillHours(skills []labour.SkillHours) []*mouldwrightv1.SkillHours {
	pbs := make([]*mouldwrightv1.SkillHours, len(skills))
	for i, s := range skills {
		pbs[i] = &mouldwrightv1.SkillHours{Skill: s.Code, Name: s.Name, Hours: Quantity(s.Hours)}
	}
	return pbs
}

func (o out) costs(lines []cost.Line) []*mouldwrightv1.CostLine {
	pbs := make([]*mouldwrightv1.CostLine, len(lines))
	for i := range lines {
		l := &lines[i]
		piece, zone := whereOf(l.Work)
		pbs[i] = &mouldwrightv1.CostLine{
			Piece: piece, Zone: zone, Kind: mouldwrightv1.CostKind(l.Kind), Item: l.Item(), Description: l.Description(),
			Quantity: Quantity(l.Quantity), UnitCost: o.price(l.UnitCost), Amount: o.money(l.Cost), Derivation: Derivation(l.Derivation()),
		}
		if l.Work != nil {
			pbs[i].Stage, pbs[i].Operation = stageOut(l.Work.Stage), l.Work.Code
		}
	}
	return pbs
}

func (o out) steps(steps []margin.Step) []*mouldwrightv1.PriceStep {
	pbs := make([]*mouldwrightv1.PriceStep, len(steps))
	for i, s := range steps {
		pbs[i] = &mouldwrightv1.PriceStep{Code: s.Code, Description: s.Description, Amount: o.money(s.Amount), Running: o.money(s.Running)}
	}
	return pbs
}

func (o out) purchases(purchases []cost.Purchase) []*mouldwrightv1.PurchaseLine {
	pbs := make([]*mouldwrightv1.PurchaseLine, len(purchases))
	for i := range purchases {
		p := &purchases[i]
		pbs[i] = &mouldwrightv1.PurchaseLine{
			Material: p.Material.Code, Name: p.Material.Name, Needed: Quantity(p.Used), Bought: Quantity(p.Bought), LeftOver: Quantity(p.LeftOver),
			Packs: o.packs(p), Cost: o.money(p.Cost), Basis: p.Basis,
		}
	}
	return pbs
}

func (o out) packs(p *cost.Purchase) []*mouldwrightv1.PurchasePack {
	var pbs []*mouldwrightv1.PurchasePack
	for i, n := range p.Counts {
		if n == 0 {
			continue
		}
		pack := p.Material.Packs[i]
		pbs = append(pbs, &mouldwrightv1.PurchasePack{Name: packName(pack), Count: int32(n), Price: o.price(pack.Price)})
	}
	return pbs
}

func packName(p ratebook.Pack) string {
	if p.Name != "" {
		return p.Name
	}
	return p.Size.String()
}

func (o out) routes(routes []quote.Route) []*mouldwrightv1.RouteComparison {
	pbs := make([]*mouldwrightv1.RouteComparison, len(routes))
	for i, r := range routes {
		pbs[i] = &mouldwrightv1.RouteComparison{
			Piece: r.Piece, MouldedCost: o.money(r.Moulded), DirectCost: o.money(r.Direct), BreakEvenQuantity: int32(r.BreakEven),
		}
	}
	return pbs
}
