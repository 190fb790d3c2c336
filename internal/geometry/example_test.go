package geometry_test

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

// A ball of 6.5 cm: Machinery's Handbook p. 91 prints 132.73 cm2 and 143.79 cm3.
func ExampleSphere() {
	m := geometry.Sphere{Diameter: 6.5}.Measure()
	fmt.Printf("%.2f %.2f\n", m.Surface, m.Volume)
	// Output: 132.73 143.79
}

// Semi-axes 5, 1.5 and 1.5 in: Machinery's Handbook p. 91 prints 47.124 in3.
func ExampleSpheroid() {
	m := geometry.Spheroid{Diameter: 3, Height: 10}.Measure()
	fmt.Printf("%.3f\n", m.Volume)
	// Output: 47.124
}

func ExampleSpheroid_RadiusAt() {
	r, err := geometry.Spheroid{Diameter: 3, Height: 10}.RadiusAt(5)
	fmt.Printf("%.2f %v\n", r, err)
	// Output: 1.50 <nil>
}

func ExampleEllipsoid() {
	half := geometry.Ellipsoid{Width: 3, Depth: 2, Height: 1}.Half()
	fmt.Printf("%.4f m2, %.4f m3, rim %.4f m\n", half.Surface, half.Volume, half.Rim)
	// Output: 6.1103 m2, 1.5708 m3, rim 6.6824 m
}

// Semi-axes 1.1, 1.2 and 4.7: Dieckmann (2003) gives 54.6901240998.
func ExampleEllipsoidArea() {
	area, err := geometry.EllipsoidArea(2.2, 2.4, 9.4)
	fmt.Printf("%.10f %v\n", area, err)
	// Output: 54.6901240998 <nil>
}

// Semi-axes 3 and 2: Ramanujan's second formula gives 15.865439589.
func ExampleEllipsePerimeter() {
	perimeter, err := geometry.EllipsePerimeter(6, 4)
	fmt.Printf("%.9f %v\n", perimeter, err)
	// Output: 15.865439589 <nil>
}

// A toadstool's cap, open underneath where it meets the stem.
func ExampleDome() {
	lid := geometry.Dome{Diameter: 1.2, Height: 0.5, Profile: geometry.HalfSpheroid, Ends: geometry.EndsNeither}
	m := lid.Measure()
	fmt.Printf("%.3f m2, rim %.3f m\n", m.Surface, m.Rim)
	// Output: 2.015 m2, rim 3.770 m
}

// A hemisphere's radius 3 above its base, of radius 5: a 3-4-5 triangle.
func ExampleDome_RadiusAt() {
	r, err := geometry.Dome{Diameter: 10, Height: 5}.RadiusAt(3)
	fmt.Printf("%.3f %v\n", r, err)
	// Output: 4.000 <nil>
}

// Height 50 mm on a chord of 125 mm: Machinery's Handbook p. 91 prints 372,247 mm3,
// with a rounded constant.
func ExampleSphericalCap() {
	shell, err := geometry.SphericalCap(125, 50)
	fmt.Printf("%.0f %.0f %v\n", shell.Area, shell.Volume, err)
	// Output: 20126 372246 <nil>
}

// A lune of 45 degrees of a ball of radius 50 mm (Machinery's Handbook p. 92; its
// own answer is 0.3 % low).
func ExampleSphericalWedge() {
	shell, err := geometry.SphericalWedge(100, math.Pi/4)
	fmt.Printf("%.1f %v\n", shell.Volume, err)
	// Output: 65449.8 <nil>
}

// Diameter 2.5 in, 20 in long: Machinery's Handbook p. 89 prints 98.17 in3.
func ExampleCylinder() {
	m := geometry.Cylinder{Diameter: 2.5, Height: 20}.Measure()
	fmt.Printf("%.2f\n", m.Volume)
	// Output: 98.17
}

// A half-round column with an open back and open ends: its rim runs up both sides
// and round the half of each opening.
func ExampleCylinder_half() {
	half := geometry.Cylinder{Diameter: 0.3, Height: 2, Ends: geometry.EndsNeither}.Half()
	fmt.Printf("%.4f m2, rim %.4f m, parting %.1f m\n", half.Surface, half.Rim, half.Outline)
	// Output: 0.9425 m2, rim 4.9425 m, parting 4.6 m
}

