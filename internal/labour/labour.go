// Package labour reckons the hours that tasks take, at the likely rate: set-up
// and measured work, repeated with the learning curve, and lifted from basic to
// standard time by the studio's allowances. Tasks flow in; one line of hours for
// each flows out, with its derivation.
//
// Hours are rounded to the decimals that a quote prints before anything is
// multiplied with them.
package labour

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/allowance"
	"github.com/mouldwright/mouldwright/internal/derivation"
	"github.com/mouldwright/mouldwright/internal/learning"
	"github.com/mouldwright/mouldwright/internal/method"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Line is the work of one task.
type Line struct {
	*method.Task
	Hours   unit.Quantity // standard hours of all occurrences
	Basic   float64       // hours of the first occurrence
	Repeats float64       // occurrences as the learning curve counts them
	Factor  float64       // standard to basic time
	policy  *ratebook.Policies
}

// Reckon returns the line of every task, in order.
func Reckon(tasks []method.Task, p *ratebook.Policies) ([]Line, error) {
	factor, err := standard(p)
	if err != nil {
		return nil, err
	}
	lines := make([]Line, len(tasks))
	known := curves{}
	for i := range tasks {
		lines[i] = Line{Task: &tasks[i], Factor: factor, policy: p}
		if err := lines[i].reckon(known); err != nil {
			return nil, fmt.Errorf("operation %q: %w", tasks[i].Code, err)
		}
	}
	return lines, nil
}

// curves remembers learning totals: many operations of a piece repeat as often
// and learn as fast as each other.
type curves map[curve]float64

type curve struct {
	rate    float64
	repeats int
}

func (c curves) total(rate float64, repeats int) (float64, error) {
	if rate == 1 {
		return float64(repeats), nil
	}
	at := curve{rate, repeats}
	if total, ok := c[at]; ok {
		return total, nil
	}
	total, err := learning.Total(1, rate, repeats)
	if err != nil {
		return 0, err
	}
	c[at] = unit.Steady(total)
	return c[at], nil
}

// standard returns what basic time is multiplied by: relaxation and delay, both
// as shares of working time.
func standard(p *ratebook.Policies) (float64, error) {
	relaxed, err := allowance.OnWork(1, p.Relaxation)
	if err != nil {
		return 0, err
	}
	return allowance.OnWork(relaxed, p.Delay)
}

// reckon works out hours = (set-up + measure x hours per unit x coats) x
// repeats x allowances, the repeats by unit theory.
func (l *Line) reckon(known curves) error {
	l.Basic = l.SetupHours + float64(l.Units()*l.HoursPerUnit.Likely*float64(l.Coats))
	repeats, err := known.total(l.LearningRate, l.Count)
	if err != nil {
		return err
	}
	l.Repeats = repeats
	l.Hours, err = unit.Measure(l.Basic*l.Repeats*l.Factor, unit.Hour)
	return err
}

// Derivation returns the steps to the hours.
func (l *Line) Derivation() derivation.Derivation {
	var d derivation.Derivation
	if l.HoursPerUnit.Likely > 0 {
		d = append(d, derivation.Do(derivation.Product, "of work", "h", l.workTerms()...))
	}
	once := derivation.Do(derivation.Sum, "for the first "+l.Occurrence(), "h", l.onceTerms(d.Result())...)
	all := derivation.Do(derivation.Product, "", "h", l.allTerms(once.Result.Value)...)
	return append(d, once, all)
}

func (l *Line) workTerms() []derivation.Term {
	var terms []derivation.Term
	measure := l.Work.Measure
	if measure != ratebook.NoMeasure {
		terms = append(terms, derivation.Term{Value: l.Measure, Unit: measureUnit(measure), Label: l.measured()})
	}
	if l.Coats > 1 {
		terms = append(terms, derivation.Term{Value: float64(l.Coats), Label: l.coatWord()})
	}
	per := "h"
	if measure != ratebook.NoMeasure {
		per = "h/" + measureUnitOr(measure, "each")
	}
	return append(terms, derivation.Term{Value: l.HoursPerUnit.Likely, Unit: per})
}

