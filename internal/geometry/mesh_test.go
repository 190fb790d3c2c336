package geometry_test

import (
	"fmt"
	"math"
	"reflect"
	"testing"

	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// Every shape is covered with triangles whose corners lie on it, and the triangles are
// measured by the package that measures scans. What they fall short by goes with the
// square of their size, so each halving divides it by four, and two sizes give the
// limit to many more digits (Richardson's extrapolation; elementary).

// fineness is how many triangles go round: each twice the one before.
var fineness = [3]int{24, 48, 96}

// tester is a test, or a check within one.
type tester interface {
	Helper()
	Errorf(format string, args ...any)
	Fatal(args ...any)
}

// tends checks that three approximations tend to a value: exact to 1e-12, or with an
// error that falls by 3.8 to 4.2 at each step, to a limit within 1e-5.
func tends(t tester, what string, want float64, got [3]float64) {
	t.Helper()
	var off [3]float64
	exact := true
	for i := range got {
		off[i] = (got[i] - want) / max(math.Abs(want), 1e-9)
		exact = exact && math.Abs(off[i]) <= 1e-12
	}
	if exact {
		return
	}
	for i, ratio := range [2]float64{off[0] / off[1], off[1] / off[2]} {
		if !(ratio > 3.8 && ratio < 4.2) {
			t.Errorf("%s: from %d to %d round the error is divided by %.4g, not 4 (want %.9g, got %.9g)",
				what, fineness[i], fineness[i+1], ratio, want, got)
		}
	}
	if limit := (4*off[2] - off[1]) / 3; !(math.Abs(limit) <= 1e-5) {
		t.Errorf("%s: the formula says %.9g; triangles tend to a value off by %.2g of it", what, want, limit)
	}
}

// approximations measures a shape at each fineness.
func approximations(t tester, shape func(n int) *mesh.Mesh) [3]*mesh.Survey {
	t.Helper()
	var out [3]*mesh.Survey
	for i, n := range fineness {
		s, err := mesh.Examine(shape(n))
		if err != nil {
			t.Fatal(err)
		}
		out[i] = s
	}
	return out
}

func each(s [3]*mesh.Survey, measure func(*mesh.Survey) float64) [3]float64 {
	return [3]float64{measure(s[0]), measure(s[1]), measure(s[2])}
}

func area(s *mesh.Survey) float64   { return s.Area }
func capped(s *mesh.Survey) float64 { return s.Capped }
func border(s *mesh.Survey) float64 { return s.Border }

// agrees checks surface, volume and rim. The volume of a mesh that is open takes flat
// openings.
func agrees(t tester, what string, want geometry.Measures, got [3]*mesh.Survey) {
	t.Helper()
	tends(t, what+" surface", want.Surface, each(got, area))
	tends(t, what+" rim", want.Rim, each(got, border))
	if flat(got[2]) {
		tends(t, what+" volume", want.Volume, each(got, capped))
	}
	if closed := want.Rim == 0; closed != (got[2].Enclosed == mesh.ByEdges) {
		t.Errorf("%s: rim %g, yet the mesh is %v", what, want.Rim, got[2].Enclosed)
	}
}

// flat says whether every opening lies in a plane: a half of a solid with an open end
// has one that goes round a corner.
func flat(s *mesh.Survey) bool {
	for _, loop := range s.Loops {
		low, high := loop.Points[0], loop.Points[0]
		for _, p := range loop.Points {
			for k := range p {
				low[k], high[k] = min(low[k], p[k]), max(high[k], p[k])
			}
		}
		if min(high[0]-low[0], high[1]-low[1], high[2]-low[2]) > 1e-9 {
			return false
		}
	}
	return true
}

// behind is the half of a mesh behind the plane y = 0, which no triangle crosses.
func behind(m *mesh.Mesh) *mesh.Mesh {
	return meshtest.Only(m, func(t mesh.Triangle) bool { return t[0][1]+t[1][1]+t[2][1] > 1e-9 })
}

// lathe turns a line, given by the share of the way from base to top, with flat ends
// where they are moulded.
func lathe(ends geometry.Ends, line func(share float64) (radius, height float64)) func(n int) *mesh.Mesh {
	return func(n int) *mesh.Mesh {
		var points []geometry.ProfilePoint
		for k := range n + 1 {
			r, z := line(float64(k) / float64(n))
			if r < 1e-12 {
				r = 0 // on the axis but for rounding
			}
			points = append(points, geometry.ProfilePoint{Radius: r, Height: z})
		}
		return meshtest.Revolve(ended(points, ends), n)
	}
}

func ended(points []geometry.ProfilePoint, ends geometry.Ends) []geometry.ProfilePoint {
	whole := meshtest.Capped(points)
	if points[0].Radius > 0 && !ends.BaseMoulded() {
		whole = whole[1:]
	}
	if points[len(points)-1].Radius > 0 && !ends.TopMoulded() {
		whole = whole[:len(whole)-1]
	}
	return whole
}

func straight(base, top, height float64) func(float64) (float64, float64) {
	return func(s float64) (float64, float64) { return (base*(1-s) + top*s) / 2, height * s }
}

// ballCap goes up a circle through the edge of a cap's base and its top, whose centre is
// found from its two distances being the same.
func ballCap(d geometry.Dome) func(float64) (float64, float64) {
	centre := (d.Height*d.Height - d.Diameter*d.Diameter/4) / (2 * d.Height)
	edge := math.Atan2(-centre, d.Diameter/2)
	return func(s float64) (float64, float64) {
		sin, cos := math.Sincos(edge + (math.Pi/2-edge)*s)
		return (d.Height - centre) * cos, centre + (d.Height-centre)*sin
	}
}

func quarterEllipse(d geometry.Dome) func(float64) (float64, float64) {
	return func(s float64) (float64, float64) {
		sin, cos := math.Sincos(math.Pi / 2 * s)
		return d.Diameter / 2 * cos, d.Height * sin
	}
}

// ball has its points on a sphere that is stretched along the axes.
func ball(width, depth, height float64) func(n int) *mesh.Mesh {
	unit := lathe(geometry.EndsBoth, func(s float64) (float64, float64) {
		sin, cos := math.Sincos(math.Pi * s)
		return sin / 2, -cos / 2
	})
	return func(n int) *mesh.Mesh { return meshtest.Scaled(unit(n), width, depth, height) }
}

// hose bends a tube upwards about the y axis, as [geometry.BentTube] stands.
func hose(b geometry.BentTube) func(n int) *mesh.Mesh {
	return func(n int) *mesh.Mesh {
		rows := make([][]mesh.Point, n+1)
		for k := range rows {
			sin, cos := math.Sincos(b.Angle * (float64(k)/float64(n) - 0.5))
			rows[k] = around(n, func(c, s float64) mesh.Point {
				r := b.BendRadius + b.TubeDiameter/2*c
				return mesh.Point{r * sin, -b.TubeDiameter / 2 * s, r * cos}
			})
		}
		return withEnds(rows, b.Ends)
	}
}

// around is a closed row of n points by the cosine and sine of their angles.
func around(n int, at func(cos, sin float64) mesh.Point) []mesh.Point {
	row := make([]mesh.Point, n+1)
	for j := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(j) / float64(n))
		row[j] = at(cos, sin)
	}
	row[n] = row[0]
	return row
}

