package ratebook_test

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/unit"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// document is a rate book on its way in, to be spoilt by a test.
type document struct{ *mouldwrightv1.RateBook }

func demoDocument(t testing.TB) document {
	t.Helper()
	d := document{&mouldwrightv1.RateBook{}}
	if err := wire.Decode(demo.Document(), d.RateBook).Err(); err != nil {
		t.Fatal(err)
	}
	return d
}

// coded is whatever stands in a list by its code.
type coded interface{ GetCode() string }

// of returns the one with a code; a test that names one that is not there is wrong.
func of[T coded](list []T, code string) T { return list[place(list, code)] }

func place[T coded](list []T, code string) int {
	i := slices.IndexFunc(list, func(v T) bool { return v.GetCode() == code })
	if i < 0 {
		panic("the demo rate book has no " + code)
	}
	return i
}

func (d document) material(code string) *mouldwrightv1.Material   { return of(d.Materials, code) }
func (d document) laminate(code string) *mouldwrightv1.Laminate   { return of(d.Laminates, code) }
func (d document) operation(code string) *mouldwrightv1.Operation { return of(d.Operations, code) }
func (d document) finish(code string) *mouldwrightv1.Finish       { return of(d.Finishes, code) }
func (d document) caution(code string) *mouldwrightv1.Caution     { return of(d.Cautions, code) }

// numbered writes a path such as "materials[resin-gp].unit" with the number that
// the code has in this document; a number stays as it is.
func (d document) numbered(path string) string {
	lists := map[string]func(string) int{
		"skills":     func(c string) int { return place(d.Skills, c) },
		"equipment":  func(c string) int { return place(d.Equipment, c) },
		"materials":  func(c string) int { return place(d.Materials, c) },
		"laminates":  func(c string) int { return place(d.Laminates, c) },
		"operations": func(c string) int { return place(d.Operations, c) },
		"finishes":   func(c string) int { return place(d.Finishes, c) },
		"fixings":    func(c string) int { return place(d.Fixings, c) },
		"cautions":   func(c string) int { return place(d.Cautions, c) },
	}
	return regexp.MustCompile(`^([a-z]+)\[([a-z][a-z0-9-]*)\]`).ReplaceAllStringFunc(path, func(s string) string {
		list, code, _ := strings.Cut(strings.TrimSuffix(s, "]"), "[")
		return list + "[" + strconv.Itoa(lists[list](code)) + "]"
	})
}

// faults opens the document as the command and the server do.
func (d document) faults(t testing.TB) fault.List {
	t.Helper()
	doc, err := protojson.Marshal(d.RateBook)
	if err != nil {
		t.Fatal(err)
	}
	rules, err := wire.NewValidator()
	if err != nil {
		t.Fatal(err)
	}
	_, faults := desk.OpenBook(doc, rules)
	return faults
}

func TestTheDemoDocumentHasNoFault(t *testing.T) {
	if faults := demoDocument(t).faults(t); len(faults) > 0 {
		t.Fatal(faults)
	}
}

// want is a fault with the path as numbered reads it. A message that ends in
// "..." is given by its beginning.
type want struct{ path, message string }

func (w want) matches(d document, f fault.Fault) bool {
	beginning, open := strings.CutSuffix(w.message, "...")
	message := strings.TrimPrefix(f.Message, d.named(f.Path))
	return f.Path == d.numbered(w.path) && (message == w.message || open && strings.HasPrefix(message, beginning))
}

// named is how the messages begin that the core has about what a path leads to:
// `operation "drive": `.
func (d document) named(path string) string {
	lists := map[string]func(int) (string, string){
		"materials":  func(i int) (string, string) { return "material", d.Materials[i].Code },
		"laminates":  func(i int) (string, string) { return "laminate", d.Laminates[i].Code },
		"operations": func(i int) (string, string) { return "operation", d.Operations[i].Code },
		"finishes":   func(i int) (string, string) { return "finish", d.Finishes[i].Code },
	}
	list, rest, _ := strings.Cut(path, "[")
	place, _, _ := strings.Cut(rest, "]")
	i, err := strconv.Atoi(place)
	if lists[list] == nil || err != nil {
		return ""
	}
	what, code := lists[list](i)
	return what + " " + strconv.Quote(code) + ": "
}

func hold(t *testing.T, d document, got fault.List, wants ...want) {
	t.Helper()
	for i := range max(len(got), len(wants)) {
		switch {
		case i >= len(got):
			t.Errorf("missing fault %s: %s", d.numbered(wants[i].path), wants[i].message)
		case i >= len(wants):
			t.Errorf("not expected: %s: %s", got[i].Path, got[i].Message)
		case !wants[i].matches(d, got[i]):
			t.Errorf("got  %s: %s\nwant %s: %s", got[i].Path, got[i].Message, d.numbered(wants[i].path), wants[i].message)
		}
	}
}

// spoilt is one way to spoil the demo document, and the one fault that it makes.
type spoilt struct {
	name  string
	spoil func(d document)
	want
}

func checkSpoilt(t *testing.T, rows []spoilt) {
	t.Helper()
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			d := demoDocument(t)
			r.spoil(d)
			hold(t, d, d.faults(t), r.want)
		})
	}
}