// Diameter 6 in, height 4 in: Machinery's Handbook p. 90 prints 37.7 in3 and
// 47.124 in2.
func ExampleCone() {
	m := geometry.Cone{Diameter: 6, Height: 4, Ends: geometry.EndsNeither}.Measure()
	fmt.Printf("%.1f %.3f\n", m.Volume, m.Surface)
	// Output: 37.7 47.124
}

func ExampleFrustum() {
	stem := geometry.Frustum{BaseDiameter: 1, TopDiameter: 0.6, Height: 1.2, Ends: geometry.EndsNeither}
	m := stem.Measure()
	fmt.Printf("%.4f m2, %.4f m3, rim %.4f m\n", m.Surface, m.Volume, m.Rim)
	// Output: 3.0575 m2, 0.6158 m3, rim 5.0265 m
}

func ExampleFrustum_RadiusAt() {
	r, err := geometry.Frustum{BaseDiameter: 1, TopDiameter: 0.6, Height: 1.2}.RadiusAt(0.6)
	fmt.Printf("%.2f %v\n", r, err)
	_, err = geometry.Frustum{BaseDiameter: 1, TopDiameter: 0.6, Height: 1.2}.RadiusAt(1.3)
	fmt.Println(err)
	// Output:
	// 0.40 <nil>
	// height: got 1300 mm, allowed is 0 to 1200 mm above the base
}

// A plinth that stands on the ground, its base open.
func ExampleBlock() {
	m := geometry.Block{Width: 0.6, Depth: 0.4, Height: 0.5, Ends: geometry.EndsTop}.Measure()
	fmt.Printf("%.2f m2, %.2f m3, rim %.1f m\n", m.Surface, m.Volume, m.Rim)
	// Output: 1.24 m2, 0.12 m3, rim 2.0 m
}

func ExamplePrism() {
	m := geometry.Prism{Sides: 6, SideLength: 0.2, Height: 0.5}.Measure()
	fmt.Printf("%.4f m2, %.4f m3\n", m.Surface, m.Volume)
	// Output: 0.8078 m2, 0.0520 m3
}

func ExamplePyramid() {
	m := geometry.Pyramid{Sides: 4, SideLength: 1, Height: 1.5, Ends: geometry.EndsNeither}.Measure()
	fmt.Printf("%.4f m2, %.1f m3\n", m.Surface, m.Volume)
	// Output: 3.1623 m2, 0.5 m3
}

// Machinery's Handbook p. 89 prints 15.75 ft3.
func ExamplePyramidFrustum() {
	volume, err := geometry.PyramidFrustum(1.5, 6, 4.5)
	fmt.Println(volume, err)
	// Output: 15.75 <nil>
}

// Machinery's Handbook p. 93 prints 27.76 in3.
func ExampleRing() {
	m := geometry.Ring{CentreDiameter: 5, TubeDiameter: 1.5}.Measure()
	fmt.Printf("%.2f\n", m.Volume)
	// Output: 27.76
}

func ExampleBentTube() {
	handle := geometry.BentTube{BendRadius: 1, TubeDiameter: 0.2, Angle: math.Pi / 2, Ends: geometry.EndsNeither}
	m := handle.Measure()
	fmt.Printf("%.4f m2, rim %.4f m\n", m.Surface, m.Rim)
	// Output: 0.9870 m2, rim 1.2566 m
}

func ExampleSpot() {
	m := geometry.Spot{Diameter: 0.1}.Measure()
	fmt.Printf("%.5f m2, %.4f m\n", m.Area, m.Edge)
	// Output: 0.00785 m2, 0.3142 m
}

func ExampleBand() {
	m := geometry.Band{Diameter: 0.5, Width: 0.2}.Measure()
	fmt.Printf("%.4f m2, %.4f m\n", m.Area, m.Edge)
	// Output: 0.3142 m2, 3.1416 m
}

func ExamplePanel() {
	m := geometry.Panel{Area: 1}.Measure()
	fmt.Printf("at least %.4f m: %t\n", m.Edge, m.EdgeIsBound)
	// Output: at least 3.5449 m: true
}

func ExampleLeastEdge() {
	edge, err := geometry.LeastEdge(math.Pi)
	fmt.Printf("%.4f %v\n", edge, err)
	// Output: 6.2832 <nil>
}

