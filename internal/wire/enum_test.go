package wire

import (
	"reflect"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/cost"
	"github.com/mouldwright/mouldwright/internal/derivation"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
)

// crossing is a contract enum with what the domain makes of its values, and the
// domain's own word for each. Words are compared without their joints.
type crossing struct {
	enum protoreflect.EnumDescriptor
	in   func(n protoreflect.EnumNumber) any // nil where values only go out
	out  func(domain any) protoreflect.EnumNumber
	// domain gives the value that a name means: HARD_COAT the hard coat.
	domain map[string]any
}

// Each table is by the contract's names without their prefix. Where the domain
// has words of its own, TestDomainWordsAgree holds them to the names besides.
func crossings() []crossing {
	return []crossing{
		{
			enum: mouldwrightv1.MaterialKind(0).Descriptor(),
			in:   func(n protoreflect.EnumNumber) any { return ratebook.MaterialKind(n) },
			domain: map[string]any{
				"UNSPECIFIED": ratebook.KindUnknown, "FOAM": ratebook.Foam, "HARD_COAT": ratebook.HardCoat, "BARRIER": ratebook.Barrier,
				"RELEASE": ratebook.Release, "GELCOAT": ratebook.GelcoatKind, "RESIN": ratebook.Resin, "CATALYST": ratebook.Catalyst,
				"GLASS": ratebook.GlassKind, "FILLER": ratebook.Filler, "PRIMER": ratebook.Primer, "COLOUR": ratebook.Colour,
				"LACQUER": ratebook.Lacquer, "HARDENER": ratebook.Hardener, "SOLVENT": ratebook.Solvent, "ADHESIVE": ratebook.Adhesive,
				"DECORATION": ratebook.Decoration, "TIMBER": ratebook.Timber, "STEEL": ratebook.Steel, "FIXING": ratebook.FixingKind,
				"CONSUMABLE": ratebook.Consumable, "PACKING": ratebook.Packing, "WASTE": ratebook.Waste,
			},
		},
		{
			enum: mouldwrightv1.Stage(0).Descriptor(),
			in:   func(n protoreflect.EnumNumber) any { return ratebook.Stage(n) },
			out:  func(v any) protoreflect.EnumNumber { return stageOut(v.(ratebook.Stage)).Number() },
			domain: map[string]any{
				"UNSPECIFIED": ratebook.StageUnknown, "DESIGN": ratebook.Design, "PATTERN": ratebook.PatternStage, "MOULD": ratebook.MouldStage,
				"CAST": ratebook.CastStage, "ASSEMBLY": ratebook.Assembly, "FINISH": ratebook.FinishStage, "DISPATCH": ratebook.Dispatch,
			},
		},
		{
			enum: mouldwrightv1.Per(0).Descriptor(),
			in:   func(n protoreflect.EnumNumber) any { return ratebook.Per(n) },
			domain: map[string]any{
				"UNSPECIFIED": ratebook.PerUnknown, "JOB": ratebook.PerJob, "PIECE": ratebook.PerPiece, "HAND": ratebook.PerHand,
				"MOULD": ratebook.PerMould, "CAST": ratebook.PerCast, "ZONE": ratebook.PerZone, "CONSIGNMENT": ratebook.PerConsignment,
			},
		},
		{
			enum: mouldwrightv1.Measure(0).Descriptor(),
			in:   func(n protoreflect.EnumNumber) any { return measureIn(mouldwrightv1.Measure(n)) },
			domain: map[string]any{
				"UNSPECIFIED": ratebook.NoMeasure, "NONE": ratebook.NoMeasure, "SURFACE": ratebook.Surface, "RIM": ratebook.Rim,
				"FOAM": ratebook.FoamVolume, "FLANGE": ratebook.Flange, "MOULD_AREA": ratebook.MouldArea, "PARTING": ratebook.Parting,
				"ZONE_AREA": ratebook.ZoneArea, "MASK_EDGE": ratebook.MaskEdge, "MASS": ratebook.Mass, "DISTANCE": ratebook.Distance,
				"FIXINGS": ratebook.FixingCount, "BOX": ratebook.BoxVolume,
			},
		},
		{
			enum: mouldwrightv1.UseBasis(0).Descriptor(),
			in:   func(n protoreflect.EnumNumber) any { return ratebook.Basis(n) },
			domain: map[string]any{
				"UNSPECIFIED": ratebook.BasisUnknown, "OCCURRENCE": ratebook.PerOccurrence, "MEASURE": ratebook.PerMeasure,
				"WET_FILM": ratebook.WetFilm, "DRY_FILM": ratebook.DryFilm, "LAMINATE": ratebook.LaminateSchedule,
				"GELCOAT": ratebook.GelcoatOfSchedule, "FOAM_BLANK": ratebook.FoamBlank,
			},
		},
		{
			enum: mouldwrightv1.Hold(0).Descriptor(),
			in:   func(n protoreflect.EnumNumber) any { return ratebook.Hold(n) },
			domain: map[string]any{
				"UNSPECIFIED": ratebook.HoldUnknown, "MOULD": ratebook.HoldMould, "BOOTH": ratebook.HoldBooth, "BENCH": ratebook.HoldBench,
			},
		},
		{
			enum: mouldwrightv1.MaterialCharge(0).Descriptor(),
			in:   func(n protoreflect.EnumNumber) any { return ratebook.MaterialCharge(n) },
			domain: map[string]any{
				"UNSPECIFIED": ratebook.ChargeUnknown, "USED": ratebook.ChargeUsed, "BOUGHT": ratebook.ChargeBought,
			},
		},
		{
			enum:   mouldwrightv1.ToolingCharge(0).Descriptor(),
			in:     func(n protoreflect.EnumNumber) any { return toolingIn(mouldwrightv1.ToolingCharge(n)) },
			domain: map[string]any{"UNSPECIFIED": false, "SEPARATE": false, "SPREAD": true}, // whether it is spread
		},
		{
			enum: mouldwrightv1.Body(0).Descriptor(),
			in: func(n protoreflect.EnumNumber) any {
				return piece(&mouldwrightv1.Piece{Body: mouldwrightv1.Body(n)}).Body
			},
			out: func(v any) protoreflect.EnumNumber { return mouldwrightv1.Body(v.(ratebook.Body)).Number() },
			domain: map[string]any{
				"UNSPECIFIED": ratebook.BodyUnknown, "CLOSED": ratebook.Closed, "OPEN_BACKED": ratebook.OpenBacked,
			},
		},
		{
			enum:   mouldwrightv1.FillRule(0).Descriptor(),
			in:     func(n protoreflect.EnumNumber) any { return fillRuleIn(mouldwrightv1.FillRule(n)) },
			domain: map[string]any{"UNSPECIFIED": geometry.NonZero, "NONZERO": geometry.NonZero, "EVEN_ODD": geometry.EvenOdd},
		},
		{
			enum: mouldwrightv1.Exposure(0).Descriptor(),
			in:   func(n protoreflect.EnumNumber) any { return exposureIn(mouldwrightv1.Exposure(n)) },
			domain: map[string]any{
				"UNSPECIFIED": ratebook.Outdoor, "INDOOR": ratebook.Indoor, "OUTDOOR": ratebook.Outdoor,
			},
		},
		{
			enum: mouldwrightv1.Handing(0).Descriptor(),
			in: func(n protoreflect.EnumNumber) any {
				return piece(&mouldwrightv1.Piece{Handing: mouldwrightv1.Handing(n)}).Pair
			},
			domain: map[string]any{"UNSPECIFIED": false, "SINGLE": false, "PAIR": true}, // whether it is a pair
		},
		{
			enum: mouldwrightv1.Route(0).Descriptor(),
			in:   func(n protoreflect.EnumNumber) any { return routeIn(mouldwrightv1.Route(n)) },
			domain: map[string]any{
				"UNSPECIFIED": brief.Choose, "MOULDED": brief.Moulded, "DIRECT": brief.Direct, "CHOOSE": brief.Choose,
			},
		},
		{
			enum: mouldwrightv1.Ends(0).Descriptor(),
			in:   func(n protoreflect.EnumNumber) any { return endsIn(mouldwrightv1.Ends(n)) },
			domain: map[string]any{
				"UNSPECIFIED": geometry.EndsBoth, "BOTH": geometry.EndsBoth, "BASE": geometry.EndsBase, "TOP": geometry.EndsTop, "NEITHER": geometry.EndsNeither,
			},
		},
		{
			enum:   mouldwrightv1.DomeCurve(0).Descriptor(),
			in:     func(n protoreflect.EnumNumber) any { return curveIn(mouldwrightv1.DomeCurve(n)) },
			domain: map[string]any{"UNSPECIFIED": geometry.Cap, "CAP": geometry.Cap, "HALF_SPHEROID": geometry.HalfSpheroid},
		},
		{
			enum: mouldwrightv1.Operator(0).Descriptor(),
			out:  func(v any) protoreflect.EnumNumber { return operatorOut(v.(derivation.Operator)).Number() },
			domain: map[string]any{
				"UNSPECIFIED": derivation.Operator(0), "PRODUCT": derivation.Product, "SUM": derivation.Sum,
				"ROUND_UP": derivation.RoundUp, "QUOTIENT": derivation.Quotient,
			},
		},
		{
			enum: mouldwrightv1.CostKind(0).Descriptor(),
			out:  func(v any) protoreflect.EnumNumber { return mouldwrightv1.CostKind(v.(cost.Kind)).Number() },
			domain: map[string]any{
				"UNSPECIFIED": cost.Kind(0), "LABOUR": cost.Labour, "MATERIAL": cost.Material, "EQUIPMENT": cost.Equipment,
				"BOUGHT_IN": cost.BoughtIn, "LEFT_OVER": cost.LeftOver,
			},
		},
	}
}