func TestCodesAreUniqueInEveryList(t *testing.T) {
	const twice = `got %q, which stands in this list already, allowed: another code`
	again := func(code string) string { return strings.Replace(twice, "%q", strconv.Quote(code), 1) }
	for _, r := range []struct {
		list, code string
		double     func(d document) int // returns where the double stands
	}{
		{"skills", "paint", func(d document) int { d.Skills = append(d.Skills, of(d.Skills, "paint")); return len(d.Skills) - 1 }},
		{"equipment", "welding", func(d document) int {
			d.Equipment = append(d.Equipment, of(d.Equipment, "welding"))
			return len(d.Equipment) - 1
		}},
		{"materials", "csm-450", func(d document) int {
			d.Materials = append(d.Materials, d.material("csm-450"))
			return len(d.Materials) - 1
		}},
		{"laminates", "light", func(d document) int {
			d.Laminates = append(d.Laminates, d.laminate("light"))
			return len(d.Laminates) - 1
		}},
		{"operations", "drive", func(d document) int {
			d.Operations = append(d.Operations, d.operation("drive"))
			return len(d.Operations) - 1
		}},
		{"finishes", "gloss", func(d document) int { d.Finishes = append(d.Finishes, d.finish("gloss")); return len(d.Finishes) - 1 }},
		{"fixings", "tab", func(d document) int { d.Fixings = append(d.Fixings, of(d.Fixings, "tab")); return len(d.Fixings) - 1 }},
		{"cautions", "wind", func(d document) int { d.Cautions = append(d.Cautions, d.caution("wind")); return len(d.Cautions) - 1 }},
		{"policies.taxRates", "zero", func(d document) int {
			p := d.Policies
			p.TaxRates = append(p.TaxRates, of(p.TaxRates, "zero"))
			return len(p.TaxRates) - 1
		}},
		{"policies.rushTerms", "fast", func(d document) int {
			p := d.Policies
			p.RushTerms = append(p.RushTerms, of(p.RushTerms, "fast"))
			return len(p.RushTerms) - 1
		}},
	} {
		t.Run(r.list, func(t *testing.T) {
			d := demoDocument(t)
			at := r.double(d)
			hold(t, d, d.faults(t), want{r.list + "[" + strconv.Itoa(at) + "].code", again(r.code)})
		})
	}
}