func (l *Line) coatWord() string {
	if l.CoatPerLayer {
		return "layers"
	}
	return "coats"
}

func (l *Line) measured() string {
	if l.Zone != nil && l.Work.Measure == ratebook.ZoneArea {
		return "of " + l.Zone.Name
	}
	if l.Fixing != "" && l.Work.Measure == ratebook.FixingCount {
		return l.Fixing
	}
	return "of " + l.Work.Measure.String()
}

func (l *Line) onceTerms(work float64) []derivation.Term {
	var terms []derivation.Term
	if l.SetupHours > 0 || work == 0 {
		terms = append(terms, derivation.Term{Value: l.SetupHours, Unit: "h", Label: "set-up"})
	}
	if work > 0 {
		terms = append(terms, derivation.Term{Value: work, Unit: "h", Label: "of work"})
	}
	return terms
}

func (l *Line) allTerms(once float64) []derivation.Term {
	terms := []derivation.Term{{Value: once, Unit: "h"}, {Value: l.Repeats, Label: l.repeats()}}
	if l.policy.Relaxation > 0 {
		terms = append(terms, derivation.Term{Value: 1 + l.policy.Relaxation, Label: "for relaxation"})
	}
	if l.policy.Delay > 0 {
		terms = append(terms, derivation.Term{Value: 1 + l.policy.Delay, Label: "for delays"})
	}
	return terms
}

// repeats says what the number of repeats is made of: the multiplicity that
// makes this trade dear.
func (l *Line) repeats() string {
	text := l.Occurrences()
	if l.LearningRate < 1 && l.Count > 1 {
		text += fmt.Sprintf(" (%d with %g %% learning)", l.Count, 100*l.LearningRate)
	}
	return text
}

// Occurrences names all occurrences of the line's task, with what multiplies
// them.
func (l *Line) Occurrences() string {
	p := l.Piece
	switch {
	case l.Zone != nil:
		casts := "casts"
		if p.Casts() == 1 {
			casts = "cast"
		}
		return fmt.Sprintf("%s (%d %s × %d)", l.Zone.Name, p.Casts(), casts, l.Zone.Count)
	case p != nil && p.Pair && l.Per == ratebook.PerCast:
		return fmt.Sprintf("casts (2 hands × %d)", p.Quantity)
	case p != nil && p.Pair && l.Per == ratebook.PerMould:
		return fmt.Sprintf("moulds (2 hands × %d)", len(p.Pulls))
	case l.Count > 1:
		return l.Occurrence() + "s"
	default:
		return l.Occurrence()
	}
}

// Occurrence names one occurrence of the line's task.
func (l *Line) Occurrence() string {
	if l.Zone != nil {
		return "zone"
	}
	return l.Per.String()
}

func measureUnit(m ratebook.Measure) string { return measureUnitOr(m, "") }

func measureUnitOr(m ratebook.Measure, plain string) string {
	if u := m.Unit(); u != unit.Each {
		return u.Symbol()
	}
	return plain
}

// SkillHours is the hours of one skill.
type SkillHours struct {
	*ratebook.Skill
	Hours unit.Quantity
}

// BySkill adds the lines up by skill, in the rate book's order, skills without
// hours left out.
func BySkill(lines []Line, skills []ratebook.Skill) ([]SkillHours, error) {
	var out []SkillHours
	for i := range skills {
		sum := SkillHours{Skill: &skills[i]}
		hours, err := Total(lines, func(l *Line) bool { return l.Paid == sum.Skill })
		if err != nil {
			return nil, err
		}
		if sum.Hours = hours; !hours.IsZero() {
			out = append(out, sum)
		}
	}
	return out, nil
}

// Total adds up the hours of the lines that keep takes.
func Total(lines []Line, keep func(*Line) bool) (unit.Quantity, error) {
	sum, err := unit.Measure(0, unit.Hour)
	if err != nil {
		return sum, err
	}
	for i := range lines {
		if !keep(&lines[i]) {
			continue
		}
		if sum, err = sum.Add(lines[i].Hours); err != nil {
			return sum, err
		}
	}
	return sum, nil
}
