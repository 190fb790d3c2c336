// Package document writes a quote for people to read. A quote flows in; text
// flows out, the same for the same quote.
package document

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// width is how many characters a line of text has at most, where words allow it.
const width = 100

// Columns of a table line, in characters.
const (
	amountColumn   = 12
	priceColumn    = 14
	quantityColumn = 12
)

// Text writes the quote as plain text of up to 100 columns, for the studio: the
// client's copy and then how cost became price. With workings it adds every
// operation, cost and purchase, each with its derivation.
func Text(w io.Writer, q *quote.Quote, workings bool) error {
	t := text{quote: q, currency: q.Edition.Currency}
	t.client()
	t.buildUp()
	if workings {
		t.parts()
		t.labour()
		t.costs()
		t.purchases()
	} else {
		t.line("")
		t.paragraph("", "", "Every operation, cost and purchase behind these figures: add --workings. A copy for the client: add --client.")
	}
	return t.write(w)
}

// ClientText writes what of the quote is the client's to see: no cost, no hours,
// no margin.
func ClientText(w io.Writer, q *quote.Quote) error {
	t := text{quote: q, currency: q.Edition.Currency}
	t.client()
	return t.write(w)
}

func (t *text) client() {
	t.head()
	t.pieces()
	t.lines()
	t.totals()
	t.options()
	t.says()
	t.cautions()
}

func (t *text) write(w io.Writer) error {
	_, err := io.WriteString(w, t.out.String())
	return err
}

type text struct {
	quote    *quote.Quote
	currency unit.Currency
	out      strings.Builder
}

func (t *text) line(format string, args ...any) {
	t.out.WriteString(strings.TrimRight(fmt.Sprintf(format, args...), " "))
	t.out.WriteByte('\n')
}

func (t *text) heading(title string) {
	t.line("")
	t.line("%s", strings.ToUpper(title))
	t.line("%s", strings.Repeat("─", width))
}

// paragraph writes words folded to the width, the first line after lead, the
// others after rest.
func (t *text) paragraph(lead, rest, words string) {
	line := lead
	for _, word := range strings.Fields(words) {
		if utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width && strings.TrimSpace(line) != "" {
			t.line("%s", line)
			line = rest
		}
		if line != "" && !strings.HasSuffix(line, " ") {
			line += " "
		}
		line += word
	}
	t.line("%s", line)
}

func (t *text) head() {
	q := t.quote
	t.line("%s", q.Brief.Title)
	if q.Brief.Client != "" {
		t.line("for %s", q.Brief.Client)
	}
	t.line("by %s", q.Edition.Studio)
	if q.Brief.Reference != "" {
		t.line("Reference %s", q.Brief.Reference)
	}
	if until := q.ValidUntil(); until.IsZero() {
		t.line("Stands %d days from the day it is sent", q.Edition.Policies.ValidityDays)
	} else {
		t.line("Priced %s, stands until %s", day(q.Brief.PreparedOn), day(until))
	}
	t.line("All prices in %s, by rate book %s", t.currency.Code, q.Edition.Revision)
	t.paragraph("", "", q.Edition.Basis)
	t.line("Fingerprint %s", q.Fingerprint)
}

func day(d time.Time) string { return d.Format("2 January 2006") }

func (t *text) pieces() {
	t.heading("What is made")
	for i := range t.quote.Pieces {
		t.piece(&t.quote.Pieces[i])
	}
	for _, z := range t.quote.ByZone {
		t.paragraph("", "    ", fmt.Sprintf("%s in all: %d (%s)", z.Name, z.Count, z.Steps.Words()))
	}
}

func (t *text) piece(p *quote.Piece) {
	t.line("%s (%s): %s", p.Name, p.Code, made(p))
	t.paragraph("    ", "    ", fmt.Sprintf("one cast: surface %s m², rim %.2f m, volume %s m³; weighs about %s kg; laminate %s, %.2f mm; finish %s",
		small(p.Surface, 3), p.Rim, small(p.Volume, 4), small(p.Load.Total(), 1), p.Laminate.Name, 1000*p.Thickness(), p.Treatment.Name))
	if !p.Direct {
		t.paragraph("    ", "    ", moulds(p))
	}
	for i := range p.Zones {
		z := &p.Zones[i]
		t.paragraph("    ", "    ", fmt.Sprintf("%s: %d on each of %s = %d, each %s m² with %.2f m of edge; %s",
			z.Name, z.Count, count(p.Casts(), "cast"), z.Total, small(z.Area, 3), z.Edge, z.Treatment.Name))
	}
}

func made(p *quote.Piece) string {
	casts := count(p.Casts(), "cast")
	if p.Pair {
		casts = fmt.Sprintf("2 hands × %d = %s", p.Quantity, casts)
	}
	route := "moulded"
	if p.Direct {
		route = "direct over coated foam"
	}
	return fmt.Sprintf("%s, %s body, %s, stands %s", casts, p.Body, route, p.Exposure)
}

func count(n int, word string) string {
	if n != 1 {
		word += "s"
	}
	return fmt.Sprintf("%d %s", n, word)
}

// small writes a figure to so many decimals, or to two digits where that would
// leave nothing of it.
func small(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if v > 0 && strings.Trim(text, "0.") == "" {
		return strconv.FormatFloat(v, 'g', 2, 64)
	}
	return text
}

func moulds(p *quote.Piece) string {
	hand := ""
	if p.Pair {
		hand = " of each hand"
	}
	return fmt.Sprintf("%s, %s in %s; pulls from each mould%s: %s; parting line %.2f m, flange %s m²",
		count(p.Patterns(), "pattern"), count(p.Moulds(), "mould"), count(p.MouldParts, "piece"), hand, pulls(p.Pulls), p.Parting, small(p.Flange, 3))
}

