// Package brief holds what was asked: the pieces, their shapes and finishes,
// and the circumstances that change their price. It flows in from a door and
// out to the takeoff; Check finds every fault against a rate book at once.
//
// Lengths are in metres, areas in m2, volumes in m3, angles in radians.
package brief

import (
	"fmt"
	"time"

	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Brief is what was asked.
type Brief struct {
	Title      string
	Client     string
	Reference  string
	PreparedOn time.Time // a date; zero where none is given
	Deadline   time.Time
	Pieces     []Piece
	Delivery   *Delivery // nil for collection from the workshop
	Rush       string
	Tax        string
	Partner    *PartnerTerms
	Options    []Option
}

// Piece is one design, made a number of times.
type Piece struct {
	Code, Name string
	Quantity   int // casts of each hand
	Pair       bool
	Body       ratebook.Body
	Route      Route
	Form       Form
	Laminate   string
	Finish     string
	Colour     string
	Zones      []Zone
	Fixings    []Fixing
	Exposure   ratebook.Exposure // Outdoor where none is given
	Unsaid     bool              // no exposure was given
	Mould      Mould
	Texture    float64          // multiplies the surface, at least 1
	Size       *geometry.Extent // overall, where the form alone cannot say it
	Standing   float64          // m, height of its top above the ground; 0 for its own height
	Tax        string
}

// Hands returns how many hands the piece has.
func (p *Piece) Hands() int {
	if p.Pair {
		return 2
	}
	return 1
}

// Casts returns how many casts of all hands are made.
func (p *Piece) Casts() int { return p.Quantity * p.Hands() }

// Route is how a piece is made.
type Route int

// The routes.
const (
	Choose  Route = iota // the less costly of the two
	Moulded              // pattern, mould, casts
	Direct               // straight over coated foam
)

// String returns the route in words.
func (r Route) String() string {
	return [...]string{"the less costly route", "moulded", "direct over coated foam"}[r]
}

// Form is the shape of one cast: exactly one of its fields is set.
type Form struct {
	Solids []Solid
	// Whole names a form that is one solid by itself, "outline", "profile" or "sweep":
	// Solids then holds it alone. Empty for a list of solids.
	Whole    string
	Measured *Measured
	Mesh     *MeshForm
	// Later names a form that is not reckoned yet, such as "likeness"; empty otherwise.
	Later string
}

// Solid is a number of like solids.
type Solid struct {
	Kind    string // the shape's field name, such as "dome", for paths and words
	Shape   geometry.Solid
	Count   int
	Halved  bool
	Contact float64 // m2 that each loses where it meets its neighbour
	Joined  float64 // m of rim that each loses there
	Unread  string  // why the drawing that it is made from cannot be used; empty where it can, or is none
	EvenOdd float64 // m2 that the drawing would fill by the even-odd rule, where none was given and it is another area; otherwise 0
}

// Measure returns the measures of one such solid, whole or halved.
func (s Solid) Measure() geometry.Measures {
	if s.Halved {
		return s.Shape.Half()
	}
	return s.Shape.Measure()
}

// Measured holds measures that the caller already knows, of one cast.
type Measured struct {
	Surface    float64
	Volume     float64
	Rim        float64
	Size       geometry.Extent
	Silhouette float64 // 0 for width x height
}

// Zone is an area of the surface with its own finish.
type Zone struct {
	Name   string
	Finish string
	Count  int // on each cast
	Colour string
	Shape  ZoneShape
}

// ZoneShape is a zone's shape: exactly one of its fields is set.
type ZoneShape struct {
	Spot      *geometry.Spot
	Band      *Band
	Panel     *Panel
	Lettering *Lettering
	Stripe    *geometry.HelicalStripe
	// MeshArea names one of the areas that the mesh's file names; empty otherwise.
	MeshArea string
}

// Band runs round a turned form.
type Band struct {
	Width    float64
	Diameter float64 // 0 where a solid is named
	Solid    *int
	Height   float64 // above the solid's base
}

// Panel is a share of the surface.
type Panel struct {
	Share float64 // of the cast's moulded surface, above 0 to 1
	Edge  float64 // m; 0 where unknown
}

// Lettering is what a drawing fills, flat on the surface.
type Lettering struct {
	Area   float64 // m2
	Edge   float64 // m, holes included
	Unread string  // why the drawing cannot be used; empty where it can

	EvenOdd float64 // as that of a Solid
}

// Fixing is fixings of one kind in each cast.
type Fixing struct {
	Code  string
	Count int
}

// Mould is what is already known about the mould of one hand; zeros where
// nothing is.
type Mould struct {
	Pieces  int
	Parting *float64 // m
	PerHand int
}

// Delivery is how the work is delivered.
type Delivery struct {
	Distance     float64 // km, one way
	Consignments int
	Place        string
}

// PartnerTerms are terms agreed with a partner; what is nil or empty is as the rate
// book and the brief have it.
type PartnerTerms struct {
	Discount *unit.Decimal // percent
	Margin   *unit.Decimal // percent
	Currency string        // ISO 4217 code
	Exchange *unit.Decimal // units of the currency for one of the rate book's
	Tax      string        // code of the rate that all of the work is taxed at
	Finishes []string      // codes of those that may be ordered; none for all
}

// Option is a named change, priced as an alternative.
type Option struct {
	Code, Name string
	Pieces     []Piece
	Without    []string
	Delivery   *Delivery
	Rush       *string
}

// With returns the brief as the option would have it: pieces of the same code
// replaced, others added, some left out. The brief itself is not changed.
func (b *Brief) With(o *Option) *Brief {
	changed := *b
	changed.Options = nil
	changed.Pieces = replaced(b.Pieces, o)
	if o.Delivery != nil {
		changed.Delivery = o.Delivery
	}
	if o.Rush != nil {
		changed.Rush = *o.Rush
	}
	return &changed
}

func replaced(pieces []Piece, o *Option) []Piece {
	var out []Piece
	for i := range pieces {
		if hasCode(o.Without, pieces[i].Code) {
			continue
		}
		if with := pieceOf(o.Pieces, pieces[i].Code); with != nil {
			out = append(out, *with)
			continue
		}
		out = append(out, pieces[i])
	}
	for i := range o.Pieces {
		if pieceOf(pieces, o.Pieces[i].Code) == nil {
			out = append(out, o.Pieces[i])
		}
	}
	return out
}

func hasCode(codes []string, code string) bool {
	for _, c := range codes {
		if c == code {
			return true
		}
	}
	return false
}

func pieceOf(pieces []Piece, code string) *Piece {
	for i := range pieces {
		if pieces[i].Code == code {
			return &pieces[i]
		}
	}
	return nil
}

// DiameterOn returns the diameter in m of the form where the band runs: as
// given, or that of the solid it names at its height.
func (b *Band) DiameterOn(f *Form) (float64, error) {
	if b.Solid == nil {
		return b.Diameter, nil
	}
	turned, ok := f.Solids[*b.Solid].Shape.(geometry.Turned)
	if !ok {
		return 0, fmt.Errorf("solid %d is not turned; give the band a diameter instead", *b.Solid)
	}
	radius, err := turned.RadiusAt(b.Height)
	if err != nil {
		return 0, fmt.Errorf("off the solid: %w", err)
	}
	if radius <= 0 {
		return 0, fmt.Errorf("solid %d has no width at that height", *b.Solid)
	}
	return 2 * radius, nil
}