func TestFaultsOfSkillsAndMaterials(t *testing.T) {
	checkSpoilt(t, []spoilt{
		{
			"negative rate", func(d document) { of(d.Skills, "paint").HourlyRate = "-36.00" },
			want{"skills[paint].hourlyRate", "got \"-36.00\", allowed: a decimal number..."},
		},
		{
			"negative rate of equipment", func(d document) { of(d.Equipment, "welding").HourlyRate = "-1" },
			want{"equipment[welding].hourlyRate", "got \"-1\", allowed: a decimal number..."},
		},
		{
			"missing unit", func(d document) { d.material("tissue-30").Unit = "" },
			want{"materials[tissue-30].unit", "missing, allowed: each, kg, L, m2, m, m3; only a mix needs none"},
		},
		{
			"unit that nothing is bought in", func(d document) { d.material("abrasive-disc").Unit = "pack" },
			want{"materials[abrasive-disc].unit", `got "pack", allowed: empty or one of [each, kg, L, m2, m, m3]`},
		},
		{
			"unit in capitals", func(d document) { d.material("polish").Unit = "KG" },
			want{"materials[polish].unit", `got "KG", allowed: empty or one of [each, kg, L, m2, m, m3]`},
		},
		{
			"glass by area", func(d document) { d.material("csm-225").Unit = "m2" },
			want{"materials[csm-225].unit", `got "m2", allowed: kg, since glass is reckoned by mass`},
		},
		{
			"glass without its figures", func(d document) { d.material("csm-600").Glass = nil; d.material("csm-600").Kind = 8 },
			want{"materials[csm-600].glass", "missing, allowed: the areal mass and resin ratio, which glass needs"},
		},
		{
			"paint by mass", func(d document) { d.material("primer-epoxy").Unit = "kg" },
			want{"materials[primer-epoxy].unit", `got "kg", allowed: L, since paint films are reckoned by volume`},
		},
		{
			"resin without density", func(d document) { d.material("resin-iso").DensityKgM3 = nil },
			want{"materials[resin-iso].densityKgM3", "missing, allowed: above 0, since a resin is weighed by it"},
		},
		{
			"gelcoat without density", func(d document) { d.material("gelcoat-pigmented").DensityKgM3 = nil },
			want{"materials[gelcoat-pigmented].densityKgM3", "missing, allowed: above 0, since a gelcoat is weighed by it"},
		},
		{
			"foam without block", func(d document) { d.material("eps-70").StockBlock = nil },
			want{"materials[eps-70].stockBlock", "missing, allowed: the size of the block that foam is cut from"},
		},
		{
			"foam by mass", func(d document) { d.material("eps-100").Unit = "kg" },
			want{"materials[eps-100].unit", `got "kg", allowed: m3, since foam is cut from blocks`},
		},
		{
			"foam without density", func(d document) { d.material("eps-100").DensityKgM3 = nil },
			want{"materials[eps-100].densityKgM3", "missing, allowed: above 0, since a foam is weighed by it"},
		},
		{
			"no pack", func(d document) { d.material("brush").Packs = nil },
			want{"materials[brush].packs", "got 0, allowed: 1 to 64"},
		},
		{
			"pack finer than its unit", func(d document) { d.material("brush").Packs[0].Size = 12.5 },
			want{"materials[brush].packs[0].size", "got 12.5, allowed: at most 0 decimals for each"},
		},
		{
			"pack of nothing that prints", func(d document) { d.material("wax-release").Packs[1].Size = 0.0004 },
			want{"materials[wax-release].packs[1].size", "got 0.0004, allowed: at most 3 decimals for kg"},
		},
		{
			"mix with packs", func(d document) {
				d.material("primer-hb").Packs = []*mouldwrightv1.Pack{{Size: 1, Price: "9"}}
			},
			want{"materials[primer-hb].packs", "got 1, allowed: none, since a mix is bought and reckoned as its components"},
		},
		{
			"mix of a mix", func(d document) { d.material("primer-hb").Mix[1].Material = "primer-epoxy" },
			want{"materials[primer-hb].mix[1].material", `got "primer-epoxy", allowed: a material bought in litres that is no mix itself`},
		},
		{
			"mix of itself", func(d document) { d.material("primer-hb").Mix[0].Material = "primer-hb" },
			want{"materials[primer-hb].mix[0].material", `got "primer-hb", allowed: a material bought in litres that is no mix itself`},
		},
		{
			"mix of what is weighed", func(d document) { d.material("basecoat").Mix[0].Material = "polish" },
			want{"materials[basecoat].mix[0].material", `got "polish", allowed: a material bought in litres that is no mix itself`},
		},
		{
			"mix of what is not there", func(d document) { d.material("basecoat").Mix[1].Material = "thiner-2k" },
			want{"materials[basecoat].mix[1].material", `got "thiner-2k", which is no material of this book; did you mean "thinner-2k"? allowed: ...`},
		},
		{
			"catalyst that is not there", func(d document) { d.material("resin-gp").Catalyst.Material = "mekp" },
			want{"materials[resin-gp].catalyst.material", `got "mekp", which is no material of this book; allowed: abrasive-disc, ...`},
		},
		{
			"catalyst by volume", func(d document) { d.material("resin-gp").Catalyst.Material = "acetone" },
			want{"materials[resin-gp].catalyst.material", `got "acetone", allowed: a material bought in kg that needs no catalyst itself`},
		},
		{
			"catalyst in what goes by volume", func(d document) {
				d.material("seal-coat").Catalyst = proto.CloneOf(d.material("resin-gp").Catalyst)
			},
			want{"materials[seal-coat].unit", `got "L", allowed: kg, since catalyst goes by mass`},
		},
		{
			"no band for the workshop", func(d document) { d.material("resin-gp").Catalyst.Bands = d.material("resin-gp").Catalyst.Bands[:2] },
			want{
				"materials[resin-gp].catalyst.bands",
				"workshop temperature, deg C: got 18, allowed: a band of the chart, 5 to 16",
			},
		},
		{
			"bands in disorder", func(d document) { d.material("gelcoat-pigmented").Catalyst.Bands[0].BelowC = 4 },
			want{
				"materials[gelcoat-pigmented].catalyst.bands",
				"band's upper temperature, deg C: got 4, allowed: above its lower one, to 300",
			},
		},
		{
			"wastage of all", func(d document) { d.material("scrim").WastagePercent = 95 },
			want{"materials[scrim].wastagePercent", "got 95, allowed: greater than or equal to 0 and less than or equal to 90"},
		},
	})
}

func TestFaultsOfLaminates(t *testing.T) {
	checkSpoilt(t, []spoilt{
		{
			"laminate with a non-resin", func(d document) { d.laminate("heavy").Resin = "gelcoat-white" },
			want{"laminates[heavy].resin", `got "gelcoat-white", which is a gelcoat; allowed: a resin`},
		},
		{
			"laminate with an unknown resin", func(d document) { d.laminate("heavy").Resin = "resin-isi" },
			want{"laminates[heavy].resin", `got "resin-isi", which is no material of this book; did you mean "resin-iso"? allowed: ...`},
		},
		{
			"gelcoat that is none", func(d document) { d.laminate("light").Gelcoat = "resin-gp" },
			want{"laminates[light].gelcoat", `got "resin-gp", which is a resin; allowed: a gelcoat`},
		},
		{
			"gelcoat without a film", func(d document) { d.laminate("light").GelcoatFilmMm = 0 },
			want{"laminates[light].gelcoatFilmMm", "got 0, allowed: 0.05 to 5 mm"},
		},
		{
			"ply that is no glass", func(d document) { d.laminate("light").Plies[1].Glass = "scrim" },
			want{"laminates[light].plies[1].glass", `got "scrim", which is a consumable; allowed: a glass`},
		},
		{
			"no ply", func(d document) { d.laminate("light").Plies = nil },
			want{"laminates[light].plies", "missing, or empty; allowed: at least 1 item"},
		},
		{
			"no layer", func(d document) { d.laminate("light").Plies[0].Layers = 0 },
			want{"laminates[light].plies[0].layers", "missing, or 0; allowed: greater than or equal to 1 and less than or equal to 40"},
		},
	})
}

