package ratebook_test

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/foam"
	"github.com/mouldwright/mouldwright/internal/gelcoat"
	"github.com/mouldwright/mouldwright/internal/laminate"
	"github.com/mouldwright/mouldwright/internal/pack"
	"github.com/mouldwright/mouldwright/internal/paint"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// What a formula would refuse while a brief is priced is refused with the book.
func TestFiguresThatAFormulaWouldRefuse(t *testing.T) {
	checkSpoilt(t, []spoilt{
		{
			"glass lighter than any", func(d document) { d.material("tissue-30").Glass.ArealMassGM2 = 0.5 },
			want{"materials[tissue-30].glass.arealMassGM2", "got 0.5, allowed: 1 to 5000 g/m2"},
		},
		{
			"roll narrower than any", func(d document) { d.material("csm-225").Glass.RollWidthMm = proto.Float64(5) },
			want{"materials[csm-225].glass.rollWidthMm", "got 5, allowed: 10 to 10000 mm"},
		},
		{
			"paint of next to no solids", func(d document) { d.material("basecoat").Paint.VolumeSolidsPercent = 0.05 },
			want{"materials[basecoat].paint.volumeSolidsPercent", "got 0.05, allowed: 0.1 to 100 percent"},
		},
		{
			"paint thinner than any", func(d document) { d.material("basecoat").Paint.DryFilmUm = 0.01 },
			want{"materials[basecoat].paint.dryFilmUm", "got 0.01, allowed: 0.1 to 5000 um"},
		},
		{
			"paint that misses", func(d document) { d.material("basecoat").Paint.TransferEfficiencyPercent = 0.05 },
			want{"materials[basecoat].paint.transferEfficiencyPercent", "got 0.05, allowed: 0.1 to 100 percent"},
		},
		{
			"trace of a mix", func(d document) { d.material("basecoat").Mix[1].Parts = 0.0001 },
			want{"materials[basecoat].mix[1].parts", "got 0.0001, allowed: 0.001 to 1000 parts"},
		},
		{
			"gelcoat lighter than any", func(d document) { d.material("gelcoat-tooling").DensityKgM3 = proto.Float64(120) },
			want{"materials[gelcoat-tooling].densityKgM3", "density, kg/m3: got 120, allowed: 500 to 5000"},
		},
		{
			"resin lighter than any", func(d document) { d.material("resin-iso").DensityKgM3 = proto.Float64(12) },
			want{"materials[resin-iso].densityKgM3", "resin density, kg/m3: got 12, allowed: 100 to 30000"},
		},
		{
			"foam as heavy as steel", func(d document) { d.material("eps-70").DensityKgM3 = proto.Float64(7850) },
			want{"materials[eps-70].densityKgM3", "foam density, kg/m3: got 7850, allowed: 1 to 3000"},
		},
		{
			"block as thin as paper", func(d document) { d.material("eps-70").StockBlock.HeightMm = 0.1 },
			want{"materials[eps-70].stockBlock.heightMm", "got 0.1, allowed: 10 to 20000 mm"},
		},
		{
			"dose of catalyst as a share", func(d document) { d.material("resin-iso").Catalyst.Bands[2].Percent = 0.02 },
			want{"materials[resin-iso].catalyst.bands", "catalyst, percent by mass: got 0.02, allowed: 0.1 to 10"},
		},
		{
			"filler too light for a film", func(d document) {
				d.material("hard-coat-cement").DensityKgM3 = proto.Float64(400)
				d.operation("pattern-fair").Materials[0].Material = "hard-coat-cement"
			},
			want{"operations[pattern-fair].materials[0].amount", "density, kg/m3: got 400, allowed: 500 to 5000"},
		},
		{
			"wet film thicker than any", func(d document) { d.operation("pattern-fair").Materials[0].Amount = 25 },
			want{"operations[pattern-fair].materials[0].amount", "got 25, allowed: 0.001 to 20 mm of wet film"},
		},
		{
			"wet film of nothing", func(d document) { d.operation("pattern-fair").Materials[0].Amount = 0 },
			want{"operations[pattern-fair].materials[0].amount", "got 0, allowed: 0.001 to 20 mm of wet film"},
		},
		{
			"use of nothing", func(d document) { d.operation("pattern-fair").Materials[1].Amount = 0 },
			want{"operations[pattern-fair].materials[1].amount", "got 0, allowed: above 0, at most 10000 of the material's unit"},
		},
		{
			"more than packs are found for", func(d document) {
				u := d.operation("pattern-coat").Materials[1]
				u.Material, u.Amount = "eps-70", 9999
				d.operation("pattern-coat").Coats = proto.Int32(40)
			},
			want{"operations[pattern-coat].materials[1].amount", `got 399960 m3 of "eps-70" for one of the measure, allowed: at most 100000`},
		},
		{
			"paint by the tanker", func(d document) {
				d.material("primer-epoxy").Paint = &mouldwrightv1.Paint{VolumeSolidsPercent: 0.1, DryFilmUm: 5000, TransferEfficiencyPercent: 0.1}
				d.operation("pattern-prime").Materials[0].Material = "primer-epoxy"
			},
			want{"operations[pattern-prime].materials[0].amount", "mixed paint, L: got 15000000, allowed: 0 to 1e6"},
		},
		{
			"learning that ends at nothing", func(d document) { d.operation("cast-trim").LearningRate = proto.Float64(0.5) },
			want{"operations[cast-trim].learningRate", "got 0.5, allowed: greater than 0.5 and less than or equal to 1"},
		},
		{
			"lap of more than half a roll", func(d document) { d.material("csm-225").Glass.RollWidthMm = proto.Float64(99) },
			want{"policies.lapMm", `got 50, allowed: 0 to 49.5, half the roll width of "csm-225"`},
		},
		{
			"price in a currency of small units", func(d document) {
				d.CurrencyCode = "UYW"
				d.material("steel-tube").Packs[0].Price = "100001"
			},
			want{"materials[steel-tube].packs[0].price", "got 100001, allowed: 0 to 100000"},
		},
	})
}

