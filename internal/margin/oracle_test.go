package margin_test

import (
	"math/big"
	"sort"

	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// oracle prices items in fractions and whole minor units. It shares no arithmetic
// with the package and is written for plainness.
type oracle struct {
	running []*big.Int   // of each line, in minor units
	parts   [][]*big.Int // of each line: cost, left over, overhead, contingency, margin, rush, discount, minimum
	total   *big.Int
}

func rat(d unit.Decimal) *big.Rat {
	r, ok := new(big.Rat).SetString(d.String())
	if !ok {
		panic(d.String())
	}
	return r
}

// minor is an amount of pounds in pence.
func minor(d unit.Decimal) *big.Int {
	return halfAway(new(big.Rat).Mul(rat(d), big.NewRat(100, 1)))
}

// halfAway rounds half away from zero to a whole number.
func halfAway(r *big.Rat) *big.Int {
	twice := new(big.Int).Mul(r.Num(), big.NewInt(2))
	twice.Add(twice, new(big.Int).Mul(r.Denom(), big.NewInt(int64(r.Sign()))))
	return twice.Quo(twice, new(big.Int).Mul(r.Denom(), big.NewInt(2)))
}

// share shares a whole number out by weights: floors first, then one each to the
// largest remainders.
func share(amount *big.Int, weights []*big.Rat) []*big.Int {
	if amount.Sign() < 0 {
		out := share(new(big.Int).Neg(amount), weights)
		for _, x := range out {
			x.Neg(x)
		}
		return out
	}
	whole := new(big.Rat)
	for _, w := range weights {
		whole.Add(whole, w)
	}
	out, rest, order := make([]*big.Int, len(weights)), make([]*big.Rat, len(weights)), make([]int, len(weights))
	left := new(big.Int).Set(amount)
	for i, w := range weights {
		part := big.NewRat(1, int64(len(weights)))
		if whole.Sign() > 0 {
			part.Quo(w, whole)
		}
		part.Mul(part, new(big.Rat).SetInt(amount))
		out[i] = new(big.Int).Quo(part.Num(), part.Denom())
		rest[i] = part.Sub(part, new(big.Rat).SetInt(out[i]))
		left.Sub(left, out[i])
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return rest[order[a]].Cmp(rest[order[b]]) > 0 })
	for i := range left.Int64() {
		out[order[i]].Add(out[order[i]], big.NewInt(1))
	}
	return out
}

func (o *oracle) weights() []*big.Rat {
	out := make([]*big.Rat, len(o.running))
	for i, r := range o.running {
		out[i] = new(big.Rat).SetInt(r)
	}
	return out
}

// add adds an amount to part k, by weights.
func (o *oracle) add(k int, amount *big.Int, weights []*big.Rat) {
	for i, x := range share(amount, weights) {
		o.parts[i][k].Add(o.parts[i][k], x)
		o.running[i].Add(o.running[i], x)
	}
	o.total.Add(o.total, amount)
}

func (o *oracle) percent(p unit.Decimal) *big.Int {
	r := new(big.Rat).Mul(new(big.Rat).SetInt(o.total), rat(p))
	return halfAway(r.Quo(r, big.NewRat(100, 1)))
}

func price(items []margin.Item, shared unit.Decimal, t *ratebook.Terms) *oracle {
	o := &oracle{total: new(big.Int)}
	byHour, hoursOf := new(big.Rat), make([]*big.Rat, len(items))
	for i := range items {
		cost := minor(items[i].Cost)
		o.running = append(o.running, new(big.Int).Set(cost))
		o.parts = append(o.parts, []*big.Int{cost, {}, {}, {}, {}, {}, {}, {}})
		o.total.Add(o.total, cost)
		hoursOf[i] = rat(items[i].Hours.Decimal())
		byHour.Add(byHour, hoursOf[i])
	}
	o.add(1, minor(shared), o.weights())
	byHour.Mul(byHour, rat(t.OverheadPerHour))
	byCost, ofCost := o.percent(t.OverheadPercent), o.weights()
	o.add(2, halfAway(byHour.Mul(byHour, big.NewRat(100, 1))), hoursOf)
	o.add(2, byCost, ofCost)
	o.add(3, o.percent(t.Contingency), o.weights())
	o.add(4, o.margin(t), o.weights())
	o.add(5, o.percent(t.Rush), o.weights())
	o.add(6, new(big.Int).Neg(o.percent(t.Discount)), o.weights())
	if lacking := new(big.Int).Sub(minor(t.MinimumCharge), o.total); lacking.Sign() > 0 {
		o.add(7, lacking, o.weights())
	}
	return o
}

func (o *oracle) margin(t *ratebook.Terms) *big.Int {
	if !t.Markup.IsZero() {
		return o.percent(t.Markup)
	}
	keep := new(big.Rat).Sub(big.NewRat(100, 1), rat(t.Margin))
	price := new(big.Rat).Mul(new(big.Rat).SetInt(o.total), big.NewRat(100, 1))
	return new(big.Int).Sub(halfAway(price.Quo(price, keep)), o.total)
}