func ExampleHelicalStripe() {
	stripe := geometry.HelicalStripe{Diameter: 0.5, Pitch: 0.8, Turns: 3.5, Width: 0.1}
	m := stripe.Measure()
	fmt.Printf("%.4f m2, edge %.4f m\n", m.Area, m.Edge)
	// Output: 0.6170 m2, edge 12.3395 m
}

func ExampleHelicalStripe_LengthPerTurn() {
	fmt.Printf("%.4f\n", geometry.HelicalStripe{Diameter: 0.2, Pitch: 0.3}.LengthPerTurn())
	// Output: 0.6963
}

func ExampleHelicalStripe_Coverage() {
	fmt.Printf("%.3f\n", geometry.HelicalStripe{Diameter: 0.5, Pitch: 0.8, Turns: 3.5, Width: 0.1}.Coverage())
	// Output: 0.140
}

// Machinery's Handbook p. 92 prints 1,840,781 mm3, with a rounded constant.
func ExampleParaboloid() {
	shell, err := geometry.Paraboloid(125, 300)
	fmt.Printf("%.1f %.0f %v\n", shell.Area, shell.Volume, err)
	// Output: 79732.8 1840777 <nil>
}

// The example of Machinery's Handbook p. 89, in mm.
func ExampleObliqueCylinder() {
	shell, err := geometry.ObliqueCylinder(125, 100, 150)
	fmt.Printf("%.0f %.0f %v\n", shell.Area, shell.Volume, err)
	// Output: 49087 1533981 <nil>
}

func ExampleObliqueFace() {
	area, err := geometry.ObliqueFace(6, 1, 9)
	fmt.Printf("%.4f %v\n", area/math.Pi, err)
	// Output: 15.0000 <nil>
}

func ExampleCapsule() {
	shell, err := geometry.Capsule(0.4, 1)
	fmt.Printf("%.4f %.4f %v\n", shell.Area, shell.Volume, err)
	// Output: 1.7593 0.1592 <nil>
}

// A superegg: round in plan, exponent 2.5 in elevation.
func ExampleSuperellipsoidVolume() {
	volume, err := geometry.SuperellipsoidVolume(6, 6, 8, 2, 2.5)
	fmt.Printf("%.4f %v\n", volume, err)
	// Output: 169.6524 <nil>
}

func ExamplePolygonArea() {
	area, err := geometry.PolygonArea([]geometry.Point{{0, 0}, {300, 0}, {300, 60}, {80, 60}, {80, 400}, {0, 400}})
	fmt.Println(area, err)
	// Output: 45200 <nil>
}

func ExamplePolygonPerimeter() {
	length, err := geometry.PolygonPerimeter([]geometry.Point{{0, 0}, {3, 0}, {3, 4}})
	fmt.Println(length, err)
	// Output: 12 <nil>
}

func ExampleStar() {
	face, err := geometry.Star(1)
	fmt.Printf("%.4f %.4f %v\n", face.Area, face.Perimeter, err)
	// Output: 1.1226 7.2654 <nil>
}

// A letter O, 200 by 300 with a counter of 100 by 200 and 50 deep.
func ExampleExtrudedOutline() {
	loops := [][]geometry.Point{{{0, 0}, {200, 0}, {200, 300}, {0, 300}}, {{50, 50}, {150, 50}, {150, 250}, {50, 250}}}
	region, err := geometry.Fill(loops, geometry.EvenOdd)
	if err != nil {
		fmt.Println(err)
	}
	letter := geometry.ExtrudedOutline{Region: region, Depth: 50}
	fmt.Println(letter.Measure().Surface)
	// Output: 160000
}

// A cone of radius 3 and height 4 has a slant of 5.
func ExampleRevolve() {
	shell, err := geometry.Revolve([]geometry.ProfilePoint{{3, 0}, {0, 4}})
	fmt.Printf("%.0f pi, %.0f pi, %v\n", shell.Area/math.Pi, shell.Volume/math.Pi, err)
	// Output: 15 pi, 12 pi, <nil>
}

func ExampleDimensionError() {
	for _, fault := range (geometry.Ring{CentreDiameter: 1, TubeDiameter: 2000}).Faults() {
		fmt.Println(fault)
	}
	// Output:
	// tubeDiameter: got 2000000 mm, allowed is 0.001 to 1000000 mm
	// centreDiameter: got 1000 mm, allowed is at least the tube diameter (2000000 mm), or the tube runs into itself
}