// What is said and would be passed over is refused.
func TestFieldsThatWouldBePassedOver(t *testing.T) {
	const components = ", allowed: none, since a mix is bought and reckoned as its components"
	checkSpoilt(t, []spoilt{
		{
			"wastage of a mix", func(d document) { d.material("basecoat").WastagePercent = 5 },
			want{"materials[basecoat].wastagePercent", "got 5" + components},
		},
		{
			"density of a mix", func(d document) { d.material("basecoat").DensityKgM3 = proto.Float64(1200) },
			want{"materials[basecoat].densityKgM3", "got 1200" + components},
		},
		{
			"stock of a mix", func(d document) { d.material("basecoat").KeptInStock = true },
			want{"materials[basecoat].keptInStock", "got true" + components},
		},
		{
			"catalyst of a mix", func(d document) { d.material("basecoat").Catalyst = proto.CloneOf(d.material("resin-gp").Catalyst) },
			want{"materials[basecoat].catalyst", "got one" + components},
		},
		{
			"block of a mix", func(d document) { d.material("basecoat").StockBlock = proto.CloneOf(d.material("eps-70").StockBlock) },
			want{"materials[basecoat].stockBlock", "got one" + components},
		},
		{
			"mix that goes by mass", func(d document) { d.material("basecoat").Kind = mouldwrightv1.MaterialKind_MATERIAL_KIND_CATALYST },
			want{"materials[basecoat].kind", "got catalyst, allowed for a mix: what goes by volume, such as primer, colour or lacquer"},
		},
		{
			"glass of what is none", func(d document) { d.material("polish").Glass = proto.CloneOf(d.material("csm-225").Glass) },
			want{"materials[polish].glass", "got one on a consumable, allowed: only on glass"},
		},
		{
			"block of what is no foam", func(d document) { d.material("polish").StockBlock = proto.CloneOf(d.material("eps-70").StockBlock) },
			want{"materials[polish].stockBlock", "got one on a consumable, allowed: only on foam"},
		},
		{
			"wastage of a catalyst", func(d document) { d.material("catalyst-mekp").WastagePercent = 5 },
			want{"materials[catalyst-mekp].wastagePercent", `got 5, allowed: 0, since a catalyst is wasted with what it cures, such as "gelcoat-white"`},
		},
		{
			"catalyst that is cured", func(d document) { d.material("resin-gp").Catalyst.Material = "bonding-paste" },
			want{"materials[resin-gp].catalyst.material", `got "bonding-paste", allowed: a material bought in kg that needs no catalyst itself`},
		},
		{
			"film of no gelcoat", func(d document) { d.laminate("over-foam").GelcoatFilmMm = 0.5 },
			want{"laminates[over-foam].gelcoatFilmMm", "got 0.5, allowed: 0, since the laminate has no gelcoat"},
		},
		{
			"coats beside layers", func(d document) { d.operation("cast-lay-up").Coats = proto.Int32(2) },
			want{"operations[cast-lay-up].coats", "got 2, allowed: 1, since coatPerLayer counts the layers of the laminate"},
		},
		{
			"layers of a job", func(d document) { d.operation("manage-job").CoatPerLayer = true },
			want{"operations[manage-job].coatPerLayer", "got true, allowed: false per job, which has no laminate"},
		},
		{
			"amount of a laminate", func(d document) { d.operation("cast-lay-up").Materials[0].Amount = 2 },
			want{"operations[cast-lay-up].materials[0].amount", "got 2, allowed: 0, since the laminate says how much"},
		},
		{
			"amount of gelcoat", func(d document) { d.operation("cast-gelcoat").Materials[0].Amount = 0.6 },
			want{"operations[cast-gelcoat].materials[0].amount", "got 0.6, allowed: 0, since the laminate says how much"},
		},
		{
			"amount of a dry film", func(d document) { d.operation("fin-prime").Materials[0].Amount = 60 },
			want{"operations[fin-prime].materials[0].amount", "got 60, allowed: 0, since the paint says its film"},
		},
		{
			"amount of a blank", func(d document) { d.operation("pattern-cut").Materials[0].Amount = 1 },
			want{"operations[pattern-cut].materials[0].amount", "got 1, allowed: 0, since blanks are as large as the form"},
		},
		{
			"laminate told to stay", func(d document) { d.operation("cast-lay-up").Materials[0].StaysOnPiece = true },
			want{"operations[cast-lay-up].materials[0].staysOnPiece", "got true, allowed: false, since what is laid up on a cast stays on it without being told"},
		},
	})
}

