package estimate_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/cost"
	"github.com/mouldwright/mouldwright/internal/document"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
	"github.com/mouldwright/mouldwright/internal/unit"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// in is terms in a currency at a rate.
func in(t testing.TB, currency, rate string) *brief.PartnerTerms {
	t.Helper()
	d := ratebooktest.Decimal(t, rate)
	return &brief.PartnerTerms{Currency: currency, Exchange: &d}
}

// The slab of TestOneSlabByHand at 1.25 EUR for 1 GBP, each line rounded by itself:
//
//	manage, draw               2 h + 1 h at 25                             75.00
//	carve, foam                5.5 h at 25; 0.5 m3 at 125                 200.00
//	seal, barrier, brush       2 h at 37.50; 4 kg at 2.50; 0.625           85.63
//	flange                     0.45 h at 12.50 = 5.625                      5.63
//	mould gelcoat              0.89 h at 12.50 = 11.125                    11.13
//	its gelcoat, catalyst      5.34 kg at 12.50; 0.107 kg at 12.50         68.09
//	mould lay-up               2.67 h at 12.50 = 33.375                    33.38
//	its glass, resin, catalyst 60.075; 31.15 kg at 8.25 = 256.9875; 7.7875 324.86
//	gelcoat, its gelcoat       0.8 h at 12.50; 2.4 kg; 0.048 kg            40.60
//	lay-up, its glass          2 h at 12.50; 3.6 kg at 5                   43.00
//	its resin, catalyst        9.333 kg at 8.25 = 76.99725; 2.3375         79.34
//	seam, lift, crate          0.6 h, 0.14 h at 12.50; 0.5 m3 at 50        34.25
//
// 1000.91 in all, where the pounds' total at the rate would be 1000.875: the lines add up.
func TestOneSlabInEuros(t *testing.T) {
	b := job(slabs("a", 1))
	b.Partner = in(t, "EUR", "1.25")
	q := price(t, ratebooktest.Book(t), b)
	same(t, "net", q.Net, "1000.91")
	same(t, "VAT of 20 %", q.Taxes[0].Tax, "200.18")
	same(t, "gross", q.Gross, "1201.09")
	if q.Assumptions[0] != "Priced in EUR at 1.2500 EUR for 1 GBP, agreed with the partner." {
		t.Errorf("got %q", q.Assumptions[0])
	}
	if q.Edition.Currency.Code != "EUR" || len(q.Workings.Skills) != 3 {
		t.Errorf("in %s, %d skills", q.Edition.Currency.Code, len(q.Workings.Skills))
	}
}

