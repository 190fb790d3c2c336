package geometry_test

import (
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

var (
	_ geometry.Turned = geometry.Sphere{}
	_ geometry.Turned = geometry.Spheroid{}
	_ geometry.Turned = geometry.Dome{}
	_ geometry.Turned = geometry.Cylinder{}
	_ geometry.Turned = geometry.Frustum{}
	_ geometry.Turned = geometry.Cone{}
	_ geometry.Zone   = geometry.Spot{}
	_ geometry.Zone   = geometry.Band{}
	_ geometry.Zone   = geometry.Panel{}
	_ geometry.Zone   = geometry.HelicalStripe{}
)

// solids is one of each kind; tests fill in the dimensions.
func solids() []geometry.Solid {
	return []geometry.Solid{
		geometry.Sphere{},
		geometry.Spheroid{},
		geometry.Ellipsoid{},
		geometry.Dome{},
		geometry.Cylinder{},
		geometry.Frustum{},
		geometry.Cone{},
		geometry.Block{},
		geometry.Prism{},
		geometry.Pyramid{},
		geometry.Ring{},
		geometry.BentTube{},
	}
}

// set returns the solid with every field changed by f, so that a law is tested on
// kinds that are added later too.
func set(s geometry.Solid, f func(name string, field reflect.Value)) geometry.Solid {
	changed := reflect.New(reflect.TypeOf(s)).Elem()
	changed.Set(reflect.ValueOf(s))
	for i := range changed.NumField() {
		f(changed.Type().Field(i).Name, changed.Field(i))
	}
	return changed.Interface().(geometry.Solid)
}

func scaled(s geometry.Solid, by float64) geometry.Solid {
	return set(s, func(name string, field reflect.Value) {
		if field.Kind() == reflect.Float64 && name != "Angle" {
			field.SetFloat(field.Float() * by)
		}
	})
}

// drawSolid draws any kind with dimensions from low to high and any ends.
func drawSolid(t *rapid.T, low, high float64) geometry.Solid {
	s := set(rapid.SampledFrom(solids()).Draw(t, "kind"), func(name string, field reflect.Value) {
		switch name {
		case "Angle":
			field.SetFloat(rapid.OneOf(rapid.Just(2*math.Pi), rapid.Float64Range(1e-3, 2*math.Pi)).Draw(t, name))
		case "Sides":
			field.SetInt(int64(rapid.IntRange(geometry.SidesMin, geometry.SidesMax).Draw(t, name)))
		case "Ends":
			field.SetInt(int64(rapid.IntRange(0, 3).Draw(t, name)))
		case "Profile":
			field.SetInt(int64(rapid.IntRange(0, 1).Draw(t, name)))
		default:
			power := rapid.Float64Range(math.Log(low), math.Log(high)).Draw(t, name)
			field.SetFloat(min(max(math.Exp(power), low), high))
		}
	})
	switch r := s.(type) {
	case geometry.Ring:
		r.CentreDiameter = max(r.CentreDiameter, r.TubeDiameter)
		return r
	case geometry.BentTube:
		r.BendRadius = max(r.BendRadius, r.TubeDiameter/2)
		return r
	}
	return s
}

func same(a, b, tolerance float64) bool {
	return math.Abs(a-b) <= tolerance*max(math.Abs(a), math.Abs(b))
}

func sameMeasures(a, b geometry.Measures, tolerance float64) bool {
	return same(a.Surface, b.Surface, tolerance) && same(a.Volume, b.Volume, tolerance) &&
		same(a.Rim, b.Rim, tolerance) && same(a.Outline, b.Outline, tolerance) &&
		same(a.Silhouette, b.Silhouette, tolerance) && same(a.Extent.Width, b.Extent.Width, tolerance) &&
		same(a.Extent.Depth, b.Extent.Depth, tolerance) && same(a.Extent.Height, b.Extent.Height, tolerance)
}

// grown applies GEO-61 (scale law, elementary): lengths s, areas s^2, volumes s^3.
func grown(m geometry.Measures, s float64) geometry.Measures {
	return geometry.Measures{
		Surface: m.Surface * s * s, Volume: m.Volume * s * s * s,
		Rim: m.Rim * s, Outline: m.Outline * s, Silhouette: m.Silhouette * s * s,
		Extent: geometry.Extent{Width: m.Extent.Width * s, Depth: m.Extent.Depth * s, Height: m.Extent.Height * s},
	}
}

func TestScaleLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		small := drawSolid(t, 1e-2, 10)
		by := rapid.OneOf(rapid.Just(2.5), rapid.Float64Range(0.1, 30)).Draw(t, "scale")
		large := scaled(small, by)
		if got, want := large.Measure(), grown(small.Measure(), by); !sameMeasures(got, want, 1e-9) {
			t.Fatalf("whole: got %+v, want %+v", got, want)
		}
		if got, want := large.Half(), grown(small.Half(), by); !sameMeasures(got, want, 1e-9) {
			t.Fatalf("half: got %+v, want %+v", got, want)
		}
	})
}

