// Package ratebooktest is a tiny studio for tests: a handful of materials and
// operations with round figures, so that every expected figure can be worked out
// on paper beside the test. Nothing outside tests knows it.
//
// All figures are invented save those whose source stands beside them. A book
// flows out; a test changes it as it likes and opens it.
package ratebooktest

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/gelcoat"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Open opens a book that a test has no reason to see refused.
func Open(t testing.TB, b *ratebook.Book) *ratebook.Edition {
	t.Helper()
	e, faults := ratebook.Open(b)
	if err := faults.Err(); err != nil {
		t.Fatalf("the tiny studio's rate book: %v", err)
	}
	return e
}

// Tiny opens the tiny studio's book as it stands.
func Tiny(t testing.TB) *ratebook.Edition {
	t.Helper()
	return Open(t, Book(t))
}

// Book returns the tiny studio's book, a new one at each call. Its terms add
// nothing to the cost and its allowances nothing to the hours; a test sets those
// that it is about.
func Book(t testing.TB) *ratebook.Book {
	t.Helper()
	pounds, err := unit.ParseCurrency("GBP")
	if err != nil {
		t.Fatal(err)
	}
	w := writer{t}
	return &ratebook.Book{
		Revision: "tiny-1", Studio: "Ash & Ember Fabrication", Basis: "Invented figures, round for working by hand.", Currency: pounds,
		Skills:    w.skills(),
		Equipment: []ratebook.Equipment{{Code: "booth", Name: "Spray booth", HourlyRate: w.pounds("8")}},
		Materials: append(w.bodyMaterials(), w.finishMaterials()...),
		Laminates: laminates(), Operations: w.operations(), Method: route(), Finishes: finishes(),
		Fixings:  []ratebook.Fixing{{Code: "stud", Name: "Stud", Mass: 0.1, Operations: []string{"drill"}}},
		Cautions: []ratebook.Caution{{Code: "always", Title: "Estimate", Text: "A price, not a design.", Source: "our own wording", DecidedBy: "an engineer", Trigger: ratebook.Trigger{Always: true}}},
		Policies: w.policies(),
	}
}

// writer reads the figures of the book, which are sound unless the book is
// mistyped.
type writer struct{ testing.TB }

func (w writer) pounds(s string) unit.Decimal {
	d, err := unit.ParseDecimal(s)
	if err != nil {
		w.Fatal(err)
	}
	return d
}

func (w writer) pack(size float64, u unit.Unit, price string) ratebook.Pack {
	q, err := unit.Measure(size, u)
	if err != nil {
		w.Fatal(err)
	}
	return ratebook.Pack{Size: q, Price: w.pounds(price)}
}

func (w writer) skills() []ratebook.Skill {
	return []ratebook.Skill{
		{Code: "sculptor", Name: "Sculptor", HourlyRate: w.pounds("20")},
		{Code: "laminator", Name: "Laminator", HourlyRate: w.pounds("10")},
		{Code: "painter", Name: "Painter", HourlyRate: w.pounds("30")},
	}
}

// chart is the catalyst of laminating resin by temperature. Source: East Coast
// Fibreglass quantity guide and catalyst chart, GEL-07.
func chart() []gelcoat.Band {
	return []gelcoat.Band{{FromC: 5, ToC: 13, Percent: 4}, {FromC: 13, ToC: 16, Percent: 3}, {FromC: 16, ToC: 20, Percent: 2}, {FromC: 20, ToC: 35, Percent: 1}}
}