// A rate is written with four decimals, or with all that it has.
func TestTheRateIsSaid(t *testing.T) {
	for rate, want := range map[string]string{"1": "1.0000", "190": "190.0000", "1.153217": "1.153217", "0.0001": "0.0001"} {
		b := job(slabs("a", 1))
		b.Partner = in(t, "JPY", rate)
		got := price(t, ratebooktest.Book(t), b).Assumptions[0]
		if want = "Priced in JPY at " + want + " JPY for 1 GBP, agreed with the partner."; got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	for _, terms := range []*brief.PartnerTerms{nil, {}, {Currency: "GBP"}, in(t, "GBP", "1")} {
		b := job(slabs("a", 1))
		b.Partner = terms
		q := price(t, ratebooktest.Book(t), b)
		if got := q.Assumptions; strings.Contains(strings.Join(got, "\n"), "Priced in") {
			t.Errorf("in the studio's own currency: got %q", got)
		}
		same(t, "net in pounds", q.Net, "800.70")
	}
}

// All terms together on a cost of 100 GBP at 1.5: 150 EUR; a margin of 50 % makes 300,
// a discount of 20 % leaves 240, the minimum charge of 200 GBP lifts it to 300, and no
// tax is on it.
func TestTermsTogether(t *testing.T) {
	book := charged(t, "60", "40", "1000")
	book.Policies.Terms = ratebook.Terms{
		Markup: ratebooktest.Decimal(t, "25"), Discount: ratebooktest.Decimal(t, "10"), MinimumCharge: ratebooktest.Decimal(t, "200"),
	}
	b := job(slabs("a", 1))
	b.Partner = in(t, "EUR", "1.5")
	discount, margin := ratebooktest.Decimal(t, "20"), ratebooktest.Decimal(t, "50")
	b.Partner.Discount, b.Partner.Margin, b.Partner.Tax, b.Partner.Finishes = &discount, &margin, "zero", []string{"bare"}
	q := price(t, book, b)
	for i, want := range []string{"150", "300", "240", "300"} {
		same(t, q.Workings.Steps[i].Code, q.Workings.Steps[i].Running, want)
	}
	same(t, "to pay", q.Gross, "300")
	if last := q.Workings.Steps[3].Description; last != "to the minimum charge of 300.00" {
		t.Errorf("got %q", last)
	}
}

// A partner's tax is on every line, those of pieces with a tax of their own and of the
// whole job included.
func TestPartnersTaxIsOnEveryLine(t *testing.T) {
	a := slabs("a", 1)
	a.Tax = "zero"
	b := job(a, slabs("b", 1))
	b.Partner = &brief.PartnerTerms{Tax: "zero"}
	b.Options = []brief.Option{{Code: "more", Name: "More", Pieces: []brief.Piece{slabs("b", 2)}}}
	q := price(t, ratebooktest.Book(t), b)
	for i := range q.Lines {
		if q.Lines[i].Tax.Code != "zero" {
			t.Errorf("%s is taxed as %s", q.Lines[i].Code, q.Lines[i].Tax.Code)
		}
	}
	if len(q.Taxes) != 1 || !q.Gross.Equal(q.Net) {
		t.Errorf("got %v", q.Taxes)
	}
}

// An option is priced in the partner's currency too, as the brief with it would be.
func TestOptionsInThePartnersCurrency(t *testing.T) {
	b := job(slabs("a", 1))
	b.Partner = in(t, "JPY", "190.5")
	b.Options = []brief.Option{{Code: "three", Name: "Three", Pieces: []brief.Piece{slabs("a", 3)}}}
	q := price(t, ratebooktest.Book(t), b)
	three := price(t, ratebooktest.Book(t), b.With(&b.Options[0]))
	if !q.Options[0].Net.Equal(three.Net) || !q.Options[0].Difference.Equal(three.Net.Sub(q.Net)) {
		t.Errorf("got %s and %s, want %s less %s", q.Options[0].Net, q.Options[0].Difference, three.Net, q.Net)
	}
}

// An edition that is in the partner's currency already gives the same quote.
func TestAnEditionThatIsTurnedAlready(t *testing.T) {
	b := job(slabs("a", 2))
	b.Partner = in(t, "EUR", "1.15")
	e := ratebooktest.Tiny(t)
	euros, err := b.Edition(e)
	if err != nil {
		t.Fatal(err)
	}
	q, err := estimate.Price(b, euros)
	if err != nil || q.Edition != euros {
		t.Fatalf("turned again: %v", err)
	}
	fresh, err := estimate.Price(b, e)
	if err != nil || !bytes.Equal(encoded(t, q, true), encoded(t, fresh, true)) {
		t.Errorf("they differ: %v", err)
	}
}

func encoded(t testing.TB, q *quote.Quote, workings bool) []byte {
	t.Helper()
	doc, err := wire.Encode(wire.Quote(q, workings))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// Minor units are those of ISO 4217, list one: none for the yen, three decimals for the
// Kuwaiti dinar, two for the euro.
func minorUnits() map[string]int { return map[string]int{"JPY": 0, "KWD": 3, "EUR": 2} }

// chance draws books, briefs and terms.
type chance struct {
	*rapid.T
	of *testing.T
}

func (c chance) hundredths(name string, most int) unit.Decimal {
	n := rapid.IntRange(0, 100*most).Draw(c.T, name)
	return ratebooktest.Decimal(c.of, fmt.Sprintf("%d.%02d", n/100, n%100))
}

func (c chance) book() *ratebook.Book {
	book := ratebooktest.Book(c.of)
	book.Policies.Terms = ratebook.Terms{
		OverheadPerHour: c.hundredths("overhead an hour", 30), Contingency: c.hundredths("contingency", 20), Margin: c.hundredths("margin", 60),
		MinimumCharge: c.hundredths("minimum", 3000), SpreadTooling: rapid.Bool().Draw(c.T, "spread"),
	}
	book.Policies.Charge = rapid.SampledFrom([]ratebook.MaterialCharge{ratebook.ChargeUsed, ratebook.ChargeBought}).Draw(c.T, "charge")
	return book
}

func (c chance) brief() *brief.Brief {
	b := job()
	for i := range rapid.IntRange(1, 3).Draw(c.T, "pieces") {
		p := slabs(string(rune('a'+i)), rapid.IntRange(1, 12).Draw(c.T, "casts"))
		p.Finish = rapid.SampledFrom([]string{"", "bare", "enamel"}).Draw(c.T, "finish")
		p.Pair = rapid.Bool().Draw(c.T, "pair")
		if rapid.Bool().Draw(c.T, "zones") {
			p.Zones = []brief.Zone{{Name: "spots", Finish: "flake", Count: rapid.IntRange(1, 5).Draw(c.T, "count"), Shape: brief.ZoneShape{Spot: &geometry.Spot{Diameter: 0.2}}}}
		}
		b.Pieces = append(b.Pieces, p)
	}
	if rapid.Bool().Draw(c.T, "delivered") {
		b.Delivery = &brief.Delivery{Distance: float64(rapid.IntRange(0, 900).Draw(c.T, "km")), Consignments: 1}
	}
	return b
}

func (c chance) rate() unit.Decimal {
	n := rapid.IntRange(10_000, 250_000_000).Draw(c.T, "millionths")
	return ratebooktest.Decimal(c.of, fmt.Sprintf("%d.%06d", n/1_000_000, n%1_000_000))
}

// In any currency a quote adds up to the last minor unit: lines to the net, subtotals
// too, payments to the gross; tax is once the rate's on the net of its lines, rounded
// (EN 16931, BR-CO-17), and an amount has no more decimals than its currency.
func TestQuotesAddUpInThePartnersCurrency(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		c := chance{r, t}
		b, rate := c.brief(), c.rate()
		code := rapid.SampledFrom([]string{"JPY", "KWD", "EUR"}).Draw(r, "currency")
		b.Partner = &brief.PartnerTerms{Currency: code, Exchange: &rate}
		q := price(t, c.book(), b)
		addsUp(r, q, minorUnits()[code])
	})
}

