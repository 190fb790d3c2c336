package mesh_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

func ExampleExamine() {
	b := mesh.NewBuilder(4)
	o, x, y, z := mesh.Point{}, mesh.Point{1, 0, 0}, mesh.Point{0, 1, 0}, mesh.Point{0, 0, 1}
	for _, t := range []mesh.Triangle{{o, y, x}, {o, x, z}, {o, z, y}, {x, y, z}} {
		b.Triangle(t)
	}
	s, err := mesh.Examine(b.Mesh())
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.4f m2, %.4f m3, %d part, closed by edges: %v\n",
		s.Skin, s.Volume, len(s.Components), s.Enclosed == mesh.ByEdges)
	// Output: 2.3660 m2, 0.1667 m3, 1 part, closed by edges: true
}

func moved(m *mesh.Mesh, x, y, z float64) *mesh.Mesh {
	return meshtest.Moved(m, meshtest.About(mesh.Point{0, 0, 1}, 0), mesh.Point{x, y, z})
}

// Rows of the estimating tables: quantity, source and how it is known.
func TestHandbookRows(t *testing.T) {
	t.Run("GEO-57", func(t *testing.T) { // divergence theorem (Zhang & Chen 2001); reversed winding gives -1
		cube := moved(meshtest.Box(1, 1, 1), 10, -7, 3)
		var out, in mesh.Sum
		out.AddMesh(cube)
		in.AddMesh(meshtest.Flipped(cube))
		for want, s := range map[float64]*mesh.Sum{1: &out, -1: &in} {
			got, ok := s.Volume()
			if !ok || math.Abs(got-want) > 1e-12 {
				t.Errorf("got %v, %v, want %v", got, ok, want)
			}
		}
		near(t, "surveyed", examine(t, meshtest.Flipped(cube)).Volume, 1, 1e-12)
	})
	t.Run("GEO-59", func(t *testing.T) { // exact: 5(3+sqrt5)/12 a^3; computed two ways
		radius := math.Sqrt(10+2*math.Sqrt(5)) / 4 // of the corners, for an edge of 1 (elementary)
		near(t, "volume", examine(t, meshtest.Icosphere(radius, 0)).Volume, 2.18169499062, 1e-9)
	})
	t.Run("GEO-60", func(t *testing.T) { // own: levels 0..3; computed
		for level, want := range []float64{.7619177945, .9283453234, .9811781758, .9952350697} {
			near(t, "area", examine(t, meshtest.Icosphere(1, level)).Area/(4*math.Pi), want, 1e-9)
		}
	})
	t.Run("GEO-61", func(t *testing.T) { // elementary: s^2, s^3 at 2.5
		small, large := examine(t, meshtest.Icosphere(1, 2)), examine(t, meshtest.Icosphere(2.5, 2))
		near(t, "area", large.Area/small.Area, 6.25, 1e-12)
		near(t, "volume", large.Volume/small.Volume, 15.625, 1e-12)
	})
}

// Four boxes one in the other, whichever way each is wound: wood, air, wood, air
// (elementary).
func TestNesting(t *testing.T) {
	for mask := range 16 {
		var all []*mesh.Mesh
		for i := range 4 {
			side := float64(4 - i)
			b := moved(meshtest.Box(side, side, side), float64(i)/2, float64(i)/2, float64(i)/2)
			if mask>>i&1 == 1 {
				b = meshtest.Flipped(b)
			}
			all = append(all, b)
		}
		s := examine(t, meshtest.Join(all...))
		near(t, "volume", s.Volume, 64-27+8-1, 1e-12)
		near(t, "envelope", s.Envelope, 64, 1e-12)
		near(t, "skin", s.Skin, 6*16, 1e-12)
		var sum mesh.Sum
		sum.AddMesh(s.Mesh) // outer ones outward, voids inward
		wound, ok := sum.Volume()
		near(t, "as wound", wound, s.Volume, 1e-12)
		same(t, "closed", ok, true)
		want := map[int]string{0b1010: "", 0b0101: "inside_out"}
		if w, ok := want[mask]; ok {
			same(t, "warnings", codes(s), w)
		} else {
			same(t, "warnings", codes(s), "winding")
		}
	}
}