// pulls writes how many casts each mould gives, like ones together.
func pulls(each []int) string {
	var runs []string
	for from := 0; from < len(each); {
		to := from
		for to < len(each) && each[to] == each[from] {
			to++
		}
		run := strconv.Itoa(each[from])
		if to-from > 1 {
			run += fmt.Sprintf(" (%d moulds)", to-from)
		}
		runs, from = append(runs, run), to
	}
	return strings.Join(runs, ", ")
}

// row writes a line of the price table: words on the left, figures on the right.
func (t *text) row(words, quantity, price, amount string) {
	figures := right(quantity, quantityColumn) + right(price, priceColumn) + right(amount, amountColumn)
	room := width - utf8.RuneCountInString(figures)
	folded := fold(words, room-1)
	for i, part := range folded {
		if i == len(folded)-1 {
			t.line("%s%s", left(part, room), figures)
			return
		}
		t.line("%s", part)
	}
}

func right(s string, n int) string {
	return strings.Repeat(" ", max(1, n-utf8.RuneCountInString(s))) + s
}

func left(s string, n int) string {
	return s + strings.Repeat(" ", max(0, n-utf8.RuneCountInString(s)))
}

// fold breaks words into lines of at most n characters, all under the first
// line's indent.
func fold(words string, n int) []string {
	indent := words[:len(words)-len(strings.TrimLeft(words, " "))]
	var lines []string
	line := indent
	for _, word := range strings.Fields(words) {
		if len(line) > len(indent) && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > n {
			lines = append(lines, line)
			line = indent + "  "
		}
		if strings.TrimSpace(line) != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}

func (t *text) money(d unit.Decimal) string { return t.currency.FormatGrouped(d) }

// price writes a unit price with all its decimals.
func (t *text) price(d unit.Decimal) string { return unit.Grouped(t.currency.FormatPrice(d)) }

func (t *text) lines() {
	t.heading("Price")
	t.row("", "quantity", "unit price", "amount")
	for i := range t.quote.ByPiece {
		s := &t.quote.ByPiece[i]
		t.line("%s", s.Description)
		for j := range t.quote.Lines {
			if l := &t.quote.Lines[j]; l.Piece == s.Piece {
				t.priceLine(l)
			}
		}
		t.row(s.Description+", in all", "", "", t.money(s.Amount))
		t.line("")
	}
}

func (t *text) priceLine(l *quote.Line) {
	words := l.Description
	if l.Of != nil {
		words = strings.TrimPrefix(words, l.Of.Name+": ")
	}
	t.row("  "+words, counted(l), t.price(l.UnitPrice), t.money(l.Amount))
	if why := l.Derivation().Words(); strings.ContainsAny(why, "×÷") {
		t.paragraph("      ", "      ", why)
	}
}

func counted(l *quote.Line) string {
	return fmt.Sprintf("%d %s", int(l.Quantity.Float()), l.Counted())
}

func (t *text) totals() {
	t.line("By stage of the work")
	for _, s := range t.quote.ByStage {
		t.row("  "+s.Description, "", "", t.money(s.Amount))
	}
	t.line("%s", strings.Repeat("─", width))
	t.row("Net", "", "", t.money(t.quote.Net))
	for _, tax := range t.quote.Taxes {
		t.row(fmt.Sprintf("%s on %s", tax.Name, t.money(tax.Net)), "", "", t.money(tax.Tax))
	}
	t.row("To pay", "", "", t.money(t.quote.Gross))
	for _, p := range t.quote.Payments {
		t.row(fmt.Sprintf("  of it %s %% %s", p.Percent, p.Name), "", "", t.money(p.Amount))
	}
}

func (t *text) options() {
	if len(t.quote.Options) == 0 {
		return
	}
	t.heading("Alternatives")
	t.row("", "", "net", "difference")
	for _, o := range t.quote.Options {
		sign := "+"
		if o.Difference.IsNeg() {
			sign = ""
		}
		t.row(o.Name, "", t.money(o.Net), sign+t.money(o.Difference))
	}
}

func (t *text) says() {
	for _, list := range []struct {
		title string
		items []string
	}{{"Assumed", t.quote.Assumptions}, {"Left out", t.quote.Exclusions}, {"To look at again", t.quote.Warnings}} {
		if len(list.items) == 0 {
			continue
		}
		t.heading(list.title)
		for _, item := range list.items {
			t.paragraph("- ", "  ", item)
		}
	}
}

func (t *text) cautions() {
	t.heading("Cautions for this job")
	for _, c := range t.quote.Cautions {
		t.paragraph("- ", "  ", c.Title+". "+c.Text)
		t.paragraph("    ", "    ", "Because: "+c.Because+". Decides: "+c.DecidedBy+". Source: "+c.Source)
	}
}

func (t *text) buildUp() {
	t.heading("The studio's own: from cost to price")
	for _, s := range t.quote.Workings.Steps {
		t.row(s.Description, "", t.money(s.Amount), t.money(s.Running))
	}
	t.line("Hours by skill")
	for _, s := range t.quote.Workings.Skills {
		t.row("  "+s.Name, s.Hours.String(), "", "")
	}
	for _, r := range t.quote.Workings.Routes {
		t.paragraph("", "  ", t.route(&r))
	}
}

func (t *text) route(r *quote.Route) string {
	text := fmt.Sprintf("%s by itself, work, materials and overhead: moulded %s, direct %s", r.Piece, t.money(r.Moulded), t.money(r.Direct))
	if r.BreakEven == 0 {
		return text + "; moulds do not pay for any quantity up to 10,000"
	}
	return fmt.Sprintf("%s; moulds pay from %s of each hand", text, count(r.BreakEven, "cast"))
}
