package ratebook

import (
	"slices"

	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/gelcoat"
	"github.com/mouldwright/mouldwright/internal/learning"
	"github.com/mouldwright/mouldwright/internal/paint"
	"github.com/mouldwright/mouldwright/internal/unit"
)

func (c *check) checkOperations() {
	var root fault.Path
	seen := codes{}
	for i := range c.Operations {
		p, from := root.Item("operations", i), len(c.faults)
		seen.check(c, p, c.Operations[i].Code)
		c.operation(p, &c.Operations[i])
		c.named("operation", c.Operations[i].Code, from)
	}
}

func (c *check) operation(p fault.Path, o *Operation) {
	if !c.reached[o.Code] && o.Code != "" {
		c.faults.Add(p.Field("code"), "got one that is named nowhere, allowed: one that a route, finish or fixing names")
	}
	c.skill(p, o)
	c.measure(p, o)
	c.coats(p, o)
	c.within(p.Field("setupHours"), o.SetupHours, 0, 1000, "h")
	c.hours(p.Field("hoursPerUnit"), o.HoursPerUnit)
	c.uses(p, o)
	c.within(p.Field("waitHours"), o.WaitHours, 0, 2000, "h")
	if o.Equipment != "" && c.equipment[o.Equipment] == nil {
		c.unknown(p.Field("equipment"), "equipment", o.Equipment, sortedCodes(c.equipment))
	}
	_, err := learning.Exponent(o.LearningRate)
	c.refused(p.Field("learningRate"), err)
	c.after(p, o)
	c.price(p.Field("chargeEach"), o.ChargeEach)
	c.price(p.Field("chargePerUnit"), o.ChargePerUnit)
}

func (c *check) coats(p fault.Path, o *Operation) {
	at := p.Field("coats")
	c.within(at, float64(o.Coats), 1, 40, "coats")
	if !o.CoatPerLayer {
		return
	}
	if o.Coats != 1 {
		c.faults.Add(at, "got %d, allowed: 1, since coatPerLayer counts the layers of the laminate", o.Coats)
	}
	if o.Per == PerJob || o.Per == PerConsignment {
		c.faults.Add(p.Field("coatPerLayer"), "got true, allowed: false per %s, which has no laminate", o.Per)
	}
}

func (c *check) hours(p fault.Path, r unit.Range) {
	if r.Check() != nil {
		c.faults.Add(p, "got %s, allowed: low <= likely <= high, each 0 or more", r)
		return
	}
	c.within(p.Field("low"), r.Low, 0, 1000, "h")
	c.within(p.Field("high"), r.High, 0, 1000, "h")
}

func (c *check) after(p fault.Path, o *Operation) {
	if c.circling[o.Code] {
		c.faults.Add(p.Field("after"), "got an order that leads back to itself, allowed: one that ends")
	}
	for i, code := range o.After {
		if c.ops[code] == nil {
			c.unknown(p.Item("after", i), "operation", code, sortedCodes(c.ops))
		}
	}
}

func (c *check) skill(p fault.Path, o *Operation) {
	working := o.SetupHours > 0 || o.HoursPerUnit.High > 0
	switch {
	case o.Skill == "" && working:
		c.faults.Add(p.Field("skill"), "missing, allowed: a skill, since somebody is paid for the hours")
	case o.Skill != "" && c.skills[o.Skill] == nil:
		c.unknown(p.Field("skill"), "skill", o.Skill, sortedCodes(c.skills))
	}
}

// measures lists what each occurrence has to be measured by.
func measures(p Per) []Measure {
	switch p {
	case PerHand:
		return []Measure{NoMeasure, Surface, Rim, FoamVolume, BoxVolume}
	case PerMould:
		return []Measure{NoMeasure, Surface, Rim, Flange, MouldArea, Parting, BoxVolume}
	case PerCast:
		return []Measure{NoMeasure, Surface, Rim, FoamVolume, Parting, Mass, FixingCount, BoxVolume}
	case PerZone:
		return []Measure{NoMeasure, ZoneArea, MaskEdge}
	case PerConsignment:
		return []Measure{NoMeasure, Distance}
	case PerPiece:
		return []Measure{NoMeasure, Surface, Rim, FoamVolume, BoxVolume}
	default:
		return []Measure{NoMeasure}
	}
}

