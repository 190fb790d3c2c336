package takeoff_test

import (
	"math"
	"slices"
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
	"github.com/mouldwright/mouldwright/internal/takeoff"
)

func studied(t *testing.T, m *mesh.Mesh) *maquette.Maquette {
	t.Helper()
	q, err := maquette.Study(m)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func meshed(q *maquette.Maquette, scale float64) *brief.Piece {
	b := piece()
	b.Form = brief.Form{Mesh: &brief.MeshForm{Name: "meshes/m", Scale: scale, Model: q}}
	return b
}

// on says which faces have all their corners at a height.
func on(m *mesh.Mesh, height float64) func(f [3]uint32) bool {
	return func(f [3]uint32) bool {
		for _, v := range f {
			if math.Abs(m.Vertices[v][2]-height) > 1e-9 {
				return false
			}
		}
		return true
	}
}

// dish is a cut-off pyramid, upside down: its mouth of 0.4 x 0.3 m is open, its floor of
// 0.2 x 0.15 m is 0.1 m below, so that one pull has all of it.
func dish() *mesh.Mesh {
	m := meshtest.Box(0.4, 0.3, 0.1)
	low := m.Vertices[0]
	for _, p := range m.Vertices {
		low = mesh.Point{math.Min(low[0], p[0]), math.Min(low[1], p[1]), math.Min(low[2], p[2])}
	}
	for i, p := range m.Vertices {
		if p[2] == low[2] {
			m.Vertices[i] = mesh.Point{(p[0] + low[0] + 0.2) / 2, (p[1] + low[1] + 0.15) / 2, p[2]}
		}
	}
	m.Faces = slices.DeleteFunc(m.Faces, on(m, low[2]+0.1))
	return m
}

// A mesh at a scale: lengths by the scale, areas by its square, volumes by its cube. Of a
// box of 0.2 x 0.1 x 0.3 m at five times its size they are elementary.
func TestAMeshAtItsScale(t *testing.T) {
	p := measure(t, meshed(studied(t, meshtest.Box(0.2, 0.1, 0.3)), 5))
	near(t, "surface", p.Surface, 5.5)
	near(t, "volume", p.Volume, 0.75)
	near(t, "rim", p.Rim, 0)
	near(t, "blank", p.Blank, 0.75)
	near(t, "silhouette", p.Silhouette, 1.5)
	near(t, "height", p.Extent.Height, 1.5)
}

// Foam is stacked as high as the block of the foam that the route cuts: 0.5 m, whatever
// other foams the studio keeps, so that 1.5 m are three layers (elementary).
func TestFoamIsStackedByTheBlockThatIsCut(t *testing.T) {
	book := ratebooktest.Book(t)
	thin := *ratebooktest.Material(t, book, "foam")
	thin.Code, thin.StockBlock = "sheet-foam", &ratebook.Block{Width: 1, Depth: 1, Height: 0.1}
	book.Materials = append([]ratebook.Material{thin}, book.Materials...)
	b := meshed(studied(t, meshtest.Box(0.2, 0.1, 0.3)), 5)
	for _, direct := range []bool{false, true} {
		p, faults := takeoff.Measure(b, ratebooktest.Open(t, book), direct)
		if len(faults) > 0 || len(p.Blanks) != 3 {
			t.Errorf("direct %v: %d layers, %v", direct, len(p.Blanks), faults)
		}
	}
}

// A dish at twice its size comes off one mould in one piece. Told of more, each further
// piece has a line as long as its box's outline, 2 x (0.8 + 0.2) m; with none of that the
// mould of two pieces would have no line at all.
func TestMoreMouldPiecesThanAreNeeded(t *testing.T) {
	b := meshed(studied(t, dish()), 2)
	one := measure(t, b)
	near(t, "rim", one.Rim, 2.8)
	if one.MouldParts != 1 || one.Parting != 0 {
		t.Fatalf("%d pieces, %v m of parting line", one.MouldParts, one.Parting)
	}
	for pieces, want := range map[int]float64{2: 2, 3: 4} {
		b.Mould = brief.Mould{Pieces: pieces}
		p := measure(t, b)
		near(t, "parting", p.Parting, want)
		if p.MouldParts != pieces || p.Basis.Parting != "twice width and height of its size, for each piece of the mould beyond the first" {
			t.Errorf("%d pieces: %q", p.MouldParts, p.Basis.Parting)
		}
	}
	given := 0.5
	b.Mould = brief.Mould{Pieces: 2, Parting: &given}
	if p := measure(t, b); p.Parting != given || p.Basis.Parting != "as given" {
		t.Errorf("%v m %s", p.Parting, p.Basis.Parting)
	}
}

// Told of other numbers of pieces than are suggested, the parting line goes in proportion,
// and the basis says so.
func TestOtherMouldPiecesThanAreSuggested(t *testing.T) {
	b := meshed(studied(t, meshtest.Icosphere(0.5, 3)), 1)
	suggested := measure(t, b)
	if suggested.MouldParts < 2 || suggested.Parting == 0 {
		t.Fatalf("%d pieces, %v m of parting line", suggested.MouldParts, suggested.Parting)
	}
	each := suggested.Parting / float64(suggested.MouldParts-1)
	for _, pieces := range []int{1, suggested.MouldParts, suggested.MouldParts + 3} {
		b.Mould = brief.Mould{Pieces: pieces}
		p := measure(t, b)
		near(t, "parting", p.Parting, each*float64(pieces-1))
		if same := p.Basis.Parting == suggested.Basis.Parting; same != (pieces == suggested.MouldParts) {
			t.Errorf("%d pieces: %q", pieces, p.Basis.Parting)
		}
	}
}

// An area that the file names is a part of the surface: it grows with the scale and has
// the texture of the surface, so that areas that are all of it can be all of it. Of the
// box the top is 0.02 m2 with an edge of 0.6 m (elementary).
func TestAreasOfAMesh(t *testing.T) {
	m := meshtest.Box(0.2, 0.1, 0.3)
	high := m.Vertices[0][2]
	for _, p := range m.Vertices {
		high = math.Max(high, p[2])
	}
	top := on(m, high)
	slices.SortStableFunc(m.Faces, func(a, b [3]uint32) int {
		switch {
		case top(a) == top(b):
			return 0
		case top(a):
			return -1
		default:
			return 1
		}
	})
	m.Runs = []mesh.Run{{First: 0, Zone: "top"}, {First: slices.IndexFunc(m.Faces, func(f [3]uint32) bool { return !top(f) }), Zone: "sides"}}
	q := studied(t, m)
	for _, texture := range []float64{1, 1.5} {
		b := meshed(q, 5)
		b.Texture = texture
		for _, name := range []string{"top", "sides"} {
			b.Zones = append(b.Zones, brief.Zone{Name: name, Finish: "gloss", Count: 1, Shape: brief.ZoneShape{MeshArea: name}})
		}
		p := measure(t, b)
		near(t, "top", p.Zones[0].Area, 0.5*texture)
		near(t, "its edge", p.Zones[0].Edge, 3)
		near(t, "both", p.Zones[0].Area+p.Zones[1].Area, p.Surface)
	}
}
