package ratebook_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
	"github.com/mouldwright/mouldwright/internal/unit"
)

func currency(t testing.TB, code string) unit.Currency {
	t.Helper()
	c, err := unit.ParseCurrency(code)
	require.NoError(t, err)
	return c
}

func in(t testing.TB, e *ratebook.Edition, code, rate string) *ratebook.Edition {
	t.Helper()
	turned, err := e.In(currency(t, code), ratebooktest.Decimal(t, rate))
	require.NoError(t, err)
	return turned
}

// shares are the decimals of a book that are percent and no money, by type and field.
func shares() []string {
	return []string{
		"TaxRate.Percent", "RushTerm.Percent", "StageShare.Percent",
		"Terms.OverheadPercent", "Terms.Contingency", "Terms.Margin", "Terms.Markup", "Terms.Discount", "Terms.Rush",
	}
}

// decimals visits every decimal below v, lists and pointers included.
func decimals(v reflect.Value, name string, visit func(name string, v reflect.Value)) {
	switch {
	case v.Type() == reflect.TypeFor[unit.Decimal]():
		visit(name, v)
	case v.Type() == reflect.TypeFor[*ratebook.Material]():
		return // a reference to one of the book's list
	case v.Kind() == reflect.Pointer && !v.IsNil():
		decimals(v.Elem(), name, visit)
	case v.Kind() == reflect.Slice:
		for i := range v.Len() {
			decimals(v.Index(i), name, visit)
		}
	case v.Kind() == reflect.Struct && strings.Contains(v.Type().PkgPath(), "mouldwright/internal/ratebook"):
		for i := range v.NumField() {
			decimals(v.Field(i), v.Type().Name()+"."+v.Type().Field(i).Name, visit)
		}
	}
}

// declared gathers the decimals that a type can hold, whether a book has any or not.
func declared(of reflect.Type, name string, into map[string]bool) {
	switch {
	case of == reflect.TypeFor[unit.Decimal]():
		into[name] = true
	case of.Kind() == reflect.Slice, of.Kind() == reflect.Pointer && of != reflect.TypeFor[*ratebook.Material]():
		declared(of.Elem(), name, into)
	case of.Kind() == reflect.Struct && strings.Contains(of.PkgPath(), "mouldwright/internal/ratebook"):
		for i := range of.NumField() {
			declared(of.Field(i).Type, of.Name()+"."+of.Field(i).Name, into)
		}
	}
}

// filled is the tiny studio with another figure in every decimal that it has: so small
// that none is past a limit, so odd that each can be told from its neighbours.
func filled(t *testing.T) *ratebook.Edition {
	t.Helper()
	e := ratebooktest.Tiny(t)
	n := 0
	decimals(reflect.ValueOf(e.Book), "", func(_ string, v reflect.Value) {
		n += 10_007
		v.Set(reflect.ValueOf(unit.Count(n).Decimal().Mul(ratebooktest.Decimal(t, "0.0001"))))
	})
	return e
}

// Every decimal of a book is either known to be a percentage, and stays, or is money,
// and is turned: a new field of money that is forgotten fails here.
func TestEveryAmountOfMoneyIsTurned(t *testing.T) {
	e := filled(t)
	rate := ratebooktest.Decimal(t, "1.153217")
	turned := in(t, e, "EUR", "1.153217")
	var before []unit.Decimal
	decimals(reflect.ValueOf(e.Book), "", func(_ string, v reflect.Value) { before = append(before, v.Interface().(unit.Decimal)) })
	seen := map[string]bool{}
	i := 0
	decimals(reflect.ValueOf(turned.Book), "", func(name string, v reflect.Value) {
		was, got := before[i], v.Interface().(unit.Decimal)
		i++
		seen[name] = true
		want := was.Mul(rate).RoundHAZ(6)
		switch {
		case slices.Contains(shares(), name):
			want = was
		case name == "Terms.MinimumCharge":
			want = was.Mul(rate).RoundHAZ(2)
		}
		assert.True(t, got.Equal(want), "%s: %s became %s, want %s", name, was, got, want)
	})
	all := map[string]bool{}
	declared(reflect.TypeFor[ratebook.Book](), "", all)
	assert.Equal(t, all, seen, "a decimal that the tiny studio has none of: give it one")
}