// bodyMaterials are what patterns, moulds and casts are made of.
func (w writer) bodyMaterials() []ratebook.Material {
	kg := unit.Kilogram
	return []ratebook.Material{
		{
			Code: "foam", Name: "Foam", Kind: ratebook.Foam, Unit: unit.CubicMetre, Density: 20,
			StockBlock: &ratebook.Block{Width: 1, Depth: 1, Height: 0.5}, Packs: []ratebook.Pack{w.pack(0.5, unit.CubicMetre, "50")},
		},
		{Code: "barrier", Name: "Barrier", Kind: ratebook.Barrier, Unit: kg, Packs: []ratebook.Pack{w.pack(10, kg, "20")}},
		{
			// "Always use 2 % in gelcoats": East Coast Fibreglass chart, GEL-07.
			Code: "gelcoat", Name: "Gelcoat", Kind: ratebook.GelcoatKind, Unit: kg, Density: 1200, Packs: []ratebook.Pack{w.pack(5, kg, "50")},
			Catalyst: &ratebook.CatalystNeed{Material: "catalyst", Bands: []gelcoat.Band{{FromC: 5, ToC: 35, Percent: 2}}},
		},
		{
			// The packs of PCK-07.
			Code: "resin", Name: "Resin", Kind: ratebook.Resin, Unit: kg, Density: 1200, Wastage: 0.1,
			Packs:    []ratebook.Pack{w.pack(1, kg, "12"), w.pack(5, kg, "45"), w.pack(25, kg, "165")},
			Catalyst: &ratebook.CatalystNeed{Material: "catalyst", Bands: chart()},
		},
		{Code: "catalyst", Name: "Catalyst", Kind: ratebook.Catalyst, Unit: kg, KeptInStock: true, Packs: []ratebook.Pack{w.pack(1, kg, "10")}},
		{
			// 70:30, a glass fraction of 0.30; 1.27 m wide as in LAM-29.
			Code: "mat-450", Name: "Mat 450", Kind: ratebook.GlassKind, Unit: kg, Packs: []ratebook.Pack{w.pack(10, kg, "40")},
			Glass: &ratebook.Glass{ArealMass: 0.45, ResinRatio: 7.0 / 3, RollWidth: 1.27},
		},
		{
			// A glass fraction of 0.48 as in LAM-12; cut to size, so it never laps.
			Code: "roving-600", Name: "Roving 600", Kind: ratebook.GlassKind, Unit: kg, Packs: []ratebook.Pack{w.pack(10, kg, "50")},
			Glass: &ratebook.Glass{ArealMass: 0.6, ResinRatio: 0.52 / 0.48},
		},
	}
}

// finishMaterials are what goes on and into the casts. The enamel is the two-pack
// polyurethane of PNT-03 and PNT-13.
func (w writer) finishMaterials() []ratebook.Material {
	litre, kg := unit.Litre, unit.Kilogram
	return []ratebook.Material{
		{
			Code: "enamel", Name: "Enamel, mixed", Kind: ratebook.Colour, Unit: litre,
			Paint: &ratebook.Paint{VolumeSolids: 45, DryFilm: 25, TransferEfficiency: 0.55},
			Mix:   []ratebook.MixPart{{Material: "base", Parts: 4}, {Material: "hardener", Parts: 1}},
		},
		{Code: "base", Name: "Enamel base", Kind: ratebook.Colour, Unit: litre, Density: 1000, Packs: []ratebook.Pack{w.pack(1, litre, "20")}},
		{Code: "hardener", Name: "Enamel hardener", Kind: ratebook.Hardener, Unit: litre, Density: 1000, Packs: []ratebook.Pack{w.pack(0.5, litre, "15")}},
		{Code: "flake", Name: "Flake", Kind: ratebook.Decoration, Unit: kg, Packs: []ratebook.Pack{w.pack(1, kg, "60")}},
		{Code: "brush", Name: "Brush", Kind: ratebook.Consumable, Unit: unit.Each, KeptInStock: true, Packs: []ratebook.Pack{w.pack(10, unit.Each, "5")}},
		{Code: "screw", Name: "Screw", Kind: ratebook.FixingKind, Unit: unit.Each, Packs: []ratebook.Pack{w.pack(4, unit.Each, "6")}},
	}
}

func laminates() []ratebook.Laminate {
	return []ratebook.Laminate{
		{Code: "thin", Name: "Thin", Gelcoat: "gelcoat", GelcoatFilm: 0.0005, Resin: "resin", Plies: []ratebook.Ply{{Glass: "mat-450", Layers: 2}}},
		{Code: "combo", Name: "Combination", Resin: "resin", Plies: []ratebook.Ply{{Glass: "mat-450", Layers: 1}, {Glass: "roving-600", Layers: 1}}},
		{Code: "skin", Name: "Mould skin", Gelcoat: "gelcoat", GelcoatFilm: 0.001, Resin: "resin", Plies: []ratebook.Ply{{Glass: "mat-450", Layers: 6}}},
	}
}

// operations has one of each kind of occurrence and measure.
func (w writer) operations() []ratebook.Operation {
	ops := append(append(w.toolingOperations(), w.castOperations()...), w.finishOperations()...)
	for i := range ops {
		ops[i].Coats = max(1, ops[i].Coats)
		if ops[i].LearningRate == 0 {
			ops[i].LearningRate = 1
		}
	}
	return ops
}

func likely(h float64) unit.Range { return unit.Range{Low: h, Likely: h, High: h} }

