package laminate_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/laminate"
)

// A layer of 450 g/m2 chopped strand mat at 2.5:1.
func ExamplePly() {
	mat := laminate.Polyester(0.450, 2.5)
	fmt.Printf("resin %.3f kg/m2, laminate %.3f kg/m2, %.2f mm\n", mat.Resin(), mat.Mass(), mat.Thickness()*1000)
	// Output: resin 1.125 kg/m2, laminate 1.575 kg/m2, 1.11 mm
}

func ExamplePly_Check() {
	fmt.Println(laminate.Polyester(0.450, -1).Check())
	// Output: resin to glass ratio by mass: got -1, allowed 0 to 100
}

// US Army TM 5-3820-256-24-5: three layers of 1-1/2 oz mat are 3.2 mm.
func ExampleStack_Thickness() {
	mat := laminate.Polyester(1.5*laminate.OuncePerSquareFoot, 7.0/3)
	fmt.Printf("%.1f mm\n", laminate.Stack{mat, mat, mat}.Thickness()*1000)
	// Output: 3.2 mm
}

func ExampleStack_SkinMass() {
	mat := laminate.Polyester(0.450, 7.0/3)
	fmt.Printf("%.1f kg/m2\n", laminate.Stack{mat, mat}.SkinMass(0.0005*1200))
	// Output: 3.6 kg/m2
}

func ExampleFraction() {
	psi, _ := laminate.Fraction(2.5)
	fmt.Printf("%.4f\n", psi)
	// Output: 0.2857
}

// Boytek: 6 kg of glass at 30 % glass takes 14 kg of resin.
func ExampleRatio() {
	r, _ := laminate.Ratio(0.30)
	fmt.Printf("%.0f kg\n", 6*r)
	// Output: 14 kg
}

func ExampleVolumeFraction() {
	vf, _ := laminate.VolumeFraction(0.30, laminate.EGlassDensity, laminate.PolyesterDensity, 0)
	fmt.Printf("%.4f\n", vf)
	// Output: 0.1673
}

func ExampleDensity() {
	rho, _ := laminate.Density(0.30, laminate.EGlassDensity, laminate.PolyesterDensity)
	fmt.Printf("%.1f kg/m3\n", rho)
	// Output: 1427.5 kg/m3
}

func ExampleVoided() {
	t, _ := laminate.Voided(0.003, 0.04)
	fmt.Printf("%.3f mm\n", t*1000)
	// Output: 3.125 mm
}

func ExampleCuredDensity() {
	rho, _ := laminate.CuredDensity(1130, 0.07)
	fmt.Printf("%.0f kg/m3\n", rho)
	// Output: 1215 kg/m3
}

func ExamplePly_Allowance() {
	k, _ := laminate.Polyester(0.450, 2.5).Allowance(1.5)
	fmt.Printf("%.2f times the resin in the laminate\n", k)
	// Output: 1.33 times the resin in the laminate
}

func ExampleFromCoverage() {
	kg, _ := laminate.FromCoverage(10, 1.6)
	fmt.Printf("%.2f kg\n", kg)
	// Output: 6.25 kg
}

func ExampleOverlap() {
	k, _ := laminate.Overlap(1.27, 0.050)
	fmt.Printf("%.3f\n", k)
	// Output: 1.041
}

// Practical Boat Owner, May 2018: six layers of 450 g mat.
func ExampleLayersFor() {
	mould, _ := laminate.MouldThickness(0.003, laminate.MouldFactor)
	n, _ := laminate.LayersFor(mould, laminate.Polyester(0.450, 7.0/3).Thickness())
	fmt.Println(n)
	// Output: 6
}

func ExampleMouldThickness() {
	t, _ := laminate.MouldThickness(0.003, laminate.MouldFactor)
	fmt.Printf("%.0f mm\n", t*1000)
	// Output: 6 mm
}

func ExampleFlangeArea() {
	a, _ := laminate.FlangeArea(5, 0, 0.075)
	fmt.Printf("%.2f m2\n", a)
	// Output: 0.75 m2
}
