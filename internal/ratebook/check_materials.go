package ratebook

import (
	"fmt"
	"math"
	"slices"

	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/foam"
	"github.com/mouldwright/mouldwright/internal/gelcoat"
	"github.com/mouldwright/mouldwright/internal/laminate"
	"github.com/mouldwright/mouldwright/internal/paint"
	"github.com/mouldwright/mouldwright/internal/unit"
)

func (c *check) checkMaterials() {
	var root fault.Path
	seen, before := codes{}, len(c.faults)
	for i := range c.Materials {
		p, from := root.Item("materials", i), len(c.faults)
		seen.check(c, p, c.Materials[i].Code)
		c.material(p, &c.Materials[i])
		c.named("material", c.Materials[i].Code, from)
	}
	c.sound = len(c.faults) == before
}

func (c *check) material(p fault.Path, m *Material) {
	c.measuredBy(p.Field("unit"), m)
	c.paint(p.Field("paint"), m.Paint)
	if len(m.Mix) > 0 {
		c.mix(p, m)
		return
	}
	c.packs(p, m)
	c.wastage(p.Field("wastagePercent"), m)
	c.density(p.Field("densityKgM3"), m)
	c.glass(p.Field("glass"), m)
	c.catalyst(p.Field("catalyst"), m)
	c.block(p.Field("stockBlock"), m)
}

// measuredBy checks the unit against what the material is reckoned by.
func (c *check) measuredBy(p fault.Path, m *Material) {
	need, since := m.Unit, ""
	switch {
	case m.Glass != nil:
		need, since = unit.Kilogram, "glass is reckoned by mass"
	case m.Paint != nil:
		need, since = unit.Litre, "paint films are reckoned by volume"
	case len(m.Mix) > 0:
		need, since = unit.Litre, "a mix goes by volume"
	case m.Kind == Foam:
		need, since = unit.CubicMetre, "foam is cut from blocks"
	case m.Kind == Resin || m.Kind == GelcoatKind:
		need, since = unit.Kilogram, "resin and gelcoat are reckoned by mass"
	case m.Catalyst != nil:
		need, since = unit.Kilogram, "catalyst goes by mass"
	}
	bought := []unit.Unit{unit.Each, unit.Kilogram, unit.Litre, unit.SquareMetre, unit.Metre, unit.CubicMetre}
	switch {
	case m.Unit != need:
		c.faults.Add(p, "got %q, allowed: %s, since %s", m.Unit, need.Code(), since)
	case !slices.Contains(bought, m.Unit):
		c.faults.Add(p, "got %q, allowed: %s", m.Unit, joined(bought))
	}
}

func (c *check) wastage(p fault.Path, m *Material) {
	c.within(p, 100*m.Wastage, 0, 90, "percent")
	if of := c.cures[m.Code]; of != "" && m.Unit == unit.Kilogram && m.Catalyst == nil && m.Wastage > 0 {
		c.faults.Add(p, "got %.10g, allowed: 0, since a catalyst is wasted with what it cures, such as %q", 100*m.Wastage, of)
	}
}

// density tries the formulas that take it, for the kinds that cannot do without.
func (c *check) density(p fault.Path, m *Material) {
	if m.Density == 0 && (m.Kind == GelcoatKind || m.Kind == Resin || m.Kind == Foam) {
		c.faults.Add(p, "missing, allowed: above 0, since a %s is weighed by it", m.Kind)
		return
	}
	from := len(c.faults)
	if c.within(p, m.Density, 0, 20000, "kg/m3"); len(c.faults) > from {
		return
	}
	var err error
	switch m.Kind {
	case GelcoatKind:
		_, err = gelcoat.ArealMass(0.0005, m.Density)
	case Resin:
		ply := laminate.Polyester(0.45, 2.5)
		ply.ResinDensity = m.Density
		err = ply.Check()
	case Foam:
		_, err = foam.Block{Width: 1, Depth: 1, Height: 1}.Mass(m.Density)
	default:
	}
	c.refused(p, err)
}

