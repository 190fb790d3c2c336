package geometry_test

import (
	"math"
	"testing"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

const handbook = `Machinery's Handbook 31st ed. (2020) "Volumes of Solids" `

// row is one published or independently computed value. Tolerance is relative.
type row struct {
	id, what  string
	got       float64
	want      float64
	tolerance float64
	source    string // where the value or formula is published
	how       string // how that is known
}

func check(t *testing.T, rows []row) {
	t.Helper()
	for _, r := range rows {
		if !(math.Abs(r.got-r.want) <= r.tolerance*math.Abs(r.want)) {
			t.Errorf("%s %s: got %.12g, want %.12g (%s; %s)", r.id, r.what, r.got, r.want, r.source, r.how)
		}
	}
}

// must takes a value whose error would be a mistake in the test.
func must[V any](v V, err error) V {
	if err != nil {
		panic(err)
	}
	return v
}

// Units are the source's own (cm, mm, in, ft): the formulas do not care.

func TestRoundSolids(t *testing.T) {
	sphere := geometry.Sphere{Diameter: 6.5}.Measure()
	egg := geometry.Spheroid{Diameter: 3, Height: 10}.Measure()
	bun := geometry.Spheroid{Diameter: 4, Height: 2}.Measure()
	shell := geometry.Dome{Diameter: 4, Height: 1, Profile: geometry.HalfSpheroid, Ends: geometry.EndsNeither}.Measure()
	check(t, []row{
		{"GEO-01", "sphere area", sphere.Surface, 132.732289614, 1e-9, handbook + "p.91, prints 132.73", "read"},
		{"GEO-02", "sphere volume", sphere.Volume, 143.793313749, 1e-9, handbook + "p.91, prints 143.79", "read"},
		{"GEO-10", "spheroid volume", egg.Volume, 47.1238898038, 1e-9, handbook + "p.91, prints 47.124", "read"},
		{
			"GEO-11", "prolate spheroid area", egg.Surface, 76.6817503566, 1e-9,
			"closed form (memory: CRC/Beyer); agrees with R_G to 28 digits", "computed two ways",
		},
		{
			"GEO-12", "oblate spheroid area", bun.Surface, 34.6875308134, 1e-9,
			"closed form (memory); agrees with R_G", "computed two ways",
		},
		{"GEO-13", "hemi-ellipsoid of revolution, curved shell only", shell.Surface, 17.3437654067, 1e-9, "derived", "computed"},
	})
}

func TestEllipsoids(t *testing.T) {
	const dieckmann = "Dieckmann, Univ. Bonn, July 2003, via HP Museum forum thread 17013: 54.6901240998"
	check(t, []row{
		{"GEO-14", "ellipsoid area", must(geometry.EllipsoidArea(2.2, 2.4, 9.4)), 54.6901240998, 1e-9, dieckmann, "read"},
		{
			"GEO-16", "ellipsoid area", must(geometry.EllipsoidArea(6, 4, 2)), 48.8821463026, 1e-9,
			"computed; surface quadrature agrees to 13 digits", "computed two ways",
		},
		{
			"GEO-17", "Thomsen approximation", thomsen(1.1, 1.2, 4.7), 54.4952199737, 1e-9,
			"HP Museum forum thread 17013 prints 54.4952199737", "read",
		},
		{
			"GEO-19", "Carlson R_G(2,3,4)", geometry.CarlsonRG(2, 3, 4), 1.7255030280692, 1e-13,
			"B.C. Carlson 1995 Numer. Algorithms 10:13-26 prints 1.7255030280692", "printed value from memory; recomputed",
		},
		{
			"GEO-63", "ellipse perimeter", must(geometry.EllipsePerimeter(6, 4)), 15.8654395893, 1e-9,
			"Ramanujan II gives 15.865439589251", "computed",
		},
	})
}

// thomsen is K. Thomsen's approximation, for semi-axes; the core does not use it.
func thomsen(a, b, c float64) float64 {
	const p = 1.6075
	mean := (math.Pow(a*b, p) + math.Pow(a*c, p) + math.Pow(b*c, p)) / 3
	return 4 * math.Pi * math.Pow(mean, 1/p)
}

func TestCapAndWedge(t *testing.T) {
	shell := must(geometry.SphericalCap(125, 50))
	dome := geometry.Dome{Diameter: 125, Height: 50, Ends: geometry.EndsNeither}.Measure()
	wedge := must(geometry.SphericalWedge(100, math.Pi/4))
	check(t, []row{
		{"GEO-04", "spherical cap volume", shell.Volume, 372246.004527, 1e-9, handbook + "p.91, prints 372,247 mm3", "read"},
		{"GEO-04", "the same as a dome", dome.Volume, 372246.004527, 1e-9, handbook + "p.91, prints 372,247 mm3", "read"},
		{"GEO-06", "spherical cap area", shell.Area, 20125.8279371, 1e-9, handbook + "p.91 formula", "formula read; computed"},
		{"GEO-06", "the same as a dome", dome.Surface, 20125.8279371, 1e-9, handbook + "p.91 formula", "formula read; computed"},
		{
			"GEO-08", "spherical wedge volume", wedge.Volume, 65449.8469498, 1e-9,
			handbook + "p.92 (prints 65,250: its constant 0.0116 is rounded; 0.3 % low)", "read",
		},
	})
}

func TestTori(t *testing.T) {
	ring := geometry.Ring{CentreDiameter: 5, TubeDiameter: 1.5}.Measure()
	quarter := geometry.BentTube{BendRadius: 1, TubeDiameter: 0.2, Angle: math.Pi / 2, Ends: geometry.EndsNeither}.Measure()
	hook := geometry.BentTube{BendRadius: 0.6, TubeDiameter: 0.1, Angle: 210 * math.Pi / 180}.Measure()
	check(t, []row{
		{"GEO-21", "torus volume", ring.Volume, 27.7582623781, 1e-9, handbook + "p.93, prints 27.76", "read"},
		{"GEO-23", "bent tube lateral area", quarter.Surface, 0.986960440109, 1e-9, "Pappus-Guldin", "computed"},
		{"GEO-24", "bent tube volume", hook.Volume, 0.0172718077019, 1e-9, "Pappus-Guldin", "computed"},
	})
}

func TestColumnsAndCones(t *testing.T) {
	cone := geometry.Cone{Diameter: 6, Height: 4, Ends: geometry.EndsNeither}.Measure()
	stem := geometry.Frustum{BaseDiameter: 1, TopDiameter: 0.6, Height: 1.2, Ends: geometry.EndsNeither}.Measure()
	column := geometry.Cylinder{Diameter: 2.5, Height: 20}.Measure()
	slant := must(geometry.ObliqueCylinder(125, 100, 150))
	openBack := geometry.Cylinder{Diameter: 0.3, Height: 2, Ends: geometry.EndsNeither}.Half()
	closedEnds := geometry.Cylinder{Diameter: 0.3, Height: 2}.Half()
	check(t, []row{
		{"GEO-25", "cone volume", cone.Volume, 37.6991118431, 1e-9, handbook + "p.90, prints 37.7", "read"},
		{"GEO-26", "cone lateral area", cone.Surface, 47.1238898038, 1e-9, handbook + "p.90, prints 47.124", "read"},
		{"GEO-27", "cone frustum lateral area", stem.Surface, 3.05752993259, 1e-9, handbook + "p.90 formula", "formula read; computed"},
		{"GEO-29", "cylinder volume", column.Volume, 98.1747704247, 1e-9, handbook + "p.89, prints 98.17", "read"},
		{"GEO-31", "obliquely cut cylinder volume", slant.Volume, 1533980.78789, 1e-9, handbook + "p.89 example data", "data and formula read; value computed"},
		{"GEO-37", "half-round open-back column, curved face", openBack.Surface, 0.942477796077, 1e-9, "derived", "computed"},
		{"GEO-37", "with both half-discs, + pi r^2", closedEnds.Surface, 0.942477796077 + math.Pi*0.15*0.15, 1e-9, "derived", "computed"},
	})
}

func TestPyramidsAndPrisms(t *testing.T) {
	hexagon := geometry.Prism{Sides: 6, SideLength: 0.2, Height: 0.5}.Measure()
	octagon := geometry.Prism{Sides: 8, SideLength: 0.15, Height: 1.8}.Measure()
	square := geometry.Pyramid{Sides: 4, SideLength: 1, Height: 1.5, Ends: geometry.EndsNeither}.Measure()
	check(t, []row{
		{"GEO-33", "pyramid frustum volume", must(geometry.PyramidFrustum(1.5, 6, 4.5)), 15.75, 1e-15, handbook + "p.89, prints 15.75", "read"},
		{"GEO-46", "regular hexagonal prism, closed area", hexagon.Surface, 0.807846096908, 1e-9, "elementary", "computed"},
		{"GEO-47", "regular octagonal prism volume", octagon.Volume, 0.195551298552, 1e-9, "elementary", "computed"},
		{"GEO-48", "regular square pyramid lateral", square.Surface, 3.16227766017, 1e-9, "elementary", "computed"},
	})
}

func TestBowlsCapsulesAndSuperellipsoids(t *testing.T) {
	bowl := must(geometry.Paraboloid(125, 300))
	capsule := must(geometry.Capsule(0.4, 1))
	check(t, []row{
		{"GEO-35", "paraboloid volume", bowl.Volume, 1840776.94546, 1e-9, handbook + "p.92, prints 1,840,781", "read"},
		{"GEO-36", "paraboloid curved area", bowl.Area, 79732.8230386, 1e-9, handbook + "p.92 formula", "formula read; computed"},
		{
			"GEO-42", "superellipsoid volume, n=6", must(geometry.SuperellipsoidVolume(2, 2, 2, 6, 6)), 7.20766956806, 1e-9,
			"MathWorld Supersphere: 2 G(1/6)^3/(27 sqrt(pi))", "read",
		},
		{
			"GEO-44", "superegg volume (Hein)", must(geometry.SuperellipsoidVolume(6, 6, 8, 2, 2.5)), 169.652419185, 1e-9,
			"shape from Wikipedia Superellipsoid", "shape read; value computed two ways",
		},
		{"GEO-65", "capsule area", capsule.Area, 1.75929188601, 1e-9, "elementary", "computed"},
	})
}

func TestStripes(t *testing.T) {
	turn := geometry.HelicalStripe{Diameter: 0.2, Pitch: 0.3, Turns: 1, Width: 0.05}
	stripe := geometry.HelicalStripe{Diameter: 0.5, Pitch: 0.8, Turns: 3.5, Width: 0.1}
	const unrolled = "developed cylinder (unrolled right triangle)"
	check(t, []row{
		{"GEO-39", "helical stripe, length per turn", turn.LengthPerTurn(), 0.696264444047, 1e-9, unrolled, "computed"},
		{"GEO-41", "helical stripe, masking edge", stripe.Measure().Edge, 12.339475431, 1e-9, "developed cylinder", "computed"},
	})
}

func TestOutlines(t *testing.T) {
	letter := extruded([][]geometry.Point{rectangle(0, 0, 200, 300), rectangle(50, 50, 150, 250)}, 50)
	check(t, []row{
		{"GEO-49", "five-point star area", must(geometry.Star(1)).Area, 1.12256994145, 1e-9, "elementary", "computed"},
		{"GEO-51", "built-up letter with a counter, closed", letter.Measure().Surface, 160000, 0, "derived (A=40000, P=1600)", "computed"},
		{"GEO-52", "L-shape shoelace area", must(geometry.PolygonArea(ell())), 45200, 0, "shoelace", "computed"},
	})
}

func rectangle(x1, y1, x2, y2 float64) []geometry.Point {
	return []geometry.Point{{X: x1, Y: y1}, {X: x2, Y: y1}, {X: x2, Y: y2}, {X: x1, Y: y2}}
}

func ell() []geometry.Point {
	return []geometry.Point{{0, 0}, {300, 0}, {300, 60}, {80, 60}, {80, 400}, {0, 400}}
}

// TestRevolve turns y = sqrt(x), laid so that equal steps are equal in y.
func TestRevolve(t *testing.T) {
	const n = 40000
	profile := make([]geometry.ProfilePoint, n+1)
	for i := range profile {
		y := float64(i) / n
		profile[i] = geometry.ProfilePoint{Radius: y, Height: y * y}
	}
	shell := must(geometry.Revolve(profile))
	check(t, []row{
		{"GEO-54", "surface of revolution y=sqrt(x), 0..1", shell.Area, 5.33041350027, 1e-9, "calculus textbook classic", "memory; recomputed"},
		{"own", "its volume, pi/2", shell.Volume, math.Pi / 2, 1e-9, "elementary", "computed"},
	})
}