func TestHalfIsHalf(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSolid(t, 1e-2, 10)
		whole, half := s.Measure(), s.Half()
		if 2*half.Surface != whole.Surface || 2*half.Volume != whole.Volume {
			t.Fatalf("%#v: half %+v of %+v", s, half, whole)
		}
		extent := half.Extent
		extent.Depth *= 2
		if extent != whole.Extent || half.Outline != whole.Outline {
			t.Fatalf("%#v: half %+v of %+v", s, half, whole)
		}
		if half.Rim < half.Outline*(1-1e-12) {
			t.Fatalf("%#v: a half's rim %g is shorter than its outline %g", s, half.Rim, half.Outline)
		}
	})
}

// TestMeasuresStayInBounds takes the whole allowed range of dimensions.
func TestMeasuresStayInBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSolid(t, geometry.LengthMin, geometry.LengthMax)
		if faults := s.Faults(); len(faults) > 0 {
			t.Fatal(faults)
		}
		for _, m := range []geometry.Measures{s.Measure(), s.Half()} {
			for _, v := range []float64{m.Surface, m.Volume, m.Outline, m.Silhouette, m.Extent.Width, m.Extent.Depth, m.Extent.Height} {
				if !(v > 0) || math.IsInf(v, 0) {
					t.Fatalf("%#v: %+v", s, m)
				}
			}
			if !(m.Rim >= 0) || math.IsInf(m.Rim, 0) {
				t.Fatalf("%#v: rim %g", s, m.Rim)
			}
		}
	})
}

// TestIsoperimetric: no body holds more than a ball of the same surface,
// 36 pi V^2 <= S^3.
func TestIsoperimetric(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := set(drawSolid(t, 1e-3, 100), func(name string, field reflect.Value) {
			if name == "Ends" {
				field.SetInt(int64(geometry.EndsBoth))
			}
		})
		m := s.Measure()
		if 36*math.Pi*m.Volume*m.Volume > m.Surface*m.Surface*m.Surface*(1+1e-9) {
			t.Fatalf("%#v holds too much: %+v", s, m)
		}
		if box := m.Extent; m.Volume > box.Width*box.Depth*box.Height*(1+1e-9) {
			t.Fatalf("%#v is bigger than its box: %+v", s, m)
		}
	})
}

