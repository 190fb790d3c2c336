package laminate_test

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/laminate"
	"pgregory.net/rapid"
)

func plies() *rapid.Generator[laminate.Ply] {
	return rapid.Custom(func(t *rapid.T) laminate.Ply {
		return laminate.Polyester(rapid.Float64Range(0.001, 10).Draw(t, "glass"), rapid.Float64Range(0, 99).Draw(t, "ratio"))
	})
}

func TestMeasuresScaleWithGlass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, k := plies().Draw(t, "ply"), rapid.Float64Range(1, 10).Draw(t, "k")
		more := p
		more.Glass *= k
		for name, measure := range map[string]func(laminate.Ply) float64{"resin": laminate.Ply.Resin, "mass": laminate.Ply.Mass, "thickness": laminate.Ply.Thickness} {
			if !near(measure(more), k*measure(p), 1e-12) {
				t.Fatalf("%s does not scale with the glass", name)
			}
		}
	})
}

func TestMassIsGlassAndResin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := plies().Draw(t, "ply")
		psi := must(laminate.Fraction(p.Ratio))
		if !near(p.Mass(), p.Glass+p.Resin(), 1e-12) || !near(p.Mass(), p.Glass/psi, 1e-12) {
			t.Fatalf("mass %g is not glass %g and resin %g", p.Mass(), p.Glass, p.Resin())
		}
	})
}

func TestRatioAndFractionAreInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		psi := rapid.Float64Range(0.01, 1).Draw(t, "psi")
		if back := must(laminate.Fraction(must(laminate.Ratio(psi)))); !near(back, psi, 1e-12) {
			t.Fatalf("%g came back as %g", psi, back)
		}
	})
}

func TestAllGlassTakesNoResin(t *testing.T) {
	if r := must(laminate.Ratio(1)); laminate.Polyester(0.45, r).Resin() != 0 {
		t.Error("glass alone took up resin")
	}
}

// LAM-14 for any mix of layers of the same densities.
func TestStackThicknessIsThatOfItsOverallFraction(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := laminate.Stack(rapid.SliceOfN(plies(), 1, 12).Draw(t, "stack"))
		overall := at(s.Glass(), s.GlassFraction())
		density := must(laminate.Density(s.GlassFraction(), laminate.EGlassDensity, laminate.PolyesterDensity))
		if !near(s.Thickness(), overall.Thickness(), 1e-9) || !near(s.Density(), density, 1e-9) {
			t.Fatalf("thickness %g against %g", s.Thickness(), overall.Thickness())
		}
	})
}

func TestStackAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := laminate.Stack(rapid.SliceOfN(plies(), 0, 6).Draw(t, "a"))
		b := laminate.Stack(rapid.SliceOfN(plies(), 0, 6).Draw(t, "b"))
		both := append(append(laminate.Stack{}, a...), b...)
		if !near(both.Mass(), a.Mass()+b.Mass(), 1e-12) || !near(both.Thickness(), a.Thickness()+b.Thickness(), 1e-12) {
			t.Fatal("two stacks do not add up")
		}
		if !near(both.Mass(), both.Glass()+both.Resin(), 1e-12) {
			t.Fatal("mass is not glass and resin")
		}
	})
}

func TestEmptyStackIsNothing(t *testing.T) {
	var s laminate.Stack
	if s.Mass() != 0 || s.Thickness() != 0 || s.GlassFraction() != 0 || s.Density() != 0 || s.Check() != nil {
		t.Error("an empty stack measures something")
	}
}

func TestVoidsThinTheGlassAndThickenTheLaminate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		psi, v := rapid.Float64Range(0.01, 1).Draw(t, "psi"), rapid.Float64Range(0, 0.49).Draw(t, "voids")
		solid := must(laminate.VolumeFraction(psi, 2560, 1200, 0))
		if got := must(laminate.VolumeFraction(psi, 2560, 1200, v)); !near(got, solid*(1-v), 1e-12) {
			t.Fatalf("glass fraction %g with voids, %g without", got, solid)
		}
		if got := must(laminate.Voided(0.003, v)); got < 0.003 {
			t.Fatalf("voids thinned the laminate to %g", got)
		}
	})
}

func TestLayersReachAndDoNotOvershoot(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want, layer := rapid.Float64Range(0, 0.1).Draw(t, "thickness"), rapid.Float64Range(1e-4, 0.01).Draw(t, "layer")
		n := float64(must(laminate.LayersFor(want, layer)))
		if n*layer < want*(1-1e-8) || (n-1)*layer >= want && n > 0 {
			t.Fatalf("%g layers of %g for %g", n, layer, want)
		}
	})
}

func TestWholeLayersStayWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, tenths := rapid.IntRange(0, 50).Draw(t, "n"), rapid.IntRange(1, 300).Draw(t, "hundredths of a mm")
		layer := float64(tenths) / 1e5
		if got := must(laminate.LayersFor(float64(n*tenths)/1e5, layer)); got != n {
			t.Fatalf("%d layers came back as %d", n, got)
		}
	})
}
