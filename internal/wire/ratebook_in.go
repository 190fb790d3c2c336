package wire

import (
	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/gelcoat"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// RateBook translates a rate book. Its faults are what has no translation; the
// book's own faults are found when it is opened.
func RateBook(pb *mouldwrightv1.RateBook) (*ratebook.Book, fault.List) {
	t := translation{}
	var root fault.Path
	b := &ratebook.Book{
		Revision: pb.GetRevision(), Studio: pb.GetStudio(), Basis: pb.GetBasis(),
		Currency: t.currency(root.Field("currencyCode"), pb.GetCurrencyCode()),
	}
	for i, s := range pb.GetSkills() {
		p := root.Item("skills", i)
		b.Skills = append(b.Skills, ratebook.Skill{Code: s.GetCode(), Name: s.GetName(), HourlyRate: t.decimal(p.Field("hourlyRate"), s.GetHourlyRate())})
	}
	for i, e := range pb.GetEquipment() {
		p := root.Item("equipment", i)
		b.Equipment = append(b.Equipment, ratebook.Equipment{Code: e.GetCode(), Name: e.GetName(), HourlyRate: t.decimal(p.Field("hourlyRate"), e.GetHourlyRate())})
	}
	for i, m := range pb.GetMaterials() {
		b.Materials = append(b.Materials, t.material(root.Item("materials", i), m))
	}
	for _, l := range pb.GetLaminates() {
		b.Laminates = append(b.Laminates, laminateIn(l))
	}
	for i, o := range pb.GetOperations() {
		b.Operations = append(b.Operations, t.operation(root.Item("operations", i), o))
	}
	m := pb.GetMethod()
	b.Method = ratebook.Method{Job: m.GetJob(), Moulded: m.GetMoulded(), Direct: m.GetDirect(), Consignment: m.GetConsignment()}
	t.lists(b, pb)
	b.Policies = t.policies(root.Field("policies"), pb.GetPolicies())
	return b, t.faults
}

func (t *translation) lists(b *ratebook.Book, pb *mouldwrightv1.RateBook) {
	for _, f := range pb.GetFinishes() {
		b.Finishes = append(b.Finishes, ratebook.Finish{
			Code: f.GetCode(), Name: f.GetName(), Description: f.GetDescription(), CastOperations: f.GetCastOperations(), ZoneOperations: f.GetZoneOperations(),
			ForCasts: f.GetForCasts(), NeedsGelcoat: f.GetNeedsGelcoat(), Exposures: sameNumbers[ratebook.Exposure](f.GetExposures()),
		})
	}
	for _, f := range pb.GetFixings() {
		b.Fixings = append(b.Fixings, ratebook.Fixing{Code: f.GetCode(), Name: f.GetName(), Mass: f.GetMassKg(), Operations: f.GetOperations()})
	}
	for _, c := range pb.GetCautions() {
		b.Cautions = append(b.Cautions, ratebook.Caution{
			Code: c.GetCode(), Title: c.GetTitle(), Text: c.GetText(), Source: c.GetSource(), DecidedBy: c.GetDecidedBy(), Trigger: trigger(c.GetTrigger()),
		})
	}
}

// sameNumbers carries enum values over by number.
func sameNumbers[To, From ~int32 | ~int](from []From) []To {
	if len(from) == 0 {
		return nil
	}
	out := make([]To, len(from))
	for i, v := range from {
		out[i] = To(v)
	}
	return out
}

func (t *translation) currency(p fault.Path, code string) unit.Currency {
	c, err := unit.ParseCurrency(code)
	if err != nil {
		t.faults.Add(p, "%v", err)
	}
	return c
}

func (t *translation) material(p fault.Path, pb *mouldwrightv1.Material) ratebook.Material {
	u, known := t.unit(p.Field("unit"), pb)
	m := ratebook.Material{
		Code: pb.GetCode(), Name: pb.GetName(), Kind: ratebook.MaterialKind(pb.GetKind()), Unit: u,
		Wastage: pb.GetWastagePercent() / 100, Density: pb.GetDensityKgM3(), KeptInStock: pb.GetKeptInStock(), Source: pb.GetSource(),
		Glass: glass(pb.GetGlass()), Paint: paintIn(pb.GetPaint()), Catalyst: catalystNeed(pb.GetCatalyst()),
	}
	for i, k := range pb.GetPacks() {
		if !known {
			u = unit.CubicMetre // the finest: no size is blamed for what the unit lacks
		}
		m.Packs = append(m.Packs, t.pack(p.Item("packs", i), k, u))
	}
	for _, x := range pb.GetMix() {
		m.Mix = append(m.Mix, ratebook.MixPart{Material: x.GetMaterial(), Parts: x.GetParts()})
	}
	if x := size(pb.GetStockBlock()); x != nil {
		m.StockBlock = &ratebook.Block{Width: x.Width, Depth: x.Depth, Height: x.Height}
	}
	return m
}

// unit is litres for a mix and has to be said for everything else.
func (t *translation) unit(p fault.Path, pb *mouldwrightv1.Material) (u unit.Unit, known bool) {
	code := pb.GetUnit()
	if code == "" {
		if len(pb.GetMix()) == 0 {
			t.faults.Add(p, "missing, allowed: each, kg, L, m2, m, m3; only a mix needs none")
		}
		return unit.Litre, len(pb.GetMix()) > 0
	}
	u, err := unit.ParseUnit(code)
	if err != nil {
		t.faults.Add(p, "%v", err)
	}
	return u, err == nil
}

func (t *translation) pack(p fault.Path, pb *mouldwrightv1.Pack, u unit.Unit) ratebook.Pack {
	size, err := unit.Measure(pb.GetSize(), u)
	if err != nil {
		t.faults.Add(p.Field("size"), "%v", err)
	}
	if err == nil && size.Float() != pb.GetSize() {
		t.faults.Add(p.Field("size"), "got %g, allowed: at most %d decimals for %s", pb.GetSize(), u.Decimals(), u.Code())
	}
	return ratebook.Pack{Name: pb.GetName(), Size: size, Price: t.decimal(p.Field("price"), pb.GetPrice())}
}

func glass(pb *mouldwrightv1.Glass) *ratebook.Glass {
	if pb == nil {
		return nil
	}
	return &ratebook.Glass{ArealMass: pb.GetArealMassGM2() / 1000, ResinRatio: pb.GetResinRatio(), RollWidth: metres(pb.GetRollWidthMm())}
}

func paintIn(pb *mouldwrightv1.Paint) *ratebook.Paint {
	if pb == nil {
		return nil
	}
	return &ratebook.Paint{
		VolumeSolids: pb.GetVolumeSolidsPercent(), DryFilm: pb.GetDryFilmUm(), TransferEfficiency: pb.GetTransferEfficiencyPercent() / 100,
	}
}

func catalystNeed(pb *mouldwrightv1.CatalystNeed) *ratebook.CatalystNeed {
	if pb == nil {
		return nil
	}
	n := &ratebook.CatalystNeed{Material: pb.GetMaterial()}
	for _, b := range pb.GetBands() {
		n.Bands = append(n.Bands, gelcoat.Band{FromC: b.GetFromC(), ToC: b.GetBelowC(), Percent: b.GetPercent()})
	}
	return n
}

func laminateIn(pb *mouldwrightv1.Laminate) ratebook.Laminate {
	l := ratebook.Laminate{
		Code: pb.GetCode(), Name: pb.GetName(), Gelcoat: pb.GetGelcoat(), GelcoatFilm: metres(pb.GetGelcoatFilmMm()), Resin: pb.GetResin(),
	}
	for _, p := range pb.GetPlies() {
		l.Plies = append(l.Plies, ratebook.Ply{Glass: p.GetGlass(), Layers: int(p.GetLayers())})
	}
	return l
}

func (t *translation) operation(p fault.Path, pb *mouldwrightv1.Operation) ratebook.Operation {
	h := pb.GetHoursPerUnit()
	o := ratebook.Operation{
		Code: pb.GetCode(), Name: pb.GetName(), Stage: ratebook.Stage(pb.GetStage()), Skill: pb.GetSkill(),
		Per: ratebook.Per(pb.GetPer()), Measure: measureIn(pb.GetMeasure()), Coats: countOr1(pb.Coats), CoatPerLayer: pb.GetCoatPerLayer(),
		SetupHours: pb.GetSetupHours(), HoursPerUnit: unit.Range{Low: h.GetLow(), Likely: h.GetLikely(), High: h.GetHigh()},
		WaitHours: pb.GetWaitHours(), Equipment: pb.GetEquipment(), HoldsWaiting: sameNumbers[ratebook.Hold](pb.GetHoldsWaiting()),
		LearningRate: 1, After: pb.GetAfter(),
		Bodies: sameNumbers[ratebook.Body](pb.GetBodies()), Exposures: sameNumbers[ratebook.Exposure](pb.GetExposures()),
		ChargeEach:    t.decimal(p.Field("chargeEach"), pb.GetChargeEach()),
		ChargePerUnit: t.decimal(p.Field("chargePerUnit"), pb.GetChargePerUnit()),
	}
	if pb.LearningRate != nil {
		o.LearningRate = pb.GetLearningRate()
	}
	for _, u := range pb.GetMaterials() {
		o.Materials = append(o.Materials, use(u))
	}
	return o
}

func use(pb *mouldwrightv1.MaterialUse) ratebook.Use {
	u := ratebook.Use{Material: pb.GetMaterial(), Basis: ratebook.Basis(pb.GetBasis()), Amount: pb.GetAmount(), Stays: pb.GetStaysOnPiece()}
	if u.Basis == ratebook.WetFilm {
		u.Amount = metres(u.Amount)
	}
	return u
}

func trigger(pb *mouldwrightv1.CautionTrigger) ratebook.Trigger {
	t := ratebook.Trigger{
		Always: pb.GetAlways(), Kinds: sameNumbers[ratebook.MaterialKind](pb.GetMaterialKinds()), Materials: pb.GetMaterials(),
		Operations: pb.GetOperations(), Exposures: sameNumbers[ratebook.Exposure](pb.GetExposures()), OverMass: pb.OverMassKg,
	}
	if pb != nil && pb.OverHeightMm != nil {
		height := metres(pb.GetOverHeightMm())
		t.OverHeight = &height
	}
	return t
}

func (t *translation) policies(p fault.Path, pb *mouldwrightv1.Policies) ratebook.Policies {
	pol := ratebook.Policies{
		DefaultLaminate: pb.GetDefaultLaminate(), DefaultFinish: pb.GetDefaultFinish(), DirectLaminate: pb.GetDirectLaminate(), MouldLaminate: pb.GetMouldLaminate(),
		MouldLife: int(pb.GetMouldLifeCasts()), FlangeWidth: metres(pb.GetFlangeWidthMm()), Lap: metres(pb.GetLapMm()), Workshop: pb.GetWorkshopC(),
		Relaxation: pb.GetRelaxationPercent() / 100, Delay: pb.GetDelayPercent() / 100, Charge: ratebook.MaterialCharge(pb.GetMaterialCharge()),
		Terms: t.terms(p.Field("margin"), pb.GetMargin()), DefaultTax: pb.GetDefaultTax(), ValidityDays: int(pb.GetValidityDays()),
		Assumptions: pb.GetAssumptions(), Exclusions: pb.GetExclusions(),
	}
	for i, x := range pb.GetTaxRates() {
		at := p.Item("taxRates", i)
		pol.TaxRates = append(pol.TaxRates, ratebook.TaxRate{Code: x.GetCode(), Name: x.GetName(), Percent: t.decimal(at.Field("percent"), x.GetPercent())})
	}
	for i, x := range pb.GetRushTerms() {
		at := p.Item("rushTerms", i)
		pol.RushTerms = append(pol.RushTerms, ratebook.RushTerm{Code: x.GetCode(), Name: x.GetName(), Percent: t.decimal(at.Field("percent"), x.GetPercent())})
	}
	for i, x := range pb.GetStagePayments() {
		at := p.Item("stagePayments", i)
		pol.StagePayments = append(pol.StagePayments, ratebook.StageShare{Name: x.GetName(), Percent: t.decimal(at.Field("percent"), x.GetPercent())})
	}
	return pol
}

func (t *translation) terms(p fault.Path, pb *mouldwrightv1.MarginTerms) ratebook.Terms {
	return ratebook.Terms{
		OverheadPerHour: t.decimal(p.Field("overheadPerLabourHour"), pb.GetOverheadPerLabourHour()),
		OverheadPercent: t.decimal(p.Field("overheadPercent"), pb.GetOverheadPercent()),
		Contingency:     t.decimal(p.Field("contingencyPercent"), pb.GetContingencyPercent()),
		Margin:          t.decimal(p.Field("marginPercent"), pb.GetMarginPercent()),
		Markup:          t.decimal(p.Field("markupPercent"), pb.GetMarkupPercent()),
		Discount:        t.decimal(p.Field("discountPercent"), pb.GetDiscountPercent()),
		Rush:            t.decimal(p.Field("rushPercent"), pb.GetRushPercent()),
		MinimumCharge:   t.decimal(p.Field("minimumCharge"), pb.GetMinimumCharge()),
		SpreadTooling:   pb.GetTooling() == mouldwrightv1.ToolingCharge_TOOLING_CHARGE_SPREAD,
	}
}
