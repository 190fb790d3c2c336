package pack_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/pack"
)

// 17 kg from packs of 1, 5 and 25 kg, in grams and pence.
func ExampleCover() {
	p, _ := pack.Cover(17_000, []pack.Pack{{1000, 1200}, {5000, 4500}, {25_000, 16_500}})
	fmt.Printf("%v for %d, %d g left\n", p.Counts, p.Cost, p.Left)
	// Output: [2 3 0] for 15900, 0 g left
}

// Dosa's bound is tight: 9 bars would do, first fit decreasing takes 11.
func ExampleFirstFitDecreasing() {
	var pieces []int64
	for range 6 {
		pieces = append(pieces, 510, 270, 260, 230, 230)
	}
	bars, _ := pack.FirstFitDecreasing(1000, pieces)
	fmt.Println(len(bars), "bars, the first leaving", bars[0].Left)
	// Output: 11 bars, the first leaving 220
}

// Three pieces over half a bar cannot share one, whatever their total.
func ExampleLowerBound() {
	n, _ := pack.LowerBound(100, []int64{51, 51, 51})
	fmt.Println(n)
	// Output: 3
}

func ExampleGrossUp() {
	buy, _ := pack.GrossUp(10, 0.10)
	fmt.Printf("%.2f kg\n", buy)
	// Output: 11.11 kg
}

// Pengelly factsheet: 30 x 45 x 65 cm is 14.625 kg.
func ExampleChargeableWeight() {
	kg, _ := pack.ChargeableWeight(0.30, 0.45, 0.65, 14, pack.AirDivisor)
	fmt.Printf("%.0f kg\n", kg)
	// Output: 15 kg
}