// TestOpenEnds: opening an end takes its face from the surface and adds its edge to
// the rim; nothing else changes.
func TestOpenEnds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSolid(t, 1e-2, 10)
		with := func(e geometry.Ends) geometry.Measures {
			return set(s, func(name string, field reflect.Value) {
				if name == "Ends" {
					field.SetInt(int64(e))
				}
			}).Measure()
		}
		both, base, top, neither := with(geometry.EndsBoth), with(geometry.EndsBase), with(geometry.EndsTop), with(geometry.EndsNeither)
		if !same(both.Surface+neither.Surface, base.Surface+top.Surface, 1e-12) || both.Rim != 0 ||
			!same(neither.Rim, base.Rim+top.Rim, 1e-12) {
			t.Fatalf("%#v: both %+v base %+v top %+v neither %+v", s, both, base, top, neither)
		}
		if both.Surface < neither.Surface || both.Volume != neither.Volume || both.Outline != neither.Outline ||
			both.Silhouette != neither.Silhouette || both.Extent != neither.Extent {
			t.Fatalf("%#v: both %+v neither %+v", s, both, neither)
		}
	})
}

func TestSolidsThatCoincide(t *testing.T) {
	for _, pair := range []struct {
		name string
		a, b geometry.Solid
	}{
		{"spheroid with equal axes", geometry.Spheroid{1.3, 1.3}, geometry.Sphere{1.3}},
		{"ellipsoid with equal axes", geometry.Ellipsoid{1.3, 1.3, 1.3}, geometry.Sphere{1.3}},
		{"ellipsoid with a round plan", geometry.Ellipsoid{0.8, 0.8, 1.3}, geometry.Spheroid{0.8, 1.3}},
		{"domes half as high as wide", geometry.Dome{1, 0.5, geometry.Cap, 3}, geometry.Dome{1, 0.5, geometry.HalfSpheroid, 3}},
		{"frustum with equal ends", geometry.Frustum{0.4, 0.4, 2, 1}, geometry.Cylinder{0.4, 2, 1}},
		{"frustum with no top", geometry.Frustum{0.4, 0, 2, 3}, geometry.Cone{0.4, 2, 3}},
		{"full bend", geometry.BentTube{0.5, 0.2, 2 * math.Pi, 3}, geometry.Ring{1, 0.2}},
		{"full bend, a bit lost in degrees", geometry.BentTube{0.5, 0.2, 2*math.Pi - 1e-15, 3}, geometry.Ring{1, 0.2}},
	} {
		if a, b := pair.a.Measure(), pair.b.Measure(); !sameMeasures(a, b, 1e-12) {
			t.Errorf("%s, whole: %+v and %+v", pair.name, a, b)
		}
		if a, b := pair.a.Half(), pair.b.Half(); !sameMeasures(a, b, 1e-12) {
			t.Errorf("%s, half: %+v and %+v", pair.name, a, b)
		}
	}
}

func TestManySidesAreNearlyRound(t *testing.T) {
	const d = 1.0
	side := d * math.Sin(math.Pi/64)
	prism, cylinder := geometry.Prism{64, side, 2, 0}, geometry.Cylinder{d, 2, 0}
	pyramid, cone := geometry.Pyramid{64, side, 2, 0}, geometry.Cone{d, 2, 0}
	if !sameMeasures(prism.Measure(), cylinder.Measure(), 2e-3) || !sameMeasures(prism.Half(), cylinder.Half(), 2e-3) {
		t.Errorf("prism %+v, cylinder %+v", prism.Measure(), cylinder.Measure())
	}
	if !sameMeasures(pyramid.Measure(), cone.Measure(), 2e-3) || !sameMeasures(pyramid.Half(), cone.Half(), 2e-3) {
		t.Errorf("pyramid %+v, cone %+v", pyramid.Measure(), cone.Measure())
	}
}

