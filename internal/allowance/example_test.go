package allowance_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/allowance"
)

// MTM blog: a walk of 1 km in 800 s, rated at 110 %.
func ExampleBasicTime() {
	s, _ := allowance.BasicTime(800, 1.10)
	fmt.Printf("%.0f s\n", s)
	// Output: 880 s
}

// homeworksource 1143767: 18.2 min and 14 % of work time.
func ExampleOnWork() {
	m, _ := allowance.OnWork(18.2, 0.14)
	fmt.Printf("%.3f min\n", m)
	// Output: 20.748 min
}

// University of Hawaii Hilo QBA361: 21.5 min rated at 85 %, 10 % of shift time.
func ExampleOnShift() {
	m, _ := allowance.OnShift(21.5*0.85, 0.10)
	fmt.Printf("%.4f min\n", m)
	// Output: 20.3056 min
}

func ExampleAllowance_Standard() {
	h, _ := allowance.Allowance{Share: 0.15, Of: allowance.OfWork}.Standard(8)
	fmt.Printf("%.1f h\n", h)
	// Output: 9.2 h
}

func ExampleSampleSize() {
	n, _ := allowance.SampleSize(3.66, 0.3507, 1.96, 0.05)
	fmt.Printf("%.1f\n", n)
	// Output: 14.1
}

func ExampleObservations() {
	n, _ := allowance.Observations([]float64{3.5, 3.2, 4.1, 3.6, 3.9}, 1.96, 0.05)
	fmt.Println(n)
	// Output: 15
}