// withEnds is a tube of rows with its moulded ends, each a fan to its middle.
func withEnds(rows [][]mesh.Point, ends geometry.Ends) *mesh.Mesh {
	if ends.BaseMoulded() {
		rows = append([][]mesh.Point{middle(rows[0])}, rows...)
	}
	if ends.TopMoulded() {
		rows = append(rows, middle(rows[len(rows)-1]))
	}
	return meshtest.Sheet(rows)
}

func middle(row []mesh.Point) []mesh.Point {
	var sum mesh.Point
	for _, p := range row[1:] {
		for k := range p {
			sum[k] += p[k] / float64(len(row)-1)
		}
	}
	out := make([]mesh.Point, len(row))
	for i := range out {
		out[i] = sum
	}
	return out
}

type meshRow struct {
	solid geometry.Solid
	shape func(n int) *mesh.Mesh
}

func roundRows() []meshRow {
	rows := []meshRow{
		{geometry.Sphere{Diameter: 1.3}, ball(1.3, 1.3, 1.3)},
		{geometry.Spheroid{Diameter: 2, Height: 0.7}, ball(2, 2, 0.7)},
		{geometry.Spheroid{Diameter: 0.6, Height: 2.1}, ball(0.6, 0.6, 2.1)},
		{geometry.Ellipsoid{Width: 1, Depth: 2, Height: 3}, ball(1, 2, 3)},
		{geometry.Ellipsoid{Width: 2.5, Depth: 1.5, Height: 0.8}, ball(2.5, 1.5, 0.8)},
	}
	for _, r := range []geometry.Ring{{CentreDiameter: 1.2, TubeDiameter: 0.4}, {CentreDiameter: 1, TubeDiameter: 0.9}} {
		rows = append(rows, meshRow{r, func(n int) *mesh.Mesh {
			flat := meshtest.Torus(r.CentreDiameter/2, r.TubeDiameter/2, n, n)
			return meshtest.Moved(flat, meshtest.Turn{{1, 0, 0}, {0, 0, -1}, {0, 1, 0}}, mesh.Point{})
		}})
	}
	for ends := geometry.EndsBoth; ends <= geometry.EndsNeither; ends++ {
		rows = append(rows, endedRows(ends)...)
	}
	return rows
}

