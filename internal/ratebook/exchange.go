package ratebook

import (
	"fmt"
	"math"
	"slices"

	"github.com/mouldwright/mouldwright/internal/unit"
)

// MoneyPlaces is how many decimals an amount of money keeps when it is turned into
// another currency: as many as a rate of exchange has, and two more than a price of
// a rate book.
const MoneyPlaces = 6

// Exchange is where an edition in another currency comes from.
type Exchange struct {
	Of   *Edition     // the edition in the book's own currency
	Rate unit.Decimal // units of the other currency for one of the book's own
}

// Own returns the currency that the book is written in, whichever the edition is in.
func (e *Edition) Own() unit.Currency {
	if e.Exchange != nil {
		return e.Exchange.Of.Currency
	}
	return e.Currency
}

// In returns the edition in a currency at a rate, which is how many units of it stand
// for one of the book's own. Every amount of money is turned once: its exact product
// with the rate, kept to MoneyPlaces decimals, half away from zero; the minimum charge
// to the minor unit, as it must be. All that is reckoned by the edition is then money
// of that currency from the first line on, and adds up by construction.
//
// The edition itself is not changed. In its own currency, or where it is in that
// currency at that rate already, it is returned as it is. The error is that of
// Exchanges.
func (e *Edition) In(c unit.Currency, rate unit.Decimal) (*Edition, error) {
	if x := e.Exchange; x != nil {
		if c == e.Currency && rate.Equal(x.Rate) {
			return e, nil
		}
		return x.Of.In(c, rate)
	}
	if err := e.Exchanges(c, rate); err != nil || c == e.Currency {
		return e, err
	}
	b := e.copied()
	b.Currency = c
	b.money(func(d *unit.Decimal) { *d = d.Mul(rate).RoundHAZ(MoneyPlaces) })
	b.Policies.Terms.MinimumCharge = c.Round(e.Policies.Terms.MinimumCharge.Mul(rate))
	in := resolved(b)
	in.Exchange = &Exchange{Of: e, Rate: rate}
	return in, nil
}

// Exchanges says why the book's money cannot be turned into a currency at a rate; nil
// where it can. A rate is 0.0001 to 99999.999999 with at most six decimals, 1 for the
// book's own currency, and no higher than the purchase of packs can reckon with. It
// names no price of the book.
func (e *Edition) Exchanges(c unit.Currency, rate unit.Decimal) error {
	if e.Exchange != nil {
		return e.Exchange.Of.Exchanges(c, rate)
	}
	tenThousandth := unit.Count(1).Decimal().Mul(unit.Currency{Digits: 4}.Minor())
	switch {
	case rate.LessThan(tenThousandth) || !rate.LessThan(unit.Count(100_000).Decimal()):
		return fmt.Errorf("got %s, allowed: 0.0001 to 99999.999999", rate)
	case !rate.RoundHAZ(MoneyPlaces).Equal(rate):
		return fmt.Errorf("got %s, allowed: at most %d decimals", rate, MoneyPlaces)
	case c == e.Currency && !rate.Equal(unit.Count(1).Decimal()):
		return fmt.Errorf("got %s for %s, which the rate book is in itself; allowed: 1, or none", rate, c.Code)
	case e.dearestPack().Mul(rate).InexactFloat64() > dearest(c):
		return fmt.Errorf("got %s, at which a pack of the rate book comes to more than %.0f %s, the most that is reckoned; allowed: a lower rate", rate, dearest(c), c.Code)
	}
	return nil
}

// dearest is the highest price of a pack that the purchase of packs reckons with.
func dearest(c unit.Currency) float64 { return mostGrains / math.Pow10(c.Digits) }

func (b *Book) dearestPack() unit.Decimal {
	var most unit.Decimal
	for i := range b.Materials {
		for _, p := range b.Materials[i].Packs {
			if p.Price.GreaterThan(most) {
				most = p.Price
			}
		}
	}
	return most
}

// money visits every amount of money of the book but the minimum charge, which is
// rounded in a way of its own.
func (b *Book) money(visit func(*unit.Decimal)) {
	for i := range b.Skills {
		visit(&b.Skills[i].HourlyRate)
	}
	for i := range b.Equipment {
		visit(&b.Equipment[i].HourlyRate)
	}
	for i := range b.Materials {
		visit(&b.Materials[i].UnitPrice)
		for j := range b.Materials[i].Packs {
			visit(&b.Materials[i].Packs[j].Price)
		}
	}
	for i := range b.Operations {
		visit(&b.Operations[i].ChargeEach)
		visit(&b.Operations[i].ChargePerUnit)
	}
	visit(&b.Policies.Terms.OverheadPerHour)
}

// copied returns the book with lists of its own wherever money stands in them; the
// rest is shared.
func (b *Book) copied() *Book {
	own := *b
	own.Skills = slices.Clone(b.Skills)
	own.Equipment = slices.Clone(b.Equipment)
	own.Operations = slices.Clone(b.Operations)
	own.Materials = slices.Clone(b.Materials)
	for i := range own.Materials {
		own.Materials[i].Packs = slices.Clone(b.Materials[i].Packs)
	}
	return &own
}
