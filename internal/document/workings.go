package document

import (
	"fmt"
	"strings"

	"github.com/mouldwright/mouldwright/internal/cost"
	"github.com/mouldwright/mouldwright/internal/labour"
	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// where is the piece and zone of a line of workings.
func where(w *labour.Line) string {
	if w == nil || w.Piece == nil {
		return "Whole job"
	}
	if w.Zone != nil {
		return w.Piece.Name + ", " + w.Zone.Name
	}
	return w.Piece.Name
}

// parts shows for each price line what it is made of; the parts add up to it.
func (t *text) parts() {
	t.heading("The studio's own: what each price is made of")
	for i := range t.quote.Lines {
		l := &t.quote.Lines[i]
		t.row(l.Description, "", "", t.money(l.Amount))
		t.paragraph("      ", "      ", t.partWords(&l.Parts))
	}
}

func (t *text) partWords(p *margin.Parts) string {
	words := "own cost lines " + t.money(p.Cost)
	for _, part := range []struct {
		name   string
		amount unit.Decimal
	}{
		{"share of what packs leave over", p.LeftOver},
		{"overhead", p.Overhead},
		{"contingency", p.Contingency},
		{"margin", p.Margin},
		{"rush", p.Rush},
		{"discount", p.Discount},
		{"to the minimum", p.Minimum},
	} {
		switch {
		case part.amount.IsNeg():
			words += " − " + part.name + " " + t.money(part.amount.Neg())
		case part.amount.IsPos():
			words += " + " + part.name + " " + t.money(part.amount)
		}
	}
	return words
}

func (t *text) labour() {
	t.heading("The studio's own: operations and hours")
	last := ""
	for i := range t.quote.Workings.Labour {
		l := &t.quote.Workings.Labour[i]
		if at := where(l) + ": " + l.Stage.String(); at != last {
			t.line("%s", at)
			last = at
		}
		t.row("  "+l.Name+skill(l), l.Hours.String(), "", "")
		t.paragraph("      ", "      ", l.Derivation().Words())
	}
}

func skill(l *labour.Line) string {
	if l.Paid == nil {
		return ""
	}
	return " (" + l.Paid.Name + ")"
}

func (t *text) costs() {
	t.heading("The studio's own: cost lines")
	last := ""
	for i := range t.quote.Workings.Costs {
		l := &t.quote.Workings.Costs[i]
		if at := where(l.Work) + ": " + stage(l); at != last {
			t.line("%s", at)
			last = at
		}
		t.row("  "+l.Description(), l.Quantity.String(), t.price(l.UnitCost), t.money(l.Cost))
		if l.Kind == cost.Material || l.Kind == cost.BoughtIn {
			t.paragraph("      ", "      ", l.Derivation().Words())
		}
	}
}

func stage(l *cost.Line) string {
	if l.Work == nil {
		return "whole packs"
	}
	return l.Work.Stage.String()
}

func (t *text) purchases() {
	t.heading("The studio's own: what to buy")
	for i := range t.quote.Workings.Purchases {
		p := &t.quote.Workings.Purchases[i]
		var packs []string
		for j, n := range p.Counts {
			if n > 0 {
				packs = append(packs, fmt.Sprint(n)+" × "+packName(p, j))
			}
		}
		note := ""
		if p.Material.KeptInStock {
			note = ", from stock"
		}
		t.row("  "+p.Material.Name+note, p.Used.String(), "", t.money(p.Cost))
		t.paragraph("      ", "      ", strings.Join(packs, ", ")+"; left over "+p.LeftOver.String()+"; "+p.Basis)
	}
}

func packName(p *cost.Purchase, i int) string {
	if name := p.Material.Packs[i].Name; name != "" {
		return name
	}
	return p.Material.Packs[i].Size.String()
}
