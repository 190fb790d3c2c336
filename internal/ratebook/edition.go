package ratebook

import (
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/gelcoat"
	"github.com/mouldwright/mouldwright/internal/laminate"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Edition is a checked rate book with every code resolved. It never changes
// once opened and is safe for concurrent readers.
type Edition struct {
	*Book
	Job           []*Work // once for a brief
	Moulded       []*Work // pattern, mould, casts
	Direct        []*Work // straight over coated foam
	Consignments  []*Work
	MouldSchedule *Schedule
	Exchange      *Exchange // nil in the book's own currency

	materials map[string]*Material
	schedules map[string]*Schedule
	finishes  map[string]*Treatment
	fixings   map[string]*BuiltIn
	taxes     map[string]*TaxRate
	rushes    map[string]*RushTerm
}

// Work is an operation with its codes resolved.
type Work struct {
	*Operation
	Paid *Skill     // nil where nobody is paid for it
	Held *Equipment // nil where none is charged
	Uses []Supply
}

// Supply is a use with its material resolved; nil where the laminate says it.
type Supply struct {
	Use
	Material *Material
}

// Schedule is a laminate with its materials resolved.
type Schedule struct {
	*Laminate
	Stack           laminate.Stack
	Layers          []Layer
	GelcoatMaterial *Material // nil for none
	ResinMaterial   *Material
	LayerCount      int
	SkinThickness   float64 // m with gelcoat
}

// Layer is the glass of a ply, for so many layers.
type Layer struct {
	Glass  *Material
	Layers int
}

// Treatment is a finish with its operations resolved.
type Treatment struct {
	*Finish
	Cast []*Work
	Zone []*Work
}

// OnCasts reports whether the finish may cover whole casts.
func (t *Treatment) OnCasts() bool { return t.onCasts() }

// OnZones reports whether the finish may be put on zones.
func (t *Treatment) OnZones() bool { return len(t.Zone) > 0 }

// StandsUpTo reports whether the finish is meant for the exposure.
func (t *Treatment) StandsUpTo(e Exposure) bool {
	return len(t.Exposures) == 0 || contains(t.Exposures, e)
}

// BuiltIn is a fixing with its operations resolved.
type BuiltIn struct {
	*Fixing
	Work []*Work
}

// Suits reports whether the operation is for such a body and exposure.
func (o *Operation) Suits(b Body, e Exposure) bool {
	return (len(o.Bodies) == 0 || contains(o.Bodies, b)) && (len(o.Exposures) == 0 || contains(o.Exposures, e))
}

func contains[T comparable](list []T, v T) bool {
	for _, x := range list {
		if x == v {
			return true
		}
	}
	return false
}

// Open checks a book and resolves its codes. It returns every fault of the book
// at once, or the edition. The book must not be changed afterwards.
func Open(b *Book) (*Edition, fault.List) {
	faults := b.check()
	if len(faults) > 0 {
		return nil, faults
	}
	for i := range b.Materials {
		b.Materials[i].UnitPrice = leastUnitPrice(b.Materials[i].Packs)
	}
	return resolved(b), nil
}

// resolved resolves the codes of a book that was checked, and whose materials have
// their unit prices.
func resolved(b *Book) *Edition {
	e := &Edition{Book: b}
	e.openMaterials()
	e.openSchedules()
	works := e.openWorks()
	e.openRoutes(works)
	e.openFinishes(works)
	e.openFixings(works)
	e.openTerms()
	return e
}

// Material returns the material of a code.
func (e *Edition) Material(code string) (*Material, bool) { return find(e.materials, code) }

// Schedule returns the laminate of a code; the default one for no code.
func (e *Edition) Schedule(code string) (*Schedule, bool) {
	return find(e.schedules, orDefault(code, e.Policies.DefaultLaminate))
}

// Treatment returns the finish of a code; the default one for no code.
func (e *Edition) Treatment(code string) (*Treatment, bool) {
	return find(e.finishes, orDefault(code, e.Policies.DefaultFinish))
}

// BuiltIn returns the fixing of a code.
func (e *Edition) BuiltIn(code string) (*BuiltIn, bool) { return find(e.fixings, code) }

// Tax returns the tax rate of a code; the default one for no code.
func (e *Edition) Tax(code string) (*TaxRate, bool) {
	return find(e.taxes, orDefault(code, e.Policies.DefaultTax))
}

// Rush returns the rush term of a code.
func (e *Edition) Rush(code string) (*RushTerm, bool) { return find(e.rushes, code) }

func find[T any](m map[string]*T, code string) (*T, bool) {
	v, ok := m[code]
	return v, ok
}

func orDefault(code, standard string) string {
	if code == "" {
		return standard
	}
	return code
}

func (e *Edition) openMaterials() {
	e.materials = make(map[string]*Material, len(e.Materials))
	for i := range e.Materials {
		e.materials[e.Materials[i].Code] = &e.Materials[i]
	}
	for i := range e.Materials {
		m := &e.Materials[i]
		m.Place = i
		m.Components = nil
		for _, part := range m.Mix {
			m.Components = append(m.Components, e.materials[part.Material])
		}
		e.openCatalyst(m)
	}
}

func (e *Edition) openCatalyst(m *Material) {
	if m.Catalyst == nil {
		return
	}
	// check has made sure that a band holds the workshop's temperature.
	percent, err := gelcoat.Percent(m.Catalyst.Bands, e.Policies.Workshop)
	if err == nil {
		m.CatalystMaterial, m.CatalystShare = e.materials[m.Catalyst.Material], percent/100
	}
}

// leastUnitPrice is what one unit costs from the pack that sells it cheapest,
// to four decimals: the figure that material lines are multiplied with.
func leastUnitPrice(packs []Pack) unit.Decimal {
	var least unit.Decimal
	for i, p := range packs {
		each, err := p.Price.Div(p.Size.Decimal())
		if err != nil {
			continue // a size of zero: refused by check
		}
		if i == 0 || each.LessThan(least) {
			least = each
		}
	}
	return least.RoundHAZ(4)
}

func (e *Edition) openSchedules() {
	e.schedules = make(map[string]*Schedule, len(e.Laminates))
	for i := range e.Laminates {
		l := &e.Laminates[i]
		e.schedules[l.Code] = e.schedule(l)
	}
	e.MouldSchedule = e.schedules[e.Policies.MouldLaminate]
}

func (e *Edition) schedule(l *Laminate) *Schedule {
	s := &Schedule{Laminate: l, Stack: l.stack(e.materials), ResinMaterial: e.materials[l.Resin], Layers: make([]Layer, 0, len(l.Plies))}
	for _, ply := range l.Plies {
		s.Layers = append(s.Layers, Layer{Glass: e.materials[ply.Glass], Layers: ply.Layers})
		s.LayerCount += ply.Layers
	}
	s.SkinThickness = s.Stack.Thickness()
	if l.Gelcoat != "" {
		s.GelcoatMaterial = e.materials[l.Gelcoat]
		s.SkinThickness = s.Stack.SkinThickness(l.GelcoatFilm)
	}
	return s
}

// stack returns the layers as the formulas of a laminate take them. Its codes are
// known ones of the right kinds.
func (l *Laminate) stack(materials map[string]*Material) laminate.Stack {
	var stack laminate.Stack
	for _, ply := range l.Plies {
		glass := materials[ply.Glass].Glass
		for range ply.Layers {
			stack = append(stack, laminate.Ply{
				Glass: glass.ArealMass, Ratio: glass.ResinRatio, GlassDensity: laminate.EGlassDensity, ResinDensity: materials[l.Resin].Density,
			})
		}
	}
	return stack
}

func (e *Edition) openWorks() map[string]*Work {
	skills := byCode(e.Skills, func(s *Skill) string { return s.Code })
	equipment := byCode(e.Equipment, func(q *Equipment) string { return q.Code })
	works, list := make(map[string]*Work, len(e.Operations)), make([]Work, len(e.Operations))
	for i := range e.Operations {
		o, w := &e.Operations[i], &list[i]
		*w = Work{Operation: o, Paid: skills[o.Skill], Held: equipment[o.Equipment], Uses: make([]Supply, 0, len(o.Materials))}
		for _, use := range o.Materials {
			w.Uses = append(w.Uses, Supply{Use: use, Material: e.materials[use.Material]})
		}
		works[o.Code] = w
	}
	return works
}

func byCode[T any](list []T, code func(*T) string) map[string]*T {
	m := make(map[string]*T, len(list))
	for i := range list {
		m[code(&list[i])] = &list[i]
	}
	return m
}

func (e *Edition) openRoutes(works map[string]*Work) {
	e.Job = named(works, e.Method.Job)
	e.Moulded = named(works, e.Method.Moulded)
	e.Direct = named(works, e.Method.Direct)
	e.Consignments = named(works, e.Method.Consignment)
}

func named(works map[string]*Work, codes []string) []*Work {
	list := make([]*Work, len(codes))
	for i, code := range codes {
		list[i] = works[code]
	}
	return list
}

func (e *Edition) openFinishes(works map[string]*Work) {
	e.finishes = make(map[string]*Treatment, len(e.Finishes))
	for i := range e.Finishes {
		f := &e.Finishes[i]
		e.finishes[f.Code] = &Treatment{Finish: f, Cast: named(works, f.CastOperations), Zone: named(works, f.ZoneOperations)}
	}
}

func (e *Edition) openFixings(works map[string]*Work) {
	e.fixings = make(map[string]*BuiltIn, len(e.Fixings))
	for i := range e.Fixings {
		f := &e.Fixings[i]
		e.fixings[f.Code] = &BuiltIn{Fixing: f, Work: named(works, f.Operations)}
	}
}

func (e *Edition) openTerms() {
	e.taxes = byCode(e.Policies.TaxRates, func(t *TaxRate) string { return t.Code })
	e.rushes = byCode(e.Policies.RushTerms, func(r *RushTerm) string { return r.Code })
}
