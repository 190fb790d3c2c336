package quote_test

import (
	"slices"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
)

// Where the brief says everything, only the studio's own assumptions and exclusions
// stand. Each thing left open is one assumption before them.
func TestAssumptions(t *testing.T) {
	studios := "Drawings are supplied."
	for _, c := range []struct {
		name string
		open func(*brief.Brief)
		want []string
	}{
		{"nothing left open", func(*brief.Brief) {}, nil},
		{"laminate", func(b *brief.Brief) { b.Pieces[0].Laminate = "" }, []string{`Slab a: laminate "Thin", the studio's usual.`}},
		{"finish", func(b *brief.Brief) { b.Pieces[0].Finish = "" }, []string{`Slab a: finish "Bare gelcoat", the studio's usual.`}},
		{"body", func(b *brief.Brief) { b.Pieces[0].Body = ratebook.BodyUnknown }, []string{"Slab a: taken as closed, from its form."}},
		{"mould", func(b *brief.Brief) { b.Pieces[0].Mould.Pieces = 0 }, []string{"Slab a: a mould in 2 pieces, usual for a closed body."}},
		{
			"parting line", func(b *brief.Brief) { b.Pieces[0].Mould.Parting = nil },
			[]string{"Slab a: parting line of 3.00 m: outline at the cut plane."},
		},
		{"size", func(b *brief.Brief) { b.Pieces[0].Size = nil }, []string{"Slab a: overall size 1000 × 1000 × 500 mm; the solid's own."}},
		{"delivery", func(b *brief.Brief) { b.Delivery = nil }, []string{"No delivery was asked for: the work is collected from the workshop."}},
		{
			"route of a gelcoat finish", func(b *brief.Brief) { b.Pieces[0].Route = brief.Choose },
			[]string{"Slab a: made moulded, since its finish is the gelcoat of a mould."},
		},
		{
			// One enamelled slab is dearer with a mould than without.
			"route of one", func(b *brief.Brief) { b.Pieces[0].Route, b.Pieces[0].Finish = brief.Choose, "enamel" },
			[]string{"Slab a: made direct over coated foam, the less costly route for this quantity, reckoned by itself."},
		},
		{
			// 2 sqrt(pi x 0.25 x 4 m2) = 3.545 m.
			"edge of a panel", func(b *brief.Brief) {
				b.Pieces[0].Zones = []brief.Zone{{Name: "back", Finish: "flake", Count: 1, Shape: brief.ZoneShape{Panel: &brief.Panel{Share: 0.25}}}}
			},
			[]string{"Slab a, back: edge to mask of 3.54 m each is the least that its area can have."},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := job(slabs("a", 1))
			c.open(b)
			q := price(t, ratebooktest.Book(t), b)
			if want := append(c.want, studios); !slices.Equal(q.Assumptions, want) {
				t.Errorf("got %q, want %q", q.Assumptions, want)
			}
			if !slices.Equal(q.Exclusions, []string{"Foundations."}) {
				t.Errorf("exclusions %q", q.Exclusions)
			}
		})
	}
}

