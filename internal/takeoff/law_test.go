package takeoff_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
	"github.com/mouldwright/mouldwright/internal/takeoff"
)

func someSolid(t *rapid.T) brief.Solid {
	length := func(name string) float64 { return rapid.Float64Range(0.05, 3).Draw(t, name) }
	s := brief.Solid{Count: rapid.IntRange(1, 4).Draw(t, "count"), Halved: rapid.Bool().Draw(t, "halved")}
	switch rapid.IntRange(0, 3).Draw(t, "shape") {
	case 0:
		s.Shape = geometry.Sphere{Diameter: length("diameter")}
	case 1:
		s.Shape = geometry.Block{Width: length("width"), Depth: length("depth"), Height: length("height"), Ends: geometry.EndsBase}
	case 2:
		s.Shape = geometry.Cylinder{Diameter: length("diameter"), Height: length("height"), Ends: geometry.EndsNeither}
	default:
		s.Shape = geometry.Ellipsoid{Width: length("width"), Depth: length("depth"), Height: length("height")}
	}
	m := s.Measure()
	s.Contact, s.Joined = m.Surface*rapid.Float64Range(0, 0.5).Draw(t, "contact"), m.Rim*rapid.Float64Range(0, 1).Draw(t, "joined")
	return s
}

func someSolids(t *rapid.T) []brief.Solid {
	return rapid.SliceOfN(rapid.Custom(someSolid), 1, 5).Draw(t, "solids")
}

// Surface, rim, volume, silhouette, blank and outline of a list of solids are those
// of its two halves together.
func TestSolidsAreAdditive(t *testing.T) {
	e := ratebooktest.Tiny(t)
	rapid.Check(t, func(t *rapid.T) {
		a, b := someSolids(t), someSolids(t)
		of := func(solids []brief.Solid) takeoff.Piece {
			p := piece(solids...)
			p.Body, p.Mould.Pieces = ratebook.OpenBacked, 2
			m, _ := takeoff.Measure(p, e, false)
			return m
		}
		first, second, both := of(a), of(b), of(append(append([]brief.Solid{}, a...), b...))
		for name, of := range map[string]func(*takeoff.Piece) float64{
			"surface":    func(p *takeoff.Piece) float64 { return p.Surface },
			"rim":        func(p *takeoff.Piece) float64 { return p.Rim },
			"volume":     func(p *takeoff.Piece) float64 { return p.Volume },
			"silhouette": func(p *takeoff.Piece) float64 { return p.Silhouette },
			"blank":      func(p *takeoff.Piece) float64 { return p.Blank },
			"parting":    func(p *takeoff.Piece) float64 { return p.Parting },
			"flange":     func(p *takeoff.Piece) float64 { return p.Flange },
			"height":     func(p *takeoff.Piece) float64 { return p.Extent.Height },
		} {
			got, want := of(&both), of(&first)+of(&second)
			if math.Abs(got-want) > 1e-9*math.Max(1, want) {
				t.Fatalf("%s: %v, of the parts %v", name, got, want)
			}
		}
		if both.Volume > both.Blank*(1+1e-9) {
			t.Fatalf("%v m3 carved from blanks of %v", both.Volume, both.Blank)
		}
	})
}

// Pulls of one hand make its casts, none of them past the mould's life, none without
// a pull, and no two more than one apart.
func TestPullsMakeTheCasts(t *testing.T) {
	e := ratebooktest.Tiny(t)
	rapid.Check(t, func(t *rapid.T) {
		b := piece(slab())
		b.Quantity, b.Mould.PerHand = rapid.IntRange(1, 500).Draw(t, "casts"), rapid.IntRange(0, 60).Draw(t, "asked")
		p, _ := takeoff.Measure(b, e, false)
		sum, first := 0, p.Pulls[0]
		for _, n := range p.Pulls {
			sum += n
			if n < 1 || n > e.Policies.MouldLife || n > first || n < first-1 {
				t.Fatalf("pulls %v", p.Pulls)
			}
		}
		if sum != b.Quantity {
			t.Fatalf("pulls %v make %d of %d", p.Pulls, sum, b.Quantity)
		}
	})
}