// What is measured by the wrong thing would be reckoned all the same.
func TestUsesMeasuredByTheWrongThing(t *testing.T) {
	checkSpoilt(t, []spoilt{
		{
			"laminate along the rim", func(d document) { d.operation("cast-lay-up").Measure = mouldwrightv1.Measure_MEASURE_RIM },
			want{"operations[cast-lay-up].measure", "got rim, allowed: surface, since a laminate is laid over it"},
		},
		{
			"laminate of a mould by the flange", func(d document) { d.operation("mould-lay-up").Measure = mouldwrightv1.Measure_MEASURE_FLANGE },
			want{"operations[mould-lay-up].measure", "got flange, allowed: surface, mould surface with flange, since a laminate is laid over it"},
		},
		{
			"gelcoat once", func(d document) { d.operation("cast-gelcoat").Measure = mouldwrightv1.Measure_MEASURE_NONE },
			want{"operations[cast-gelcoat].measure", "got once, allowed: surface, since a laminate is laid over it"},
		},
		{
			"blanks by the piece", func(d document) { d.operation("pattern-cut").Per = mouldwrightv1.Per_PER_PIECE },
			want{"operations[pattern-cut].materials[0].basis", "got blanks per piece, allowed: per hand or cast"},
		},
		{
			"dry film on an edge", func(d document) { d.operation("fin-prime").Measure = mouldwrightv1.Measure_MEASURE_PARTING },
			want{"operations[fin-prime].measure", "got parting line, allowed: a measure in m2, since a film lies on it"},
		},
		{
			"wet film once", func(d document) { d.operation("pattern-fair").Measure = mouldwrightv1.Measure_MEASURE_NONE },
			want{"operations[pattern-fair].measure", "got once, allowed: a measure in m2, since a film lies on it"},
		},
		{
			"brushes that stay", func(d document) { d.operation("cast-join").Materials[3].StaysOnPiece = true },
			want{"operations[cast-join].materials[3].staysOnPiece", `got true for "brush" in each, allowed: for what is in kg, or in L or m3 with a density`},
		},
		{
			"leaf that stays", func(d document) { d.operation("fin-leaf-lay").Materials[0].StaysOnPiece = true },
			want{"operations[fin-leaf-lay].materials[0].staysOnPiece", `got true for "leaf-metal" in m2, allowed: for what is in kg, or in L or m3 with a density`},
		},
		{
			"solvent of unknown density that stays", func(d document) {
				d.material("pva-film").DensityKgM3 = nil
				d.operation("fin-stone-seal").Materials[0].Material, d.operation("fin-stone-seal").Materials[0].StaysOnPiece = "pva-film", true
			},
			want{"operations[fin-stone-seal].materials[0].staysOnPiece", `got true for "pva-film" in L, allowed: for what is in kg, or in L or m3 with a density`},
		},
		{
			"part of a mix of unknown density", func(d document) { d.material("basecoat-colour").DensityKgM3 = nil },
			want{"operations[fin-ground].materials[0].staysOnPiece", `got true for "basecoat-colour" in L, allowed: for what is in kg, or in L or m3 with a density`},
		},
		{
			"laminating resin in litres", func(d document) {
				d.material("resin-tooling").Unit, d.material("resin-tooling").Catalyst = "L", nil
			},
			want{"materials[resin-tooling].unit", `got "L", allowed: kg, since resin and gelcoat are reckoned by mass`},
		},
	})
}