func TestFaultsOfOperations(t *testing.T) {
	checkSpoilt(t, []spoilt{
		{
			"unknown material", func(d document) { d.operation("cast-join").Materials[1].Material = "csm-30" },
			want{"operations[cast-join].materials[1].material", `got "csm-30", which is no material of this book; did you mean "csm-300"? allowed: ...`},
		},
		{
			"no material", func(d document) { d.operation("cast-join").Materials[1].Material = "" },
			want{"operations[cast-join].materials[1].material", `got "", which is no material of this book; allowed: ...`},
		},
		{
			"unknown skill", func(d document) { d.operation("drive").Skill = "instal" },
			want{
				"operations[drive].skill",
				`got "instal", which is no skill of this book; did you mean "install"? allowed: decorate, finish, install, laminate, manage, mould, paint, pattern`,
			},
		},
		{
			"hours without skill", func(d document) { d.operation("unload").Skill = "" },
			want{"operations[unload].skill", "missing, allowed: a skill, since somebody is paid for the hours"},
		},
		{
			"unknown equipment", func(d document) { d.operation("fin-flock").Equipment = "flock-gum" },
			want{
				"operations[fin-flock].equipment",
				`got "flock-gum", which is no equipment of this book; did you mean "flock-gun"? allowed: extraction, flock-gun, hot-wire, sanding, spray-booth, welding`,
			},
		},
		{
			"measure that its occurrence has not", func(d document) { d.operation("zone-key").Measure = mouldwrightv1.Measure_MEASURE_SURFACE },
			want{"operations[zone-key].measure", "got surface, which an operation per zone has not, allowed: once, zone, edge to mask"},
		},
		{
			"measure of a job", func(d document) { d.operation("manage-job").Measure = mouldwrightv1.Measure_MEASURE_MASS },
			want{"operations[manage-job].measure", "got mass, which an operation per job has not, allowed: once"},
		},
		{
			"measure of a mould", func(d document) { d.operation("mould-trim").Measure = mouldwrightv1.Measure_MEASURE_MASS },
			want{
				"operations[mould-trim].measure",
				"got mass, which an operation per mould has not, allowed: once, surface, rim, flange, mould surface with flange, parting line, box round the cast",
			},
		},
		{
			"measure of a consignment", func(d document) { d.operation("drive").Measure = mouldwrightv1.Measure_MEASURE_BOX },
			want{"operations[drive].measure", "got box round the cast, which an operation per consignment has not, allowed: once, distance"},
		},
		{
			"hours upside down", func(d document) {
				d.operation("drive").HoursPerUnit = &mouldwrightv1.HoursPerUnit{Low: 3, Likely: 2, High: 4}
			},
			want{"operations[drive].hoursPerUnit", "got 3/2/4, allowed: low <= likely <= high, each 0 or more"},
		},
		{
			"after what is not there", func(d document) { d.operation("drive").After = []string{"load-van", "load-vam"} },
			want{"operations[drive].after[1]", `got "load-vam", which is no operation of this book; did you mean "load-van"? allowed: ...`},
		},
		{
			"after itself", func(d document) { d.operation("drive").After = []string{"drive"} },
			want{"operations[drive].after", "got an order that leads back to itself, allowed: one that ends"},
		},
		{
			"reached by nothing", func(d document) {
				d.Operations = append(d.Operations, &mouldwrightv1.Operation{Code: "sweep-up", Name: "Sweep up", Stage: 1, Per: 1})
			},
			want{"operations[sweep-up].code", "got one that is named nowhere, allowed: one that a route, finish or fixing names"},
		},
		{
			"laminate with a material of its own", func(d document) { d.operation("cast-lay-up").Materials[0].Material = "resin-gp" },
			want{"operations[cast-lay-up].materials[0].material", `got "resin-gp", allowed: empty, since the laminate says it`},
		},
		{
			"gelcoat of the laminate on a zone", func(d document) {
				d.operation("zone-key").Materials[0] = &mouldwrightv1.MaterialUse{Basis: mouldwrightv1.UseBasis_USE_BASIS_GELCOAT}
			},
			want{"operations[zone-key].materials[0].basis", "got a laminate per zone, allowed: per mould or cast"},
		},
		{
			"wet film by the piece", func(d document) {
				u := d.operation("pattern-polish").Materials[1]
				u.Material, u.Basis, u.Amount = "hard-coat-cement", mouldwrightv1.UseBasis_USE_BASIS_WET_FILM, 0.2
			},
			want{"operations[pattern-polish].materials[1].basis", `got a wet film of "hard-coat-cement", allowed: of a material with a density`},
		},
		{
			"wet film in litres", func(d document) {
				u := d.operation("pattern-polish").Materials[1]
				u.Material, u.Basis, u.Amount = "pva-film", mouldwrightv1.UseBasis_USE_BASIS_WET_FILM, 0.2
				d.material("pva-film").DensityKgM3 = proto.Float64(1010)
			},
			want{"operations[pattern-polish].materials[1].basis", `got a wet film of "pva-film", which is in L, allowed: of a material in kg`},
		},
		{
			"dry film of no paint", func(d document) { d.operation("fin-prime").Materials[0].Material = "primer-base" },
			want{"operations[fin-prime].materials[0].basis", `got a dry film of "primer-base", allowed: of a material with paint data`},
		},
		{
			"blanks by area", func(d document) { d.operation("pattern-cut").Measure = mouldwrightv1.Measure_MEASURE_SURFACE },
			want{"operations[pattern-cut].measure", "got surface, allowed: foam, since blanks are cut to it"},
		},
		{
			"blanks of timber", func(d document) { d.operation("pattern-cut").Materials[0].Material = "batten" },
			want{"operations[pattern-cut].materials[0].material", `got "batten", which is timber, allowed: a foam, since blanks are cut from it`},
		},
		{
			"stays on the piece from a pattern", func(d document) { d.operation("pattern-wax").Materials[0].StaysOnPiece = true },
			want{"operations[pattern-wax].materials[0].staysOnPiece", "got true, allowed: only per cast or zone, and not where mass is the measure"},
		},
		{
			"stays on the piece by its mass", func(d document) {
				d.operation("pack-weigh").Materials = []*mouldwrightv1.MaterialUse{{Material: "wipes", Basis: mouldwrightv1.UseBasis_USE_BASIS_MEASURE, Amount: 1, StaysOnPiece: true}}
			},
			want{"operations[pack-weigh].materials[0].staysOnPiece", "got true, allowed: only per cast or zone, and not where mass is the measure"},
		},
	})
}

