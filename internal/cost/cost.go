// Package cost turns work into money at cost: a line for every hour paid, every
// material used, every hour of equipment and every bought-in charge. Tasks and
// their hours flow in; cost lines and the shopping list flow out.
//
// A line is a printed quantity times a printed unit cost, rounded once to the
// currency's minor unit; sums are sums of lines.
package cost

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/derivation"
	"github.com/mouldwright/mouldwright/internal/labour"
	"github.com/mouldwright/mouldwright/internal/method"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Kind says what a cost is for.
type Kind int

// The kinds of cost.
const (
	Labour Kind = iota + 1
	Material
	Equipment
	BoughtIn
	LeftOver // what whole packs leave over
)

// String returns the kind in words.
func (k Kind) String() string {
	return [...]string{"", "labour", "material", "equipment", "bought in", "left over"}[k]
}

// Line is one cost.
type Line struct {
	Kind     Kind
	Work     *labour.Line       // nil for what is left over
	Amount   *method.Amount     // for a material
	Material *ratebook.Material // for a material, or what is left of it
	Quantity unit.Quantity
	UnitCost unit.Decimal
	Cost     unit.Decimal
	each     bool // a bought-in charge by the occurrence, not by the measure
}

// Lines returns the costs of the work, in its order: hours, equipment,
// materials, bought-in charges. Lines of nothing are left out.
func Lines(work []labour.Line, c unit.Currency) ([]Line, error) {
	most := 0
	for i := range work {
		most += len(work[i].Amounts) + 4 // labour, equipment and two charges
	}
	b := bill{currency: c, lines: make([]Line, 0, most)}
	for i := range work {
		b.hours(&work[i])
		b.materials(&work[i])
		b.charges(&work[i])
	}
	return b.lines, b.err
}

type bill struct {
	currency unit.Currency
	lines    []Line
	err      error // the first figure out of range
}

func (b *bill) add(l Line) {
	if l.Quantity.IsZero() {
		return
	}
	l.Cost = unit.Extend(l.Quantity, l.UnitCost, b.currency)
	b.lines = append(b.lines, l)
}

func (b *bill) hours(w *labour.Line) {
	if w.Paid != nil {
		b.add(Line{Kind: Labour, Work: w, Quantity: w.Hours, UnitCost: w.Paid.HourlyRate})
	}
	if w.Held != nil {
		b.add(Line{Kind: Equipment, Work: w, Quantity: w.Hours, UnitCost: w.Held.HourlyRate})
	}
}

func (b *bill) materials(w *labour.Line) {
	for i := range w.Amounts {
		a := &w.Amounts[i]
		q := b.measure(whole(Gross(a)*float64(w.Count), a.Material.Unit), a.Material.Unit)
		b.add(Line{Kind: Material, Work: w, Amount: a, Material: a.Material, Quantity: q, UnitCost: a.Material.UnitPrice})
	}
}

// whole rounds what is counted up: nobody uses a third of a brush.
func whole(amount float64, u unit.Unit) float64 {
	if u != unit.Each {
		return amount
	}
	return math.Ceil(amount * (1 - 1e-12)) // a whole number stays one whatever its last bit
}

// Gross returns what one occurrence takes of a material with laps and wastage,
// in the material's unit: need / (1 - wastage).
func Gross(a *method.Amount) float64 { return float64(a.Net*a.Lap) * a.Waste }

func (b *bill) charges(w *labour.Line) {
	if !w.ChargeEach.IsZero() {
		q, err := unit.Whole(w.Count, unit.Each)
		b.failed(err)
		b.add(Line{Kind: BoughtIn, Work: w, Quantity: q, UnitCost: w.ChargeEach, each: true})
	}
	if !w.ChargePerUnit.IsZero() {
		q := b.measure(w.Units()*float64(w.Count), w.Work.Measure.Unit())
		b.add(Line{Kind: BoughtIn, Work: w, Quantity: q, UnitCost: w.ChargePerUnit})
	}
}

