// Package quote holds a priced brief: lines that explain themselves and sum to
// the total, measures, assumptions, exclusions, warnings and cautions, with the
// studio's own workings behind them. Measures, costs and prices flow in; a value
// that can be printed, compared and explained flows out.
//
// Money is exact decimal in the rate book's currency.
package quote

import (
	"fmt"
	"time"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/cost"
	"github.com/mouldwright/mouldwright/internal/derivation"
	"github.com/mouldwright/mouldwright/internal/labour"
	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/method"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/takeoff"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Quote is a priced brief.
type Quote struct {
	Brief       *brief.Brief
	Edition     *ratebook.Edition
	Fingerprint string // set by the door that read the brief
	Pieces      []Piece
	Lines       []Line
	ByPiece     []Subtotal
	ByStage     []Subtotal
	ByZone      []ZoneCount
	Net         unit.Decimal
	Taxes       []margin.TaxLine
	Gross       unit.Decimal
	Payments    []Payment
	Options     []Option
	Assumptions []string
	Exclusions  []string
	Warnings    []string
	Cautions    []Caution
	Workings    Workings
}

// Piece is a piece's measures and the mass of one cast.
type Piece struct {
	takeoff.Piece
	Load method.Load
}

// Line is a price line and the piece and zone that it is for.
type Line struct {
	margin.Line
	Of     *Piece        // nil for the job
	OfZone *takeoff.Zone // nil where it is for no zone
	life   int           // casts that a mould gives
}

// Subtotal is a sum of lines.
type Subtotal struct {
	Piece       string
	Stage       ratebook.Stage // StageUnknown for all stages
	Description string
	Amount      unit.Decimal
}

// ZoneCount is how many zones of one name and finish the job has over all its
// casts: the multiplicity that makes this trade dear.
type ZoneCount struct {
	Name   string
	Finish string // code
	Count  int
	Steps  derivation.Derivation
}

// Payment is a payment that falls due.
type Payment struct {
	ratebook.StageShare
	Amount unit.Decimal
}

// Option is an alternative's price.
type Option struct {
	Code, Name string
	Net        unit.Decimal
	Difference unit.Decimal
}

// Route is what the two routes cost against each other for one piece.
type Route struct {
	Piece     string
	Moulded   unit.Decimal
	Direct    unit.Decimal
	BreakEven int // casts of each hand; 0 for never
}

// Workings are the studio's own.
type Workings struct {
	Labour    []labour.Line
	Skills    []labour.SkillHours
	Costs     []cost.Line
	Steps     []margin.Step
	Purchases []cost.Purchase
	Routes    []Route
}

// ValidUntil returns the last day that the quote stands; zero where the brief
// says no day that it was priced on.
func (q *Quote) ValidUntil() time.Time {
	if q.Brief.PreparedOn.IsZero() {
		return time.Time{}
	}
	return q.Brief.PreparedOn.AddDate(0, 0, q.Edition.Policies.ValidityDays)
}

// Derivation returns the steps to how many the line is for.
func (l *Line) Derivation() derivation.Derivation {
	switch {
	case l.Of == nil:
		return one(l.Quantity.Float(), l.jobWord())
	case l.OfZone != nil:
		return l.Of.zoneSteps(l.OfZone)
	case l.Stage == ratebook.PatternStage && !l.Of.Direct:
		return one(float64(l.Of.Patterns()), plural("pattern", l.Of.Patterns()))
	case l.Stage == ratebook.MouldStage && !l.Of.Direct:
		return l.Of.mouldSteps(l.life)
	case l.Stage == ratebook.Design:
		return one(l.Quantity.Float(), "piece")
	default:
		return l.Of.castSteps()
	}
}

// Counted names what the line's quantity counts.
func (l *Line) Counted() string {
	n := int(l.Quantity.Float())
	switch {
	case l.Of == nil:
		return l.jobWord()
	case l.OfZone != nil:
		return plural("area", n)
	case l.Stage == ratebook.PatternStage && !l.Of.Direct:
		return plural("pattern", n)
	case l.Stage == ratebook.MouldStage:
		return plural("mould", n)
	case l.Stage == ratebook.Design:
		return plural("piece", n)
	default:
		return plural("cast", n)
	}
}

func (l *Line) jobWord() string {
	if l.Stage == ratebook.Dispatch {
		return plural("consignment", int(l.Quantity.Float()))
	}
	return "job"
}

func one(n float64, what string) derivation.Derivation {
	return derivation.Derivation{derivation.Do(derivation.Sum, what, "", derivation.Term{Value: n, Label: what})}
}

func plural(word string, n int) string {
	if n == 1 {
		return word
	}
	return word + "s"
}

func (p *Piece) castSteps() derivation.Derivation {
	if !p.Pair {
		return one(float64(p.Quantity), plural("cast", p.Quantity))
	}
	return derivation.Derivation{derivation.Do(derivation.Product, "casts", "",
		derivation.Term{Value: 2, Label: "hands"}, derivation.Term{Value: float64(p.Quantity), Label: plural("cast", p.Quantity)})}
}

func (p *Piece) zoneSteps(z *takeoff.Zone) derivation.Derivation {
	steps := derivation.Derivation{}
	if p.Pair {
		steps = p.castSteps()
	}
	return append(steps, derivation.Do(derivation.Product, z.Name, "",
		derivation.Term{Value: float64(p.Casts()), Label: plural("cast", p.Casts())},
		derivation.Term{Value: float64(z.Count), Label: z.Name + " on each"}))
}

func (p *Piece) mouldSteps(life int) derivation.Derivation {
	hands := derivation.Term{Value: float64(p.Hands()), Label: plural("hand", p.Hands())}
	each := derivation.Term{Value: float64(len(p.Pulls)), Label: plural("mould", len(p.Pulls)) + " a hand"}
	total := derivation.Do(derivation.Product, plural("mould", p.Moulds()), "", hands, each)
	byLife := derivation.Do(derivation.RoundUp, each.Label, "",
		derivation.Term{Value: float64(p.Quantity), Label: plural("cast", p.Quantity)},
		derivation.Term{Value: float64(life), Label: "casts from a mould"})
	if p.Hands() == 1 && byLife.Result.Value == each.Value {
		byLife.Result.Label = plural("mould", p.Moulds())
		return derivation.Derivation{byLife}
	}
	if byLife.Result.Value != each.Value { // the brief asks for more
		each.Label += " as asked for"
		return derivation.Derivation{derivation.Do(derivation.Product, plural("mould", p.Moulds()), "", hands, each)}
	}
	return derivation.Derivation{byLife, total}
}

// lineName says in words what a line of one stage is.
func lineName(p *Piece, s ratebook.Stage, z *takeoff.Zone) string {
	if z != nil {
		return p.Name + ": " + z.Name + ", " + z.Treatment.Name + colourWords(z.Colour)
	}
	return p.Name + ": " + stageWords(p, s)
}

func stageWords(p *Piece, s ratebook.Stage) string {
	switch s {
	case ratebook.Design:
		return "drawings and setting out"
	case ratebook.PatternStage:
		if p.Direct {
			return "foam body, carved"
		}
		return "pattern"
	case ratebook.MouldStage:
		return fmt.Sprintf("mould in %d %s", p.MouldParts, plural("piece", p.MouldParts))
	case ratebook.CastStage:
		return "laminate, " + p.Laminate.Name
	case ratebook.Assembly:
		return "trimming, joining and fixings"
	case ratebook.FinishStage:
		return "finish, " + p.Treatment.Name + colourWords(p.Colour)
	default:
		return "packing"
	}
}

func colourWords(colour string) string {
	if colour == "" {
		return ""
	}
	return ", " + colour
}

func jobName(b *brief.Brief, s ratebook.Stage) string {
	if s != ratebook.Dispatch {
		return "Management and " + s.String()
	}
	if b.Delivery == nil || b.Delivery.Place == "" {
		return "Delivery"
	}
	return "Delivery to " + b.Delivery.Place
}