func TestOrdersThatGoInACircle(t *testing.T) {
	circle := func(code string) want {
		return want{"operations[" + code + "].after", "got an order that leads back to itself, allowed: one that ends"}
	}
	t.Run("two", func(t *testing.T) {
		d := demoDocument(t)
		d.operation("pattern-cut").After = []string{"pattern-carve"}
		// What waits for the two is not to blame and not named.
		hold(t, d, d.faults(t), circle("pattern-cut"), circle("pattern-carve"))
	})
	t.Run("three", func(t *testing.T) {
		d := demoDocument(t)
		d.operation("load-van").After = append(d.operation("load-van").After, "unload")
		hold(t, d, d.faults(t), circle("load-van"), circle("drive"), circle("unload"))
	})
}

func TestFaultsOfMethodFinishesAndFixings(t *testing.T) {
	checkSpoilt(t, []spoilt{
		{
			"unknown operation in a route", func(d document) { d.Method.Job = append(d.Method.Job, "manage-jobs") },
			want{"method.job[2]", `got "manage-jobs", which is no operation of this book; did you mean "manage-job"? allowed: ...`},
		},
		{
			"operation in the wrong list", func(d document) { d.Method.Job = append(d.Method.Job, "drive") },
			want{"method.job[2]", `got "drive", which is per consignment, allowed in this list: per job`},
		},
		{
			"mould over foam", func(d document) { d.Method.Direct = append(d.Method.Direct, "mould-trim") },
			want{"method.direct[10]", `got "mould-trim", which is per mould, allowed in this list: per piece, cast`},
		},
		{
			"twice in a route", func(d document) { d.Method.Consignment = append(d.Method.Consignment, "drive") },
			want{"method.consignment[4]", `got "drive", which stands in this list already, allowed: once`},
		},
		{
			"zone's work on casts", func(d document) {
				d.finish("gloss").CastOperations = append(d.finish("gloss").CastOperations, "zone-key")
			},
			want{"finishes[gloss].castOperations[5]", `got "zone-key", which is per zone, allowed in this list: per piece, cast`},
		},
		{
			"cast's work on zones", func(d document) {
				d.finish("gloss").ZoneOperations = append(d.finish("gloss").ZoneOperations, "fin-rub")
			},
			want{"finishes[gloss].zoneOperations[5]", `got "fin-rub", which is per cast, allowed in this list: per zone`},
		},
		{
			"finish that nothing reaches", func(d document) { d.finish("bare-gelcoat").ForCasts = false },
			want{"finishes[bare-gelcoat]", "got no operations and no forCasts, allowed: one of the two, since no cast and no zone can have it"},
		},
		{
			"fixing by an unknown operation", func(d document) { of(d.Fixings, "tab").Operations = []string{"fix-tab", "fix-tub"} },
			want{"fixings[tab].operations[1]", `got "fix-tub", which is no operation of this book; did you mean "fix-tab"? allowed: ...`},
		},
		{
			"fixing that weighs less than nothing", func(d document) { of(d.Fixings, "tab").MassKg = -1 },
			want{"fixings[tab].massKg", "got -1, allowed: greater than or equal to 0 and less than or equal to 1000"},
		},
		{
			"caution that nothing calls for", func(d document) { d.caution("wind").Trigger = &mouldwrightv1.CautionTrigger{} },
			want{"cautions[wind].trigger", "missing, allowed: always, or at least one thing that calls for it"},
		},
		{
			"caution for an unknown material", func(d document) { d.caution("wind").Trigger.Materials = []string{"batten", "baten"} },
			want{"cautions[wind].trigger.materials[1]", `got "baten", which is no material of this book; did you mean "batten"? allowed: ...`},
		},
		{
			"caution for an unknown operation", func(d document) { d.caution("hot-wire").Trigger.Operations[1] = "direct-cat" },
			want{"cautions[hot-wire].trigger.operations[1]", `got "direct-cat", which is no operation of this book; did you mean "direct-cut"? allowed: ...`},
		},
	})
}