func (w writer) toolingOperations() []ratebook.Operation {
	return []ratebook.Operation{
		{Code: "manage", Name: "Manage", Stage: ratebook.Design, Skill: "sculptor", Per: ratebook.PerJob, SetupHours: 2},
		{Code: "draw", Name: "Draw", Stage: ratebook.Design, Skill: "sculptor", Per: ratebook.PerPiece, SetupHours: 1},
		{
			Code: "carve", Name: "Carve", Stage: ratebook.PatternStage, Skill: "sculptor", Per: ratebook.PerHand, Measure: ratebook.FoamVolume,
			SetupHours: 0.5, HoursPerUnit: likely(10), Materials: []ratebook.Use{{Material: "foam", Basis: ratebook.FoamBlank}},
		},
		{
			Code: "seal", Name: "Seal", Stage: ratebook.PatternStage, Skill: "painter", Per: ratebook.PerHand, Measure: ratebook.Surface, Coats: 2,
			HoursPerUnit: likely(0.25), Materials: []ratebook.Use{{Material: "barrier", Basis: ratebook.PerMeasure, Amount: 0.5}, {Material: "brush", Basis: ratebook.PerOccurrence, Amount: 0.5}},
		},
		{Code: "flange", Name: "Flange", Stage: ratebook.MouldStage, Skill: "laminator", Per: ratebook.PerMould, Measure: ratebook.Flange, HoursPerUnit: likely(1)},
		{
			Code: "mould-gelcoat", Name: "Gelcoat the mould", Stage: ratebook.MouldStage, Skill: "laminator", Per: ratebook.PerMould, Measure: ratebook.MouldArea,
			HoursPerUnit: likely(0.2), Materials: []ratebook.Use{{Basis: ratebook.GelcoatOfSchedule}},
		},
		{
			Code: "mould-lay", Name: "Lay up the mould", Stage: ratebook.MouldStage, Skill: "laminator", Per: ratebook.PerMould, Measure: ratebook.MouldArea,
			CoatPerLayer: true, HoursPerUnit: likely(0.1), Materials: []ratebook.Use{{Basis: ratebook.LaminateSchedule}},
		},
	}
}

func (w writer) castOperations() []ratebook.Operation {
	return []ratebook.Operation{
		{
			Code: "gelcoat", Name: "Gelcoat", Stage: ratebook.CastStage, Skill: "laminator", Per: ratebook.PerCast, Measure: ratebook.Surface,
			HoursPerUnit: likely(0.2), Materials: []ratebook.Use{{Basis: ratebook.GelcoatOfSchedule}},
		},
		{
			Code: "lay", Name: "Lay up", Stage: ratebook.CastStage, Skill: "laminator", Per: ratebook.PerCast, Measure: ratebook.Surface, CoatPerLayer: true,
			HoursPerUnit: likely(0.25), LearningRate: 0.9, Materials: []ratebook.Use{{Basis: ratebook.LaminateSchedule}},
		},
		{
			Code: "carve-core", Name: "Carve the core", Stage: ratebook.PatternStage, Skill: "sculptor", Per: ratebook.PerCast, Measure: ratebook.FoamVolume,
			HoursPerUnit: likely(10), Materials: []ratebook.Use{{Material: "foam", Basis: ratebook.FoamBlank, Stays: true}},
		},
		{
			Code: "lay-over", Name: "Lay up over foam", Stage: ratebook.CastStage, Skill: "laminator", Per: ratebook.PerCast, Measure: ratebook.Surface, CoatPerLayer: true,
			HoursPerUnit: likely(0.3), Materials: []ratebook.Use{{Basis: ratebook.LaminateSchedule}},
		},
		{
			Code: "trim", Name: "Trim", Stage: ratebook.Assembly, Skill: "laminator", Per: ratebook.PerCast, Measure: ratebook.Rim, HoursPerUnit: likely(0.1),
			Bodies: []ratebook.Body{ratebook.OpenBacked},
		},
		{
			Code: "seam", Name: "Join the seam", Stage: ratebook.Assembly, Skill: "laminator", Per: ratebook.PerCast, Measure: ratebook.Parting, HoursPerUnit: likely(0.2),
			Bodies: []ratebook.Body{ratebook.Closed},
		},
		{
			Code: "drill", Name: "Drill", Stage: ratebook.Assembly, Skill: "laminator", Per: ratebook.PerCast, Measure: ratebook.FixingCount, HoursPerUnit: likely(0.25),
			Materials: []ratebook.Use{{Material: "screw", Basis: ratebook.PerMeasure, Amount: 1}},
		},
	}
}

