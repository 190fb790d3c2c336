package brief_test

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/unit"
)

func decimal(t testing.TB, s string) *unit.Decimal {
	t.Helper()
	d, err := unit.ParseDecimal(s)
	if err != nil {
		t.Fatal(err)
	}
	return &d
}

// at is terms in a currency at a rate, either of which may be left out.
func at(t testing.TB, currency, rate string) *brief.PartnerTerms {
	t.Helper()
	terms := &brief.PartnerTerms{Currency: currency}
	if rate != "" {
		terms.Exchange = decimal(t, rate)
	}
	return terms
}

func TestPartnersCurrency(t *testing.T) {
	rate := func(message string) fault.List { return one("partnerTerms.exchangeRate", message) }
	for _, c := range []struct {
		currency, rate string
		want           fault.List
	}{
		{"", "", nil},
		{"EUR", "1.15", nil},
		{"JPY", "190.123456", nil},
		{"GBP", "", nil},
		{"GBP", "1.0", nil},
		{"EUR", "", rate("missing, allowed: units of EUR for one GBP, since the rate book is in GBP")},
		{"", "1.15", rate("got 1.15 without a currency, allowed: none, or a currencyCode beside it")},
		{"", "1", rate("got 1 without a currency, allowed: none, or a currencyCode beside it")},
		{"EUR", "0", rate("got 0, allowed: 0.0001 to 99999.999999")},
		{"GBP", "1.01", rate("got 1.01 for GBP, which the rate book is in itself; allowed: 1, or none")},
		{"XAU", "0.0004", one("partnerTerms.currencyCode", `got "XAU", allowed: a current currency of ISO 4217, such as EUR`)},
		{"eur", "1.15", one("partnerTerms.currencyCode", `got "eur", allowed: a current currency of ISO 4217, such as EUR`)},
		{"EUX", "", one("partnerTerms.currencyCode", `got "EUX", allowed: a current currency of ISO 4217, such as EUR`)},
	} {
		check(t, []row{{strings.TrimSpace(c.currency + " " + c.rate), func(b *brief.Brief, _ *brief.Piece) { b.Partner = at(t, c.currency, c.rate) }, c.want}})
	}
}

// A brief in an edition that is in the partner's currency already is checked alike.
func TestCheckOfATurnedEdition(t *testing.T) {
	b, e := trail(), demoEdition(t)
	b.Partner = at(t, "EUR", "1.15")
	euros, err := b.Edition(e)
	if err != nil || euros.Currency.Code != "EUR" {
		t.Fatal(euros, err)
	}
	if faults := b.Check(euros); len(faults) > 0 {
		t.Errorf("in euros: %v", faults)
	}
	b.Partner = at(t, "GBP", "1.15")
	if faults := b.Check(euros); len(faults) != 1 {
		t.Errorf("got %v, want the pound's rate refused", faults)
	}
	b.Partner = at(t, "EUX", "1.15")
	if _, err := b.Edition(e); err == nil {
		t.Error("an edition in a currency that there is none of")
	}
	b.Partner = nil
	if own, err := b.Edition(e); own != e || err != nil {
		t.Errorf("without terms: got %p, %v", own, err)
	}
}

func TestPartnersTax(t *testing.T) {
	const rates = "allowed: reduced, standard, zero"
	check(t, []row{
		{"its own", func(b *brief.Brief, _ *brief.Piece) { b.Partner = &brief.PartnerTerms{Tax: "zero"} }, nil},
		{"the same in the brief", func(b *brief.Brief, p *brief.Piece) {
			b.Partner, b.Tax, p.Tax = &brief.PartnerTerms{Tax: "zero"}, "zero", "zero"
		}, nil},
		{
			"another in the brief", func(b *brief.Brief, _ *brief.Piece) { b.Partner, b.Tax = &brief.PartnerTerms{Tax: "zero"}, "standard" },
			one("tax", `got "standard" beside partnerTerms.tax "zero", allowed: the same, or none`),
		},
		{
			"another on a piece", func(b *brief.Brief, p *brief.Piece) { b.Partner, p.Tax = &brief.PartnerTerms{Tax: "zero"}, "reduced" },
			one("pieces[0].tax", `got "reduced" beside partnerTerms.tax "zero", allowed: the same, or none`),
		},
		{
			"another on a piece of an option", func(b *brief.Brief, _ *brief.Piece) {
				b.Partner = &brief.PartnerTerms{Tax: "zero"}
				p := ball("red-cap")
				p.Tax = "standard"
				b.Options[0].Pieces = []brief.Piece{p}
			},
			one("options[0].pieces[0].tax", `got "standard" beside partnerTerms.tax "zero", allowed: the same, or none`),
		},
		{
			"unknown", func(b *brief.Brief, _ *brief.Piece) { b.Partner = &brief.PartnerTerms{Tax: "none"} },
			one("partnerTerms.tax", `got "none", which is no tax rate of rate book demo-2026.1; `+rates),
		},
		{
			"terms without one", func(b *brief.Brief, _ *brief.Piece) { b.Partner, b.Tax = &brief.PartnerTerms{}, "none" },
			one("tax", `got "none", which is no tax rate of rate book demo-2026.1; `+rates),
		},
	})
}