func TestListsOutOfTurn(t *testing.T) {
	checkSpoilt(t, []spoilt{
		{
			"trimmed before it is demoulded", func(d document) { swap(d.Method.Moulded, "cast-demould", "cast-trim") },
			want{"method.moulded[22]", `got "cast-trim" before "cast-demould", which it waits for, allowed: after it`},
		},
		{
			"painted before it is primed", func(d document) { swap(d.finish("satin").CastOperations, "fin-rub", "fin-colour") },
			want{"finishes[satin].castOperations[2]", `got "fin-colour" before "fin-rub", which it waits for, allowed: after it`},
		},
		{
			"set before it is made", func(d document) {
				swap(of(d.Fixings, "armature-steel").Operations, "fix-armature-make", "fix-armature-set")
			},
			want{"fixings[armature-steel].operations[0]", `got "fix-armature-set" before "fix-armature-make", which it waits for, allowed: after it`},
		},
		{
			"zone of another stage", func(d document) { d.operation("zone-leaf-lay").Stage = mouldwrightv1.Stage_STAGE_ASSEMBLY },
			want{"finishes[metal-leaf].zoneOperations[3]", `got "zone-leaf-lay", which is of stage assembly, allowed: stage finish`},
		},
	})
}

func swap(list []string, a, b string) {
	for i, code := range list {
		switch code {
		case a:
			list[i] = b
		case b:
			list[i] = a
		}
	}
}