func toolingIn(c mouldwrightv1.ToolingCharge) bool {
	t := translation{}
	return t.terms(fault.Path{}, &mouldwrightv1.MarginTerms{Tooling: c}).SpreadTooling
}

// shortName is a value's name without the enum's: HARD_COAT of MATERIAL_KIND_HARD_COAT.
func shortName(e protoreflect.EnumDescriptor, v protoreflect.EnumValueDescriptor) string {
	var prefix strings.Builder
	for i, r := range string(e.Name()) {
		if i > 0 && r >= 'A' && r <= 'Z' {
			prefix.WriteByte('_')
		}
		prefix.WriteRune(r)
	}
	return strings.TrimPrefix(string(v.Name()), strings.ToUpper(prefix.String())+"_")
}

func TestEveryEnumValueCrossesByItsName(t *testing.T) {
	for _, c := range crossings() {
		t.Run(string(c.enum.Name()), func(t *testing.T) {
			if len(c.domain) != c.enum.Values().Len() {
				t.Errorf("the table has %d values, the contract %d", len(c.domain), c.enum.Values().Len())
			}
			for i := range c.enum.Values().Len() {
				v := c.enum.Values().Get(i)
				want, ok := c.domain[shortName(c.enum, v)]
				if !ok {
					t.Errorf("%s: say what the domain makes of it", v.Name())
					continue
				}
				if c.in != nil && c.in(v.Number()) != want {
					t.Errorf("%s comes in as %v, want %v", v.Name(), c.in(v.Number()), want)
				}
				if c.out != nil && c.out(want) != v.Number() {
					t.Errorf("%v goes out as %d, want %s", want, c.out(want), v.Name())
				}
			}
		})
	}
}