func TestWarnings(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*ratebook.Book, *brief.Brief)
		want   []string
	}{
		{"nothing to look at", func(*ratebook.Book, *brief.Brief) {}, nil},
		{"finish outdoors", func(book *ratebook.Book, _ *brief.Brief) {
			book.Finishes[0].Exposures = []ratebook.Exposure{ratebook.Indoor}
		}, []string{`Slab a: finish "Bare gelcoat" is not meant to stand outdoors.`}},
		{"zone outdoors", func(_ *ratebook.Book, b *brief.Brief) {
			b.Pieces[0].Zones = []brief.Zone{spots("spots", 1)}
		}, []string{`Slab a, spots: finish "Flake" is not meant to stand outdoors.`}},
		{"zone indoors", func(_ *ratebook.Book, b *brief.Brief) {
			b.Pieces[0].Zones, b.Pieces[0].Exposure = []brief.Zone{spots("spots", 1)}, ratebook.Indoor
		}, nil},
		// MLD-01: a mould is at least twice as thick as its casts (Practical Action
		// technical brief, p.7); 2.602 mm (WGT-03) against 5.204.
		{"thin mould", func(book *ratebook.Book, _ *brief.Brief) {
			book.Policies.MouldLaminate = "thin"
		}, []string{"Slab a: the studio's mould laminate is 2.6 mm thick; 5.2 mm, twice the cast, is usual."}},
		{"no mould", func(book *ratebook.Book, b *brief.Brief) {
			book.Policies.MouldLaminate = "thin"
			b.Pieces[0].Route, b.Pieces[0].Finish = brief.Direct, "enamel"
		}, []string{"Slab a: what the brief says of a mould is not used, since each one is carved."}},
		{"neither mould nor word of one", func(_ *ratebook.Book, b *brief.Brief) {
			b.Pieces[0].Route, b.Pieces[0].Finish, b.Pieces[0].Mould = brief.Direct, "enamel", brief.Mould{}
		}, nil},
		{"a closed body in one", func(_ *ratebook.Book, b *brief.Brief) {
			b.Pieces[0].Mould.Pieces = 1
		}, []string{"Slab a: a closed body from a mould in one piece, or without a parting line, cannot be taken out of it."}},
		{"a tube through itself", func(_ *ratebook.Book, b *brief.Brief) {
			// Two legs, one across the other, nearer than two radii.
			line := []geometry.Station{{X: -0.2}, {X: 0.4}, {X: 0.4, Y: 0.4}, {Y: 0.4}, {Y: -0.4, Z: 0.05}}
			for i := range line {
				line[i].Diameter = 0.1
			}
			b.Pieces[0].Form = brief.Form{Whole: "sweep", Solids: []brief.Solid{{Kind: "sweep", Shape: geometry.Keep(geometry.Sweep{Stations: line}), Count: 1}}}
			b.Pieces[0].Size = nil
		}, []string{"Slab a: the sweep passes through itself near stations[0]: its surface counts twice there."}},
		{"lower than itself", func(_ *ratebook.Book, b *brief.Brief) {
			b.Pieces[0].Standing = 0.1
		}, []string{"Slab a: it was said to stand 100 mm high, but is 500 mm high itself; the greater is taken."}},
	} {
		t.Run(c.name, func(t *testing.T) {
			book, b := ratebooktest.Book(t), job(slabs("a", 1))
			c.change(book, b)
			if got := price(t, book, b).Warnings; !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// A deadline is noted, and that it is not yet checked.
func TestDeadlineIsNoted(t *testing.T) {
	b := job(slabs("a", 1))
	b.Deadline = time.Date(2027, time.June, 1, 0, 0, 0, 0, time.UTC)
	if got := price(t, ratebooktest.Book(t), b).Warnings; len(got) != 1 {
		t.Errorf("got %q", got)
	}
}

// The size of solids that stand together is a guess, and says which.
func TestStackedSizeIsSaid(t *testing.T) {
	b := slabs("a", 1)
	b.Size = nil
	b.Form.Solids = append(b.Form.Solids, brief.Solid{Kind: "sphere", Shape: geometry.Sphere{Diameter: 0.3}, Count: 1})
	q := price(t, ratebooktest.Book(t), job(b))
	if want := "Slab a: overall size 1000 × 1000 × 800 mm; solids taken as stacked."; q.Assumptions[0] != want {
		t.Errorf("got %q, want %q", q.Assumptions[0], want)
	}
}

// A pair of what is its own mirror image is warned of: it pays for two sets of moulds where
// one would do. A single one is not, nor a pair whose hands differ, nor one without moulds.
// What the file was warned of is told too, at the piece's scale.
func TestAPairOfOneHand(t *testing.T) {
	const says = "Slab a: the mesh is its own mirror image, so one mould serves both hands; make it single, with the quantity of both, to pay for one."
	slab := meshtest.Box(0.2, 0.2, 0.1)
	handed := meshtest.Box(0.2, 0.15, 0.1)
	handed.Vertices[0] = mesh.Point{-0.15, -0.08, -0.04}
	for name, row := range map[string]struct {
		mesh   *mesh.Mesh
		change func(*brief.Piece)
		want   bool
	}{
		"a pair":           {slab, func(p *brief.Piece) { p.Pair = true }, true},
		"single":           {slab, func(*brief.Piece) {}, false},
		"a pair of hands":  {handed, func(p *brief.Piece) { p.Pair = true }, false},
		"a pair on a core": {slab, func(p *brief.Piece) { p.Pair, p.Route, p.Finish = true, brief.Direct, "enamel" }, false},
	} {
		model, err := maquette.Study(row.mesh, mesh.Warning{Code: "odd", Says: "the file is odd"})
		if err != nil {
			t.Fatal(err)
		}
		p := slabs("a", 1)
		p.Form, p.Size = brief.Form{Mesh: &brief.MeshForm{Name: "meshes/slab", Scale: 5, Model: model}}, nil
		row.change(&p)
		got := price(t, ratebooktest.Book(t), job(p)).Warnings
		if slices.Contains(got, says) != row.want || !slices.Contains(got, "Slab a: the file is odd.") {
			t.Errorf("%s: got %q", name, got)
		}
	}
}
