package learning_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/learning"
)

func ExampleExponent() {
	b, _ := learning.Exponent(0.80)
	fmt.Printf("%.6f\n", b)
	// Output: -0.321928
}

// "Chapter 13 Learning Curves": 178.7 h.
func ExampleUnit() {
	h, _ := learning.Unit(300, 0.80, 5)
	fmt.Printf("%.1f h\n", h)
	// Output: 178.7 h
}

// learningCurve 1.1.2 manual: 94.90257.
func ExampleFromKnown() {
	h, _ := learning.FromKnown(100, 0.85, 100, 125)
	fmt.Printf("%.5f h\n", h)
	// Output: 94.90257 h
}

// "Chapter 13 Learning Curves", Table 13.2: 9.716.
func ExampleTotal() {
	h, _ := learning.Total(1, 0.80, 18)
	fmt.Printf("%.3f h\n", h)
	// Output: 9.716 h
}

func ExampleLot() {
	h, _ := learning.Lot(14, 0.90, 7, 12)
	fmt.Printf("%.1f h\n", h)
	// Output: 59.8 h
}

// Accounting coursebook p.324: 16 units take 655.36 h.
func ExampleCumulativeTotal() {
	h, _ := learning.CumulativeTotal(100, 0.80, 16)
	fmt.Printf("%.2f h\n", h)
	// Output: 655.36 h
}

// learningCurve 1.1.2 manual: 23.34001.
func ExampleCumulativeUnit() {
	h, _ := learning.CumulativeUnit(110, 0.885, 2200)
	fmt.Printf("%.5f h\n", h)
	// Output: 23.34001 h
}

func ExampleCumulativeLot() {
	h, _ := learning.CumulativeLot(100, 0.80, 9, 16)
	fmt.Printf("%.2f h\n", h)
	// Output: 245.76 h
}

func ExampleFitWright() {
	r, _ := learning.FitWright(100, 655.36, 16)
	fmt.Printf("%.2f\n", r)
	// Output: 0.80
}

func ExampleFitCrawford() {
	r, _ := learning.FitCrawford(10, 1, 9, 2)
	fmt.Printf("%.2f\n", r)
	// Output: 0.90
}