// Where a domain type has words, they are the name's, so that the table above
// cannot be wrong in the same way as the code. Words that say it otherwise are
// listed with the name that they stand for.
func TestDomainWordsAgree(t *testing.T) {
	otherwise := map[string]string{
		"Measure once": "NONE", "Measure mould surface with flange": "MOULD_AREA", "Measure parting line": "PARTING", "Measure zone": "ZONE_AREA",
		"Measure edge to mask": "MASK_EDGE", "Measure box round the cast": "BOX",
		"Exposure indoors": "INDOOR", "Exposure outdoors": "OUTDOOR",
		"Route the less costly route": "CHOOSE", "Route direct over coated foam": "DIRECT",
	}
	for _, c := range crossings() {
		for name, v := range c.domain {
			said, ok := v.(interface{ String() string })
			if !ok || name == "UNSPECIFIED" {
				continue
			}
			words := said.String()
			if got, ok := otherwise[string(c.enum.Name())+" "+words]; ok {
				words = got
			}
			if joined(words) != joined(name) {
				t.Errorf("%s: %s is %q in the domain", c.enum.Name(), name, said)
			}
		}
	}
}

func joined(words string) string {
	return strings.NewReplacer(" ", "", "_", "", "-", "").Replace(strings.ToLower(words))
}

// No contract enum goes without a table, save those that nothing reckons with yet.
func TestEveryEnumHasItsTable(t *testing.T) {
	later := map[protoreflect.Name]string{
		"LikenessKind": "likenesses are not reckoned yet",
	}
	have := map[protoreflect.Name]bool{}
	for _, c := range crossings() {
		have[c.enum.Name()] = true
	}
	for _, file := range []protoreflect.FileDescriptor{
		mouldwrightv1.File_mouldwright_v1_brief_proto, mouldwrightv1.File_mouldwright_v1_common_proto,
		mouldwrightv1.File_mouldwright_v1_rate_book_proto, mouldwrightv1.File_mouldwright_v1_quote_proto,
	} {
		for i := range file.Enums().Len() {
			if name := file.Enums().Get(i).Name(); !have[name] && later[name] == "" {
				t.Errorf("%s has no table", name)
			}
		}
	}
}

func TestRoutesTakenGoOut(t *testing.T) {
	if routeOut(true) != mouldwrightv1.Route_ROUTE_DIRECT || routeOut(false) != mouldwrightv1.Route_ROUTE_MOULDED {
		t.Error("the routes are swapped")
	}
}

func TestListsOfEnumsKeepTheirOrder(t *testing.T) {
	got := sameNumbers[ratebook.Exposure]([]mouldwrightv1.Exposure{mouldwrightv1.Exposure_EXPOSURE_OUTDOOR, mouldwrightv1.Exposure_EXPOSURE_INDOOR})
	if want := []ratebook.Exposure{ratebook.Outdoor, ratebook.Indoor}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if got := sameNumbers[ratebook.Exposure]([]mouldwrightv1.Exposure{}); got != nil {
		t.Errorf("of none: got %v", got)
	}
}
