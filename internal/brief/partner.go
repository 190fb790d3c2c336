package brief

import (
	"fmt"
	"slices"

	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// mostFinishes bounds the finishes that a partner's terms name.
const mostFinishes = 200

// Edition returns the edition that the brief is priced by: the one given, in the
// partner's currency where one is agreed. Where it cannot be had Check names why.
func (b *Brief) Edition(e *ratebook.Edition) (*ratebook.Edition, error) {
	if b.Partner == nil || b.Partner.Currency == "" {
		return e, nil
	}
	c, err := unit.ParseCurrency(b.Partner.Currency)
	if err != nil {
		return nil, err
	}
	rate := unit.Count(1).Decimal() // in the book's own currency none is needed
	if b.Partner.Exchange != nil {
		rate = *b.Partner.Exchange
	}
	return e.In(c, rate)
}

// TaxOf returns the code of the tax on a piece that asks for one of its own, or on the
// whole job, which asks for none; empty for the rate book's. A partner's stands before
// both, and Check refuses a brief that asks for another.
func (b *Brief) TaxOf(own string) string {
	switch {
	case b.Partner != nil && b.Partner.Tax != "":
		return b.Partner.Tax
	case own != "":
		return own
	default:
		return b.Tax
	}
}

// orders reports whether a finish may be ordered on these terms.
func (t *PartnerTerms) orders(code string) bool {
	return t == nil || len(t.Finishes) == 0 || slices.Contains(t.Finishes, code)
}

func (c *checker) partner(p fault.Path, t *PartnerTerms) {
	if t == nil {
		return
	}
	c.exchange(p, t)
	if t.Tax != "" {
		c.tax(p.Field("tax"), t.Tax)
	}
	c.number(p.Field("finishes"), float64(len(t.Finishes)), 0, mostFinishes, "finishes")
	for i, code := range t.Finishes {
		// Without a list of those that there are: a partner may read this. UnknownFinishes has it.
		if _, ok := c.edition.Treatment(code); !ok || code == "" {
			c.faults.Add(p.Item("finishes", i), "got %q, which is no finish of rate book %s; allowed: codes of its finishes", code, c.edition.Revision)
		}
	}
}

// UnknownFinishes names the codes that are no finishes of an edition, with those that are. It
// is for the studio alone, which sets terms: of the finishes that terms leave out a partner is
// not told. Paths begin at the terms.
func UnknownFinishes(e *ratebook.Edition, codes []string) (faults fault.List) {
	var known []string
	for i := range e.Finishes {
		known = append(known, e.Finishes[i].Code)
	}
	slices.Sort(known)
	var p fault.Path
	for i, code := range codes {
		if !slices.Contains(known, code) {
			faults.Add(p.Item("finishes", i), "got %q, which is no finish of rate book %s; %s", code, e.Revision, fault.Allowed(code, known))
		}
	}
	return faults
}

// exchange checks a currency with its rate.
func (c *checker) exchange(p fault.Path, t *PartnerTerms) {
	at := p.Field("exchangeRate")
	if t.Currency == "" {
		if t.Exchange != nil {
			c.faults.Add(at, "got %s without a currency, allowed: none, or a currencyCode beside it", t.Exchange)
		}
		return
	}
	currency, err := unit.ParseCurrency(t.Currency)
	switch {
	case err != nil:
		c.faults.Add(p.Field("currencyCode"), "got %.20q, allowed: a current currency of ISO 4217, such as EUR", t.Currency)
	case t.Exchange != nil:
		if err := c.edition.Exchanges(currency, *t.Exchange); err != nil {
			c.faults.Add(at, "%v", err)
		}
	case currency != c.edition.Own():
		c.faults.Add(at, "missing, allowed: units of %s for one %s, since the rate book is in %[2]s", currency.Code, c.edition.Own().Code)
	}
}

// taxed checks the tax of a brief or of a piece. Where the partner's terms set one it may
// only say the same.
func (c *checker) taxed(p fault.Path, code string) {
	if c.terms == nil || c.terms.Tax == "" {
		c.tax(p, code)
		return
	}
	if agreed := c.terms.Tax; code != "" && code != agreed {
		c.faults.Add(p, "got %q beside partnerTerms.tax %q, allowed: the same, or none", code, agreed)
	}
}

// ordered reports whether the finish of a code, or the studio's usual one where a piece
// names none, may be ordered.
func (c *checker) ordered(t *ratebook.Treatment, code string) bool {
	if t != nil {
		code = t.Code
	}
	return c.terms.orders(code)
}

// unordered names a finish that the partner's terms do not hold, as if there were no
// other in the rate book: what they leave out is not told, not even that it is there.
func (c *checker) unordered(p fault.Path, code string, usable func(*ratebook.Treatment) bool) {
	got := "missing, and the studio's usual finish"
	if code != "" {
		got = fmt.Sprintf("got %q, which", code)
	}
	c.faults.Add(p, "%s is no finish of the partner's terms; %s", got, fault.Allowed(code, c.finishCodes(usable)))
}