func TestEveryQuoteHasACaution(t *testing.T) {
	checkSpoilt(t, []spoilt{
		{
			"none for every quote", func(d document) {
				for _, c := range d.Cautions {
					c.Trigger.Always, c.Trigger.Operations = false, append(c.Trigger.Operations, "drive")
				}
			},
			want{"cautions", "got 18, of which none is for every quote, allowed: at least one with trigger.always"},
		},
		{
			"none at all", func(d document) { d.Cautions = nil },
			want{"cautions", "got 0, of which none is for every quote, allowed: at least one with trigger.always"},
		},
	})
}

// A path says operations[93]; the message says which that is.
func TestFaultsSayWhatTheyAreFaultsOf(t *testing.T) {
	d := demoDocument(t)
	d.material("resin-gp").Unit = "L"
	d.laminate("light").Resin = "scrim"
	d.operation("drive").Skill = "instal"
	d.finish("gloss").ZoneOperations[0] = "zone-musk"
	faults := d.faults(t)
	for i, begins := range []string{`material "resin-gp": `, `laminate "light": `, `operation "drive": `, `finish "gloss": `} {
		if i >= len(faults) || !strings.HasPrefix(faults[i].Message, begins+"got ") {
			t.Errorf("got %v, want one that begins %s", faults, begins)
		}
	}
}

// The limits that the check states in the units of the document are those of the
// formulas: at the limit itself, each of them answers.
func TestTheLimitsAreThoseOfTheFormulas(t *testing.T) {
	for _, film := range []float64{1e-6, 0.02} {
		if _, err := gelcoat.Mass(1, film, 1200); err != nil {
			t.Error(err)
		}
	}
	for _, arealMass := range []float64{0.001, 5} {
		if err := laminate.Polyester(arealMass, 10).Check(); err != nil {
			t.Error(err)
		}
	}
	for _, width := range []float64{0.01, 10} {
		if _, err := laminate.Overlap(width, width/2); err != nil {
			t.Error(err)
		}
	}
	for _, x := range []float64{0.1, 100} {
		if _, err := paint.Litres(1, 50*x, x, x/100, 0); err != nil {
			t.Error(err)
		}
	}
	if err := (paint.Mix{{Parts: 0.001}, {Parts: 1000}}).Check(); err != nil {
		t.Error(err)
	}
	for _, side := range []float64{0.01, 20} {
		if err := (foam.Block{Width: side, Depth: side, Height: side}).Check(); err != nil {
			t.Error(err)
		}
	}
	most := make([]pack.Pack, 64)
	for i := range most {
		most[i] = pack.Pack{Size: 1e9, Cost: 1e9}
	}
	if _, err := pack.Cover(1e9, most); err != nil {
		t.Error(err)
	}
}

// plain is a closed form that is made both ways, with a zone, a fixing and a
// delivery, so that it meets nearly every list of the book.
const plain = `{
  "title": "Plain", "client": "Fernhollow Arboretum", "preparedOn": "2027-03-01",
  "pieces": [
    {
      "code": "ball", "name": "Ball", "quantity": 2, "finish": "FINISH", "laminate": "LAMINATE", "route": "ROUTE",
      "exposure": "EXPOSURE_INDOOR",
      "form": {"solids": [{"sphere": {"diameterMm": 600}}]},
      "zones": [{"name": "spots", "finish": "ZONE", "countPerCast": 2, "spot": {"diameterMm": 90}}],
      "fixings": [{"code": "FIXING", "countPerCast": 1}]
    }
  ],
  "delivery": {"distanceKm": 20, "place": "Fernhollow Arboretum"}
}`

// Whatever figures a book holds that passes the check, a plain brief has a price
// by it.
func TestWhatPassesTheCheckCanPrice(t *testing.T) {
	rules, err := wire.NewValidator()
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(rt *rapid.T) {
		d := demoDocument(t)
		for range rapid.IntRange(1, 3).Draw(rt, "figures") {
			d.spoilAFigure(rt)
		}
		book, faults := wire.RateBook(d.RateBook)
		if len(faults) > 0 || len(rules.Check(d.RateBook)) > 0 {
			rt.Skip("refused by the contract")
		}
		e, faults := ratebook.Open(book)
		if len(faults) > 0 {
			return // refused, and so never priced by
		}
		price(rt, &desk.Book{Edition: e}, rules)
	})
}

