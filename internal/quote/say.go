package quote

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/laminate"
	"github.com/mouldwright/mouldwright/internal/ratebook"
)

// mouldFactor is how many times thicker than its casts a mould should be.
// Source: Practical Action technical brief "Fibreglass boat building", p. 7.
const mouldFactor = 2

// Notes returns what was assumed about a brief's pieces and what to look at
// again.
func Notes(c *Costing) (assumptions, warnings []string) {
	n := notes{edition: c.Edition}
	for i := range c.Pieces {
		n.assumed(&c.Pieces[i])
		n.warn(&c.Pieces[i])
	}
	if c.Brief.Delivery == nil {
		n.assume("No delivery was asked for: the work is collected from the workshop.")
	}
	if !c.Brief.Deadline.IsZero() {
		n.look("The deadline is noted; this price does not yet check it against a plan of the work.")
	}
	return n.assumptions, n.warnings
}

// leastRatePlaces is how many decimals a rate of exchange is written with at least: one
// with more keeps them.
// Common practice, no source.
const leastRatePlaces = 4

// exchange says at which rate prices are in a currency that is not the rate book's own.
func exchange(e *ratebook.Edition) []string {
	if e.Exchange == nil {
		return nil
	}
	rate := e.Exchange.Rate
	return []string{fmt.Sprintf("Priced in %s at %s %[1]s for 1 %[3]s, agreed with the partner.",
		e.Currency.Code, rate.StringFixed(leastRatePlaces), e.Own().Code)}
}

// notes gathers what to say.
type notes struct {
	edition               *ratebook.Edition
	assumptions, warnings []string
}

func (n *notes) assume(format string, args ...any) {
	n.assumptions = append(n.assumptions, fmt.Sprintf(format, args...))
}

func (n *notes) look(format string, args ...any) {
	n.warnings = append(n.warnings, fmt.Sprintf(format, args...))
}

func (n *notes) assumed(p *Piece) {
	asked := p.Piece.Piece
	if asked.Laminate == "" {
		n.assume("%s: laminate %q, the studio's usual.", p.Name, p.Laminate.Name)
	}
	if asked.Finish == "" {
		n.assume("%s: finish %q, the studio's usual.", p.Name, p.Treatment.Name)
	}
	if asked.Body == ratebook.BodyUnknown {
		n.assume("%s: taken as %s, from its form.", p.Name, p.Body)
	}
	if asked.Unsaid {
		n.assume("%s: taken to stand outdoors, the more demanding.", p.Name)
	}
	n.assumedMesh(p, asked)
	n.assumedFill(p, asked)
	n.assumedMould(p, asked)
	n.assumedZones(p)
	if len(asked.Form.Solids) > 0 && asked.Size == nil {
		n.assume("%s: overall size %s; %s.", p.Name, size(p), p.Basis.Size)
	}
}

// assumedMesh says what a piece made from a mesh was measured from.
func (n *notes) assumedMesh(p *Piece, asked *brief.Piece) {
	if p.Sheet == nil {
		return
	}
	n.assume("%s: measured from %s at %.10g times its size, which makes it %s; surface: %s; foam: %s.",
		p.Name, asked.Form.Mesh.Name, p.Sheet.Scale, size(p), p.Sheet.SurfaceBasis(), p.Sheet.VolumeBasis())
	for _, w := range p.Sheet.Warnings {
		n.look("%s: %s.", p.Name, w.Says)
	}
}

// assumedFill says how drawings that overlap themselves were filled, where the brief does
// not say.
func (n *notes) assumedFill(p *Piece, asked *brief.Piece) {
	const rule = "nothing says how subpaths fill where they overlap: all of it (nonzero); by the even-odd rule, which leaves holes, it would be %.5f m²."
	for _, s := range asked.Form.Solids {
		if s.EvenOdd > 0 {
			n.assume("%s: "+rule, p.Name, s.EvenOdd)
		}
	}
	for i := range p.Zones {
		if z := &p.Zones[i]; z.Shape.Lettering != nil && z.Shape.Lettering.EvenOdd > 0 {
			n.assume("%s, %s: "+rule, p.Name, z.Name, z.Shape.Lettering.EvenOdd)
		}
	}
}

