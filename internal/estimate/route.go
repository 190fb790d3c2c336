package estimate

import (
	"fmt"
	"sort"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/cost"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/labour"
	"github.com/mouldwright/mouldwright/internal/method"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/takeoff"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// measure measures one piece on its route: as asked for, or on the one that
// costs less.
func measure(c *quote.Costing, i int) (*quote.Piece, fault.List) {
	b, p := &c.Brief.Pieces[i], &c.Pieces[i]
	var faults fault.List
	p.Piece, faults = takeoff.Measure(b, c.Edition, b.Route == brief.Direct)
	// A gelcoat finish comes out of a mould: there is nothing to choose.
	if len(faults) > 0 || b.Route != brief.Choose || p.NeedsGelcoat() {
		return p, faults.Under(fmt.Sprintf("pieces[%d]", i))
	}
	r := quote.Route{Piece: b.Code}
	var err error
	if r.Moulded, r.Direct, err = bothRoutes(b, c.Edition, b.Quantity, charged); err != nil {
		return p, fault.List{{Path: fmt.Sprintf("pieces[%d]", i), Message: err.Error()}}
	}
	c.Routes = append(c.Routes, r)
	if r.Direct.LessThan(r.Moulded) {
		p.Piece, _ = takeoff.Measure(b, c.Edition, true)
	}
	return p, nil
}

// breakEvens adds to a quote's route comparisons the quantities from which
// moulds pay.
func breakEvens(q *quote.Quote) error {
	for i := range q.Workings.Routes {
		r := &q.Workings.Routes[i]
		for j := range q.Brief.Pieces {
			if q.Brief.Pieces[j].Code != r.Piece {
				continue
			}
			var err error
			if r.BreakEven, err = breakEven(&q.Brief.Pieces[j], q.Edition); err != nil {
				return tooLarge(err)
			}
		}
	}
	return nil
}

// Compare costs a checked piece on both routes, for its own quantity, and finds
// the quantity of each hand from which moulds pay. The piece is costed by itself:
// what it shares packs and management with in its brief is left out.
func Compare(b *brief.Piece, e *ratebook.Edition) (quote.Route, error) {
	r := quote.Route{Piece: b.Code}
	var err error
	if r.Moulded, r.Direct, err = bothRoutes(b, e, b.Quantity, charged); err != nil {
		return r, err
	}
	r.BreakEven, err = breakEven(b, e)
	return r, err
}

// bothRoutes costs a piece on both routes by a way of charging materials.
func bothRoutes(b *brief.Piece, e *ratebook.Edition, quantity int, charge charging) (moulded, direct unit.Decimal, err error) {
	of := *b
	of.Quantity, of.Mould.PerHand = quantity, min(b.Mould.PerHand, quantity)
	if moulded, err = routeCost(&of, e, false, charge); err != nil {
		return moulded, direct, err
	}
	direct, err = routeCost(&of, e, true, charge)
	return moulded, direct, err
}

// charging is what work costs with its materials.
type charging func([]labour.Line, *ratebook.Edition) (unit.Decimal, error)

// breakEven finds the least quantity of each hand for which moulds cost no more
// than carving each, which for even costs is tooling / (one-off - cast), rounded
// up; 0 for none up to the largest. Materials are taken as used: whole packs are
// a matter of one order, not of how a quantity grows. The search takes it that what
// pays for one quantity pays for every larger one, which a new mould at the end
// of a mould's life can break for a few casts.
func breakEven(b *brief.Piece, e *ratebook.Edition) (int, error) {
	var failed error
	n := 1 + sort.Search(brief.MostQuantity, func(i int) bool {
		moulded, direct, err := bothRoutes(b, e, i+1, used)
		if err != nil {
			failed = err
		}
		return !direct.LessThan(moulded)
	})
	if n > brief.MostQuantity {
		return 0, failed
	}
	return n, failed
}

// routeCost is what one piece by itself costs on one route: its work, its
// materials, and the overhead that they recover.
func routeCost(b *brief.Piece, e *ratebook.Edition, direct bool, charge charging) (unit.Decimal, error) {
	p, faults := takeoff.Measure(b, e, direct)
	if err := faults.Err(); err != nil {
		return unit.Decimal{}, err
	}
	x := method.Begin(e)
	if _, err := x.Piece(&p); err != nil {
		return unit.Decimal{}, err
	}
	work, err := labour.Reckon(x.Tasks(), &e.Policies)
	if err != nil {
		return unit.Decimal{}, err
	}
	hours, err := labour.Total(work, func(*labour.Line) bool { return true })
	if err != nil {
		return unit.Decimal{}, err
	}
	own, err := charge(work, e)
	if err != nil {
		return unit.Decimal{}, err
	}
	t := &e.Policies.Terms
	byHour := unit.Extend(hours, t.OverheadPerHour, e.Currency)
	return unit.Sum(own, byHour, unit.Percent(own, t.OverheadPercent, e.Currency)), nil
}

// used charges materials as used.
func used(work []labour.Line, e *ratebook.Edition) (unit.Decimal, error) {
	lines, err := cost.Lines(work, e.Currency)
	return cost.Total(lines), err
}

// charged charges materials as the studio does: whole packs, where that is its
// policy.
func charged(work []labour.Line, e *ratebook.Edition) (unit.Decimal, error) {
	lines, err := cost.Lines(work, e.Currency)
	if err != nil || e.Policies.Charge != ratebook.ChargeBought {
		return cost.Total(lines), err
	}
	purchases, err := cost.Purchases(lines, e)
	return cost.Total(lines).Add(cost.Total(cost.LeftOvers(purchases))), err
}
