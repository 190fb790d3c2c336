package method

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/derivation"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Steps returns the arithmetic that leads to what one occurrence of the task uses
// of an amount, before laps and wastage; none where the rate book says that
// amount itself.
func (t *Task) Steps(a *Amount) derivation.Derivation {
	if a.Of != nil && len(a.Of.Mix) == 0 {
		return derivation.Derivation{derivation.Do(derivation.Product, "", a.unit(),
			derivation.Term{Value: a.Base, Unit: a.Of.Unit.Symbol(), Label: "of " + a.Of.Name}, derivation.Term{Value: a.Share, Label: percentWords(a.Share)})}
	}
	steps := t.usedSteps(a)
	if a.Of == nil {
		return steps
	}
	mixed := derivation.Term{Value: a.Base, Unit: a.unit()}
	if len(steps) > 0 {
		mixed = steps.Last()
	}
	mixed.Label = "of " + a.Of.Name
	return append(steps, derivation.Do(derivation.Product, "", a.unit(), mixed, derivation.Term{Value: a.Share, Label: percentWords(a.Share) + " by volume"}))
}

func (a *Amount) unit() string { return a.Material.Unit.Symbol() }

func percentWords(share float64) string { return fmt.Sprintf("(%.3g %%)", 100*share) }

// usedSteps is what is used of a material, or of the mix that it is a share of.
func (t *Task) usedSteps(a *Amount) derivation.Derivation {
	switch a.Basis {
	case ratebook.PerMeasure:
		return t.covered(a, derivation.Term{Value: a.Rate, Unit: per(a.unit(), t.Work.Measure)})
	case ratebook.WetFilm:
		return t.covered(a, film(a.Rate), massOfFilm(a.Material))
	case ratebook.GelcoatOfSchedule:
		return derivation.Derivation{derivation.Do(derivation.Product, "", a.unit(), t.area(), film(a.Rate), massOfFilm(a.Material))}
	case ratebook.DryFilm:
		return t.painted(a)
	case ratebook.LaminateSchedule:
		return t.laid(a)
	case ratebook.FoamBlank:
		return derivation.Derivation{derivation.Do(derivation.Sum, "", a.unit(), derivation.Term{Value: t.Piece.Blank, Unit: a.unit(), Label: "in boxes round the solids"})}
	default:
		return nil
	}
}

func per(material string, m ratebook.Measure) string {
	if m == ratebook.NoMeasure {
		return material
	}
	if u := m.Unit(); u != unit.Each {
		return material + "/" + u.Symbol()
	}
	return material + " each"
}

// area is what one occurrence measures.
func (t *Task) area() derivation.Term {
	term := derivation.Term{Value: t.Measure, Label: "of " + t.Work.Measure.String()}
	if u := t.Work.Measure.Unit(); u != unit.Each {
		term.Unit = u.Symbol()
	}
	return term
}

// covered is the measure in so many coats times what covers it.
func (t *Task) covered(a *Amount, what ...derivation.Term) derivation.Derivation {
	terms := make([]derivation.Term, 0, 5)
	if t.Work.Measure != ratebook.NoMeasure {
		terms = append(terms, t.area())
	}
	if t.Coats > 1 {
		terms = append(terms, derivation.Term{Value: float64(t.Coats), Label: "coats"})
	}
	u := a.unit()
	if a.Of != nil {
		u = a.Of.Unit.Symbol()
	}
	return derivation.Derivation{derivation.Do(derivation.Product, "", u, append(terms, what...)...)}
}

func film(m float64) derivation.Term {
	return derivation.Term{Value: 1000 * m, Unit: "mm", Label: "wet"}
}

func massOfFilm(m *ratebook.Material) derivation.Term {
	return derivation.Term{Value: m.Density / 1000, Unit: "kg/m² for each mm"}
}

// painted is the spreading rate turned round: litres = area x film / (10 x volume
// solids x transfer).
func (t *Task) painted(a *Amount) derivation.Derivation {
	p := a.Material.Paint
	if a.Of != nil {
		p = a.Of.Paint
	}
	steps := t.covered(a, derivation.Term{Value: p.DryFilm, Unit: "µm", Label: "dry"})
	steps[0].Result.Unit = "m² µm"
	rate := derivation.Do(derivation.Product, "", "m² µm to a litre", derivation.Term{Value: 10},
		derivation.Term{Value: p.VolumeSolids, Unit: "%", Label: "solids by volume"},
		derivation.Term{Value: p.TransferEfficiency, Label: "reaching the surface"})
	return append(steps, rate, derivation.Do(derivation.Quotient, "", "L", steps[0].Result, rate.Result))
}

// laid is the glass of one ply, or the resin of all of them.
func (t *Task) laid(a *Amount) derivation.Derivation {
	if a.Layer != allLayers {
		return derivation.Derivation{derivation.Do(derivation.Product, "", "kg", t.glassTerms(a.Schedule, a.Layer)...)}
	}
	var steps derivation.Derivation
	for i := range a.Schedule.Layers {
		ratio := a.Schedule.Layers[i].Glass.Glass.ResinRatio
		steps = append(steps, derivation.Do(derivation.Product, "", "kg",
			append(t.glassTerms(a.Schedule, i), derivation.Term{Value: ratio, Label: "of resin to one of glass"})...))
	}
	if len(steps) == 1 {
		return steps
	}
	sums := make([]derivation.Term, len(steps))
	for i, s := range steps {
		sums[i] = s.Result
	}
	return append(steps, derivation.Do(derivation.Sum, "", "kg", sums...))
}

func (t *Task) glassTerms(s *ratebook.Schedule, layer int) []derivation.Term {
	l := &s.Layers[layer]
	terms := []derivation.Term{t.area()}
	if l.Layers > 1 {
		terms = append(terms, derivation.Term{Value: float64(l.Layers), Label: "layers"})
	}
	return append(terms, derivation.Term{Value: l.Glass.Glass.ArealMass, Unit: "kg/m²", Label: "of glass"})
}
