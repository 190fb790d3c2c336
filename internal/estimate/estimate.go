// Package estimate is the whole pipeline, and the only package that knows its
// order: brief, takeoff, method, labour, cost, margin, quote. A brief and a rate
// book edition flow in, a quote flows out; the same two always give the same
// quote, to the last digit.
package estimate

import (
	"errors"
	"fmt"
	"strings"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/cost"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/labour"
	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/method"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// MostJobSurface bounds the moulded surface of all casts of a brief, in m2. It
// keeps every figure of a quote well within what is reckoned exactly.
const MostJobSurface = 50_000

// MostOperations bounds the operations of a brief, and with them the time that
// a quote takes and the length of its workings.
const MostOperations = 20_000

// Engine is the edition of the engine. It goes up by one with every change that
// may give the same brief and rate book another figure.
const Engine = 1

// LaterError names the forms of a brief that are not reckoned yet.
type LaterError struct{ Faults fault.List }

// Error names them.
func (e LaterError) Error() string { return e.Faults.Error() }

// ErrTooLarge says that a brief is sound in every part, but that the whole of it
// goes past what is reckoned.
var ErrTooLarge = errors.New("the job as a whole is larger than can be reckoned")

// Price returns the quote of a brief. Its error is a fault.List with everything
// wrong with the brief, a LaterError, or ErrTooLarge with the figure that went
// past its limit.
func Price(b *brief.Brief, e *ratebook.Edition) (*quote.Quote, error) {
	q, err := price(b, e)
	if err != nil {
		return nil, err
	}
	if err := breakEvens(q); err != nil {
		return nil, err
	}
	for i := range b.Options {
		o := &b.Options[i]
		as := b.With(o)
		with, err := price(as, q.Edition) // turned into the partner's currency once
		if err != nil {
			return nil, underOption(err, i, o, as)
		}
		q.Add(o, with)
	}
	return q, nil
}

// underOption puts the faults that an option brings in under its name, and names it where
// the whole of it is too much.
func underOption(err error, i int, o *brief.Option, as *brief.Brief) error {
	var faults fault.List
	if !errors.As(err, &faults) {
		return fmt.Errorf("option %q: %w", o.Code, err)
	}
	for k := range faults {
		faults[k].Path = inOption(faults[k].Path, o, as)
	}
	return faults.Under(fmt.Sprintf("options[%d]", i))
}

// inOption leads to a piece's field by its place in the option's own list and not
// by that in the brief as the option would have it, which nobody wrote.
func inOption(path string, o *brief.Option, as *brief.Brief) string {
	var at int
	if _, err := fmt.Sscanf(path, "pieces[%d]", &at); err != nil {
		return path
	}
	for own := range o.Pieces {
		if o.Pieces[own].Code == as.Pieces[at].Code {
			return strings.Replace(path, fmt.Sprintf("pieces[%d]", at), fmt.Sprintf("pieces[%d]", own), 1)
		}
	}
	return path
}

func price(b *brief.Brief, e *ratebook.Edition) (*quote.Quote, error) {
	c, err := Cost(b, e)
	if err != nil {
		return nil, err
	}
	items, lines, err := c.Items()
	if err != nil {
		return nil, tooLarge(err)
	}
	priced, err := margin.Apply(items, cost.Total(c.LeftOvers), terms(b, c.Edition), c.Edition.Currency)
	if err != nil {
		return nil, err
	}
	skills, err := labour.BySkill(c.Labour, c.Edition.Skills)
	if err != nil {
		return nil, tooLarge(err)
	}
	return quote.Compose(c, &priced, lines, skills), nil
}

// terms returns the rate book's terms with the brief's rush and partner terms.
func terms(b *brief.Brief, e *ratebook.Edition) *ratebook.Terms {
	t := e.Policies.Terms
	if rush, ok := e.Rush(b.Rush); ok {
		t.Rush = rush.Percent
	}
	if p := b.Partner; p != nil && p.Discount != nil {
		t.Discount = *p.Discount
	}
	if p := b.Partner; p != nil && p.Margin != nil {
		t.Margin, t.Markup = *p.Margin, unit.Decimal{}
	}
	return &t
}

// Cost reckons everything before a price: measures, work, costs and purchases.
func Cost(b *brief.Brief, e *ratebook.Edition) (*quote.Costing, error) {
	c, err := Work(b, e)
	if err != nil {
		return nil, err
	}
	e = c.Edition
	if c.Costs, err = cost.Lines(c.Labour, e.Currency); err != nil {
		return nil, tooLarge(err)
	}
	if c.Purchases, err = cost.Purchases(c.Costs, e); err != nil {
		return nil, tooLarge(err)
	}
	if e.Policies.Charge == ratebook.ChargeBought {
		c.LeftOvers = cost.LeftOvers(c.Purchases)
	}
	return c, nil
}

// Work reckons measures and hours.
func Work(b *brief.Brief, e *ratebook.Edition) (*quote.Costing, error) {
	c, err := Measure(b, e)
	if err != nil {
		return nil, err
	}
	tasks, err := expand(c)
	if err != nil {
		return nil, tooLarge(err)
	}
	if c.Labour, err = labour.Reckon(tasks, &c.Edition.Policies); err != nil {
		return nil, tooLarge(err)
	}
	return c, nil
}

// expand returns the tasks of every piece and of the job, and weighs the pieces.
func expand(c *quote.Costing) ([]method.Task, error) {
	x := method.Begin(c.Edition)
	for i := range c.Pieces {
		load, err := x.Piece(&c.Pieces[i].Piece)
		if err != nil {
			return nil, err
		}
		c.Pieces[i].Load = load
		if n := len(x.Tasks()); n > MostOperations {
			return nil, fmt.Errorf("got %d operations by piece %d, allowed: at most %d in a brief; split it", n, i, MostOperations)
		}
	}
	err := x.Job(c.Brief)
	return x.Tasks(), err
}

// Measure checks a brief and measures its pieces, each on the route that it is
// made by. The costing's edition is in the partner's currency where one is agreed: what
// follows reckons by that edition, and so does the choice of the route.
func Measure(b *brief.Brief, e *ratebook.Edition) (*quote.Costing, error) {
	if err := Check(b, e); err != nil {
		return nil, err
	}
	e, err := b.Edition(e)
	if err != nil {
		return nil, err
	}
	c := &quote.Costing{Brief: b, Edition: e, Pieces: make([]quote.Piece, len(b.Pieces))}
	var faults fault.List
	var surface float64
	for i := range b.Pieces {
		p, wrong := measure(c, i)
		faults = append(faults, wrong...)
		surface += float64(p.Surface * float64(p.Casts()))
	}
	if surface > MostJobSurface {
		faults = append(faults, fault.Fault{Path: "pieces", Message: fmt.Sprintf("got %.0f m2 of casts in all, allowed: at most %d m2 in a brief", surface, MostJobSurface)})
	}
	return c, faults.Err()
}

// Check finds everything wrong with a brief before it is measured.
func Check(b *brief.Brief, e *ratebook.Edition) error {
	if err := b.Check(e).Err(); err != nil {
		return err
	}
	if later := b.Later(); len(later) > 0 {
		return LaterError{later}
	}
	return nil
}

func tooLarge(err error) error { return fmt.Errorf("%w: %w", ErrTooLarge, err) }