// By hand, at 1.25 EUR for 1 GBP: the sculptor's 20 is 25, the booth's 8 is 10, resin at
// 165 for 25 kg is 206.25 and 6.60 a kilogram is 8.25, the crate's 40 is 50, the drive's
// 0.50 is 0.625.
func TestTurnedByHand(t *testing.T) {
	e := ratebooktest.Tiny(t)
	turned := in(t, e, "EUR", "1.25")
	resin, _ := turned.Material("resin")
	for _, c := range []struct {
		what string
		got  unit.Decimal
		want string
	}{
		{"hour of a sculptor", turned.Job[0].Paid.HourlyRate, "25"},
		{"hour of the booth", turned.Equipment[0].HourlyRate, "10"},
		{"pack of resin", resin.Packs[2].Price, "206.25"},
		{"kilogram of resin", resin.UnitPrice, "8.25"},
		{"crate", ratebooktest.Operation(t, turned.Book, "crate").ChargePerUnit, "50"},
		{"kilometre", turned.Consignments[0].ChargePerUnit, "0.625"},
	} {
		assert.True(t, c.got.Equal(ratebooktest.Decimal(t, c.want)), "%s: got %s, want %s", c.what, c.got, c.want)
	}
	assert.Equal(t, "EUR", turned.Currency.Code)
	assert.Equal(t, "GBP", turned.Own().Code)
}

// The product is exact and rounded once, half away from zero: 0.0002 x 0.0125 is
// 0.0000025, which is 0.000003.
func TestMoneyIsRoundedHalfAwayFromZero(t *testing.T) {
	b := ratebooktest.Book(t)
	b.Skills[0].HourlyRate = ratebooktest.Decimal(t, "0.0002")
	got := in(t, ratebooktest.Open(t, b), "EUR", "0.0125").Skills[0].HourlyRate
	assert.Equal(t, "0.000003", got.String())
}

// The minimum charge has no more decimals than the currency: 850.50 GBP at 190.123 are
// 161 699.6115 JPY, and at 0.3901 are 331.78005 KWD. JPY has no minor unit, KWD three
// decimals: ISO 4217, list one.
func TestMinimumChargeIsInMinorUnits(t *testing.T) {
	b := ratebooktest.Book(t)
	b.Policies.Terms.MinimumCharge = ratebooktest.Decimal(t, "850.50")
	e := ratebooktest.Open(t, b)
	assert.Equal(t, "161700", in(t, e, "JPY", "190.123").Policies.Terms.MinimumCharge.String())
	assert.Equal(t, "331.78", in(t, e, "KWD", "0.3901").Policies.Terms.MinimumCharge.String())
}

// Works, supplies, schedules and treatments of a turned edition lead to its own money,
// and never to that of the edition it comes from.
func TestATurnedEditionLeadsToItsOwn(t *testing.T) {
	e := open(t, demoBook(t))
	turned := in(t, e, "EUR", "1.15")
	for _, w := range flat([][]*ratebook.Work{turned.Job, turned.Moulded, turned.Direct, turned.Consignments}) {
		leadsTo(t, turned, w)
	}
	for i := range turned.Finishes {
		f, ok := turned.Treatment(turned.Finishes[i].Code)
		require.True(t, ok)
		for _, w := range append(f.Cast, f.Zone...) {
			leadsTo(t, turned, w)
		}
	}
	for i := range turned.Materials {
		for _, part := range turned.Materials[i].Components {
			assert.Same(t, &turned.Materials[part.Place], part)
		}
		if of := turned.Materials[i].CatalystMaterial; of != nil {
			assert.Same(t, &turned.Materials[of.Place], of)
		}
	}
	s, _ := turned.Schedule("")
	assert.Same(t, &turned.Materials[s.ResinMaterial.Place], s.ResinMaterial)
	assert.Same(t, &turned.Materials[turned.MouldSchedule.Layers[0].Glass.Place], turned.MouldSchedule.Layers[0].Glass)
}

