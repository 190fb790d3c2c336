package method

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/gelcoat"
	"github.com/mouldwright/mouldwright/internal/laminate"
	"github.com/mouldwright/mouldwright/internal/paint"
	"github.com/mouldwright/mouldwright/internal/ratebook"
)

// Amount is what one occurrence uses of a material, and the figures that it came
// from.
type Amount struct {
	Material *ratebook.Material
	Net      float64 // in the material's unit, before laps and wastage
	Lap      float64 // factor for overlapping widths of glass, at least 1
	Waste    float64 // factor for what never reaches the piece, at least 1
	Basis    ratebook.Basis
	Rate     float64            // the use's amount: in the material's unit for each of the measure, or m of film
	Of       *ratebook.Material // the mix or the resin that it is a share of; nil otherwise
	Share    float64            // of Of: by volume of a mix, by mass of a resin
	Base     float64            // what is used of Of, in its unit
	Schedule *ratebook.Schedule // the laminate that it belongs to; nil for none
	Layer    int                // which of the schedule's glasses it is; allLayers for the resin
	Stays    bool               // on the piece, and counts in its weight
}

// allLayers marks the resin of a laminate, which wets every layer.
const allLayers = -1

// wasted returns the factor that a material's wastage asks for: bought = used /
// (1 - wastage).
func wasted(m *ratebook.Material) float64 { return 1 / (1 - m.Wastage) }

// supply reckons what one occurrence of a task uses.
func (x *Expansion) supply(t *Task) {
	first := len(x.amounts)
	for i := range t.Uses {
		s := &t.Uses[i]
		switch s.Basis {
		case ratebook.LaminateSchedule:
			x.laminate(t)
		case ratebook.GelcoatOfSchedule:
			x.gelcoat(t)
		default:
			x.use(t, Amount{Material: s.Material, Net: x.net(t, s), Basis: s.Basis, Rate: s.Amount, Stays: s.Stays})
		}
	}
	t.Amounts = x.amounts[first:len(x.amounts):len(x.amounts)]
}

// net returns what one occurrence uses of a supply's material.
func (x *Expansion) net(t *Task, s *ratebook.Supply) float64 {
	coated := t.Units() * float64(t.Coats)
	switch s.Basis {
	case ratebook.PerMeasure:
		return coated * s.Amount
	case ratebook.WetFilm:
		kg, err := gelcoat.Mass(coated, s.Amount, s.Material.Density)
		x.refused(t, err)
		return kg
	case ratebook.DryFilm:
		film := s.Material.Paint
		litres, err := paint.Litres(coated, film.DryFilm, film.VolumeSolids, film.TransferEfficiency, 0)
		x.refused(t, err)
		return litres
	case ratebook.FoamBlank:
		return t.Piece.Blank
	default:
		return s.Amount
	}
}

func (x *Expansion) refused(t *Task, err error) {
	if err != nil && x.err == nil {
		x.err = fmt.Errorf("operation %q: %w", t.Code, err)
	}
}

// use keeps an amount of a material: a mix as its components, a resin with its
// catalyst.
func (x *Expansion) use(t *Task, a Amount) {
	if a.Net <= 0 {
		return
	}
	if len(a.Material.Mix) > 0 {
		x.mix(t, a)
		return
	}
	x.keep(a)
	x.catalyst(t, &a)
}

// keep adds an amount with the factors that it has by default.
func (x *Expansion) keep(a Amount) {
	if a.Lap == 0 {
		a.Lap = 1
	}
	if a.Waste == 0 {
		a.Waste = wasted(a.Material)
	}
	x.amounts = append(x.amounts, a)
}

func (x *Expansion) mix(t *Task, a Amount) {
	mix := make(paint.Mix, len(a.Material.Mix))
	for i, part := range a.Material.Mix {
		mix[i] = paint.Part{Name: part.Material, Parts: part.Parts}
	}
	each, err := mix.Split(a.Net)
	x.refused(t, err)
	for i := range each {
		c := a
		c.Of, c.Base, c.Material = a.Material, a.Net, a.Material.Components[i]
		c.Net, c.Share = each[i], each[i]/a.Net
		x.keep(c)
	}
}

// catalyst follows its resin: what is wasted and lapped of it takes catalyst too.
func (x *Expansion) catalyst(t *Task, a *Amount) {
	resin := a.Material
	if resin.CatalystMaterial == nil {
		return
	}
	dose, err := gelcoat.CatalystMass(a.Net, 100*resin.CatalystShare)
	x.refused(t, err)
	x.keep(Amount{
		Material: resin.CatalystMaterial, Net: dose, Lap: a.Lap, Waste: wasted(resin), Of: resin, Share: resin.CatalystShare, Base: a.Net,
		Basis: ratebook.PerMeasure,
	})
}

// laminate adds the glass of each layer and the resin that wets it. Laps are
// bought, and wetted, but not weighed: they lie within what a weight is good to.
func (x *Expansion) laminate(t *Task) {
	s, area, onCast := x.schedule(t), t.Units(), t.Per == ratebook.PerCast
	var resin, lapped float64
	for i, l := range s.Layers {
		g := l.Glass.Glass
		kg := area * float64(l.Layers) * g.ArealMass
		lap := x.lap(t, g)
		x.keep(Amount{Material: l.Glass, Net: kg, Lap: lap, Basis: ratebook.LaminateSchedule, Schedule: s, Layer: i, Stays: onCast})
		resin += float64(kg * g.ResinRatio)
		lapped += float64(float64(kg*g.ResinRatio) * lap)
	}
	if resin > 0 {
		x.use(t, Amount{
			Material: s.ResinMaterial, Net: resin, Lap: lapped / resin, Basis: ratebook.LaminateSchedule, Schedule: s, Layer: allLayers, Stays: onCast,
		})
	}
}

func (x *Expansion) lap(t *Task, g *ratebook.Glass) float64 {
	if g.RollWidth == 0 || x.edition.Policies.Lap == 0 {
		return 1
	}
	factor, err := laminate.Overlap(g.RollWidth, x.edition.Policies.Lap)
	x.refused(t, err)
	return factor
}

func (x *Expansion) gelcoat(t *Task) {
	s := x.schedule(t)
	if s.GelcoatMaterial == nil {
		return
	}
	kg, err := gelcoat.Mass(t.Units(), s.GelcoatFilm, s.GelcoatMaterial.Density)
	x.refused(t, err)
	// Gelcoat stays on a cast, where the method lays any: over foam it lays none.
	x.use(t, Amount{
		Material: s.GelcoatMaterial, Net: kg, Basis: ratebook.GelcoatOfSchedule, Rate: s.GelcoatFilm, Schedule: s, Stays: t.Per == ratebook.PerCast,
	})
}