func size(p *Piece) string {
	x := p.Extent
	return fmt.Sprintf("%.0f × %.0f × %.0f mm", 1000*x.Width, 1000*x.Depth, 1000*x.Height)
}

func (n *notes) assumedMould(p *Piece, asked *brief.Piece) {
	if asked.Route == brief.Choose {
		route := brief.Moulded
		if p.Direct {
			route = brief.Direct
		}
		why := "the less costly route for this quantity, reckoned by itself"
		if p.NeedsGelcoat() {
			why = "since its finish is the gelcoat of a mould"
		}
		n.assume("%s: made %s, %s.", p.Name, route, why)
	}
	if p.Direct {
		return
	}
	switch {
	case asked.Mould.Pieces == 0 && p.Sheet != nil:
		n.assume("%s: a mould in %d %s, suggested from straight pulls with 2 degrees of draft and not proven.", p.Name, p.MouldParts, plural("piece", p.MouldParts))
	case asked.Mould.Pieces == 0:
		n.assume("%s: a mould in %d %s, usual for %s body.", p.Name, p.MouldParts, plural("piece", p.MouldParts), withArticle(p.Body))
	}
	if asked.Mould.Parting == nil && p.Parting > 0 {
		n.assume("%s: parting line of %.2f m: %s.", p.Name, p.Parting, p.Basis.Parting)
	}
}

func (n *notes) assumedZones(p *Piece) {
	for i := range p.Zones {
		if z := &p.Zones[i]; z.Shape.Panel != nil && z.Shape.Panel.Edge == 0 {
			n.assume("%s, %s: edge to mask of %.2f m each is %s.", p.Name, z.Name, z.Edge, z.Basis)
		}
	}
}

func (n *notes) warn(p *Piece) {
	for _, w := range p.Warnings {
		n.look("%s: %s.", p.Name, w)
	}
	if !p.Treatment.StandsUpTo(p.Exposure) {
		n.look("%s: finish %q is not meant to stand %s.", p.Name, p.Treatment.Name, p.Exposure)
	}
	for i := range p.Zones {
		if z := &p.Zones[i]; !z.Treatment.StandsUpTo(p.Exposure) {
			n.look("%s, %s: finish %q is not meant to stand %s.", p.Name, z.Name, z.Treatment.Name, p.Exposure)
		}
	}
	if own := p.Extent.Height; p.Standing > 0 && p.Standing < own {
		n.look("%s: it was said to stand %.0f mm high, but is %.0f mm high itself; the greater is taken.", p.Name, 1000*p.Standing, 1000*own)
	}
	if p.Direct {
		n.warnDirect(p)
		return
	}
	n.warnMould(p)
}

func (n *notes) warnDirect(p *Piece) {
	if m := p.Mould; m.Pieces > 0 || m.PerHand > 0 || m.Parting != nil {
		n.look("%s: what the brief says of a mould is not used, since each one is carved.", p.Name)
	}
}

func (n *notes) warnMould(p *Piece) {
	least, err := laminate.MouldThickness(p.Thickness(), mouldFactor)
	if mould := n.edition.MouldSchedule.SkinThickness; err == nil && mould < least {
		n.look("%s: the studio's mould laminate is %.1f mm thick; %.1f mm, twice the cast, is usual.", p.Name, 1000*mould, 1000*least)
	}
	if p.Body == ratebook.Closed && (p.MouldParts == 1 || p.Parting == 0) {
		n.look("%s: a closed body from a mould in one piece, or without a parting line, cannot be taken out of it.", p.Name)
	}
	if p.Sheet != nil && p.Sheet.Mirrored && p.Hands() == 2 {
		n.look("%s: the mesh is its own mirror image, so one mould serves both hands; make it single, with the quantity of both, to pay for one.", p.Name)
	}
	if p.Laminate.GelcoatMaterial == nil {
		n.look("%s: laminate %q has no gelcoat, which is usual in a mould.", p.Name, p.Laminate.Name)
	}
}

func withArticle(b ratebook.Body) string {
	if b == ratebook.OpenBacked {
		return "an " + b.String()
	}
	return "a " + b.String()
}
