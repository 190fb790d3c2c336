package gelcoat_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/gelcoat"
)

func ExampleMass() {
	kg, _ := gelcoat.Mass(10, 0.0005, gelcoat.Density)
	fmt.Printf("%.1f kg\n", kg)
	// Output: 6.0 kg
}

func ExampleArealMass() {
	m, _ := gelcoat.ArealMass(0.0005, gelcoat.Density)
	fmt.Printf("%.2f kg/m2\n", m)
	// Output: 0.60 kg/m2
}

func ExampleCoverage() {
	c, _ := gelcoat.Coverage(0.0005, 1250)
	fmt.Printf("%.1f m2/kg\n", c)
	// Output: 1.6 m2/kg
}

// East Coast Fibreglass: 1 kg covers 1.6 m2.
func ExampleFromCoverage() {
	m, _ := gelcoat.FromCoverage(1.6)
	fmt.Printf("%.3f kg/m2\n", m)
	// Output: 0.625 kg/m2
}

// A mould gelcoat of 1 kg/m2.
func ExampleFilm() {
	t, _ := gelcoat.Film(1, gelcoat.Density)
	fmt.Printf("%.2f mm\n", t*1000)
	// Output: 0.83 mm
}

func ExampleAreaPerLitre() {
	a, _ := gelcoat.AreaPerLitre(0.0005)
	fmt.Printf("%.1f m2/L\n", a)
	// Output: 2.0 m2/L
}

func ExampleFromMils() {
	t, _ := gelcoat.FromMils(18)
	fmt.Printf("%.4f mm\n", t*1000)
	// Output: 0.4572 mm
}

func ExampleMils() {
	m, _ := gelcoat.Mils(0.0005)
	fmt.Printf("%.1f mil\n", m)
	// Output: 19.7 mil
}

func ExamplePaste() {
	kg, _ := gelcoat.Paste(6, 0.10)
	fmt.Printf("%.1f kg\n", kg)
	// Output: 0.6 kg
}

// The East Coast Fibreglass chart for laminating resin.
func ExamplePercent() {
	chart := []gelcoat.Band{{5, 13, 4}, {13, 16, 3}, {16, 20, 2}, {20, 35, 1}}
	p, _ := gelcoat.Percent(chart, 18)
	fmt.Printf("%g %%\n", p)
	// Output: 2 %
}

func ExampleCatalystMass() {
	kg, _ := gelcoat.CatalystMass(10, 2)
	fmt.Printf("%.2f kg\n", kg)
	// Output: 0.20 kg
}

func ExampleCatalystMillilitres() {
	ml, _ := gelcoat.CatalystMillilitres(10, 2)
	fmt.Printf("%.0f ml\n", ml)
	// Output: 200 ml
}

// The BoatCraft chart for 10 ml of MEKP in a litre of gelcoat.
func ExamplePotLife() {
	chart := []gelcoat.GelPoint{{15, 240}, {20, 120}, {25, 30}}
	at20, _ := gelcoat.PotLife(chart, 20)
	at22, _ := gelcoat.PotLife(chart, 22.5)
	fmt.Printf("%.0f and %.0f minutes\n", at20, at22)
	// Output: 120 and 60 minutes
}

func ExampleMaxBatch() {
	kg, _ := gelcoat.MaxBatch(15, 0.2)
	fmt.Printf("%.1f kg\n", kg)
	// Output: 3.0 kg
}

func ExampleBatches() {
	n, _ := gelcoat.Batches(11, 3)
	fmt.Println(n)
	// Output: 4
}