func TestTaxOf(t *testing.T) {
	for _, c := range []struct{ partner, asked, own, want string }{
		{"", "", "", ""},
		{"", "standard", "", "standard"},
		{"", "standard", "zero", "zero"},
		{"zero", "", "", "zero"},
		{"zero", "standard", "reduced", "zero"},
	} {
		b := &brief.Brief{Tax: c.asked, Partner: &brief.PartnerTerms{Tax: c.partner}}
		if got := b.TaxOf(c.own); got != c.want {
			t.Errorf("%+v: got %q", c, got)
		}
	}
}

func dots(finish string) []brief.Zone {
	return []brief.Zone{{Name: "dots", Finish: finish, Count: 1, Shape: brief.ZoneShape{Spot: &geometry.Spot{Diameter: 0.05}}}}
}

// The demo studio's usual finish is gloss; matt is known to it and mat to nobody: both
// are refused in the same words.
func TestPartnersFinishes(t *testing.T) {
	only := func(codes ...string) *brief.PartnerTerms { return &brief.PartnerTerms{Finishes: codes} }
	painted := func(p *brief.Piece) { p.Finish = "two-colour" }
	check(t, []row{
		{"of the list", func(b *brief.Brief, p *brief.Piece) {
			b.Partner = only("two-colour", "hand-flake", "gloss")
			painted(p)
			p.Zones = dots("hand-flake")
		}, nil},
		{"an empty list leaves all", func(b *brief.Brief, p *brief.Piece) { b.Partner, p.Finish = only(), "matt" }, nil},
		{
			"another on a piece", func(b *brief.Brief, p *brief.Piece) {
				b.Partner, p.Finish = only("two-colour", "hand-flake", "gloss"), "satin"
			},
			one("pieces[0].finish", `got "satin", which is no finish of the partner's terms; allowed: gloss, hand-flake, two-colour`),
		},
		{
			"one that nobody knows", func(b *brief.Brief, p *brief.Piece) {
				b.Partner, p.Finish = only("two-colour", "hand-flake", "gloss"), "satim"
			},
			one("pieces[0].finish", `got "satim", which is no finish of the partner's terms; allowed: gloss, hand-flake, two-colour`),
		},
		{
			"nearly one of the list", func(b *brief.Brief, p *brief.Piece) { b.Partner, p.Finish = only("two-colour", "gloss"), "two-colours" },
			one("pieces[0].finish", `got "two-colours", which is no finish of the partner's terms; did you mean "two-colour"? allowed: gloss, two-colour`),
		},
		{
			"the usual one", func(b *brief.Brief, _ *brief.Piece) {
				b.Partner = only("two-colour")
				painted(&b.Pieces[1])
			},
			one("pieces[0].finish", "missing, and the studio's usual finish is no finish of the partner's terms; allowed: two-colour"),
		},
		{
			"another on a zone", func(b *brief.Brief, p *brief.Piece) {
				b.Partner = only("two-colour", "hand-flake", "gloss")
				p.Zones = dots("metal-leaf")
			},
			one("pieces[0].zones[0].finish", `got "metal-leaf", which is no finish of the partner's terms; allowed: gloss, hand-flake`),
		},
		{
			"one for casts on a zone", func(b *brief.Brief, p *brief.Piece) {
				b.Partner = only("two-colour", "gloss")
				p.Zones = dots("two-colour")
			},
			one("pieces[0].zones[0].finish", `got "two-colour", which is for whole casts only; allowed: gloss`),
		},
		{
			"another in an option", func(b *brief.Brief, _ *brief.Piece) {
				b.Partner = only("gloss")
				p := ball("red-cap")
				p.Finish, p.Zones = "gloss", dots("flock")
				b.Options[0].Pieces = []brief.Piece{p}
			},
			one("options[0].pieces[0].zones[0].finish", `got "flock", which is no finish of the partner's terms; allowed: gloss`),
		},
		{
			"codes that the rate book has not", func(b *brief.Brief, _ *brief.Piece) { b.Partner = only("gloss", "glos", "") },
			fault.List{
				{Path: "partnerTerms.finishes[1]", Message: `got "glos", which is no finish of rate book demo-2026.1; allowed: codes of its finishes`},
				{Path: "partnerTerms.finishes[2]", Message: `got "", which is no finish of rate book demo-2026.1; allowed: codes of its finishes`},
			},
		},
		{
			"too many", func(b *brief.Brief, _ *brief.Piece) {
				b.Partner = only(strings.Split(strings.Repeat("gloss ", 200)+"gloss", " ")...)
			},
			one("partnerTerms.finishes", "got 201, allowed: 0 to 200 finishes"),
		},
	})
}

