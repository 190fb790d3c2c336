package foam_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/foam"
)

// Forty blanks for balls of 0.5 m and one column of 3 m, out of 40 x 48 x 96 in blocks.
func ExampleCut() {
	block := foam.Block{Width: 1.016, Depth: 1.2192, Height: 2.4384}
	c, _ := foam.Cut([]foam.Blank{{0.5, 0.5, 0.5, 40}, {0.4, 0.4, 3, 1}}, block)
	fmt.Printf("%d blocks (at least %d), %d pieces, %.2f m2 bonded, %.0f %% offcut\n",
		c.Blocks, c.AtLeast, c.Pieces, c.BondArea, 100*c.Offcut)
	// Output: 3 blocks (at least 2), 42 pieces, 0.16 m2 bonded, 40 % offcut
}

func ExampleBond() {
	b, _ := foam.Bond(foam.Blank{Width: 1.2, Depth: 1.2, Height: 2.4}, foam.Block{Width: 2.4, Depth: 1.2, Height: 0.6})
	fmt.Printf("%d pieces, %.2f m2\n", b.Pieces, b.Area)
	// Output: 2 pieces, 2.88 m2
}

// The least density of ASTM C578 Type I in a 40 x 48 x 96 in block.
func ExampleBlock_Mass() {
	kg, _ := foam.Block{Width: 1.016, Depth: 1.2192, Height: 2.4384}.Mass(14.4)
	fmt.Printf("%.1f kg\n", kg)
	// Output: 43.5 kg
}

// ASTM C578 Type I, 0.90 pcf.
func ExampleFromPCF() {
	rho, _ := foam.FromPCF(0.90)
	fmt.Printf("%.1f kg/m3\n", rho)
	// Output: 14.4 kg/m3
}

// A ball of 0.5236 m3 out of its cube.
func ExampleBlankVolume() {
	v, _ := foam.BlankVolume(0.5236, 0.5236)
	fmt.Printf("%.2f m3\n", v)
	// Output: 1.00 m3
}

func ExampleCarvingShare() {
	s, _ := foam.CarvingShare(0.5236, 1)
	fmt.Printf("%.0f %%\n", 100*s)
	// Output: 52 %
}

// Exterior Foam Coat #026: 3 lb covers 9 ft2 at 1/16 in.
func ExampleCoatRate() {
	q, _ := foam.CoatRate(3*0.45359237, 9*0.3048*0.3048, 0.0254/16)
	fmt.Printf("%.3f kg/m2 per mm\n", q/1000)
	// Output: 1.025 kg/m2 per mm
}

func ExampleCoatMass() {
	kg, _ := foam.CoatMass(6, 0.002, 1025)
	fmt.Printf("%.1f kg\n", kg)
	// Output: 12.3 kg
}