func endedRows(ends geometry.Ends) []meshRow {
	domes := []geometry.Dome{
		{Diameter: 1.4, Height: 0.3, Profile: geometry.Cap, Ends: ends},
		{Diameter: 1, Height: 1.3, Profile: geometry.Cap, Ends: ends},
		{Diameter: 0.5, Height: 1.1, Profile: geometry.HalfSpheroid, Ends: ends},
	}
	var rows []meshRow
	for _, s := range []geometry.Frustum{
		{BaseDiameter: 0.6, TopDiameter: 0.4, Height: 1.7, Ends: ends},
		{BaseDiameter: 0.5, TopDiameter: 2, Height: 0.3, Ends: ends},
		{TopDiameter: 1, Height: 0.8, Ends: ends},
	} {
		rows = append(rows, meshRow{s, lathe(ends, straight(s.BaseDiameter, s.TopDiameter, s.Height))})
	}
	for _, b := range []geometry.BentTube{
		{BendRadius: 0.5, TubeDiameter: 0.2, Angle: math.Pi / 2, Ends: ends},
		{BendRadius: 0.6, TubeDiameter: 0.1, Angle: 210 * math.Pi / 180, Ends: ends},
		{BendRadius: 0.5, TubeDiameter: 0.8, Angle: 1, Ends: ends},
	} {
		rows = append(rows, meshRow{b, hose(b)})
	}
	return append(rows,
		meshRow{domes[0], lathe(ends, ballCap(domes[0]))},
		meshRow{domes[1], lathe(ends, ballCap(domes[1]))},
		meshRow{domes[2], lathe(ends, quarterEllipse(domes[2]))},
		meshRow{geometry.Cylinder{Diameter: 0.4, Height: 1.1, Ends: ends}, lathe(ends, straight(0.4, 0.4, 1.1))},
		meshRow{geometry.Cone{Diameter: 0.9, Height: 1.2, Ends: ends}, lathe(ends, straight(0.9, 0, 1.2))},
	)
}

func TestRoundSolidsAgainstMeshes(t *testing.T) {
	for _, row := range roundRows() {
		t.Run(fmt.Sprintf("%T%v", row.solid, row.solid), func(t *testing.T) {
			if faults := row.solid.Faults(); len(faults) > 0 {
				t.Fatal(faults)
			}
			whole := approximations(t, row.shape)
			agrees(t, "whole", row.solid.Measure(), whole)
			agrees(t, "half", row.solid.Half(), approximations(t, func(n int) *mesh.Mesh { return behind(row.shape(n)) }))
			sameBox(t, row.solid.Measure(), whole[2].Mesh)
			if whole[2].Enclosed == mesh.ByEdges { // one can look through an open tube
				sameShadow(t, row.solid.Measure().Silhouette, whole[2].Mesh)
			}
		})
	}
}

// sameBox compares the box at the finest, whose corners need not reach all the way.
func sameBox(t tester, want geometry.Measures, m *mesh.Mesh) {
	t.Helper()
	var s mesh.Sum
	s.AddMesh(m)
	size := [3]float64{want.Extent.Width, want.Extent.Depth, want.Extent.Height}
	for k, length := range size {
		if got := s.High[k] - s.Low[k]; !same(got, length, 1e-3) {
			t.Errorf("along axis %d: %g, the mesh reaches %g", k, length, got)
		}
	}
}