// The studio is told which finishes there are.
func TestUnknownFinishes(t *testing.T) {
	got := brief.UnknownFinishes(demoEdition(t), []string{"gloss", "glos", ""})
	if len(got) != 2 || got[0].Path != "finishes[1]" || got[1].Path != "finishes[2]" {
		t.Fatalf("%v", got)
	}
	if want := `got "glos", which is no finish of rate book demo-2026.1; did you mean "gloss"? allowed: `; !strings.HasPrefix(got[0].Message, want) {
		t.Errorf("%s", got[0].Message)
	}
	for _, code := range []string{"gloss", "hand-flake"} {
		if !strings.Contains(got[1].Message, code) {
			t.Errorf("%q does not name %s", got[1].Message, code)
		}
	}
}

// Whatever a partner's brief asks for, its faults name no finish but those of its terms
// and what it said itself.
func TestNoOtherFinishIsTold(t *testing.T) {
	e := demoEdition(t)
	var all []string
	for i := range e.Finishes {
		all = append(all, e.Finishes[i].Code)
	}
	rapid.Check(t, func(r *rapid.T) {
		asked := rapid.SampledFrom(append([]string{"", "nothing", "glos"}, all...))
		terms := rapid.SliceOfNDistinct(rapid.SampledFrom(append([]string{"brass"}, all...)), 1, 5, rapid.ID).Draw(r, "terms")
		b := trail()
		b.Partner = &brief.PartnerTerms{Finishes: terms}
		told := slices.Clone(terms)
		for i := range b.Pieces {
			p := &b.Pieces[i]
			p.Finish = asked.Draw(r, "finish")
			p.Route = rapid.SampledFrom([]brief.Route{brief.Choose, brief.Moulded, brief.Direct}).Draw(r, "route")
			p.Zones = dots(asked.Draw(r, "zone"))
			told = append(told, p.Finish, p.Zones[0].Finish)
		}
		for _, f := range b.Check(e) {
			nothingElse(r, f, all, told)
		}
	})
}

// nothingElse holds that a fault names only what was told already. Codes are looked for
// as words, since gloss is part of no other.
func nothingElse(t *rapid.T, f fault.Fault, all, told []string) {
	for _, word := range strings.FieldsFunc(f.Message, func(r rune) bool { return strings.ContainsRune(` ,;"?:`, r) }) {
		if slices.Contains(all, word) && !slices.Contains(told, word) {
			t.Fatalf("%s: %s: names %q", f.Path, f.Message, word)
		}
	}
}

// Faults of the terms stand in the contract's order, all at once, and beside those of
// the rest of the brief.
func TestFaultsOfTermsInOrder(t *testing.T) {
	check(t, []row{{"all", func(b *brief.Brief, p *brief.Piece) {
		b.Partner = at(t, "EUR", "")
		b.Partner.Tax, b.Partner.Finishes = "none", []string{"brass"}
		p.Finish, b.Pieces[1].Finish = "brass", "gloss"
	}, fault.List{
		{Path: "pieces[0].finish", Message: `got "brass", which is no finish of rate book demo-2026.1; allowed: none`},
		{Path: "pieces[1].finish", Message: `got "gloss", which is no finish of the partner's terms; allowed: none`},
		{Path: "partnerTerms.exchangeRate", Message: "missing, allowed: units of EUR for one GBP, since the rate book is in GBP"},
		{Path: "partnerTerms.tax", Message: `got "none", which is no tax rate of rate book demo-2026.1; allowed: reduced, standard, zero`},
		{Path: "partnerTerms.finishes[0]", Message: `got "brass", which is no finish of rate book demo-2026.1; allowed: codes of its finishes`},
	}}})
}
