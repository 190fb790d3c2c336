package gelcoat_test

import (
	"math"
	"testing"

	"github.com/mouldwright/mouldwright/internal/gelcoat"
	"pgregory.net/rapid"
)

// eastCoast is the catalyst chart for laminating resin of the East Coast Fibreglass
// quantity guide (scribd 406894451); its gelcoats always take 2 %.
func eastCoast() []gelcoat.Band {
	return []gelcoat.Band{{5, 13, 4}, {13, 16, 3}, {16, 20, 2}, {20, 35, 1}}
}

// boatCraft is the gel time chart of the BoatCraft gel coat guide, 10 ml/L MEKP.
func boatCraft() []gelcoat.GelPoint {
	return []gelcoat.GelPoint{{15, 240}, {20, 120}, {25, 30}}
}

func TestGelcoatCheckValues(t *testing.T) {
	const computed = "FORMULA/INPUTS read; result computed"
	const squareFeetPerGallon = 3.785411784 / (0.3048 * 0.3048) // of 1 m2/L
	checkRows(t, []row{
		{
			"GEL-01", "areal mass, kg/m2", `East Coast Fibreglass "Laminating" guide (0.4-0.6 mm, 1 kg covers 1.6 m2)`, "FORMULA/INPUTS read; reciprocal computed",
			must(gelcoat.FromCoverage(1.6)), 0.625, 1e-3,
		},
		{
			"GEL-03", "gelcoat for 10 m2, kg", `neo.co.th "calculating fiberglass products" item 1`, computed,
			must(gelcoat.Mass(10, 0.0005, 1200)), 6, 1e-3,
		},
		{
			"GEL-05", "catalyst, ml", `UK supplier guide "How much catalyst to add"; East Coast Fibreglass chart (scribd 406894451)`, "VERIFIED: inputs and result both printed",
			must(gelcoat.CatalystMillilitres(10, 2)), 200, 1e-3,
		},
		{
			"GEL-07", "catalyst at 18 C, percent", "East Coast Fibreglass chart (scribd 406894451)", "VERIFIED DATA",
			must(gelcoat.Percent(eastCoast(), 18)), 2, 1e-3,
		},
		{
			"GEL-08", "18 mil, mm", "unit identity; 18-25 mil wet: fiberglassblog.com gelcoat page", "arithmetic identity",
			must(gelcoat.FromMils(18)) * 1000, 0.4572, 5e-4,
		},
		{
			"GEL-09", "coverage at 15 mil, ft2/gal", "1604 constant: scribd 343849341; Rayplex prints 100 (rounded down)", computed,
			must(gelcoat.AreaPerLitre(must(gelcoat.FromMils(15)))) * squareFeetPerGallon, 106.9, 1e-3,
		},
		{
			"GEL-10", "gel time at 20 C, min", "BoatCraft gel coat guide, catalyst chart", "VERIFIED DATA",
			must(gelcoat.PotLife(boatCraft(), 20)), 120, 1e-3,
		},
		{
			"GEL-12", "colour paste, kg", `"up to 10 % by weight": KC Mouldings glassmoulding.html`, computed,
			must(gelcoat.Paste(6, 0.10)), 0.6, 1e-3,
		},
	})
}

func TestBandEdges(t *testing.T) {
	for _, c := range []struct{ temp, want float64 }{{5, 4}, {12.99, 4}, {13, 3}, {16, 2}, {20, 1}, {35, 1}} {
		if got := must(gelcoat.Percent(eastCoast(), c.temp)); got != c.want {
			t.Errorf("at %g C: got %g %%, want %g %%", c.temp, got, c.want)
		}
	}
}