// Parts that touch or stand side by side hold nothing.
func TestTouchingPartsAreNotNested(t *testing.T) {
	for _, at := range []mesh.Point{{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {1, 0.25, 0.25}, {3, 0, 0}, {-3, 0.5, 0}} {
		s := examine(t, meshtest.Join(meshtest.Box(1, 1, 1), moved(meshtest.Box(1, 2, 3), at[0], at[1], at[2])))
		near(t, fmt.Sprint(at), s.Volume, 7, 1e-12)
	}
}

// A band with half a twist has neither volume nor inside (Moebius).
func TestMoebiusBandHasNoVolume(t *testing.T) {
	const n = 40
	m := &mesh.Mesh{}
	for i := range n {
		a := 2 * math.Pi * float64(i) / n
		for _, w := range []float64{-0.3, 0.3} {
			r := 1 + w*math.Cos(a/2)
			m.Vertices = append(m.Vertices, mesh.Point{r * math.Cos(a), r * math.Sin(a), w * math.Sin(a/2)})
		}
	}
	for i := range uint32(n) {
		a, b, c, d := 2*i, 2*i+1, 2*i+2, 2*i+3
		if i == n-1 {
			c, d = 1, 0
		}
		m.Faces = append(m.Faces, [3]uint32{a, c, b}, [3]uint32{b, c, d})
	}
	s := examine(t, m)
	same(t, "enclosed", s.Enclosed, mesh.Open)
	same(t, "volume", s.Volume, 0)
	same(t, "capped", s.Capped, 0)
	same(t, "loops", len(s.Loops), 1)
	near(t, "border", s.Loops[0].Length, s.Border, 1e-12)
	same(t, "warnings", codes(s), "not_closed one_sided")
}

// A tube that is open at both ends has no vector area, and is open all the same.
func TestOpenTube(t *testing.T) {
	box := meshtest.Box(2, 3, 5)
	box.Faces = box.Faces[4:] // neither floor nor lid
	s := examine(t, box)
	same(t, "enclosed", s.Enclosed, mesh.Open)
	near(t, "vector area", s.VectorArea, 0, 1e-12)
	near(t, "rim", s.Rim, 20, 1e-12)
	same(t, "loops", len(s.Loops), 2)
	near(t, "capped", s.Capped, 30, 1e-12)
	same(t, "volume", s.Volume, 0)
}

// Half a tennis ball: its rim has no vector area by symmetry, and is a rim.
func TestTennisBallSeamIsARim(t *testing.T) {
	const n = 96
	m := &mesh.Mesh{Vertices: []mesh.Point{{0, 0, 0}}}
	for i := range n {
		a := 2 * math.Pi * float64(i) / n
		m.Vertices = append(m.Vertices, mesh.Point{
			math.Cos(a) + 0.3*math.Cos(3*a), math.Sin(a) - 0.3*math.Sin(3*a), 1 + 0.9*math.Cos(2*a),
		})
		m.Faces = append(m.Faces, [3]uint32{0, uint32(i + 1), uint32((i+1)%n + 1)})
	}
	s := examine(t, m)
	same(t, "enclosed", s.Enclosed, mesh.Open)
	near(t, "rim", s.Rim, s.Border, 1e-12)
}

// The lid of a box in another material: where the two meet is the box's outline, though
// the exporter gave each material its own corners (elementary).
func TestSeamsAreFoundAcrossZones(t *testing.T) {
	box := meshtest.Box(2, 3, 5)
	b := mesh.NewBuilder(0)
	b.Zone("wall")
	for f := range box.Faces {
		if f == 2 || f == 4 {
			b.Zone(map[int]string{2: "lid", 4: "wall"}[f])
		}
		b.Triangle(box.Triangle(f))
	}
	s := examine(t, b.Mesh())
	same(t, "zones", fmt.Sprint(s.Zones), "[{wall 56} {lid 6}]")
	same(t, "seams", fmt.Sprint(s.Seams), "[{lid wall 10}]")
	same(t, "enclosed", s.Enclosed, mesh.ByEdges)
}

// Zones are of what is moulded: the walls of a void in the box are in no zone of it, and a
// material that only the void has is none.
func TestZonesAreOfTheOuterSkin(t *testing.T) {
	box, void := meshtest.Box(2, 3, 5), meshtest.Moved(meshtest.Box(1, 1, 1), meshtest.About(mesh.Point{0, 0, 1}, 0), mesh.Point{0.5, 1, 2})
	b := mesh.NewBuilder(0)
	for f, zone := range []string{"wall", "wall", "lid", "lid", "wall", "wall", "wall", "wall", "wall", "wall", "wall", "wall"} {
		b.Zone(zone)
		b.Triangle(box.Triangle(f))
	}
	for f := range void.Faces {
		b.Zone([]string{"wall", "core"}[f%2])
		b.Triangle(void.Triangle(f))
	}
	s := examine(t, b.Mesh())
	near(t, "volume", s.Volume, 29, 1e-12)
	same(t, "zones", fmt.Sprint(s.Zones), "[{wall 56} {lid 6}]")
	same(t, "seams", fmt.Sprint(s.Seams), "[{lid wall 10}]")
}

// Welding stops where it would eat detail, and where it closes nothing.
func TestWeldRefusesToEatDetail(t *testing.T) {
	sheet := meshtest.Box(1, 1, 1)
	sheet.Faces = sheet.Faces[:2]
	speck := &mesh.Mesh{Vertices: []mesh.Point{{}, {4e-5}, {0, 4e-5}}, Faces: [][3]uint32{{0, 1, 2}}}
	for name, c := range map[string]struct {
		mesh *mesh.Mesh
		area float64
	}{
		"two sheets": {meshtest.Join(sheet, moved(sheet, 0, 0, 5e-5)), 2},
		"specks":     {meshtest.Join(speck, moved(speck, 1, 0, 0)), 16e-10},
	} {
		s := examine(t, c.mesh)
		same(t, name, s.Enclosed, mesh.Open)
		same(t, name, s.Weld, mesh.Weld{})
		near(t, name, s.Area, c.area, 1e-9)
	}
}

func TestExamineRefuses(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"no face":        {},
		"no area":        {Vertices: []mesh.Point{{}, {1}, {2}}, Faces: [][3]uint32{{0, 1, 2}, {0, 0, 1}}},
		"no vertex":      {Vertices: []mesh.Point{{}, {1}}, Faces: [][3]uint32{{0, 1, 2}}},
		"not a number":   {Vertices: []mesh.Point{{}, {1}, {0, math.NaN()}}, Faces: [][3]uint32{{0, 1, 2}}},
		"too far":        {Vertices: []mesh.Point{{}, {1}, {0, 2e4}}, Faces: [][3]uint32{{0, 1, 2}}},
		"runs backwards": {Vertices: []mesh.Point{{}, {1}, {0, 1}}, Faces: [][3]uint32{{0, 1, 2}}, Runs: []mesh.Run{{First: 1}, {First: 0}}},
	} {
		_, err := mesh.Examine(m)
		if empty := errors.Is(err, mesh.ErrEmpty); err == nil || empty != (name == "no face" || name == "no area") {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

// Inputs on which a careless search would take the square of their size.
func TestNoInputTakesForever(t *testing.T) {
	crowd := meshtest.Box(1, 1, 1)
	crowd.Faces = crowd.Faces[1:]
	for i := range 20_000 { // all in one cell
		p := mesh.Point{3 + 1e-9*float64(i%100), 1e-9 * float64(i/100), 0}
		n := uint32(len(crowd.Vertices))
		crowd.Vertices = append(crowd.Vertices, p, mesh.Point{p[0] + 1e-9, p[1], 0}, mesh.Point{p[0], p[1] + 1e-9, 0})
		crowd.Faces = append(crowd.Faces, [3]uint32{n, n + 1, n + 2})
	}
	var onion, field []*mesh.Mesh
	for i := range 3000 {
		side := 1 + float64(i)/1000
		onion = append(onion, moved(meshtest.Box(side, side, side), -side/2, -side/2, -side/2))
		field = append(field, moved(meshtest.Box(0.5, 0.5, 0.5), float64(i%60), float64(i/60), 0))
	}
	fan := &mesh.Mesh{Vertices: []mesh.Point{{}, {0, 0, 1}}} // all on one edge
	for i := range 50_000 {
		a := float64(i)
		fan.Vertices = append(fan.Vertices, mesh.Point{math.Cos(a), math.Sin(a), 0})
		fan.Faces = append(fan.Faces, [3]uint32{0, 1, uint32(i + 2)})
	}
	star := &mesh.Mesh{Vertices: []mesh.Point{{}}} // all loops through one vertex
	for i := range 50_000 {
		a := float64(i)
		star.Vertices = append(star.Vertices, mesh.Point{math.Cos(a), math.Sin(a), 0}, mesh.Point{math.Cos(a), math.Sin(a), 1})
		star.Faces = append(star.Faces, [3]uint32{0, uint32(2*i + 1), uint32(2*i + 2)})
	}
	for name, m := range map[string]*mesh.Mesh{
		"crowd": crowd, "onion": meshtest.Join(onion...), "field": meshtest.Join(field...), "fan": fan, "star": star,
	} {
		begun := time.Now()
		s := examine(t, m)
		t.Logf("%s: %d faces, %d parts, %v, %s", name, len(m.Faces), len(s.Components), time.Since(begun), codes(s))
		if took := time.Since(begun); took > time.Minute {
			t.Errorf("%s took %v", name, took)
		}
		if name == "onion" && !strings.Contains(codes(s), mesh.Nesting) {
			near(t, "skin of the onion", s.Skin, 6*3.999*3.999, 1e-9)
		}
	}
}