func addsUp(t *rapid.T, q *quote.Quote, digits int) {
	var lines, payments, tax unit.Decimal
	for i := range q.Lines {
		l := &q.Lines[i]
		lines = lines.Add(l.Amount)
		if !l.Parts.Sum().Equal(l.Amount) || !unit.Extend(l.Quantity, l.UnitPrice, q.Edition.Currency).Equal(l.Amount) {
			t.Fatalf("%s: %s at %s is %s, of parts %s", l.Code, l.Quantity, l.UnitPrice, l.Amount, l.Parts.Sum())
		}
		if !l.Amount.RoundHAZ(uint8(digits)).Equal(l.Amount) {
			t.Fatalf("%s: %s has more than %d decimals", l.Code, l.Amount, digits)
		}
	}
	for _, p := range q.Payments {
		payments = payments.Add(p.Amount)
	}
	for _, x := range q.Taxes {
		tax = tax.Add(x.Tax)
		hundred := unit.Count(100).Decimal()
		if once, _ := x.Net.Mul(x.Percent).Div(hundred); !x.Tax.Equal(once.RoundHAZ(uint8(digits))) {
			t.Fatalf("tax of %s %% on %s is %s", x.Percent, x.Net, x.Tax)
		}
	}
	subtotals := func(list []quote.Subtotal) (sum unit.Decimal) {
		for _, s := range list {
			sum = sum.Add(s.Amount)
		}
		return sum
	}
	for what, got := range map[string]unit.Decimal{"lines": lines, "pieces": subtotals(q.ByPiece), "stages": subtotals(q.ByStage), "gross less tax": q.Gross.Sub(tax), "payments less tax": payments.Sub(tax)} {
		if !got.Equal(q.Net) {
			t.Fatalf("%s: %s, net %s", what, got, q.Net)
		}
	}
}

