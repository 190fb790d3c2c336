package paint_test

import (
	"math"
	"slices"
	"testing"

	"github.com/mouldwright/mouldwright/internal/paint"
	"pgregory.net/rapid"
)

const (
	milUM               = 25.4                            // um
	squareFeetPerGallon = 3.785411784 / (0.3048 * 0.3048) // of 1 m2/L
	verified            = "VERIFIED: inputs and result both printed"
	computed            = "FORMULA/INPUTS read; result computed"
	transocean          = `Transocean "Coverage/Spreading rate" sheet, table (scribd 290710110)`
)

func readySpray() paint.Mix {
	return paint.Mix{{"base", 100}, {"hardener", 25}, {"thinner", 10}}
}

func TestPaintCheckValues(t *testing.T) {
	checkRows(t, []row{
		{
			"PNT-01", "TSR, ft2/gal", "Spreading Rate sheet (scribd 343849341)", verified,
			must(paint.SpreadingRate(65, 5*milUM)) * squareFeetPerGallon, 208.52, 5e-4,
		},
		{"PNT-03", "two-pack acrylic PU, m2/L", "Apcothane CF 674 PC 0458 (scribd 168307657)", verified, must(paint.SpreadingRate(45, 25)), 18, 1e-3},
		{"PNT-03", "same at 35 um, m2/L", "Apcothane CF 674 PC 0458 (scribd 168307657): also 12.85 @ 35 um", verified, must(paint.SpreadingRate(45, 35)), 12.85, 1e-3},
		{"PNT-05", "two-pack epoxy primer, m2/L", "Epoxy zinc phosphate primer (bluraychemical.com)", verified, must(paint.SpreadingRate(53, 50)), 10.6, 1e-3},
		{"PNT-06", "wet film, um", "Epoxy zinc phosphate primer: WFT 94-118 for DFT 50-62", verified, must(paint.WetFilm(50, 53)), 94, 5e-3},
		{"PNT-08", "penetrating epoxy, m2/L", "Nippon penetrative epoxy primer TDS (scribd 683034821)", verified, must(paint.SpreadingRate(35, 50)), 7, 1e-3},
		{"PNT-09", "table cell, m2/L", transocean, verified, must(paint.SpreadingRate(45, 50)), 9, 1e-3},
		{
			"PNT-11", "volume, not weight, solids, ft2/gal", "95-M-101 data sheet (springfield-or.gov laserfiche 874281)", "VERIFIED: printed 280, 275 exact",
			must(paint.SpreadingRate(30, 1.75*milUM)) * squareFeetPerGallon, 280, 0.025,
		},
		{"PNT-12", "practical, conventional spray, m2/L", transocean + " loss 50 %", computed, must(paint.Practical(9, 1, 0.50)), 4.5, 1e-3},
		{"PNT-13", "mixed paint, L", "TE HVLP 50-60 %: pfonline.com primer on transfer efficiency", computed, must(paint.Litres(12, 50, 45, 0.55, 0)), 2.424, 2e-3},
		{"PNT-15", "ready to spray from 1 L base, L", "Multy Seal D30 TDS: 100:25:10 by volume", computed, must(readySpray().Mixed(1)), 1.35, 1e-3},
		{"PNT-17", "coats", "Luxol 2K PU TDS (scribd 448325622): 40-60 um, 15 um/coat", verified, float64(must(paint.Coats(40, 15))), 3, 1e-3},
	})
}

// The worked example of the materials notes: 2.42 L at 4:1 is 1.94 + 0.48 L.
func TestWorkedSplit(t *testing.T) {
	split := must(paint.Mix{{"base", 4}, {"hardener", 1}}.Split(must(paint.Litres(12, 50, 45, 0.55, 0))))
	checkRows(t, []row{
		{"worked", "base, L", "own worked example", computed, split[0], 1.94, 1e-3},
		{"worked", "hardener, L", "own worked example", computed, split[1], 0.4848, 1e-3},
	})
}

func TestDryPaintOnACast(t *testing.T) {
	checkRows(t, []row{{
		"worked", "100 um at 1500 kg/m3 on 1 m2, kg", "0.1-0.2 kg/m2 of paint (materials notes section 8)", "common practice, no source",
		must(paint.DryMass(1, 100, 1500)), 0.15, 1e-12,
	}})
}

