package method_test

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
)

// uses gives an operation of the tiny studio another list of materials and opens the
// book.
func uses(t *testing.T, operation string, of ...ratebook.Use) *ratebook.Edition {
	t.Helper()
	book := ratebooktest.Book(t)
	ratebooktest.Material(t, book, "barrier").Density = 1500
	ratebooktest.Operation(t, book, operation).Materials = of
	return ratebooktest.Open(t, book)
}

// furnished is a slab with a finish, spots and studs: each basis and each measure of the
// tiny studio falls on it.
func furnished(surface float64) *brief.Piece {
	b := slabs(surface)
	b.Finish = "enamel"
	b.Zones = []brief.Zone{{Name: "spots", Finish: "flake", Count: 3, Shape: brief.ZoneShape{Spot: &geometry.Spot{Diameter: 0.2}}}}
	b.Fixings = []brief.Fixing{{Code: "stud", Count: 4}}
	return b
}

// The arithmetic to each basis in words, worked out on paper: the figures are those of
// TestAmountsByHand, TestWetFilm and TestPaintAndItsMix with their sources.
func TestStepsInWords(t *testing.T) {
	combo := slabs(4)
	combo.Laminate = "combo"
	use := func(material string, basis ratebook.Basis, amount float64) ratebook.Use {
		return ratebook.Use{Material: material, Basis: basis, Amount: amount}
	}
	tiny := ratebooktest.Tiny(t)
	for _, c := range []struct {
		name                string
		l                   laid
		operation, material string
		want                string
	}{
		{"by the area, in coats", lay(t, tiny, slabs(4), false), "seal", "barrier", "4 m² of surface × 2 coats × 0.5 kg/m² = 4 kg"},
		{"what the rate book says itself", lay(t, tiny, slabs(4), false), "seal", "brush", ""},
		{"a blank", lay(t, tiny, slabs(4), false), "carve", "foam", "0.5 m³ in boxes round the solids"},
		{"gelcoat", lay(t, tiny, slabs(4), false), "gelcoat", "gelcoat", "4 m² of surface × 0.5 mm wet × 1.2 kg/m² for each mm = 2.4 kg"},
		{"its catalyst", lay(t, tiny, slabs(4), false), "gelcoat", "catalyst", "2.4 kg of Gelcoat × 0.02 (2 %) = 0.048 kg"},
		{"glass", lay(t, tiny, slabs(4), false), "lay", "mat-450", "4 m² of surface × 2 layers × 0.45 kg/m² of glass = 3.6 kg"},
		{
			"its resin", lay(t, tiny, slabs(4), false), "lay", "resin",
			"4 m² of surface × 2 layers × 0.45 kg/m² of glass × 2.333 of resin to one of glass = 8.4 kg",
		},
		{"glass of one layer", lay(t, tiny, combo, false), "lay", "roving-600", "4 m² of surface × 0.6 kg/m² of glass = 2.4 kg"},
		{
			"resin of two glasses", lay(t, tiny, combo, false), "lay", "resin",
			"4 m² of surface × 0.45 kg/m² of glass × 2.333 of resin to one of glass = 4.2 kg; 4 m² of surface × 0.6 kg/m² of glass × 1.083 of resin to one of glass = 2.6 kg; 4.2 kg + 2.6 kg = 6.8 kg",
		},
		{
			"a wet film", lay(t, uses(t, "seal", use("barrier", ratebook.WetFilm, 0.001)), slabs(4), false), "seal", "barrier",
			"4 m² of surface × 2 coats × 1 mm wet × 1.5 kg/m² for each mm = 12 kg",
		},
		{
			"a dry film of a mix", lay(t, tiny, furnished(12), false), "spray", "base",
			"12 m² of surface × 2 coats × 25 µm dry = 600 m² µm; 10 × 45 % solids by volume × 0.55 reaching the surface = 247.5 m² µm to a litre; 600 m² µm ÷ 247.5 m² µm to a litre = 2.424 L; 2.424 L of Enamel, mixed × 0.8 (80 %) by volume = 1.939 L",
		},
		{
			"a mix by the area", lay(t, uses(t, "spray", use("enamel", ratebook.PerMeasure, 0.1)), furnished(4), false), "spray", "hardener",
			"4 m² of surface × 2 coats × 0.1 L/m² = 0.8 L; 0.8 L of Enamel, mixed × 0.2 (20 %) by volume = 0.16 L",
		},
		{
			"a mix by the occurrence", lay(t, uses(t, "spray", use("enamel", ratebook.PerOccurrence, 0.5)), furnished(4), false), "spray", "base",
			"0.5 L of Enamel, mixed × 0.8 (80 %) by volume = 0.4 L",
		},
		{
			"what nothing measures", lay(t, uses(t, "weatherproof", use("flake", ratebook.PerMeasure, 0.3)), furnished(4), false), "weatherproof", "flake",
			"0.3 kg",
		},
		{
			"by the cast's mass", lay(t, uses(t, "lift", use("barrier", ratebook.PerMeasure, 0.5)), slabs(4), false), "lift", "barrier",
			"14.4 kg of mass × 0.5 kg/kg = 7.2 kg",
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := c.l.amount(c.operation, c.material)
			steps := c.l.task(c.operation).Steps(&a)
			if got := steps.Words(); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
			if len(steps) > 0 {
				near(t, "the figure that they lead to", steps.Result(), a.Net)
			}
		})
	}
}

// On every route the steps to each amount end at what the engine took, in the material's
// own unit; only where the rate book says the amount itself are there none.
func TestStepsEndAtWhatIsTaken(t *testing.T) {
	e := ratebooktest.Tiny(t)
	for _, surface := range []float64{0.003, 4, 777.7} {
		for _, direct := range []bool{false, true} {
			l := lay(t, e, furnished(surface), direct)
			for i := range l.tasks {
				for j := range l.tasks[i].Amounts {
					task, a := &l.tasks[i], &l.tasks[i].Amounts[j]
					steps := task.Steps(a)
					if len(steps) == 0 {
						if a.Basis != ratebook.PerOccurrence {
							t.Errorf("%s, %s: no steps", task.Code, a.Material.Code)
						}
						continue
					}
					within(t, task.Code+", "+a.Material.Code, steps.Result(), a.Net, 1e-12)
					if got := steps.Last().Unit; got != a.Material.Unit.Symbol() {
						t.Errorf("%s, %s: the steps end in %q", task.Code, a.Material.Code, got)
					}
				}
			}
		}
	}
}