// At 1 in a currency with as many decimals every figure is the studio's own, digit for
// digit; the currency's code and the line that says the rate are all that differs.
func TestAtOneNothingChanges(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		c := chance{r, t}
		b, book := c.brief(), c.book()
		own := encoded(t, price(t, book, b), true)
		b.Partner = in(t, "EUR", "1")
		q := price(t, book, b)
		q.Assumptions = q.Assumptions[1:]
		if got := bytes.ReplaceAll(encoded(t, q, true), []byte(`"EUR"`), []byte(`"GBP"`)); !bytes.Equal(got, own) {
			r.Fatalf("got\n%s\nwant\n%s", got, own)
		}
	})
}

// Twice the rate is twice the cost of each line, within what was rounded: half a minor
// unit on one and twice that on the other, and on each unit cost half of its last
// decimal, three times over.
func TestTwiceTheRateIsTwiceTheCost(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		c := chance{r, t}
		b, book, rate := c.brief(), c.book(), c.rate()
		double := rate.Add(rate)
		b.Partner = &brief.PartnerTerms{Currency: "EUR", Exchange: &rate}
		once := price(t, book, b).Workings.Costs
		b.Partner = &brief.PartnerTerms{Currency: "EUR", Exchange: &double}
		twice := price(t, book, b).Workings.Costs
		for i := range once {
			l := &once[i]
			if l.Kind == cost.LeftOver {
				break // other packs may be the cheapest once prices are rounded
			}
			allowed := ratebooktest.Decimal(t, "0.015").Add(l.Quantity.Decimal().Mul(ratebooktest.Decimal(t, "0.0000015")))
			if off := twice[i].Cost.Sub(l.Cost.Add(l.Cost)).Abs(); off.GreaterThan(allowed) {
				r.Fatalf("%s: %s at %s, %s at %s", l.Description(), l.Cost, rate, twice[i].Cost, double)
			}
		}
	})
}

// No finish outside the terms is ever priced, on a cast or a zone, in the brief or in an
// option; and a brief whose finishes are all within them is.
func TestNoOtherFinishIsPriced(t *testing.T) {
	e := ratebooktest.Tiny(t)
	rapid.Check(t, func(r *rapid.T) {
		c := chance{r, t}
		b, with := c.brief(), c.brief()
		b.Partner = &brief.PartnerTerms{Finishes: rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"bare", "enamel", "flake"}), 1, 3, rapid.ID).Draw(r, "finishes")}
		b.Options = []brief.Option{{Code: "o", Name: "O", Pieces: with.Pieces}}
		allowed := within(b.Pieces, b.Partner.Finishes) && within(with.Pieces, b.Partner.Finishes)
		q, err := estimate.Price(b, e)
		if (err == nil) != allowed {
			r.Fatalf("finishes %v: %v", b.Partner.Finishes, err)
		}
		if err != nil {
			return
		}
		for i := range q.Pieces {
			for _, code := range finishesOf(&q.Pieces[i]) {
				if !slices.Contains(b.Partner.Finishes, code) {
					r.Fatalf("%s was priced", code)
				}
			}
		}
	})
}

// within says whether pieces take no finish but these, the tiny studio's usual one
// included.
func within(pieces []brief.Piece, finishes []string) bool {
	for i := range pieces {
		usual := pieces[i].Finish
		if usual == "" {
			usual = "bare"
		}
		if !slices.Contains(finishes, usual) || len(pieces[i].Zones) > 0 && !slices.Contains(finishes, "flake") {
			return false
		}
	}
	return true
}

func finishesOf(p *quote.Piece) []string {
	codes := []string{p.Treatment.Code}
	for i := range p.Zones {
		codes = append(codes, p.Zones[i].Treatment.Code)
	}
	return codes
}

// The dearest rates that are taken stay exact: every figure of a studio at its highest
// prices, a hundred thousand times over.
func TestTheHighestRateAddsUp(t *testing.T) {
	book := ratebooktest.Book(t)
	most := ratebooktest.Decimal(t, "999999.9999")
	for i := range book.Skills {
		book.Skills[i].HourlyRate = most
	}
	ratebooktest.Operation(t, book, "crate").ChargePerUnit = most
	book.Policies.Terms = ratebook.Terms{OverheadPerHour: most, Margin: ratebooktest.Decimal(t, "95")}
	rapid.Check(t, func(r *rapid.T) {
		b := chance{r, t}.brief()
		for i := range b.Pieces {
			b.Pieces[i].Quantity *= 50
		}
		b.Partner = in(t, "JPY", "99999.999999")
		addsUp(r, price(t, book, b), 0)
	})
}