// TestSpheroidsAgainstClosedForms: prolate 2 pi b^2 (1 + a/(b e) asin e), oblate
// 2 pi a^2 (1 + (1-e^2)/e atanh e); closed forms from memory (CRC/Beyer).
func TestSpheroidsAgainstClosedForms(t *testing.T) {
	const unit = 1e-6 // m, the shorter axis
	for _, ratio := range []float64{1.1, 1.5, 3, 10, 1e3, 1e6, 1e9} {
		e := math.Sqrt((ratio-1)*(ratio+1)) / ratio
		atanh := math.Log(ratio * (1 + e))                                      // written so that 1 - e need not be formed
		prolate := math.Pi / 2 * unit * unit * (1 + ratio/e*math.Acos(1/ratio)) // asin e loses digits near 1
		oblate := math.Pi / 2 * unit * unit * (ratio*ratio + atanh/e)
		if got := must(geometry.EllipsoidArea(unit, unit, unit*ratio)); !same(got, prolate, 1e-12) {
			t.Errorf("prolate %g: got %.15g, want %.15g", ratio, got, prolate)
		}
		if got := must(geometry.EllipsoidArea(unit*ratio, unit*ratio, unit)); !same(got, oblate, 1e-12) {
			t.Errorf("oblate %g: got %.15g, want %.15g", ratio, got, oblate)
		}
	}
}

// TestThomsenBounds: the approximation errs by at most 1.061 % (published figure).
// The limits of needle and disc are -1.0612 % and +0.9765 % (exact, computed), but
// the disc's is not the worst: at one sixteenth as thick as wide it is +1.057 %.
func TestThomsenBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		axis := rapid.Float64Range(0.01, 10)
		a, b, c := axis.Draw(t, "a"), axis.Draw(t, "b"), axis.Draw(t, "c")
		exact := must(geometry.EllipsoidArea(2*a, 2*b, 2*c))
		if off := thomsen(a, b, c)/exact - 1; math.Abs(off) > 0.010613 {
			t.Fatalf("%g %g %g: Thomsen is off by %g", a, b, c, off)
		}
		for _, other := range []float64{
			must(geometry.EllipsoidArea(2*c, 2*a, 2*b)), must(geometry.EllipsoidArea(2*b, 2*a, 2*c)),
		} {
			if !same(exact, other, 1e-13) {
				t.Fatalf("order of axes matters: %g, %g", exact, other)
			}
		}
	})
}

// TestEllipsePerimeterAgainstMean uses the arithmetic-geometric mean, a second
// exact route: P = 2 pi/agm(a, b) (a^2 - sum 2^(n-1) c_n^2). From memory.
func TestEllipsePerimeterAgainstMean(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0.1, 100).Draw(t, "a")
		b := a * rapid.Float64Range(1e-3, 1).Draw(t, "ratio")
		x, y, c, power := a, b, math.Sqrt((a-b)*(a+b)), 0.5
		sum := a * a
		for range 12 {
			sum -= power * c * c
			x, y, c, power = (x+y)/2, math.Sqrt(x*y), (x-y)/2, power*2
		}
		want := 2 * math.Pi / x * sum
		if got := must(geometry.EllipsePerimeter(2*a, 2*b)); !same(got, want, 1e-12) {
			t.Fatalf("axes %g, %g: got %.15g, want %.15g", a, b, got, want)
		}
	})
}

// TestRadiusIntegrates: the discs of a turned solid add up to its volume (Simpson's
// rule is exact here: the area of a disc is at most quadratic in the height).
func TestRadiusIntegrates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSolid(t, 1e-2, 10)
		turned, ok := s.(geometry.Turned)
		if !ok {
			t.Skip("not turned")
		}
		m := s.Measure()
		h := m.Extent.Height
		disc := func(at float64) float64 {
			r := must(turned.RadiusAt(at))
			return math.Pi * r * r
		}
		if got := h / 6 * (disc(0) + 4*disc(h/2) + disc(h)); !same(got, m.Volume, 1e-9) {
			t.Fatalf("%#v: discs add up to %g, volume %g", s, got, m.Volume)
		}
		for _, off := range []float64{-h / 10, h * 1.1, math.NaN(), math.Inf(1)} {
			if r, err := turned.RadiusAt(off); err == nil {
				t.Fatalf("%#v: radius %g at height %g of %g", s, r, off, h)
			}
		}
	})
}