// sameShadow compares the largest of the three elevations.
func sameShadow(t tester, want float64, m *mesh.Mesh) {
	t.Helper()
	if got := largestShadow(t, m); !same(got, want, 2e-3) {
		t.Errorf("silhouette %g, the mesh's is %g", want, got)
	}
}

// largestShadow fills what hides the ground: a ring's hole is not counted by either.
func largestShadow(t tester, m *mesh.Mesh) float64 {
	t.Helper()
	largest := 0.0
	for axis := range 3 {
		var along mesh.Point
		along[axis] = 1
		shadow, err := mesh.Silhouette(m, along)
		if err != nil {
			t.Fatal(err)
		}
		largest = max(largest, shadow.Area)
	}
	return largest
}

// crate is a block about its axis with the ends that are moulded, or its half.
func crate(b geometry.Block, low float64) *mesh.Mesh {
	m := meshtest.Moved(meshtest.Box(b.Width, b.Depth/2-low, b.Height), identity(), mesh.Point{-b.Width / 2, low, 0})
	return meshtest.Only(m, func(t mesh.Triangle) bool {
		height := t[0][2] + t[1][2] + t[2][2]
		cut := t[0][1] == 0 && t[1][1] == 0 && t[2][1] == 0 // a half's open back
		return !(cut || height == 0 && !b.Ends.BaseMoulded() || height == 3*b.Height && !b.Ends.TopMoulded())
	})
}

func identity() meshtest.Turn { return meshtest.Turn{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}} }

// polygonal turns a line in so many steps, the corners a given side apart at the base.
func polygonal(sides int, side, top, height float64, ends geometry.Ends) *mesh.Mesh {
	r := side / 2 / math.Sin(math.Pi/float64(sides))
	return meshtest.Revolve(ended([]geometry.ProfilePoint{{Radius: r}, {Radius: r * top, Height: height}}, ends), sides)
}

func flatRows(ends geometry.Ends) []meshRow {
	rows := []meshRow{}
	for _, n := range []int{3, 4, 5, 6, 8, 64} {
		prism := geometry.Prism{Sides: n, SideLength: 0.4, Height: 0.9, Ends: ends}
		pyramid := geometry.Pyramid{Sides: n, SideLength: 0.5, Height: 0.7, Ends: ends}
		rows = append(rows,
			meshRow{prism, func(int) *mesh.Mesh { return polygonal(n, 0.4, 1, 0.9, ends) }},
			meshRow{pyramid, func(int) *mesh.Mesh { return polygonal(n, 0.5, 0, 0.7, ends) }})
	}
	block := geometry.Block{Width: 0.5, Depth: 0.8, Height: 0.3, Ends: ends}
	return append(rows, meshRow{block, func(int) *mesh.Mesh { return crate(block, -0.4) }})
}

// Solids with flat sides are measured exactly. A half of an odd number of sides is cut
// through the middle of one, where no edge of the mesh is.
func TestFlatSolidsAgainstMeshes(t *testing.T) {
	for ends := geometry.EndsBoth; ends <= geometry.EndsNeither; ends++ {
		for _, row := range flatRows(ends) {
			t.Run(fmt.Sprintf("%T%v", row.solid, row.solid), func(t *testing.T) {
				exactly(t, "whole", row.solid.Measure(), row.shape(0))
				half := behind(row.shape(0))
				switch s := row.solid.(type) {
				case geometry.Block:
					half = crate(s, 0)
				case geometry.Prism:
					if s.Sides%2 != 0 {
						return
					}
				case geometry.Pyramid:
					if s.Sides%2 != 0 {
						return
					}
				}
				exactly(t, "half", row.solid.Half(), half)
			})
		}
	}
}

func exactly(t tester, what string, want geometry.Measures, m *mesh.Mesh) {
	t.Helper()
	s, err := mesh.Examine(m)
	if err != nil {
		t.Fatal(err)
	}
	got := want
	got.Surface, got.Rim = s.Area, s.Border
	got.Extent = geometry.Extent{Width: s.High[0] - s.Low[0], Depth: s.High[1] - s.Low[1], Height: s.High[2] - s.Low[2]}
	if flat(s) {
		got.Volume = s.Capped
	}
	if s.Enclosed == mesh.ByEdges { // one can look through an open tube
		got.Silhouette = largestShadow(t, s.Mesh)
	}
	if !sameMeasures(got, want, 1e-12) {
		t.Errorf("%s: the mesh has %+v, the formulas say %+v", what, got, want)
	}
}