func (b *bill) measure(v float64, u unit.Unit) unit.Quantity {
	q, err := unit.Measure(v, u)
	b.failed(err)
	return q
}

func (b *bill) failed(err error) {
	if err != nil && b.err == nil {
		b.err = err
	}
}

// Total adds up the costs of lines.
func Total(lines []Line) unit.Decimal {
	var sum unit.Decimal
	for i := range lines {
		sum = sum.Add(lines[i].Cost)
	}
	return sum
}

// Item returns the code of what is paid for.
func (l *Line) Item() string {
	switch l.Kind {
	case Labour:
		return l.Work.Paid.Code
	case Equipment:
		return l.Work.Held.Code
	case BoughtIn:
		return l.Work.Code
	default:
		return l.Material.Code
	}
}

// Description says in words what is paid for.
func (l *Line) Description() string {
	switch l.Kind {
	case Labour:
		return l.Work.Name + ": " + l.Work.Paid.Name
	case Equipment:
		return l.Work.Name + ": " + l.Work.Held.Name
	case BoughtIn:
		return l.Work.Name + ": bought in"
	case LeftOver:
		return l.Material.Name + ": left over from whole packs"
	default:
		return l.Work.Name + ": " + l.Material.Name
	}
}

// Derivation returns the steps to the line's quantity.
func (l *Line) Derivation() derivation.Derivation {
	switch l.Kind {
	case Labour, Equipment:
		// Why so many hours is told once, on the operation's own line.
		return derivation.Derivation{derivation.Do(derivation.Sum, "", "", derivation.Term{
			Value: l.Quantity.Float(), Unit: unit.Hour.Symbol(), Label: "of the operation, as reckoned on its own line",
		})}
	case Material:
		return l.materialSteps()
	case BoughtIn:
		return l.chargeSteps()
	default:
		return derivation.Derivation{derivation.Do(derivation.Sum, "", "", derivation.Term{
			Value: 1, Label: "line: whole packs less what the lines above use, at the least price",
		})}
	}
}

// materialSteps leads from the measure to what one occurrence uses, and from
// there to what all take with laps and wastage.
func (l *Line) materialSteps() derivation.Derivation {
	a, u := l.Amount, l.Material.Unit.Symbol()
	d := l.Work.Steps(a)
	one := derivation.Term{Value: a.Net, Unit: u}
	if len(d) > 0 {
		one = d.Last()
	}
	one.Label = "for one " + l.Work.Occurrence()
	terms := []derivation.Term{one, {Value: float64(l.Work.Count), Label: l.Work.Occurrences()}}
	if a.Lap > 1 {
		terms = append(terms, derivation.Term{Value: a.Lap, Label: "where widths lap"})
	}
	if a.Waste > 1 {
		terms = append(terms, derivation.Term{Value: a.Waste, Label: wasteWords(a)})
	}
	d = append(d, derivation.Do(derivation.Product, "", u, terms...))
	if up := l.Quantity.Float(); l.Material.Unit == unit.Each && up > d.Result() {
		d = append(d, derivation.Do(derivation.RoundUp, "", "", d.Last(), derivation.Term{Value: 1}))
	}
	return d
}

// wasteWords: 15 % of what is bought is lost, so 1/0.85 of what is used is bought.
func wasteWords(a *method.Amount) string {
	of := ""
	if a.Of != nil && a.Material.Kind == ratebook.Catalyst {
		of = a.Of.Name + "'s "
	}
	return fmt.Sprintf("since %s%.3g %% of what is bought is lost", of, 100*(1-1/a.Waste))
}

func (l *Line) chargeSteps() derivation.Derivation {
	terms := []derivation.Term{{Value: float64(l.Work.Count), Label: l.Work.Occurrences()}}
	u := ""
	if !l.each {
		u = l.Quantity.Unit().Symbol()
		terms = append(terms, derivation.Term{Value: l.Work.Units(), Unit: u, Label: "each"})
	}
	return derivation.Derivation{derivation.Do(derivation.Product, "", u, terms...)}
}