func (c *check) glass(p fault.Path, m *Material) {
	g, from := m.Glass, len(c.faults)
	switch {
	case g == nil && m.Kind == GlassKind:
		c.faults.Add(p, "missing, allowed: the areal mass and resin ratio, which glass needs")
	case g != nil && m.Kind != GlassKind:
		c.faults.Add(p, "got one on a %s, allowed: only on glass", m.Kind)
	case g != nil:
		c.within(p.Field("arealMassGM2"), 1000*g.ArealMass, 1, 5000, "g/m2")
		c.within(p.Field("resinRatio"), g.ResinRatio, 0.3, 10, "of resin to glass by mass")
		if g.RollWidth != 0 {
			c.within(p.Field("rollWidthMm"), 1000*g.RollWidth, 10, 10000, "mm")
		}
		if len(c.faults) == from {
			c.refused(p, laminate.Polyester(g.ArealMass, g.ResinRatio).Check())
		}
	}
}

func (c *check) paint(p fault.Path, of *Paint) {
	if of == nil {
		return
	}
	from := len(c.faults)
	c.within(p.Field("volumeSolidsPercent"), of.VolumeSolids, 0.1, 100, "percent")
	c.within(p.Field("dryFilmUm"), of.DryFilm, 0.1, 5000, "um")
	c.within(p.Field("transferEfficiencyPercent"), 100*of.TransferEfficiency, 0.1, 100, "percent")
	if len(c.faults) == from {
		_, err := paint.Litres(1, of.DryFilm, of.VolumeSolids, of.TransferEfficiency, 0)
		c.refused(p, err)
	}
}

// What the purchase of packs reckons with, in whole numbers: sizes and needs in
// the last printed decimal of their unit, prices in minor units.
const (
	mostGrains = 1e9
	mostPacks  = 64
)

// mostOf is the most of a unit that packs can be found for.
func mostOf(u unit.Unit) float64 { return mostGrains / math.Pow10(u.Decimals()) }

func (c *check) packs(p fault.Path, m *Material) {
	if n := len(m.Packs); n == 0 || n > mostPacks {
		c.faults.Add(p.Field("packs"), "got %d, allowed: 1 to %d", n, mostPacks)
	}
	most := dearest(c.Currency)
	for i, pack := range m.Packs {
		at := p.Item("packs", i)
		if size := pack.Size.Float(); !(size > 0 && size <= mostOf(m.Unit)) {
			c.faults.Add(at.Field("size"), "got %.10g, allowed: above 0 to %.10g %s", size, mostOf(m.Unit), m.Unit.Code())
		}
		if pack.Price.IsNeg() || pack.Price.InexactFloat64() > most {
			c.faults.Add(at.Field("price"), "got %s, allowed: 0 to %.10g", pack.Price, most)
		}
	}
}

// mix checks the parts of a mix, and refuses what only its components have.
func (c *check) mix(p fault.Path, m *Material) {
	c.mixOnly(p, m)
	from := len(c.faults)
	mix := make(paint.Mix, len(m.Mix))
	for i, part := range m.Mix {
		at := p.Item("mix", i)
		of := c.needMaterial(at.Field("material"), part.Material)
		if of != nil && (len(of.Mix) > 0 || of.Unit != unit.Litre) {
			c.faults.Add(at.Field("material"), "got %q, allowed: a material bought in litres that is no mix itself", part.Material)
		}
		c.within(at.Field("parts"), part.Parts, 0.001, 1000, "parts")
		mix[i] = paint.Part{Name: part.Material, Parts: part.Parts}
	}
	if len(c.faults) == from {
		c.refused(p.Field("mix"), mix.Check())
	}
}