func TestFaultsOfPolicies(t *testing.T) {
	laminates := "allowed: extra-heavy, heavy, light, mould-six, over-foam, over-foam-heavy, standard, standard-pigmented, sturdy"
	checkSpoilt(t, []spoilt{
		{
			"unknown default laminate", func(d document) { d.Policies.DefaultLaminate = "standart" },
			want{"policies.defaultLaminate", `got "standart", which is no laminate of this book; did you mean "standard"? ` + laminates},
		},
		{
			"unknown laminate over foam", func(d document) { d.Policies.DirectLaminate = "glass" },
			want{"policies.directLaminate", `got "glass", which is no laminate of this book; ` + laminates},
		},
		{
			"unknown laminate of moulds", func(d document) { d.Policies.MouldLaminate = "mould-sixt" },
			want{"policies.mouldLaminate", `got "mould-sixt", which is no laminate of this book; did you mean "mould-six"? ` + laminates},
		},
		{
			"unknown default finish", func(d document) { d.Policies.DefaultFinish = "glos" },
			want{"policies.defaultFinish", `got "glos", which is no finish of this book; did you mean "gloss"? allowed: ...`},
		},
		{
			"default finish for zones only", func(d document) { d.finish("gloss").CastOperations = nil },
			want{
				"policies.defaultFinish",
				`got "gloss", which is for zones only; allowed: bare-gelcoat, flock, hand-flake, hand-painted, matt, metal-flake, metal-leaf, patina, polished-gelcoat, satin, stone, two-colour`,
			},
		},
		{
			"lap wider than a roll", func(d document) { d.material("csm-225").Glass.RollWidthMm = proto.Float64(50) },
			want{"policies.lapMm", `got 50, allowed: 0 to 25, half the roll width of "csm-225"`},
		},
		{
			"unknown default tax", func(d document) { d.Policies.DefaultTax = "std" },
			want{"policies.defaultTax", `got "std", which is no tax rate of this book; allowed: reduced, standard, zero`},
		},
		{
			"tax of more than all", func(d document) { of(d.Policies.TaxRates, "reduced").Percent = "99.5" },
			want{"policies.taxRates[1].percent", "got 99.5 percent, allowed: 0 to 99"},
		},
		{
			"rush beyond its limit", func(d document) { of(d.Policies.RushTerms, "fast").Percent = "999.01" },
			want{"policies.rushTerms[1].percent", "got 999.01 percent, allowed: 0 to 999"},
		},
		{
			"rush below nothing", func(d document) { of(d.Policies.RushTerms, "fast").Percent = "-5" },
			want{"policies.rushTerms[1].percent", "got \"-5\", allowed: a decimal number..."},
		},
		{
			"stage payments that do not make 100", func(d document) { d.Policies.StagePayments[2].Percent = "19.99" },
			want{"policies.stagePayments", "got 99.99 percent in all, allowed: 100"},
		},
		{
			"margin and markup both", func(d document) { d.Policies.Margin.MarkupPercent = "40" },
			want{"policies.margin.markupPercent", "got 40 beside a margin of 32; allowed: one of the two"},
		},
		{
			"margin beyond its limit", func(d document) { d.Policies.Margin.MarginPercent = "95.5" },
			want{"policies.margin.marginPercent", "got 95.5 percent, allowed: 0 to 95"},
		},
		{
			"discount beyond its limit", func(d document) { d.Policies.Margin.DiscountPercent = "90.0001" },
			want{"policies.margin.discountPercent", "got 90.0001 percent, allowed: 0 to 90"},
		},
		{
			"no such currency", func(d document) { d.CurrencyCode = "GBX" },
			want{"currencyCode", `currency "GBX": not a current currency of ISO 4217`},
		},
	})
}