func (c *check) measure(p fault.Path, o *Operation) {
	if allowed := measures(o.Per); !slices.Contains(allowed, o.Measure) {
		c.faults.Add(p.Field("measure"), "got %s, which an operation per %s has not, allowed: %s", o.Measure, o.Per, joined(allowed))
	}
}

func (c *check) uses(p fault.Path, o *Operation) {
	for i, u := range o.Materials {
		at, from := p.Item("materials", i), len(c.faults)
		c.amount(at.Field("amount"), u)
		if u.Basis == LaminateSchedule || u.Basis == GelcoatOfSchedule {
			c.scheduleUse(p, at, o, u)
			continue
		}
		m := c.needMaterial(at.Field("material"), u.Material)
		if m == nil {
			continue
		}
		c.use(p, at, o, u, m)
		if u.Stays {
			c.stays(at.Field("staysOnPiece"), o, m)
		}
		if c.sound && len(c.faults) == from {
			c.try(at.Field("amount"), o, u, m)
		}
	}
}

// amount: where something else says how much, an amount would be passed over.
func (c *check) amount(p fault.Path, u Use) {
	says := ""
	switch u.Basis {
	case LaminateSchedule, GelcoatOfSchedule:
		says = "the laminate says how much"
	case DryFilm:
		says = "the paint says its film"
	case FoamBlank:
		says = "blanks are as large as the form"
	case WetFilm:
		c.within(p, 1000*u.Amount, 0.001, 20, "mm of wet film")
		return
	default:
		c.above(p, u.Amount, 10000, "of the material's unit")
		return
	}
	if u.Amount != 0 {
		c.faults.Add(p, "got %.10g, allowed: 0, since %s", u.Amount, says)
	}
}

// scheduleUse checks the use, at one path, of a laminate by the operation at
// another.
func (c *check) scheduleUse(p, at fault.Path, o *Operation, u Use) {
	if u.Material != "" {
		c.faults.Add(at.Field("material"), "got %q, allowed: empty, since the laminate says it", u.Material)
	}
	if u.Stays {
		c.faults.Add(at.Field("staysOnPiece"), "got true, allowed: false, since what is laid up on a cast stays on it without being told")
	}
	over := []Measure{Surface}
	switch o.Per {
	case PerMould:
		over = append(over, MouldArea)
	case PerCast:
	default:
		c.faults.Add(at.Field("basis"), "got a laminate per %s, allowed: per mould or cast", o.Per)
		return
	}
	if !slices.Contains(over, o.Measure) {
		c.faults.Add(p.Field("measure"), "got %s, allowed: %s, since a laminate is laid over it", o.Measure, joined(over))
	}
}

// use checks what a basis asks of its material and of its operation.
func (c *check) use(p, at fault.Path, o *Operation, u Use, m *Material) {
	basis := at.Field("basis")
	switch u.Basis {
	case WetFilm:
		if m.Density <= 0 {
			c.faults.Add(basis, "got a wet film of %q, allowed: of a material with a density", m.Code)
		}
		if m.Unit != unit.Kilogram {
			c.faults.Add(basis, "got a wet film of %q, which is in %s, allowed: of a material in kg", m.Code, m.Unit.Code())
		}
		c.film(p, o)
	case DryFilm:
		if m.Paint == nil {
			c.faults.Add(basis, "got a dry film of %q, allowed: of a material with paint data", m.Code)
		}
		c.film(p, o)
	case FoamBlank:
		c.blank(p, at, o, m)
	default:
	}
}