func TestWhatIsRefused(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name string
		err  error
	}{
		{"a workshop below the chart", second(gelcoat.Percent(eastCoast(), 4.9))},
		{"a workshop above the chart", second(gelcoat.Percent(eastCoast(), 35.1))},
		{"a temperature that is no number", second(gelcoat.Percent(eastCoast(), nan))},
		{"an empty chart", second(gelcoat.Percent(nil, 18))},
		{"overlapping bands", second(gelcoat.Percent([]gelcoat.Band{{5, 15, 4}, {13, 16, 3}}, 14))},
		{"an upside-down band", second(gelcoat.Percent([]gelcoat.Band{{15, 5, 4}}, 10))},
		{"2 % given as a share", second(gelcoat.CatalystMass(10, 0.02))},
		{"a film of nothing", second(gelcoat.Mass(1, 0, 1200))},
		{"a film in mm", second(gelcoat.Mass(1, 0.5, 1200))},
		{"a density in g/cm3", second(gelcoat.ArealMass(0.0005, 1.2))},
		{"a negative area", second(gelcoat.Mass(-1, 0.0005, 1200))},
		{"a fifth of paste", second(gelcoat.Paste(1, 0.2))},
		{"a temperature off the gel table", second(gelcoat.PotLife(boatCraft(), 14))},
		{"an empty gel table", second(gelcoat.PotLife(nil, 20))},
		{"a batch of nothing", second(gelcoat.Batches(1, 0))},
		{"a pot life of nothing", second(gelcoat.MaxBatch(0, 1))},
	} {
		if c.err == nil {
			t.Errorf("%s was taken", c.name)
		}
	}
}

func TestFaultNamesTheChart(t *testing.T) {
	_, err := gelcoat.Percent(eastCoast(), 2)
	if want := "workshop temperature, deg C: got 2, allowed a band of the chart, 5 to 35"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %q", err, want)
	}
}

func TestMassScalesAndCoverageIsItsInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		area, film := rapid.Float64Range(0.01, 1e4).Draw(t, "area"), rapid.Float64Range(1e-4, 0.005).Draw(t, "film")
		mass := must(gelcoat.Mass(area, film, gelcoat.Density))
		if !near(must(gelcoat.Mass(2*area, 2*film, gelcoat.Density)), 4*mass, 1e-12) {
			t.Fatal("mass does not scale with area and film")
		}
		if !near(mass*must(gelcoat.Coverage(film, gelcoat.Density)), area, 1e-12) {
			t.Fatal("coverage does not give the area back")
		}
		if !near(must(gelcoat.Film(mass/area, gelcoat.Density)), film, 1e-12) {
			t.Fatal("the film does not come back from the areal mass")
		}
		if !near(must(gelcoat.FromMils(must(gelcoat.Mils(film)))), film, 1e-12) {
			t.Fatal("mils do not come back")
		}
	})
}

func TestBatchesHoldTheMass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mass, batch := rapid.Float64Range(0, 1000).Draw(t, "mass"), rapid.Float64Range(0.1, 50).Draw(t, "batch")
		n := float64(must(gelcoat.Batches(mass, batch)))
		if n*batch < mass*(1-1e-8) || n > 0 && (n-1)*batch >= mass {
			t.Fatalf("%g batches of %g for %g kg", n, batch, mass)
		}
	})
}

func TestPotLifeStaysBetweenItsNeighbours(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(15, 25).Draw(t, "a"), rapid.Float64Range(15, 25).Draw(t, "b")
		cool, warm := must(gelcoat.PotLife(boatCraft(), min(a, b))), must(gelcoat.PotLife(boatCraft(), max(a, b)))
		if cool < warm || warm < 30 || cool > 240 {
			t.Fatalf("%g min when cool, %g when warm", cool, warm)
		}
	})
}

func TestColderNeverTakesLessCatalyst(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(5, 35).Draw(t, "a"), rapid.Float64Range(5, 35).Draw(t, "b")
		if must(gelcoat.Percent(eastCoast(), min(a, b))) < must(gelcoat.Percent(eastCoast(), max(a, b))) {
			t.Fatal("less catalyst in the cold")
		}
	})
}

func second[T any](_ T, err error) error { return err }