// A shop with rolls as wide as its lap, prices below nothing and so on cannot get
// this far through a door, but a Go caller can: the core checks again.
func TestOpenChecksAgainWhatTheContractRefuses(t *testing.T) {
	minus := unit.Count(-1).Decimal()
	for _, r := range []struct {
		name  string
		spoil func(b *ratebook.Book)
		want  want
	}{
		{"code", func(b *ratebook.Book) { b.Cautions[5].Code = "" }, want{"cautions[5].code", "missing, allowed: a code"}},
		{"rate", func(b *ratebook.Book) { b.Skills[0].HourlyRate = minus }, want{"skills[0].hourlyRate", "got -1, allowed: 0 or more"}},
		{"pack's price", func(b *ratebook.Book) { b.Materials[0].Packs[0].Price = minus }, want{"materials[0].packs[0].price", "got -1, allowed: 0 to 10000000"}},
		{"pack's size", func(b *ratebook.Book) { b.Materials[2].Packs[0].Size = unit.Quantity{} }, want{"materials[2].packs[0].size", "got 0, allowed: above 0 to 1000000 kg"}},
		{"wastage", func(b *ratebook.Book) { b.Materials[0].Wastage = 1 }, want{"materials[0].wastagePercent", "got 100, allowed: 0 to 90 percent"}},
		{"density", func(b *ratebook.Book) { b.Materials[0].Density = math.NaN() }, want{"materials[0].densityKgM3", "got NaN, allowed: 0 to 20000 kg/m3"}},
		{"block", func(b *ratebook.Book) { b.Materials[0].StockBlock.Depth = -1 }, want{"materials[0].stockBlock.depthMm", "got -1000, allowed: 10 to 20000 mm"}},
		{"areal mass", func(b *ratebook.Book) { material(b, "csm-225").Glass.ArealMass = 0 }, want{"materials[csm-225].glass.arealMassGM2", "got 0, allowed: 1 to 5000 g/m2"}},
		{"resin ratio", func(b *ratebook.Book) { material(b, "csm-225").Glass.ResinRatio = math.Inf(1) }, want{"materials[csm-225].glass.resinRatio", "got +Inf, allowed: 0.3 to 10 of resin to glass by mass"}},
		{"solids", func(b *ratebook.Book) { material(b, "primer-hb").Paint.VolumeSolids = 101 }, want{"materials[primer-hb].paint.volumeSolidsPercent", "got 101, allowed: 0.1 to 100 percent"}},
		{"film", func(b *ratebook.Book) { material(b, "primer-hb").Paint.DryFilm = 0 }, want{"materials[primer-hb].paint.dryFilmUm", "got 0, allowed: 0.1 to 5000 um"}},
		{"transfer", func(b *ratebook.Book) { material(b, "primer-hb").Paint.TransferEfficiency = 0 }, want{"materials[primer-hb].paint.transferEfficiencyPercent", "got 0, allowed: 0.1 to 100 percent"}},
		{"parts", func(b *ratebook.Book) { material(b, "primer-hb").Mix[0].Parts = 0 }, want{"materials[primer-hb].mix[0].parts", "got 0, allowed: 0.001 to 1000 parts"}},
		{"plies", func(b *ratebook.Book) { b.Laminates[0].Plies = nil }, want{"laminates[0].plies", "missing, allowed: at least one layer"}},
		{"layers", func(b *ratebook.Book) { b.Laminates[0].Plies[0].Layers = 41 }, want{"laminates[0].plies[0].layers", "got 41, allowed: 1 to 40 layers"}},
		{"coats", func(b *ratebook.Book) { b.Operations[0].Coats = 0 }, want{"operations[manage-job].coats", "got 0, allowed: 1 to 40 coats"}},
		{"set-up", func(b *ratebook.Book) { b.Operations[0].SetupHours = -1 }, want{"operations[manage-job].setupHours", "got -1, allowed: 0 to 1000 h"}},
		{"hours below nothing", func(b *ratebook.Book) { b.Operations[0].HoursPerUnit.Low = -1 }, want{"operations[manage-job].hoursPerUnit.low", "got -1, allowed: 0 to 1000 h"}},
		{"hours without end", func(b *ratebook.Book) { b.Operations[0].HoursPerUnit.High = 1001 }, want{"operations[manage-job].hoursPerUnit.high", "got 1001, allowed: 0 to 1000 h"}},
		{"amount", func(b *ratebook.Book) { b.Operations[1].Materials[0].Amount = math.NaN() }, want{"operations[sample-board].materials[0].amount", "got NaN, allowed: above 0, at most 10000 of the material's unit"}},
		{"wait", func(b *ratebook.Book) { b.Operations[1].WaitHours = -24 }, want{"operations[sample-board].waitHours", "got -24, allowed: 0 to 2000 h"}},
		{"learning", func(b *ratebook.Book) { b.Operations[21].LearningRate = 0.4 }, want{"operations[cast-release].learningRate", "learning rate: got 0.4, allowed: above 0.5 to 1"}},
		{"charge", func(b *ratebook.Book) { b.Operations[0].ChargeEach = minus }, want{"operations[manage-job].chargeEach", "got -1, allowed: 0 or more"}},
		{"charge per unit", func(b *ratebook.Book) { b.Operations[0].ChargePerUnit = minus }, want{"operations[manage-job].chargePerUnit", "got -1, allowed: 0 or more"}},
		{"mould life", func(b *ratebook.Book) { b.Policies.MouldLife = 0 }, want{"policies.mouldLifeCasts", "got 0, allowed: 1 to 10000 casts"}},
		{"flange", func(b *ratebook.Book) { b.Policies.FlangeWidth = 0.6 }, want{"policies.flangeWidthMm", "got 600, allowed: 0 to 500 mm"}},
		{"lap", func(b *ratebook.Book) { b.Policies.Lap = -0.05 }, want{"policies.lapMm", "got -50, allowed: 0 to 300 mm"}},
		{"relaxation", func(b *ratebook.Book) { b.Policies.Relaxation = 1.01 }, want{"policies.relaxationPercent", "got 101, allowed: 0 to 100 percent"}},
		{"delay", func(b *ratebook.Book) { b.Policies.Delay = -0.01 }, want{"policies.delayPercent", "got -1, allowed: 0 to 100 percent"}},
		{"overhead", func(b *ratebook.Book) { b.Policies.Terms.OverheadPerHour = minus }, want{"policies.margin.overheadPerLabourHour", "got -1, allowed: 0 or more"}},
		{"minimum", func(b *ratebook.Book) { b.Policies.Terms.MinimumCharge = minus }, want{"policies.margin.minimumCharge", "got -1, allowed: 0 or more"}},
		{"contingency", func(b *ratebook.Book) { b.Policies.Terms.Contingency = minus }, want{"policies.margin.contingencyPercent", "got -1 percent, allowed: 0 to 999"}},
		{"validity", func(b *ratebook.Book) { b.Policies.ValidityDays = 366 }, want{"policies.validityDays", "got 366, allowed: 1 to 365 days"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			book := demoBook(t)
			r.spoil(book)
			e, faults := ratebook.Open(book)
			if e != nil {
				t.Error("it was opened")
			}
			hold(t, demoDocument(t), faults, r.want)
		})
	}
}