func (w writer) finishOperations() []ratebook.Operation {
	return []ratebook.Operation{
		{
			Code: "spray", Name: "Spray", Stage: ratebook.FinishStage, Skill: "painter", Per: ratebook.PerCast, Measure: ratebook.Surface, Coats: 2,
			SetupHours: 0.5, HoursPerUnit: likely(0.1), Equipment: "booth", Materials: []ratebook.Use{{Material: "enamel", Basis: ratebook.DryFilm, Stays: true}},
		},
		{
			Code: "weatherproof", Name: "Weatherproof", Stage: ratebook.FinishStage, Skill: "painter", Per: ratebook.PerCast, SetupHours: 0.25,
			Exposures: []ratebook.Exposure{ratebook.Outdoor},
		},
		{Code: "mask", Name: "Mask", Stage: ratebook.FinishStage, Skill: "painter", Per: ratebook.PerZone, Measure: ratebook.MaskEdge, HoursPerUnit: likely(0.5)},
		{
			Code: "strew", Name: "Strew flake", Stage: ratebook.FinishStage, Skill: "painter", Per: ratebook.PerZone, Measure: ratebook.ZoneArea,
			SetupHours: 0.1, HoursPerUnit: likely(2), Materials: []ratebook.Use{{Material: "flake", Basis: ratebook.PerMeasure, Amount: 0.2, Stays: true}},
		},
		{Code: "lift", Name: "Lift", Stage: ratebook.Dispatch, Skill: "laminator", Per: ratebook.PerCast, Measure: ratebook.Mass, HoursPerUnit: likely(0.01)},
		{Code: "crate", Name: "Crate", Stage: ratebook.Dispatch, Per: ratebook.PerCast, Measure: ratebook.BoxVolume, ChargePerUnit: w.pounds("40")},
		{
			Code: "drive", Name: "Drive", Stage: ratebook.Dispatch, Skill: "laminator", Per: ratebook.PerConsignment, Measure: ratebook.Distance, HoursPerUnit: likely(0.02),
			ChargeEach: w.pounds("100"), ChargePerUnit: w.pounds("0.5"),
		},
	}
}

func route() ratebook.Method {
	return ratebook.Method{
		Job:         []string{"manage"},
		Moulded:     []string{"draw", "carve", "seal", "flange", "mould-gelcoat", "mould-lay", "gelcoat", "lay", "trim", "seam", "lift", "crate"},
		Direct:      []string{"draw", "carve-core", "lay-over", "lift", "crate"},
		Consignment: []string{"drive"},
	}
}

func finishes() []ratebook.Finish {
	return []ratebook.Finish{
		{Code: "bare", Name: "Bare gelcoat", ForCasts: true, NeedsGelcoat: true},
		{Code: "enamel", Name: "Enamel", CastOperations: []string{"spray", "weatherproof"}},
		{Code: "flake", Name: "Flake", ZoneOperations: []string{"mask", "strew"}, Exposures: []ratebook.Exposure{ratebook.Indoor}},
	}
}

func (w writer) policies() ratebook.Policies {
	return ratebook.Policies{
		DefaultLaminate: "thin", DefaultFinish: "bare", DirectLaminate: "combo", MouldLaminate: "skin",
		MouldLife: 10, FlangeWidth: 0.075, Workshop: 18, Charge: ratebook.ChargeUsed,
		TaxRates:   []ratebook.TaxRate{{Code: "standard", Name: "VAT 20 %", Percent: w.pounds("20")}, {Code: "zero", Name: "VAT 0 %"}},
		DefaultTax: "standard", RushTerms: []ratebook.RushTerm{{Code: "fast", Name: "Fast", Percent: w.pounds("10")}},
		StagePayments: []ratebook.StageShare{
			{Name: "on order", Percent: w.pounds("40")}, {Name: "at the first cast", Percent: w.pounds("40")}, {Name: "before dispatch", Percent: w.pounds("20")},
		},
		ValidityDays: 30, Assumptions: []string{"Drawings are supplied."}, Exclusions: []string{"Foundations."},
	}
}

// Decimal reads a decimal that a test wrote.
func Decimal(t testing.TB, s string) unit.Decimal {
	t.Helper()
	return writer{t}.pounds(s)
}

// Operation returns an operation of the book for a test to change.
func Operation(t testing.TB, b *ratebook.Book, code string) *ratebook.Operation {
	t.Helper()
	for i := range b.Operations {
		if b.Operations[i].Code == code {
			return &b.Operations[i]
		}
	}
	t.Fatalf("the tiny studio has no operation %q", code)
	return nil
}

// Material returns a material of the book for a test to change.
func Material(t testing.TB, b *ratebook.Book, code string) *ratebook.Material {
	t.Helper()
	for i := range b.Materials {
		if b.Materials[i].Code == code {
			return &b.Materials[i]
		}
	}
	t.Fatalf("the tiny studio has no material %q", code)
	return nil
}
