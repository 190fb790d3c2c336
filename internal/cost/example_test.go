package cost_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/cost"
	"github.com/mouldwright/mouldwright/internal/method"
)

// WST-02: 10 kg that reach the piece, with a tenth of what is bought wasted.
func ExampleGross() {
	fmt.Printf("%.2f kg\n", cost.Gross(&method.Amount{Net: 10, Lap: 1, Waste: 1 / (1 - 0.1)}))
	// Output: 11.11 kg
}