func material(b *ratebook.Book, code string) *ratebook.Material {
	return &b.Materials[slices.IndexFunc(b.Materials, func(m ratebook.Material) bool { return m.Code == code })]
}

func demoBook(t testing.TB) *ratebook.Book {
	t.Helper()
	book, faults := wire.RateBook(demoDocument(t).RateBook)
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	return book
}

// Limits belong to what they limit.
func TestOpenTakesTheLimitsThemselves(t *testing.T) {
	d := demoDocument(t)
	d.material("scrim").WastagePercent = 90
	d.laminate("light").GelcoatFilmMm = 5
	d.laminate("heavy").GelcoatFilmMm = 0.05
	d.laminate("heavy").Plies[0].Layers = 40
	d.material("csm-600").Glass.ResinRatio = 0.3
	d.material("csm-225").Glass.ResinRatio = 10
	d.material("csm-225").Glass.ArealMassGM2 = 5000
	d.material("eps-70").StockBlock = &mouldwrightv1.Size{WidthMm: 20000, DepthMm: 20000, HeightMm: 20000}
	d.Policies.FlangeWidthMm, d.Policies.LapMm, d.Policies.MouldLifeCasts = 500, 300, 10000
	d.Policies.RelaxationPercent, d.Policies.DelayPercent, d.Policies.ValidityDays = 100, 100, 365
	d.Policies.Margin.MarginPercent, d.Policies.Margin.DiscountPercent = "95", "90"
	of(d.Policies.TaxRates, "zero").Percent = "99"
	d.operation("drive").Coats = proto.Int32(40)
	if faults := d.faults(t); len(faults) > 0 {
		t.Error(faults)
	}
}

func TestAllFaultsAreListedInTheDocumentsOrder(t *testing.T) {
	d := demoDocument(t)
	d.Policies.StagePayments[0].Percent = "41"
	d.Policies.RushTerms = append(d.Policies.RushTerms, of(d.Policies.RushTerms, "fast"))
	d.Policies.Margin.MarkupPercent = "1"
	d.Policies.DefaultFinish = "glossy"
	d.caution("wind").Trigger = &mouldwrightv1.CautionTrigger{}
	d.Cautions = append(d.Cautions, d.caution("dust"))
	of(d.Fixings, "tab").Operations = []string{"fix-tab", "fix-tab"}
	d.finish("bare-gelcoat").ForCasts = false
	d.Method.Job = append(d.Method.Job, "drive")
	d.Operations = append(d.Operations, &mouldwrightv1.Operation{Code: "sweep-up", Name: "Sweep up", Stage: 1, Per: 1})
	d.operation("drive").After = []string{"drive"}
	d.operation("drive").Equipment = "van"
	d.operation("pattern-wax").Materials[0].StaysOnPiece = true
	d.operation("pattern-wax").Skill = "wax"
	d.laminate("light").Plies[0].Glass = "scrim"
	d.laminate("light").Resin = "scrim"
	d.material("foam-wrap").Packs = nil
	d.material("eps-70").StockBlock = nil
	d.Equipment = append(d.Equipment, of(d.Equipment, "welding"))
	hold(
		t, d, d.faults(t),
		want{"equipment[6].code", `got "welding", ...`},
		want{"materials[eps-70].stockBlock", "missing, allowed: the size of the block that foam is cut from"},
		want{"materials[foam-wrap].packs", "got 0, allowed: 1 to 64"},
		want{"laminates[light].resin", `got "scrim", which is a consumable...`},
		want{"laminates[light].plies[0].glass", `got "scrim", which is a consumable...`},
		want{"operations[pattern-wax].skill", `got "wax", which is no skill...`},
		want{"operations[pattern-wax].materials[0].staysOnPiece", "got true..."},
		want{"operations[drive].equipment", `got "van", which is no equipment...`},
		want{"operations[drive].after", "got an order that leads back to itself, allowed: one that ends"},
		want{"operations[sweep-up].code", "got one that is named nowhere, allowed: one that a route, finish or fixing names"},
		want{"method.job[2]", `got "drive", which is per consignment...`},
		want{"finishes[bare-gelcoat]", "got no operations and no forCasts, allowed: one of the two, since no cast and no zone can have it"},
		want{"fixings[tab].operations[1]", `got "fix-tab", which stands...`},
		want{"cautions[wind].trigger", "missing, allowed: always, or at least one thing that calls for it"},
		want{"cautions[18].code", `got "dust", which stands...`},
		want{"policies.defaultFinish", `got "glossy", which is no finish...`},
		want{"policies.margin.markupPercent", "got 1 beside..."},
		want{"policies.rushTerms[3].code", `got "fast", which stands...`},
		want{"policies.stagePayments", "got 101 percent in all, allowed: 100"},
	)
}