// TestRevolveAgreesWithFrusta: stacked frusta add up, either way round.
func TestRevolveAgreesWithFrusta(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.Float64Range(0.01, 3)
		a, b, c, low, high := d.Draw(t, "a"), d.Draw(t, "b"), d.Draw(t, "c"), d.Draw(t, "low"), d.Draw(t, "high")
		up := []geometry.ProfilePoint{{a / 2, 0}, {b / 2, low}, {c / 2, low + high}}
		down := []geometry.ProfilePoint{up[2], up[1], up[0]}
		lower, upper := geometry.Frustum{a, b, low, 3}.Measure(), geometry.Frustum{b, c, high, 3}.Measure()
		for _, profile := range [][]geometry.ProfilePoint{up, down} {
			shell := must(geometry.Revolve(profile))
			if !same(shell.Area, lower.Surface+upper.Surface, 1e-12) || !same(shell.Volume, lower.Volume+upper.Volume, 1e-12) {
				t.Fatalf("%+v: %+v", profile, shell)
			}
		}
	})
}

// TestShapesAtTheirLimits ties the handbook shapes to the solids they turn into.
func TestShapesAtTheirLimits(t *testing.T) {
	ball, block := geometry.Sphere{2}.Measure(), geometry.Block{2, 2, 2, 0}.Measure()
	column := geometry.Cylinder{2, 3, 3}.Measure()
	bowl := must(geometry.Paraboloid(2, 1e-5))
	check(t, []row{
		{"own", "full wedge area", must(geometry.SphericalWedge(2, 2*math.Pi)).Area, ball.Surface, 1e-12, "elementary", "derived"},
		{"own", "full wedge volume", must(geometry.SphericalWedge(2, 2*math.Pi)).Volume, ball.Volume, 1e-12, "elementary", "derived"},
		{"own", "full cap area", must(geometry.SphericalCap(1e-6, 2)).Area, ball.Surface, 1e-12, "elementary", "derived"},
		{"own", "capsule with no middle", must(geometry.Capsule(2, 0)).Volume, ball.Volume, 1e-12, "elementary", "derived"},
		{"own", "level oblique cylinder wall", must(geometry.ObliqueCylinder(2, 3, 3)).Area, column.Surface, 1e-12, "elementary", "derived"},
		{"own", "level oblique cylinder top", must(geometry.ObliqueFace(2, 3, 3)), math.Pi, 1e-12, "elementary", "derived"},
		{"own", "pyramid frustum with equal ends", must(geometry.PyramidFrustum(4, 4, 2)), block.Volume, 1e-12, "elementary", "derived"},
		{"own", "very shallow bowl is a disc", bowl.Area, math.Pi, 1e-9, "elementary", "derived"},
		{"own", "supersphere n=2", must(geometry.SuperellipsoidVolume(2, 2, 2, 2, 2)), ball.Volume, 1e-12, "MathWorld", "read"},
		{"own", "octahedron n=1", must(geometry.SuperellipsoidVolume(2, 2, 2, 1, 1)), 4.0 / 3, 1e-12, "MathWorld", "read"},
		{"own", "nearly a box n=100", must(geometry.SuperellipsoidVolume(2, 2, 2, 100, 100)), block.Volume, 2e-3, "MathWorld", "read"},
		{"own", "square's perimeter", must(geometry.PolygonPerimeter(rectangle(0, 0, 2, 2))), 8, 0, "elementary", "derived"},
		{"own", "star perimeter by its corners", must(geometry.Star(1)).Perimeter, must(geometry.PolygonPerimeter(pentagram())), 1e-12, "elementary", "derived"},
		{"own", "star area by shoelace", must(geometry.Star(1)).Area, must(geometry.PolygonArea(pentagram())), 1e-12, "elementary", "derived"},
	})
}