func TestWhatIsRefused(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name string
		err  error
	}{
		{"no solids", second(paint.SpreadingRate(0, 50))},
		{"solids above 100 %", second(paint.SpreadingRate(101, 50))},
		{"solids as no number", second(paint.SpreadingRate(nan, 50))},
		{"no film", second(paint.SpreadingRate(45, 0))},
		{"no transfer", second(paint.Litres(1, 50, 45, 0, 0))},
		{"transfer above 1", second(paint.Litres(1, 50, 45, 1.01, 0))},
		{"all lost", second(paint.Practical(9, 1, 1))},
		{"a negative area", second(paint.Litres(-1, 50, 45, 1, 0))},
		{"an empty mix", second(paint.Mix{}.Split(1))},
		{"a part of nothing", second(paint.Mix{{"base", 1}, {"hardener", 0}}.Split(1))},
		{"negative litres", second(paint.Mix{{"base", 1}}.Split(-1))},
		{"a coat of nothing", second(paint.Coats(50, 0))},
		{"a weightless film", second(paint.DryMass(1, 50, 0))},
	} {
		if c.err == nil {
			t.Errorf("%s was taken", c.name)
		}
	}
}

func TestFaultSaysWhatIsAllowed(t *testing.T) {
	_, err := paint.SpreadingRate(0, 50)
	if want := "volume solids, percent: got 0, allowed 0.1 to 100"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %q", err, want)
	}
}

func TestPracticalIsNeverAboveTheoretical(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		vs, um := rapid.Float64Range(1, 100).Draw(t, "solids"), rapid.Float64Range(1, 500).Draw(t, "film")
		te, loss := rapid.Float64Range(0.01, 1).Draw(t, "transfer"), rapid.Float64Range(0, 0.9).Draw(t, "loss")
		tsr := must(paint.SpreadingRate(vs, um))
		psr := must(paint.Practical(tsr, te, loss))
		if psr > tsr || psr <= 0 {
			t.Fatalf("practical %g, theoretical %g", psr, tsr)
		}
		if !near(must(paint.Litres(10, um, vs, te, loss))*psr, 10, 1e-12) {
			t.Fatal("litres at the practical rate do not cover the area")
		}
		if !near(must(paint.WetFilm(um, vs))*tsr, 1000, 1e-12) {
			t.Fatal("a litre of wet film is not a litre") // um x m2/L = mL/L
		}
	})
}

func TestLitresScaleAndRiseAsTransferFalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		area, um := rapid.Float64Range(0.01, 1e4).Draw(t, "area"), rapid.Float64Range(1, 500).Draw(t, "film")
		good, bad := rapid.Float64Range(0.5, 1).Draw(t, "good"), rapid.Float64Range(0.01, 0.5).Draw(t, "bad")
		litres := must(paint.Litres(area, um, 45, good, 0.1))
		if !near(must(paint.Litres(2*area, 3*um, 45, good, 0.1)), 6*litres, 1e-12) {
			t.Fatal("litres do not scale with area and film")
		}
		if must(paint.Litres(area, um, 45, bad, 0.1)) < litres {
			t.Fatal("less paint with the worse gun")
		}
	})
}

func TestSplitAddsUpExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		litres := rapid.Float64Range(0, 1e6).Draw(t, "litres")
		var mix paint.Mix
		for _, p := range rapid.SliceOfN(rapid.Float64Range(0.001, 1000), 1, 16).Draw(t, "parts") {
			mix = append(mix, paint.Part{Name: "part", Parts: p})
		}
		split := must(mix.Split(litres))
		for range 2 {
			sum := 0.0
			for i, s := range split {
				sum += s
				if s < 0 {
					t.Fatalf("part %d is %g", i, s)
				}
			}
			if sum != litres {
				t.Fatalf("parts add up to %v, mixed %v", sum, litres)
			}
			slices.Reverse(split) // exact in any order of adding
		}
	})
}

func TestSplitKeepsTheRatio(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		split := must(readySpray().Split(rapid.Float64Range(0.001, 1e4).Draw(t, "litres")))
		if !near(split[0], 4*split[1], 1e-12) || !near(split[0], 10*split[2], 1e-12) {
			t.Fatalf("100:25:10 became %v", split)
		}
		if !near(must(readySpray().Mixed(split[0])), split[0]+split[1]+split[2], 1e-12) {
			t.Fatal("the mix does not come back from its base")
		}
	})
}

func TestCoatsReachTheFilm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		um, per := rapid.Float64Range(1, 500).Draw(t, "film"), rapid.Float64Range(1, 100).Draw(t, "per coat")
		n := float64(must(paint.Coats(um, per)))
		if n*per < um*(1-1e-8) || (n-1)*per >= um {
			t.Fatalf("%g coats of %g for %g um", n, per, um)
		}
	})
}

func second[T any](_ T, err error) error { return err }
