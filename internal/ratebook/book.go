// Package ratebook holds the studio's own data: what it buys, who works, how
// the work is done, and on which terms it sells. A Book is the document as
// written; an Edition is a book that was checked, with every code resolved, and
// is what the rest of the core reads. Flow: document in, edition or all of its
// faults out.
//
// Lengths are in metres, areas in m2, volumes in m3, masses in kg, times in
// hours, temperatures in degrees Celsius, shares as fractions of one, prices
// exact decimals in the book's currency; films of paint are in micrometres and
// percentages of money stay decimal percent, as the trade writes both.
package ratebook

import (
	"github.com/mouldwright/mouldwright/internal/gelcoat"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Book is a rate book as written.
type Book struct {
	Revision   string
	Studio     string
	Basis      string // where the figures come from
	Currency   unit.Currency
	Skills     []Skill
	Equipment  []Equipment
	Materials  []Material
	Laminates  []Laminate
	Operations []Operation
	Method     Method
	Finishes   []Finish
	Fixings    []Fixing
	Cautions   []Caution
	Policies   Policies
}

// Skill is paid by the hour.
type Skill struct {
	Code, Name string
	HourlyRate unit.Decimal // loaded cost of an hour
}

// Equipment is charged while an operation holds it.
type Equipment struct {
	Code, Name string
	HourlyRate unit.Decimal
}

// MaterialKind is the sort of thing a material is.
type MaterialKind int

// The kinds of material.
const (
	KindUnknown MaterialKind = iota
	Foam
	HardCoat
	Barrier
	Release
	GelcoatKind
	Resin
	Catalyst
	GlassKind
	Filler
	Primer
	Colour
	Lacquer
	Hardener // two-pack paint hardener, an isocyanate
	Solvent
	Adhesive
	Decoration // flake, flock, leaf, stone
	Timber
	Steel
	FixingKind
	Consumable
	Packing
	Waste
)

// String returns the kind in words.
func (k MaterialKind) String() string {
	return [...]string{
		"unknown", "foam", "hard coat", "barrier", "release", "gelcoat", "resin", "catalyst", "glass", "filler", "primer", "colour",
		"lacquer", "hardener", "solvent", "adhesive", "decoration", "timber", "steel", "fixing", "consumable", "packing", "waste",
	}[k]
}

// Material is something that is bought, or a mix of such things.
type Material struct {
	Code, Name  string
	Kind        MaterialKind
	Unit        unit.Unit
	Packs       []Pack
	Wastage     float64 // share of what is bought that never reaches the piece, 0 to 0.9
	Density     float64 // kg/m3; 0 where unknown
	Glass       *Glass
	Paint       *Paint
	Catalyst    *CatalystNeed
	Mix         []MixPart
	StockBlock  *Block
	KeptInStock bool // charged as used, never in whole packs
	Source      string

	// Place is the material's place in the book's list; Open sets it.
	Place int
	// UnitPrice is the least price of one unit over all packs, to four
	// decimals in the book's own currency; Open sets it, and Edition.In turns it.
	UnitPrice unit.Decimal
	// Components are the materials of Mix; Open sets them.
	Components []*Material
	// CatalystMaterial is the catalyst of Catalyst; Open sets it, with the share
	// by mass that the workshop's temperature asks for.
	CatalystMaterial *Material
	CatalystShare    float64
}

// Pack is a size that a material is bought in.
type Pack struct {
	Name  string
	Size  unit.Quantity // in the material's unit
	Price unit.Decimal
}

// Glass is what a laminate reckons with.
type Glass struct {
	ArealMass  float64 // kg/m2 of one layer
	ResinRatio float64 // resin to glass by mass
	RollWidth  float64 // m; 0 where no overlap is added
}

// Paint is what a paint film reckons with.
type Paint struct {
	VolumeSolids       float64 // percent by volume of the mixed, thinned paint (ISO 3233)
	DryFilm            float64 // micrometres of one coat
	TransferEfficiency float64 // share that reaches the surface
}

// CatalystNeed is the catalyst of a resin or gelcoat.
type CatalystNeed struct {
	Material string
	Bands    []gelcoat.Band
}

// MixPart is one component of a mix, in parts by volume.
type MixPart struct {
	Material string
	Parts    float64
}

// Block is a stock block of foam.
type Block struct{ Width, Depth, Height float64 }

// Volume returns the block's volume in m3.
func (b Block) Volume() float64 { return b.Width * b.Depth * b.Height }

// Laminate is a laminate schedule.
type Laminate struct {
	Code, Name  string
	Gelcoat     string  // material code; empty for none
	GelcoatFilm float64 // m, wet
	Resin       string
	Plies       []Ply
}

// Ply is a number of layers of one glass.
type Ply struct {
	Glass  string
	Layers int
}

// Stage is the stage of the work that an operation belongs to.
type Stage int

// The stages in working order.
const (
	StageUnknown Stage = iota
	Design
	PatternStage
	MouldStage
	CastStage
	Assembly
	FinishStage
	Dispatch
)

// String returns the stage in words.
func (s Stage) String() string {
	return [...]string{"unknown", "design", "pattern", "mould", "cast", "assembly", "finish", "dispatch"}[s]
}

// Per is what an operation repeats per.
type Per int

// What an operation may repeat per.
const (
	PerUnknown Per = iota
	PerJob
	PerPiece
	PerHand
	PerMould
	PerCast
	PerZone
	PerConsignment
)

// String returns the word for one occurrence.
func (p Per) String() string {
	return [...]string{"unknown", "job", "piece", "hand", "mould", "cast", "zone", "consignment"}[p]
}

// Measure is what multiplies an operation's hours and materials.
type Measure int

// The measures of one occurrence.
const (
	NoMeasure   Measure = iota
	Surface             // m2 of one cast or pattern
	Rim                 // m to trim
	FoamVolume          // m3 of one pattern or carved piece
	Flange              // m2 of one mould
	MouldArea           // m2 of one mould with its flange
	Parting             // m of one mould
	ZoneArea            // m2 of one zone
	MaskEdge            // m of one zone
	Mass                // kg of one cast
	Distance            // km of one consignment
	FixingCount         // fixings of one kind in one cast
	BoxVolume           // m3 of the box round one cast
)

// Unit returns the unit that the measure is in.
func (m Measure) Unit() unit.Unit {
	switch m {
	case Surface, Flange, MouldArea, ZoneArea:
		return unit.SquareMetre
	case Rim, Parting, MaskEdge:
		return unit.Metre
	case FoamVolume, BoxVolume:
		return unit.CubicMetre
	case Mass:
		return unit.Kilogram
	case Distance:
		return unit.Kilometre
	default:
		return unit.Each
	}
}

// String returns the measure in words.
func (m Measure) String() string {
	return [...]string{
		"once", "surface", "rim", "foam", "flange", "mould surface with flange", "parting line", "zone", "edge to mask", "mass", "distance",
		"fixings", "box round the cast",
	}[m]
}

// Operation is one operation of the method.
type Operation struct {
	Code, Name    string
	Stage         Stage
	Skill         string // empty where nobody is paid for it
	Per           Per
	Measure       Measure
	Coats         int // at least 1
	CoatPerLayer  bool
	SetupHours    float64
	HoursPerUnit  unit.Range
	Materials     []Use
	WaitHours     float64
	Equipment     string
	HoldsWaiting  []Hold
	LearningRate  float64 // 1 for none
	After         []string
	Bodies        []Body
	Exposures     []Exposure
	ChargeEach    unit.Decimal
	ChargePerUnit unit.Decimal
}

// Hold is what an operation holds while it waits.
type Hold int

// What may be held.
const (
	HoldUnknown Hold = iota
	HoldMould
	HoldBooth
	HoldBench
)

// Basis says how a use's amount is reckoned.
type Basis int

// The bases of a use.
const (
	BasisUnknown      Basis = iota
	PerOccurrence           // amount for each occurrence
	PerMeasure              // amount for each unit of the measure and coat
	WetFilm                 // amount is a wet film in m for each coat
	DryFilm                 // the paint's own dry film for each coat
	LaminateSchedule        // glass and resin of the schedule over the measure
	GelcoatOfSchedule       // gelcoat of the schedule over the measure
	FoamBlank               // blanks cut from stock blocks
)

// Use is a material that an operation uses.
type Use struct {
	Material string // empty where the laminate says it
	Basis    Basis
	Amount   float64 // in the material's unit, or m of wet film
	Stays    bool    // stays on the piece and counts in its weight
}

// Body says whether a body is whole or open at the back.
type Body int

// The bodies.
const (
	BodyUnknown Body = iota
	Closed
	OpenBacked
)

// String returns the body in words.
func (b Body) String() string { return [...]string{"unknown", "closed", "open-backed"}[b] }

// Exposure says where a piece will stand.
type Exposure int

// The exposures.
const (
	ExposureUnknown Exposure = iota
	Indoor
	Outdoor
)

// String returns the exposure in words.
func (e Exposure) String() string { return [...]string{"unknown", "indoors", "outdoors"}[e] }

// Method is the order of work: codes of operations for each route.
type Method struct {
	Job         []string
	Moulded     []string
	Direct      []string
	Consignment []string
}

// Finish is a named list of operations.
type Finish struct {
	Code, Name, Description string
	CastOperations          []string
	ZoneOperations          []string
	ForCasts                bool // usable on whole casts even without operations
	NeedsGelcoat            bool // the gelcoat is the finish: not to be had over foam
	Exposures               []Exposure
}

// Fixing is something built into a cast.
type Fixing struct {
	Code, Name string
	Mass       float64 // kg of one
	Operations []string
}

// Caution is a caution and what calls for it.
type Caution struct {
	Code, Title, Text, Source, DecidedBy string
	Trigger                              Trigger
}

// Trigger is what calls for a caution; any one is enough.
type Trigger struct {
	Always     bool
	Kinds      []MaterialKind
	Materials  []string
	Operations []string
	OverMass   *float64 // kg of one cast
	OverHeight *float64 // m above the ground
	Exposures  []Exposure
}

// MaterialCharge says what materials are charged at.
type MaterialCharge int

// The ways to charge materials.
const (
	ChargeUnknown MaterialCharge = iota
	ChargeUsed
	ChargeBought
)

// TaxRate is a rate of tax.
type TaxRate struct {
	Code, Name string
	Percent    unit.Decimal
}

// RushTerm is a charge for speed.
type RushTerm struct {
	Code, Name string
	Percent    unit.Decimal
}

// StageShare is a share of the total that falls due at one time.
type StageShare struct {
	Name    string
	Percent unit.Decimal
}

// Terms say how cost becomes price. Percentages are decimal percent.
type Terms struct {
	OverheadPerHour unit.Decimal
	OverheadPercent unit.Decimal
	Contingency     unit.Decimal
	Margin          unit.Decimal // on the price, below 100
	Markup          unit.Decimal // on the cost
	Discount        unit.Decimal
	Rush            unit.Decimal
	MinimumCharge   unit.Decimal
	SpreadTooling   bool
}

// Policies are terms and habits of the studio.
type Policies struct {
	DefaultLaminate string
	DefaultFinish   string
	DirectLaminate  string // over foam
	MouldLaminate   string
	MouldLife       int     // casts
	FlangeWidth     float64 // m
	Lap             float64 // m
	Workshop        float64 // degrees Celsius
	Relaxation      float64 // share of working time
	Delay           float64 // share of working time
	Charge          MaterialCharge
	Terms           Terms
	TaxRates        []TaxRate
	DefaultTax      string
	RushTerms       []RushTerm
	StagePayments   []StageShare
	ValidityDays    int
	Assumptions     []string
	Exclusions      []string
}