func price(rt *rapid.T, b *desk.Book, rules *wire.Validator) {
	e := b.Edition
	f, z := rapid.SampledFrom(e.Finishes).Draw(rt, "finish"), rapid.SampledFrom(e.Finishes).Draw(rt, "zone")
	on, _ := e.Treatment(f.Code)
	in, _ := e.Treatment(z.Code)
	route := rapid.SampledFrom([]string{"ROUTE_MOULDED", "ROUTE_DIRECT"}).Draw(rt, "route")
	if !on.OnCasts() || !in.OnZones() || f.NeedsGelcoat && route == "ROUTE_DIRECT" {
		return
	}
	doc := strings.NewReplacer("FINISH", f.Code, "ZONE", z.Code, "ROUTE", route, "LAMINATE", rapid.SampledFrom(e.Laminates).Draw(rt, "laminate").Code,
		"FIXING", rapid.SampledFrom(e.Fixings).Draw(rt, "fixing").Code).Replace(plain)
	pb, err := b.ReadBrief([]byte(doc), rules)
	if err != nil {
		rt.Fatal(err)
	}
	asked, faults := wire.Brief(pb)
	if len(faults) > 0 {
		rt.Fatal(faults)
	}
	if _, err := estimate.Price(asked, e); err != nil {
		rt.Errorf("%v", err)
	}
}

// spoilAFigure puts a figure from far up or down its field's range in the place of
// one of the book's.
func (d document) spoilAFigure(rt *rapid.T) {
	m := rapid.SampledFrom(d.Materials).Draw(rt, "material")
	o := rapid.SampledFrom(d.Operations).Draw(rt, "operation")
	figure := func(low, high float64) float64 {
		return rapid.OneOf(rapid.Float64Range(low, high), rapid.SampledFrom([]float64{low, high, low + 1e-4, low + 0.01, low + 1, high / 2})).Draw(rt, "figure")
	}
	switch rapid.IntRange(0, 12).Draw(rt, "what") {
	case 0:
		m.DensityKgM3 = proto.Float64(figure(1e-9, 20000))
	case 1:
		m.WastagePercent = figure(0, 90)
	case 2:
		if m.Glass != nil {
			m.Glass.ArealMassGM2, m.Glass.RollWidthMm = figure(1e-9, 5000), proto.Float64(figure(1e-9, 10000))
		}
	case 3:
		if m.Paint != nil {
			m.Paint.VolumeSolidsPercent, m.Paint.DryFilmUm = figure(1e-9, 100), figure(1e-9, 5000)
		}
	case 4:
		if m.Paint != nil {
			m.Paint.TransferEfficiencyPercent = figure(1e-9, 100)
		}
	case 5:
		if len(m.Mix) > 0 {
			m.Mix[0].Parts = figure(1e-9, 1000)
		}
	case 6:
		if m.StockBlock != nil {
			m.StockBlock.WidthMm = figure(1e-9, 20000)
		}
	case 7:
		if len(m.GetCatalyst().GetBands()) > 0 {
			m.Catalyst.Bands[0].Percent = figure(1e-9, 10)
		}
	case 8:
		if len(o.Materials) > 0 {
			o.Materials[0].Amount = figure(0, 10000)
		}
	case 9:
		o.Coats = proto.Int32(rapid.Int32Range(1, 40).Draw(rt, "coats"))
	case 10:
		o.Measure = mouldwrightv1.Measure(rapid.Int32Range(0, 13).Draw(rt, "measure"))
	case 11:
		if len(o.Materials) > 0 {
			o.Materials[0].Material = m.Code
		}
	default:
		d.Policies.LapMm, d.Policies.WorkshopC = figure(0, 300), figure(5, 40)
	}
}