// Each kind of solid stands in a table above or has a test of its own below.
func TestEveryKindHasAMesh(t *testing.T) {
	seen := map[reflect.Type]bool{}
	for _, row := range append(roundRows(), flatRows(geometry.EndsBoth)...) {
		seen[reflect.TypeOf(row.solid)] = true
	}
	for _, s := range solids() {
		if !seen[reflect.TypeOf(s)] {
			t.Errorf("%T is in neither table", s)
		}
	}
}

// Signs and letters: a disc and a ring, their front edge rounded, as solids of
// revolution about the line of sight. Region and loss are exact (elementary).
func TestExtrudedOutlinesAgainstMeshes(t *testing.T) {
	const outer, inner, depth, edge = 0.5, 0.2, 0.12, 0.08
	disc := geometry.Region{
		Area: math.Pi * outer * outer, Perimeter: 2 * math.Pi * outer,
		Low: geometry.Point{X: -outer, Y: -outer}, High: geometry.Point{X: outer, Y: outer},
	}
	ring := disc
	ring.Area, ring.Perimeter = disc.Area-math.Pi*inner*inner, disc.Perimeter+2*math.Pi*inner
	for ends := geometry.EndsBoth; ends <= geometry.EndsNeither; ends++ {
		for _, e := range []float64{0, edge, depth} {
			cheese := geometry.ExtrudedOutline{Region: disc, InsetLoss: 2 * math.Pi, Depth: depth, EdgeRadius: e, Ends: ends}
			collar := geometry.ExtrudedOutline{Region: ring, Depth: depth, EdgeRadius: e, Ends: ends}
			agrees(t, fmt.Sprintf("disc, round %g, ends %d:", e, ends), cheese.Measure(),
				approximations(t, func(n int) *mesh.Mesh { return meshtest.Revolve(ended(rounded(outer, -1, depth, e, n), ends), n) }))
			if ends == geometry.EndsNeither {
				continue // two walls that nothing joins: no mesh knows that one is inside out
			}
			agrees(t, fmt.Sprintf("ring, round %g, ends %d:", e, ends), collar.Measure(),
				approximations(t, func(n int) *mesh.Mesh { return collarMesh(outer, inner, depth, e, n, ends) }))
		}
	}
}

// rounded goes up a wall and round its edge, inwards or outwards, in n steps.
func rounded(radius, side, depth, edge float64, n int) []geometry.ProfilePoint {
	points := []geometry.ProfilePoint{{Radius: radius}}
	for k := range n + 1 {
		sin, cos := math.Sincos(math.Pi / 2 * float64(k) / float64(n))
		if p := (geometry.ProfilePoint{Radius: radius + side*edge*(1-cos), Height: depth - edge + edge*sin}); p != points[len(points)-1] {
			points = append(points, p)
		}
	}
	return points
}

// collarMesh is a wall outside, one inside, and the flat faces between them that are
// moulded.
func collarMesh(outer, inner, depth, edge float64, n int, ends geometry.Ends) *mesh.Mesh {
	out, in := rounded(outer, -1, depth, edge, n), rounded(inner, 1, depth, edge, n)
	last := len(out) - 1
	parts := []*mesh.Mesh{meshtest.Revolve(out, n), meshtest.Flipped(meshtest.Revolve(in, n))}
	if ends.TopMoulded() {
		parts = append(parts, meshtest.Revolve([]geometry.ProfilePoint{out[last], in[last]}, n))
	}
	if ends.BaseMoulded() {
		parts = append(parts, meshtest.Revolve([]geometry.ProfilePoint{in[0], out[0]}, n))
	}
	return joined(parts...)
}

// joined is one mesh of several that share the corners which are equal.
func joined(parts ...*mesh.Mesh) *mesh.Mesh {
	b := mesh.NewBuilder(0)
	for _, m := range parts {
		for i := range m.Faces {
			b.Triangle(m.Triangle(i))
		}
	}
	return b.Mesh()
}