func (c *check) mixOnly(p fault.Path, m *Material) {
	switch m.Kind {
	case Foam, GelcoatKind, Resin, Catalyst, GlassKind:
		c.faults.Add(p.Field("kind"), "got %s, allowed for a mix: what goes by volume, such as primer, colour or lacquer", m.Kind)
	default:
	}
	for _, f := range []struct {
		field string
		got   any
		said  bool
	}{
		{"packs", len(m.Packs), len(m.Packs) > 0},
		{"wastagePercent", fmt.Sprintf("%.10g", 100*m.Wastage), m.Wastage != 0},
		{"densityKgM3", m.Density, m.Density != 0},
		{"glass", "one", m.Glass != nil},
		{"catalyst", "one", m.Catalyst != nil},
		{"stockBlock", "one", m.StockBlock != nil},
		{"keptInStock", m.KeptInStock, m.KeptInStock},
	} {
		if f.said {
			c.faults.Add(p.Field(f.field), "got %v, allowed: none, since a mix is bought and reckoned as its components", f.got)
		}
	}
}

func (c *check) block(p fault.Path, m *Material) {
	b, from := m.StockBlock, len(c.faults)
	switch {
	case b == nil && m.Kind == Foam:
		c.faults.Add(p, "missing, allowed: the size of the block that foam is cut from")
	case b != nil && m.Kind != Foam:
		c.faults.Add(p, "got one on a %s, allowed: only on foam", m.Kind)
	case b != nil:
		c.within(p.Field("widthMm"), 1000*b.Width, 10, 20000, "mm")
		c.within(p.Field("depthMm"), 1000*b.Depth, 10, 20000, "mm")
		c.within(p.Field("heightMm"), 1000*b.Height, 10, 20000, "mm")
		if len(c.faults) == from {
			c.refused(p, foam.Block{Width: b.Width, Depth: b.Depth, Height: b.Height}.Check())
		}
	}
}

func (c *check) catalyst(p fault.Path, m *Material) {
	if m.Catalyst == nil {
		return
	}
	of := c.needMaterial(p.Field("material"), m.Catalyst.Material)
	if of != nil && (of.Unit != unit.Kilogram || of.Catalyst != nil) {
		c.faults.Add(p.Field("material"), "got %q, allowed: a material bought in kg that needs no catalyst itself", m.Catalyst.Material)
	}
	_, err := gelcoat.Percent(m.Catalyst.Bands, c.Policies.Workshop)
	c.refused(p.Field("bands"), err)
}

func (c *check) checkLaminates() {
	var root fault.Path
	seen := codes{}
	for i := range c.Laminates {
		p, from := root.Item("laminates", i), len(c.faults)
		seen.check(c, p, c.Laminates[i].Code)
		c.laminate(p, &c.Laminates[i])
		c.named("laminate", c.Laminates[i].Code, from)
	}
}

func (c *check) laminate(p fault.Path, l *Laminate) {
	from := len(c.faults)
	c.needKind(p.Field("resin"), l.Resin, Resin)
	c.gelcoat(p, l)
	if len(l.Plies) == 0 {
		c.faults.Add(p.Field("plies"), "missing, allowed: at least one layer")
	}
	layers := 0
	for i, ply := range l.Plies {
		at := p.Item("plies", i)
		c.needKind(at.Field("glass"), ply.Glass, GlassKind)
		c.within(at.Field("layers"), float64(ply.Layers), 1, 40, "layers")
		layers += ply.Layers
	}
	c.layers = max(c.layers, layers)
	if c.sound && len(c.faults) == from {
		c.refused(p.Field("plies"), l.stack(c.materials).Check())
	}
}

// gelcoat checks the gelcoat of a laminate, and tries the film on a square metre.
func (c *check) gelcoat(p fault.Path, l *Laminate) {
	at, from := p.Field("gelcoatFilmMm"), len(c.faults)
	if l.Gelcoat == "" {
		if l.GelcoatFilm != 0 {
			c.faults.Add(at, "got %.10g, allowed: 0, since the laminate has no gelcoat", 1000*l.GelcoatFilm)
		}
		return
	}
	c.needKind(p.Field("gelcoat"), l.Gelcoat, GelcoatKind)
	c.within(at, 1000*l.GelcoatFilm, 0.05, 5, "mm")
	if c.sound && len(c.faults) == from {
		_, err := gelcoat.Mass(1, l.GelcoatFilm, c.materials[l.Gelcoat].Density)
		c.refused(at, err)
	}
}