// pentagram finds the inner corners by crossing the pentagram's lines: the line from
// point 0 to point 2 meets the line from point 1 to point 4.
func pentagram() (loop []geometry.Point) {
	tip := func(k int) (x, y float64) {
		y, x = math.Sincos(math.Pi/2 + 2*math.Pi*float64(k)/5)
		return x, y
	}
	for k := range 5 {
		ax, ay := tip(k)
		bx, by := tip(k + 2)
		cx, cy := tip(k + 1)
		dx, dy := tip(k + 4)
		share := ((cx-ax)*(dy-cy) - (cy-ay)*(dx-cx)) / ((bx-ax)*(dy-cy) - (by-ay)*(dx-cx))
		loop = append(loop, geometry.Point{X: ax, Y: ay}, geometry.Point{X: ax + share*(bx-ax), Y: ay + share*(by-ay)})
	}
	return loop
}

// TestOutlineIgnoresPlaceAndWinding: an outline may be drawn anywhere, either way.
func TestOutlineIgnoresPlaceAndWinding(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shift := rapid.Float64Range(-500, 500)
		dx, dy := shift.Draw(t, "dx"), shift.Draw(t, "dy")
		var moved []geometry.Point
		for _, p := range ell() {
			moved = append([]geometry.Point{{p.X/1000 + dx, p.Y/1000 + dy}}, moved...)
		}
		if got := must(geometry.PolygonArea(moved)); !same(got, 0.0452, 1e-9) {
			t.Fatalf("area %.12g", got)
		}
		if got := must(geometry.PolygonPerimeter(moved)); !same(got, 1.4, 1e-9) {
			t.Fatalf("perimeter %.12g", got)
		}
	})
}

func TestOpenBackedLetter(t *testing.T) {
	letter := extruded([][]geometry.Point{rectangle(0, 0, 0.2, 0.3), rectangle(0.05, 0.05, 0.15, 0.25)}, 0.05)
	letter.Ends = geometry.EndsTop
	m := letter.Measure()
	want := geometry.Measures{
		Surface: 0.04 + 1.6*0.05, Volume: 0.04 * 0.05, Rim: 1.6, Outline: 1.6, Silhouette: 0.04,
		Extent: geometry.Extent{Width: 0.2, Depth: 0.05, Height: 0.3},
	}
	if !sameMeasures(m, want, 1e-12) {
		t.Errorf("got %+v, want %+v", m, want)
	}
}

func TestZones(t *testing.T) {
	spot := geometry.Spot{Diameter: 0.1}.Measure()
	band := geometry.Band{Diameter: 0.5, Width: 0.2}
	column := geometry.Cylinder{0.5, 0.2, geometry.EndsNeither}.Measure()
	bound := geometry.Panel{Area: spot.Area}.Measure()
	known := geometry.Panel{Area: 2, Edge: 9}.Measure()
	if band.Measure() != (geometry.ZoneMeasures{Area: column.Surface, Edge: column.Rim}) {
		t.Errorf("a band %+v is an open column %+v", band.Measure(), column)
	}
	if !bound.EdgeIsBound || !same(bound.Edge, spot.Edge, 1e-12) || spot.EdgeIsBound {
		t.Errorf("the least edge is a disc's: %+v, %+v", bound, spot)
	}
	if known != (geometry.ZoneMeasures{Area: 2, Edge: 9}) {
		t.Errorf("a known edge stays: %+v", known)
	}
}

// TestStripeCovers: at full coverage the stripe is the column's whole side.
func TestStripeCovers(t *testing.T) {
	stripe := geometry.HelicalStripe{Diameter: 0.5, Pitch: 0.3, Turns: 4, Width: 0.1}
	stripe.Width /= stripe.Coverage()
	side := geometry.Cylinder{0.5, 1.2, geometry.EndsNeither}.Measure().Surface
	if got := stripe.Measure().Area; !same(got, side, 1e-12) || !same(stripe.Coverage(), 1, 1e-12) {
		t.Errorf("stripe %g, side %g", got, side)
	}
	stripe.Width *= 1.01
	if faults := stripe.Faults(); len(faults) != 1 || faults[0].Field != "width" {
		t.Errorf("an overlapping stripe: %v", faults)
	}
}