// A built-up star, exact: all its sides are flat.
func TestExtrudedStarAgainstMesh(t *testing.T) {
	star := pentagram()
	outline := make([][2]float64, len(star))
	for i, p := range star {
		outline[(i+9)%10] = [2]float64{p.X, p.Y} // from an inner corner, which sees them all
	}
	solid := geometry.ExtrudedOutline{Region: must(geometry.Fill([][]geometry.Point{star}, geometry.NonZero)), Depth: 0.3}
	s, err := mesh.Examine(meshtest.Extrude(outline, 0.3))
	if err != nil {
		t.Fatal(err)
	}
	face := must(geometry.Star(1))
	check(t, []row{
		{"own", "surface", s.Area, solid.Measure().Surface, 1e-12, "its own mesh", "computed"},
		{"own", "volume", s.Volume, solid.Measure().Volume, 1e-12, "its own mesh", "computed"},
		{"own", "face by Star", (s.Area - 0.3*face.Perimeter) / 2, face.Area, 1e-12, "its own mesh", "computed"},
	})
}

// The handbook shapes: curved area without flat faces, volume with them.
func TestShellsAgainstMeshes(t *testing.T) {
	cap0, bowl := must(geometry.SphericalCap(1.2, 0.4)), must(geometry.Paraboloid(1.2, 0.9))
	capsule, slant := must(geometry.Capsule(0.6, 0.8)), must(geometry.ObliqueCylinder(0.6, 0.5, 0.9))
	dome := geometry.Dome{Diameter: 1.2, Height: 0.4}
	for name, c := range map[string]struct {
		shell geometry.Shell
		shape func(n int) *mesh.Mesh
	}{
		"spherical cap":    {cap0, lathe(geometry.EndsNeither, ballCap(dome))},
		"paraboloid":       {bowl, lathe(geometry.EndsNeither, func(s float64) (float64, float64) { return 0.6 * s, 0.9 * s * s })},
		"capsule":          {capsule, lathe(geometry.EndsNeither, pill(0.3, 0.8))},
		"oblique cylinder": {slant, slantCut},
	} {
		got := approximations(t, c.shape)
		tends(t, name+" area", c.shell.Area, each(got, area))
		tends(t, name+" volume", c.shell.Volume, each(got, capped))
	}
	tends(t, "oblique face", must(geometry.ObliqueFace(0.6, 0.5, 0.9)), each(approximations(t, slantCut), func(s *mesh.Survey) float64 {
		return max(s.Loops[0].Area, s.Loops[1].Area)
	}))
	s, err := mesh.Examine(polygonal(4, 0.6, 0.5, 0.7, geometry.EndsBoth))
	if want := must(geometry.PyramidFrustum(0.36, 0.09, 0.7)); err != nil || !same(s.Volume, want, 1e-12) {
		t.Errorf("pyramid frustum: %g, the mesh has %g, %v", want, s.Volume, err)
	}
}

// pill goes round half a ball, up a straight side and round another half, a third of
// the steps to each.
func pill(radius, side float64) func(float64) (float64, float64) {
	return func(s float64) (float64, float64) {
		switch {
		case s < 1.0/3:
			sin, cos := math.Sincos(math.Pi / 2 * 3 * s)
			return radius * sin, -radius * cos
		case s <= 2.0/3:
			return radius, side * (3*s - 1)
		default:
			sin, cos := math.Sincos(math.Pi / 2 * (3*s - 2))
			return radius * cos, side + radius*sin
		}
	}
}

// slantCut is a cylinder 0.6 across whose wall is 0.5 to 0.9 high.
func slantCut(n int) *mesh.Mesh {
	level := func(share float64) []mesh.Point {
		return around(n, func(cos, sin float64) mesh.Point {
			return mesh.Point{0.3 * cos, 0.3 * sin, share * (0.7 + 0.2*cos)}
		})
	}
	return meshtest.Sheet([][]mesh.Point{level(0), level(1)})
}