func leadsTo(t *testing.T, e *ratebook.Edition, w *ratebook.Work) {
	t.Helper()
	assert.Same(t, w.Operation, ratebooktest.Operation(t, e.Book, w.Code))
	if w.Paid != nil {
		assert.True(t, among(e.Skills, w.Paid), w.Code)
	}
	if w.Held != nil {
		assert.True(t, among(e.Equipment, w.Held), w.Code)
	}
	for _, use := range w.Uses {
		if use.Material != nil {
			assert.Same(t, &e.Materials[use.Material.Place], use.Material)
		}
	}
}

func among[T any](list []T, p *T) bool {
	for i := range list {
		if &list[i] == p {
			return true
		}
	}
	return false
}

// Turning changes nothing of the edition it turns, which others read at the same time.
func TestTurningLeavesTheEditionAlone(t *testing.T) {
	e, other := open(t, demoBook(t)), open(t, demoBook(t))
	in(t, e, "EUR", "1.15")
	assert.True(t, reflect.DeepEqual(e, other), "the edition differs from one that was never turned")
}

// At its own currency's 1 an edition is itself; turned twice it is what it is turned
// once, whichever currency it was in meanwhile.
func TestTurningAgain(t *testing.T) {
	e := ratebooktest.Tiny(t)
	assert.Same(t, e, in(t, e, "GBP", "1.00"))
	euros := in(t, e, "EUR", "1.15")
	assert.Same(t, euros, in(t, euros, "EUR", "1.150"))
	assert.Same(t, e, in(t, euros, "GBP", "1"))
	assert.Equal(t, in(t, e, "JPY", "190").Book, in(t, euros, "JPY", "190").Book)
	assert.Same(t, e, in(t, euros, "EUR", "1.2").Exchange.Of)
}

// Packs of the tiny studio cost 165 at most; the purchase of packs reckons with
// 1 000 000 KWD and 1 000 000 000 JPY.
func TestRatesThatAreRefused(t *testing.T) {
	e := ratebooktest.Tiny(t)
	for _, c := range []struct{ code, rate, want string }{
		{"EUR", "0", "got 0, allowed: 0.0001 to 99999.999999"},
		{"EUR", "-1.15", "got -1.15, allowed: 0.0001 to 99999.999999"},
		{"EUR", "0.000099", "got 0.000099, allowed: 0.0001 to 99999.999999"},
		{"EUR", "100000", "got 100000, allowed: 0.0001 to 99999.999999"},
		{"EUR", "1.1532171", "got 1.1532171, allowed: at most 6 decimals"},
		{"GBP", "1.0001", "got 1.0001 for GBP, which the rate book is in itself; allowed: 1, or none"},
		{"KWD", "6060.61", "got 6060.61, at which a pack of the rate book comes to more than 1000000 KWD, the most that is reckoned; allowed: a lower rate"},
		{"EUR", "0.0001", ""},
		{"JPY", "99999.999999", ""},
		{"KWD", "6060.6", ""},
		{"GBP", "1", ""},
	} {
		_, err := e.In(currency(t, c.code), ratebooktest.Decimal(t, c.rate))
		if c.want == "" {
			assert.NoError(t, err, c.code+" "+c.rate)
		} else {
			assert.EqualError(t, err, c.want)
		}
	}
	_, err := in(t, e, "EUR", "1.15").In(currency(t, "EUR"), unit.Decimal{})
	assert.Error(t, err, "of a turned edition too")
}

// At any rate that is taken the turned book is a sound one: it opens.
func TestATurnedBookIsSound(t *testing.T) {
	b := ratebooktest.Book(t)
	b.Policies.Terms.MinimumCharge = ratebooktest.Decimal(t, "850.55")
	e := ratebooktest.Open(t, b)
	rapid.Check(t, func(r *rapid.T) {
		c := currency(t, rapid.SampledFrom([]string{"EUR", "USD", "JPY", "KWD", "CLF"}).Draw(r, "currency"))
		rate := unit.Count(rapid.IntRange(100, 99_999_999_999).Draw(r, "millionths")).Decimal().Mul(ratebooktest.Decimal(t, "0.000001"))
		turned, err := e.In(c, rate)
		if err != nil {
			return
		}
		if _, faults := ratebook.Open(turned.Book); len(faults) > 0 {
			r.Fatalf("%s at %s: %v", c.Code, rate, faults)
		}
	})
}
