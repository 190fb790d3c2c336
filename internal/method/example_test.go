package method_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/method"
)

// WGT-01 on 4 m2: laminate of 3.0 kg/m2 behind gelcoat of 0.6 kg/m2.
func ExampleLoad_Total() {
	cast := method.Load{Skin: 4 * 3.0, Films: 4 * 0.6}
	fmt.Printf("%.1f kg\n", cast.Total())
	// Output: 14.4 kg
}