// film: what is no area would be coated as if it were one.
func (c *check) film(p fault.Path, o *Operation) {
	if o.Measure.Unit() != unit.SquareMetre {
		c.faults.Add(p.Field("measure"), "got %s, allowed: a measure in m2, since a film lies on it", o.Measure)
	}
}

// blank: foam is cut for the pattern of a hand, or for a cast that keeps it.
func (c *check) blank(p, at fault.Path, o *Operation, m *Material) {
	if m.Kind != Foam {
		c.faults.Add(at.Field("material"), "got %q, which is %s, allowed: a foam, since blanks are cut from it", m.Code, m.Kind)
	}
	if o.Per != PerHand && o.Per != PerCast {
		c.faults.Add(at.Field("basis"), "got blanks per %s, allowed: per hand or cast", o.Per)
	}
	if o.Measure != FoamVolume {
		c.faults.Add(p.Field("measure"), "got %s, allowed: %s, since blanks are cut to it", o.Measure, FoamVolume)
	}
}

func (c *check) stays(p fault.Path, o *Operation, m *Material) {
	if o.Measure == Mass || o.Per != PerCast && o.Per != PerZone {
		c.faults.Add(p, "got true, allowed: only per cast or zone, and not where mass is the measure")
	}
	parts := []*Material{m}
	if len(m.Mix) > 0 {
		parts = parts[:0]
		for _, part := range m.Mix {
			parts = append(parts, c.materials[part.Material])
		}
	}
	for _, part := range parts {
		if c.sound && part != nil && !part.weighed() {
			c.faults.Add(p, "got true for %q in %s, allowed: for what is in kg, or in L or m3 with a density", part.Code, part.Unit.Code())
		}
	}
}

// weighed reports whether the mass of an amount of the material is known.
func (m *Material) weighed() bool {
	switch m.Unit {
	case unit.Kilogram:
		return true
	case unit.Litre, unit.CubicMetre:
		return m.Density > 0
	default:
		return false
	}
}

// try reckons what one unit of the measure takes with the formulas that price it,
// so that what they refuse is known before a brief comes.
func (c *check) try(p fault.Path, o *Operation, u Use, m *Material) {
	coats := float64(o.Coats)
	if o.CoatPerLayer {
		coats = float64(c.layers)
	}
	net, err := u.Amount, error(nil)
	switch u.Basis {
	case PerMeasure:
		net = coats * u.Amount
	case WetFilm:
		net, err = gelcoat.Mass(coats, u.Amount, m.Density)
	case DryFilm:
		f := m.Paint
		net, err = paint.Litres(coats, f.DryFilm, f.VolumeSolids, f.TransferEfficiency, 0)
	default:
	}
	c.refused(p, err)
	if err == nil && len(m.Mix) > 0 {
		c.tryMix(p, m, net)
	} else if err == nil {
		c.need(p, m, net)
	}
}

func (c *check) tryMix(p fault.Path, m *Material, litres float64) {
	mix := make(paint.Mix, len(m.Mix))
	for i, part := range m.Mix {
		mix[i] = paint.Part{Name: part.Material, Parts: part.Parts}
	}
	each, err := mix.Split(litres)
	c.refused(p, err)
	for i, part := range each {
		c.need(p, c.materials[m.Mix[i].Material], part)
	}
}

// need checks that packs can be found for what one unit of a measure takes, with
// what is wasted of it, and catalyst for it.
func (c *check) need(p fault.Path, m *Material, net float64) {
	if gross := net / (1 - m.Wastage); gross > mostOf(m.Unit) {
		c.faults.Add(p, "got %.10g %s of %q for one of the measure, allowed: at most %.10g", gross, m.Unit.Code(), m.Code, mostOf(m.Unit))
		return
	}
	if m.Catalyst != nil {
		percent, err := gelcoat.Percent(m.Catalyst.Bands, c.Policies.Workshop)
		if err == nil {
			_, err = gelcoat.CatalystMass(net, percent)
		}
		c.refused(p, err)
	}
}
