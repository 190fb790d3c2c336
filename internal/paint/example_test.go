package paint_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/paint"
)

// Apcothane CF 674: 45 % solids at 25 um.
func ExampleSpreadingRate() {
	rate, _ := paint.SpreadingRate(45, 25)
	fmt.Printf("%.0f m2/L\n", rate)
	// Output: 18 m2/L
}

// Transocean sheet: conventional spray loses half.
func ExamplePractical() {
	rate, _ := paint.Practical(9, 1, 0.50)
	fmt.Printf("%.1f m2/L\n", rate)
	// Output: 4.5 m2/L
}

func ExampleLitres() {
	l, _ := paint.Litres(12, 50, 45, 0.55, 0)
	fmt.Printf("%.2f L\n", l)
	// Output: 2.42 L
}

// Blu-Ray epoxy zinc phosphate primer.
func ExampleWetFilm() {
	um, _ := paint.WetFilm(50, 53)
	fmt.Printf("%.0f um\n", um)
	// Output: 94 um
}

// Luxol 2K PU: 40 um at 15 um a coat.
func ExampleCoats() {
	n, _ := paint.Coats(40, 15)
	fmt.Println(n)
	// Output: 3
}

func ExampleDryMass() {
	kg, _ := paint.DryMass(12, 100, 1500)
	fmt.Printf("%.1f kg\n", kg)
	// Output: 1.8 kg
}

func ExampleMix_Split() {
	split, _ := paint.Mix{{"base", 4}, {"hardener", 1}}.Split(2.5)
	fmt.Printf("%.2f L base, %.2f L hardener\n", split[0], split[1])
	// Output: 2.00 L base, 0.50 L hardener
}

// Multy Seal D30: 100:25:10 by volume.
func ExampleMix_Mixed() {
	l, _ := paint.Mix{{"base", 100}, {"hardener", 25}, {"thinner", 10}}.Mixed(1)
	fmt.Printf("%.2f L\n", l)
	// Output: 1.35 L
}