// Half the hours at twice the pay, and a markup of 25 % in place of a margin of 20 %, are
// the same price: what a client sees of the two quotes is the same to the last byte, so
// that nothing in it tells hours, hourly rates or how cost became price.
func TestAClientSeesNoWayToThePrice(t *testing.T) {
	a := slabs("a", 4)
	a.Finish, a.Zones = "enamel", []brief.Zone{{Name: "spots", Finish: "flake", Count: 2, Shape: brief.ZoneShape{Panel: &brief.Panel{Share: 0.05, Edge: 1}}}}
	b := job(a, slabs("b", 1))
	b.Delivery = &brief.Delivery{Distance: 50, Consignments: 1}
	fast := "fast"
	b.Options = []brief.Option{{Code: "fast", Name: "Sooner", Rush: &fast}}
	for _, terms := range []*brief.PartnerTerms{nil, in(t, "EUR", "1.25")} {
		b.Partner = terms
		slow := price(t, studio(t, 2, "10", "20", "0"), b)
		quick := price(t, studio(t, 1, "20", "0", "25"), b)
		if slow.Workings.Skills[0].Hours == quick.Workings.Skills[0].Hours {
			t.Fatal("the hours are the same: nothing is shown")
		}
		if one, other := string(encoded(t, slow, false)), string(encoded(t, quick, false)); one != other {
			t.Errorf("a client's quotes differ:\n%s\n%s", one, other)
		}
		if one, other := clientText(t, slow), clientText(t, quick); one != other {
			t.Errorf("a client's copies differ:\n%s\n%s", one, other)
		}
	}
}

// studio takes so many round hours for each unit of every operation, at one rate for all.
func studio(t *testing.T, hours float64, hourly, margin, markup string) *ratebook.Book {
	t.Helper()
	book := ratebooktest.Book(t)
	for i := range book.Skills {
		book.Skills[i].HourlyRate = ratebooktest.Decimal(t, hourly)
	}
	book.Equipment[0].HourlyRate = unit.Decimal{} // it is held for as long as the work takes
	for i := range book.Operations {
		o := &book.Operations[i]
		if o.Skill == "" {
			continue
		}
		o.SetupHours, o.LearningRate, o.HoursPerUnit = hours, 1, unit.Range{}
	}
	book.Policies.Terms = ratebook.Terms{Margin: ratebooktest.Decimal(t, margin), Markup: ratebooktest.Decimal(t, markup)}
	return book
}

func clientText(t *testing.T, q *quote.Quote) string {
	t.Helper()
	var text strings.Builder
	if err := document.ClientText(&text, q); err != nil {
		t.Fatal(err)
	}
	return text.String()
}

// The invented partner's brief, through the desk: in euros, without tax, and in two lines
// of the client's copy what is agreed.
func TestThePartnersBrief(t *testing.T) {
	b, book := demoBrief(t, "toadstools-for-a-partner")
	q, err := estimate.Price(b, book.Edition)
	if err != nil {
		t.Fatal(err)
	}
	text := clientText(t, q)
	for _, line := range []string{"All prices in EUR, by rate book demo-2026.1", "- Priced in EUR at 1.1523 EUR for 1 GBP, agreed with the partner."} {
		if !strings.Contains(text, "\n"+line+"\n") {
			t.Errorf("no line %q in\n%s", line, text)
		}
	}
	for _, secret := range []string{"7.5 %", "35 %", "discount", "margin", "GBP 1"} {
		if strings.Contains(text, secret) {
			t.Errorf("the client reads %q", secret)
		}
	}
	if !q.Gross.Equal(q.Net) || !q.Workings.Steps[len(q.Workings.Steps)-1].Amount.IsNeg() {
		t.Errorf("gross %s of net %s; last step %+v", q.Gross, q.Net, q.Workings.Steps[len(q.Workings.Steps)-1])
	}
}
