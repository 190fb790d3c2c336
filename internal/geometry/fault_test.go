package geometry_test

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

func fields(faults []geometry.DimensionError) (names []string) {
	for _, f := range faults {
		names = append(names, f.Field)
	}
	return names
}

func TestFaultsAreAllListed(t *testing.T) {
	for _, c := range []struct {
		solid interface {
			Faults() []geometry.DimensionError
		}
		want string
	}{
		{geometry.Sphere{}, "diameter"},
		{geometry.Spheroid{-1, math.NaN()}, "diameter height"},
		{geometry.Ellipsoid{math.Inf(1), 1, 1000.1}, "width height"},
		{geometry.Dome{0, -1, 2, 4}, "diameter height profile ends"},
		{geometry.Cylinder{0, 0, -1}, "diameter height ends"},
		{geometry.Frustum{0, 0, 1, 0}, "baseDiameter"},
		{geometry.Frustum{-1, math.NaN(), 0, 9}, "baseDiameter topDiameter height ends"},
		{geometry.Frustum{0, 1, 1, 0}, ""},
		{geometry.Frustum{1, 0, 1, 0}, ""},
		{geometry.Cone{1e-9, 1, 0}, "diameter"},
		{geometry.Block{}, "width depth height"},
		{geometry.Prism{2, 0, 0, 0}, "sides sideLength height"},
		{geometry.Pyramid{65, 1, 1, 7}, "sides ends"},
		{geometry.Ring{1, 1}, ""},
		{geometry.Ring{1, 1.1}, "centreDiameter"},
		{geometry.BentTube{0.5, 1, 1, 0}, ""},
		{geometry.BentTube{0.4, 1, 0, 0}, "bendRadius angle"},
		{geometry.BentTube{1, 1, 360 * math.Pi / 180, 0}, ""},
		{geometry.BentTube{1, 1, 6.3, 0}, "angle"},
		{geometry.Spot{-1}, "diameter"},
		{geometry.Band{}, "diameter width"},
		{geometry.Panel{0, -1}, "area edge"},
		{geometry.Panel{1, 0}, ""},
		{geometry.Panel{1, math.NaN()}, "edge"},
		{geometry.HelicalStripe{}, "diameter pitch turns width"},
		{geometry.ExtrudedOutline{}, "region depth"},
		{geometry.ExtrudedOutline{Region: geometry.Region{Area: math.NaN()}, Depth: 1, EdgeRadius: 2}, "region edgeRadius"},
		{geometry.ExtrudedOutline{Region: geometry.Region{Area: 1, Perimeter: 4}, InsetLoss: 8, Depth: 1, EdgeRadius: 0.51}, "edgeRadius"},
		{geometry.ExtrudedOutline{Region: geometry.Region{Area: 1, Perimeter: 4}, InsetLoss: 8, Depth: 1, EdgeRadius: 0.5}, ""},
		{geometry.ExtrudedOutline{Region: geometry.Region{Area: 1, Perimeter: 4}, InsetLoss: math.NaN(), Depth: 1, Ends: 4}, "ends insetLoss"},
	} {
		if got := strings.Join(fields(c.solid.Faults()), " "); got != c.want {
			t.Errorf("%#v: faults in %q, want %q", c.solid, got, c.want)
		}
	}
}

// TestNoBadFieldSlipsThrough spoils each dimension of each kind in turn.
func TestNoBadFieldSlipsThrough(t *testing.T) {
	for _, kind := range solids() {
		good := set(kind, func(name string, field reflect.Value) {
			switch field.Kind() {
			case reflect.Float64:
				field.SetFloat(1)
			case reflect.Int:
				if name == "Sides" {
					field.SetInt(5)
				}
			}
		})
		if faults := good.Faults(); len(faults) > 0 {
			t.Errorf("%#v: %v", good, faults)
		}
		for i := range reflect.TypeOf(kind).NumField() {
			for _, bad := range []float64{-1, math.NaN(), math.Inf(1), math.Inf(-1), 1001} {
				spoilt := spoil(good, i, bad)
				name := lowerCamel(reflect.TypeOf(kind).Field(i).Name)
				if !slices.Contains(fields(spoilt.Faults()), name) {
					t.Errorf("%#v: no fault in %s", spoilt, name)
				}
			}
		}
	}
}

func spoil(s geometry.Solid, at int, bad float64) geometry.Solid {
	i := -1
	return set(s, func(_ string, field reflect.Value) {
		if i++; i != at {
			return
		}
		if field.Kind() == reflect.Float64 {
			field.SetFloat(bad)
		} else {
			field.SetInt(1001)
		}
	})
}

func lowerCamel(name string) string { return strings.ToLower(name[:1]) + name[1:] }

func TestFunctionsRefuseBadArguments(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	refusals := map[string]error{}
	keep := func(name string, err error) { refusals[name] = err }
	_, err := geometry.EllipsoidArea(1, nan, 1)
	keep("EllipsoidArea", err)
	_, err = geometry.EllipsePerimeter(0, 1)
	keep("EllipsePerimeter", err)
	_, err = geometry.SphericalCap(1, -1)
	keep("SphericalCap", err)
	_, err = geometry.SphericalWedge(1, 7)
	keep("SphericalWedge", err)
	_, err = geometry.Paraboloid(inf, 1)
	keep("Paraboloid", err)
	_, err = geometry.ObliqueCylinder(1, 2, 1)
	keep("ObliqueCylinder", err)
	_, err = geometry.ObliqueFace(1, nan, 1)
	keep("ObliqueFace", err)
	_, err = geometry.Capsule(0, 1)
	keep("Capsule", err)
	_, err = geometry.PyramidFrustum(1, nan, 1)
	keep("PyramidFrustum", err)
	_, err = geometry.SuperellipsoidVolume(1, 1, 1, 2, 0)
	keep("SuperellipsoidVolume", err)
	_, err = geometry.Star(-1)
	keep("Star", err)
	_, err = geometry.LeastEdge(-1)
	keep("LeastEdge", err)
	_, err = geometry.PolygonArea(rectangle(0, 0, 1, 1)[:2])
	keep("PolygonArea", err)
	_, err = geometry.PolygonPerimeter([]geometry.Point{{nan, 0}, {1, 0}, {1, 1}})
	keep("PolygonPerimeter", err)
	_, err = geometry.Revolve([]geometry.ProfilePoint{{-1, 0}, {1, inf}})
	keep("Revolve", err)
	_, err = geometry.Revolve(nil)
	keep("Revolve of nothing", err)
	for name, err := range refusals {
		var fault geometry.DimensionError
		if !errors.As(err, &fault) || fault.Allowed == "" {
			t.Errorf("%s: got error %v, want a DimensionError", name, err)
		}
	}
}