// A wedge of a ball: its peel, and two half discs that close it.
func TestWedgeAgainstMesh(t *testing.T) {
	const d, angle = 1.4, 0.9
	want := must(geometry.SphericalWedge(d, angle))
	at := func(lift, turn, reach float64) mesh.Point {
		sin, cos := math.Sincos(lift)
		y, x := math.Sincos(turn)
		return mesh.Point{reach * sin * x, reach * sin * y, -reach * cos}
	}
	grid := func(n int, point func(u, v float64) mesh.Point) *mesh.Mesh {
		rows := make([][]mesh.Point, n+1)
		for i := range rows {
			for j := range n + 1 {
				rows[i] = append(rows[i], point(float64(i)/float64(n), float64(j)/float64(n)))
			}
		}
		return meshtest.Sheet(rows)
	}
	peel := func(n int) *mesh.Mesh {
		return grid(n, func(u, v float64) mesh.Point { return at(math.Pi*u, angle*v, d/2) })
	}
	closed := func(n int) *mesh.Mesh {
		first := grid(n, func(u, v float64) mesh.Point { return at(math.Pi*u, 0, d/2*v) })
		second := grid(n, func(u, v float64) mesh.Point { return at(math.Pi*u, angle, d/2*(1-v)) })
		return joined(peel(n), first, second)
	}
	tends(t, "area", want.Area, each(approximations(t, peel), area))
	tends(t, "volume", want.Volume, each(approximations(t, closed), capped))
}

// Superellipsoids with exponents that leave no crease, seen from their middle.
func TestSuperellipsoidsAgainstMeshes(t *testing.T) {
	for _, c := range []struct{ plan, elevation float64 }{{2, 2}, {4, 4}, {2, 4}, {4, 2}} {
		want := must(geometry.SuperellipsoidVolume(1, 1.6, 0.8, c.plan, c.elevation))
		unit := ball(2, 2, 2)
		got := approximations(t, func(n int) *mesh.Mesh {
			m := unit(n)
			for i, p := range m.Vertices {
				level := math.Pow(math.Abs(p[0]), c.plan) + math.Pow(math.Abs(p[1]), c.plan)
				reach := math.Pow(math.Pow(level, c.elevation/c.plan)+math.Pow(math.Abs(p[2]), c.elevation), -1/c.elevation)
				m.Vertices[i] = mesh.Point{0.5 * reach * p[0], 0.8 * reach * p[1], 0.4 * reach * p[2]}
			}
			return m
		})
		tends(t, fmt.Sprintf("exponents %v", c), want, each(got, capped))
	}
}

// Zones laid on the surfaces that they are put on: a spot, bands on a column and on a
// cone, a stripe wound up a column (GEO-39 and GEO-41: developed cylinder), whose two
// ends are not masked.
func TestZonesAgainstMeshes(t *testing.T) {
	spot, band := geometry.Spot{Diameter: 0.3}.Measure(), geometry.Band{Diameter: 0.5, Width: 0.2}.Measure()
	const lean = 0.6 // rad
	sin, cos := math.Sincos(lean)
	stripe := geometry.HelicalStripe{Diameter: 0.5, Pitch: 0.8, Turns: 3.5, Width: 0.1}
	for name, c := range map[string]struct {
		want  geometry.ZoneMeasures
		shape func(n int) *mesh.Mesh
	}{
		"spot":             {spot, lathe(geometry.EndsNeither, straight(0.3, 0, 0))},
		"band on a column": {band, lathe(geometry.EndsNeither, straight(0.5, 0.5, 0.2))},
		"band on a cone":   {band, lathe(geometry.EndsNeither, straight(0.5-0.2*sin, 0.5+0.2*sin, 0.2*cos))},
	} {
		got := approximations(t, c.shape)
		tends(t, name+" area", c.want.Area, each(got, area))
		tends(t, name+" edge", c.want.Edge, each(got, border))
	}
	got := approximations(t, func(n int) *mesh.Mesh { return wound(stripe, n) })
	tends(t, "stripe area", stripe.Measure().Area, each(got, area))
	tends(t, "stripe edge", stripe.Measure().Edge+2*stripe.Width, each(got, border))
}

// wound rolls a stripe drawn flat, square to its edges, round its column.
func wound(s geometry.HelicalStripe, n int) *mesh.Mesh {
	length := s.LengthPerTurn()
	along, up := math.Pi*s.Diameter/length, s.Pitch/length
	rows := make([][]mesh.Point, n/8+1)
	for i := range rows {
		aside := s.Width * float64(i) / float64(len(rows)-1)
		for j := range 4*n + 1 {
			run := s.Turns * length * float64(j) / float64(4*n)
			sin, cos := math.Sincos((run*along - aside*up) / (s.Diameter / 2))
			rows[i] = append(rows[i], mesh.Point{s.Diameter / 2 * cos, s.Diameter / 2 * sin, run*up + aside*along})
		}
	}
	return meshtest.Sheet(rows)
}
