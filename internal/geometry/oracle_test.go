package geometry

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// The oracle measures a solid in a second way that shares nothing with the
// formulas: it covers the solid with flat triangles and adds them up. Its error
// falls as the square of the facets' size, so two sizes give a much better third
// value (Richardson extrapolation), and their ratio shows that it is the right
// limit that is approached.

type vec [3]float64

func (a vec) minus(b vec) vec { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func (a vec) cross(b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

func (a vec) dot(b vec) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

func (a vec) norm() float64 { return math.Sqrt(a.dot(a)) }

type triangle struct {
	corner  [3]int
	moulded bool
}

type facets struct {
	points    []vec
	index     map[[3]int64]int
	triangles []triangle
}

func (m *facets) weld(p vec) int {
	var key [3]int64
	for i := range p {
		key[i] = int64(math.Round(p[i] * 1e9))
	}
	if at, ok := m.index[key]; ok {
		return at
	}
	m.index[key] = len(m.points)
	m.points = append(m.points, p)
	return len(m.points) - 1
}

func (m *facets) add(moulded bool, a, b, c vec) {
	t := [3]int{m.weld(a), m.weld(b), m.weld(c)}
	if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
		m.triangles = append(m.triangles, triangle{t, moulded})
	}
}

// stack covers a pile of rings of points, counter-clockwise seen from above; the
// ends are closed by fans, which are moulded or not.
func stack(rings [][]vec, ends Ends) *facets {
	m := walls(rings)
	m.fan(rings[0], ends.BaseMoulded(), true)
	m.fan(rings[len(rings)-1], ends.TopMoulded(), false)
	return m
}

func walls(rings [][]vec) *facets {
	m := &facets{index: map[[3]int64]int{}}
	for k := 1; k < len(rings); k++ {
		low, high := rings[k-1], rings[k]
		for i := range low {
			j := (i + 1) % len(low)
			m.add(true, low[i], low[j], high[j])
			m.add(true, low[i], high[j], high[i])
		}
	}
	return m
}

func (m *facets) fan(ring []vec, moulded, down bool) {
	var centre vec
	for _, p := range ring {
		for i := range centre {
			centre[i] += p[i] / float64(len(ring))
		}
	}
	for i := range ring {
		j := (i + 1) % len(ring)
		if down {
			m.add(moulded, centre, ring[j], ring[i])
		} else {
			m.add(moulded, centre, ring[i], ring[j])
		}
	}
}

// behind is the half at y > 0; the facets are laid so that none crosses y = 0.
func (m *facets) behind() *facets {
	half := &facets{points: m.points}
	for _, t := range m.triangles {
		if m.points[t.corner[0]][1]+m.points[t.corner[1]][1]+m.points[t.corner[2]][1] > 1e-9 {
			half.triangles = append(half.triangles, t)
		}
	}
	return half
}

func (m *facets) area() (sum float64) {
	for _, t := range m.triangles {
		a, b, c := m.points[t.corner[0]], m.points[t.corner[1]], m.points[t.corner[2]]
		if t.moulded {
			sum += b.minus(a).cross(c.minus(a)).norm() / 2
		}
	}
	return sum
}

func (m *facets) volume() (sum float64) {
	for _, t := range m.triangles {
		a, b, c := m.points[t.corner[0]], m.points[t.corner[1]], m.points[t.corner[2]]
		sum += a.dot(b.cross(c)) / 6
	}
	return sum
}

// border is the length of the edges that belong to one triangle only.
func (m *facets) border(mouldedOnly bool) (sum float64) {
	uses := map[[2]int]int{}
	for _, t := range m.triangles {
		for i := range t.corner {
			a, b := t.corner[i], t.corner[(i+1)%3]
			if t.moulded || !mouldedOnly {
				uses[[2]int{min(a, b), max(a, b)}]++
			}
		}
	}
	lengths := []float64{}
	for edge, n := range uses {
		if n == 1 {
			lengths = append(lengths, m.points[edge[0]].minus(m.points[edge[1]]).norm())
		}
	}
	slices.Sort(lengths)
	for _, l := range lengths {
		sum += l
	}
	return sum
}

func (m *facets) box() (low, high vec) {
	low, high = m.points[0], m.points[0]
	for _, t := range m.triangles {
		for _, c := range t.corner {
			for i, x := range m.points[c] {
				low[i], high[i] = min(low[i], x), max(high[i], x)
			}
		}
	}
	return low, high
}

// shadow is the area seen along one axis: scan lines across the union of all the
// triangles' projections.
func (m *facets) shadow(along int) (sum float64) {
	const lines = 400
	u, v := (along+1)%3, (along+2)%3
	low, high := m.box()
	step := (high[v] - low[v]) / lines
	cuts := make([][][2]float64, lines)
	for _, t := range m.triangles {
		p := [3]vec{m.points[t.corner[0]], m.points[t.corner[1]], m.points[t.corner[2]]}
		first := (min(p[0][v], p[1][v], p[2][v])-low[v])/step - 1
		last := (max(p[0][v], p[1][v], p[2][v])-low[v])/step + 1
		for i := max(0, int(first)); i < lines && float64(i) < last; i++ {
			if cut, ok := cutTriangle(p, u, v, low[v]+(float64(i)+0.5)*step); ok {
				cuts[i] = append(cuts[i], cut)
			}
		}
	}
	for _, line := range cuts {
		sum += unionLength(line) * step
	}
	return sum
}

func cutTriangle(p [3]vec, u, v int, at float64) (cut [2]float64, ok bool) {
	cut = [2]float64{math.Inf(1), math.Inf(-1)}
	for i := range p {
		a, b := p[i], p[(i+1)%3]
		if (a[v] < at) != (b[v] < at) {
			x := a[u] + (b[u]-a[u])*(at-a[v])/(b[v]-a[v])
			cut = [2]float64{min(cut[0], x), max(cut[1], x)}
		}
	}
	return cut, cut[0] <= cut[1]
}

func unionLength(spans [][2]float64) (sum float64) {
	slices.SortFunc(spans, func(a, b [2]float64) int {
		if a[0] < b[0] {
			return -1
		}
		return 1
	})
	end := math.Inf(-1)
	for _, s := range spans {
		if s[1] > end {
			sum += s[1] - max(end, s[0])
			end = s[1]
		}
	}
	return sum
}

// turned lays rings of n points at the radii and heights of a profile, the second
// axis being stretched by depth.
func turned(n int, depth float64, profile func(share float64) (radius, height float64)) [][]vec {
	rings := make([][]vec, n+1)
	for k := range rings {
		r, z := profile(float64(k) / float64(n))
		for i := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			if i == 0 || i == n/2 {
				sin = 0
			}
			rings[k] = append(rings[k], vec{r * cos, r * depth * sin, z})
		}
	}
	return rings
}

func egg(width, depth, height float64) func(n int) *facets {
	return func(n int) *facets {
		return stack(turned(n, depth/width, func(s float64) (float64, float64) {
			sin, cos := math.Sincos(math.Pi * s)
			return width / 2 * math.Abs(sin), height / 2 * (1 - cos)
		}), EndsBoth)
	}
}

func taper(base, top, height float64, ends Ends) func(n int) *facets {
	return func(n int) *facets {
		return stack(turned(n, 1, func(s float64) (float64, float64) {
			return (base + (top-base)*s) / 2, height * s
		}), ends)
	}
}

func halfEgg(d Dome) func(n int) *facets {
	return func(n int) *facets {
		return stack(turned(n, 1, func(s float64) (float64, float64) {
			return d.Diameter / 2 * math.Cos(math.Pi/2*s), d.Height * math.Sin(math.Pi/2*s)
		}), d.Ends)
	}
}

// ballCap finds the sphere by its own route: the centre is as far from the top as
// from the edge.
func ballCap(d Dome) func(n int) *facets {
	c := d.Diameter / 2
	centre := (d.Height*d.Height - c*c) / (2 * d.Height)
	r := d.Height - centre
	edge := math.Atan2(-centre, c)
	return func(n int) *facets {
		return stack(turned(n, 1, func(s float64) (float64, float64) {
			sin, cos := math.Sincos(edge + (math.Pi/2-edge)*s)
			return r * cos, centre + r*sin
		}), d.Ends)
	}
}

// corners gives a regular polygon with a vertex on x; if the sides are odd in
// number the middle of the opposite side is a point too, so that no facet crosses
// the cut plane.
func corners(sides int, side, z float64) []vec {
	r := side / 2 / math.Sin(math.Pi/float64(sides))
	ring := []vec{}
	for i := range sides {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(sides))
		if i == 0 || 2*i == sides {
			sin = 0
		}
		ring = append(ring, vec{r * cos, r * sin, z})
		if 2*i+1 == sides {
			ring = append(ring, vec{r * math.Cos(math.Pi/float64(sides)) * -1, 0, z})
		}
	}
	return ring
}

func pillar(sides int, base, top, height float64, ends Ends) func(n int) *facets {
	return func(int) *facets {
		return stack([][]vec{corners(sides, base, 0), corners(sides, top, height)}, ends)
	}
}

func crate(b Block) func(n int) *facets {
	ring := func(z float64) []vec {
		x, y := b.Width/2, b.Depth/2
		return []vec{{x, 0, z}, {x, y, z}, {-x, y, z}, {-x, 0, z}, {-x, -y, z}, {x, -y, z}}
	}
	return func(int) *facets { return stack([][]vec{ring(0), ring(b.Height)}, b.Ends) }
}

func hose(t BentTube) func(n int) *facets {
	return func(n int) *facets {
		rings := make([][]vec, n+1)
		for k := range rings {
			sin, cos := math.Sincos(math.Pi/2 - t.Angle/2 + t.Angle*float64(k)/float64(n))
			for i := range n {
				s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
				if i == 0 || i == n/2 {
					s = 0
				}
				reach := t.BendRadius + t.TubeDiameter/2*c
				rings[k] = append(rings[k], vec{reach * cos, t.TubeDiameter / 2 * s, reach * sin})
			}
		}
		if t.Angle == 2*math.Pi {
			return walls(rings) // the last ring of points is the first
		}
		return stack(rings, t.Ends)
	}
}

type oracleCase struct {
	solid Solid
	body  body
	facet func(n int) *facets
}

func oracleCases() []oracleCase {
	cases := []oracleCase{
		{Sphere{1.3}, Sphere{1.3}.body(), egg(1.3, 1.3, 1.3)},
		{Spheroid{2, 0.7}, Spheroid{2, 0.7}.body(), egg(2, 2, 0.7)},
		{Spheroid{0.6, 2.1}, Spheroid{0.6, 2.1}.body(), egg(0.6, 0.6, 2.1)},
		{Ellipsoid{1, 2, 3}, Ellipsoid{1, 2, 3}.body(), egg(1, 2, 3)},
		{Ellipsoid{3, 1, 2}, Ellipsoid{3, 1, 2}.body(), egg(3, 1, 2)},
		{Ellipsoid{1.5, 2, 0.8}, Ellipsoid{1.5, 2, 0.8}.body(), egg(1.5, 2, 0.8)},
	}
	for _, ends := range []Ends{EndsBoth, EndsBase, EndsTop, EndsNeither} {
		cases = append(cases, endedCases(ends)...)
	}
	for _, r := range []Ring{{1.2, 0.4}, {1, 0.9}} {
		cases = append(cases, oracleCase{r, r.tube().body(), hose(r.tube())})
	}
	return cases
}

func endedCases(ends Ends) (cases []oracleCase) {
	for _, d := range []Dome{
		{1.4, 0.3, Cap, ends},
		{1, 0.5, Cap, ends},
		{1, 1.3, Cap, ends},
		{1.4, 0.3, HalfSpheroid, ends},
		{0.5, 1.1, HalfSpheroid, ends},
	} {
		facet := ballCap(d)
		if d.Profile == HalfSpheroid {
			facet = halfEgg(d)
		}
		cases = append(cases, oracleCase{d, d.body(), facet})
	}
	for _, s := range []Frustum{{0.6, 0.4, 1.7, ends}, {0.5, 2, 0.3, ends}, {0, 1, 0.8, ends}} {
		cases = append(cases, oracleCase{s, s.body(), taper(s.BaseDiameter, s.TopDiameter, s.Height, ends)})
	}
	cylinder, cone, block := Cylinder{0.4, 1.1, ends}, Cone{0.9, 1.2, ends}, Block{0.5, 0.8, 0.3, ends}
	cases = append(cases,
		oracleCase{cylinder, cylinder.frustum().body(), taper(0.4, 0.4, 1.1, ends)},
		oracleCase{cone, cone.frustum().body(), taper(0.9, 0, 1.2, ends)},
		oracleCase{block, block.body(), crate(block)})
	for _, n := range []int{3, 4, 5, 6, 7, 8, 9, 64} {
		prism, pyramid := Prism{n, 0.4, 0.9, ends}, Pyramid{n, 0.5, 0.7, ends}
		cases = append(cases,
			oracleCase{prism, prism.body(), pillar(n, 0.4, 0.4, 0.9, ends)},
			oracleCase{pyramid, pyramid.body(), pillar(n, 0.5, 0, 0.7, ends)})
	}
	for _, t := range []BentTube{
		{0.5, 0.2, math.Pi / 2, ends}, // quarter
		{0.5, 0.8, 0.1, ends},         // hardly bent: seen largest from the side
		{0.6, 0.5, math.Pi, ends},
		{0.6, 0.1, 210 * math.Pi / 180, ends},
		{0.4, 0.3, 5.5, ends},
	} {
		cases = append(cases, oracleCase{t, t.body(), hose(t)})
	}
	return cases
}

// converge compares a measure with its two approximations: exact within 1e-9 where
// the facets are exact, else nearing as the square and extrapolating to 1e-6.
func converge(t *testing.T, what string, want, coarse, fine float64) {
	t.Helper()
	scale := max(math.Abs(want), 1e-3)
	before, after := (coarse-want)/scale, (fine-want)/scale
	if math.Abs(before) < 1e-9 && math.Abs(after) < 1e-9 {
		return
	}
	if limit := (4*fine - coarse) / 3; math.Abs(limit-want) > 1e-6*scale {
		t.Errorf("%s: formula %.9g, facets tend to %.9g", what, want, limit)
	}
	if ratio := before / after; math.Abs(before) > 1e-6 && (ratio < 3.8 || ratio > 4.2) {
		t.Errorf("%s: halving the facets divides the error by %.3f, not 4", what, ratio)
	}
}

func TestSolidsAgainstFacets(t *testing.T) {
	for _, c := range oracleCases() {
		t.Run(fmt.Sprintf("%T%v", c.solid, c.solid), func(t *testing.T) {
			if faults := c.solid.Faults(); len(faults) > 0 {
				t.Fatal(faults)
			}
			coarse, fine := c.facet(80), c.facet(160)
			whole, half := c.solid.Measure(), c.solid.Half()
			converge(t, "surface", whole.Surface, coarse.area(), fine.area())
			converge(t, "volume", whole.Volume, coarse.volume(), fine.volume())
			converge(t, "rim", whole.Rim, coarse.border(true), fine.border(true))
			coarse, fine = coarse.behind(), fine.behind()
			converge(t, "half surface", half.Surface, coarse.area(), fine.area())
			converge(t, "half volume", half.Volume, coarse.volume(), fine.volume())
			converge(t, "half rim", half.Rim, coarse.border(true), fine.border(true))
			converge(t, "outline", whole.Outline, coarse.border(false), fine.border(false))
			converge(t, "half outline", half.Outline, coarse.border(false), fine.border(false))
		})
	}
}

func near(t *testing.T, what string, want, got, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*max(math.Abs(want), 1e-12)) {
		t.Errorf("%s: formula %.9g, facets %.9g", what, want, got)
	}
}

func sameExtent(t *testing.T, what string, want Extent, m *facets) {
	t.Helper()
	low, high := m.box()
	size := high.minus(low)
	near(t, what+" width", want.Width, size[0], 2e-3)
	near(t, what+" depth", want.Depth, size[1], 2e-3)
	near(t, what+" height", want.Height, size[2], 2e-3)
}

func TestElevationsAndExtentAgainstFacets(t *testing.T) {
	for _, c := range oracleCases() {
		if c.body.base.open || c.body.top.open {
			continue // looks the same closed
		}
		t.Run(fmt.Sprintf("%T%v", c.solid, c.solid), func(t *testing.T) {
			m := c.facet(128)
			half := m.behind()
			front, side, plan := m.shadow(1), m.shadow(0), m.shadow(2)
			near(t, "front", c.body.front, front, 2e-3)
			near(t, "side", c.body.side, side, 2e-3)
			near(t, "plan", c.body.plan, plan, 2e-3)
			near(t, "silhouette", c.solid.Measure().Silhouette, max(front, side, plan), 2e-3)
			near(t, "half silhouette", c.solid.Half().Silhouette,
				max(half.shadow(1), half.shadow(0), half.shadow(2)), 2e-3)
			sameExtent(t, "whole", c.solid.Measure().Extent, m)
			sameExtent(t, "half", c.solid.Half().Extent, half)
		})
	}
}

// TestOracle checks the oracle itself against shapes that are known exactly.
func TestOracle(t *testing.T) {
	ring := func(z float64) []vec { return []vec{{10, -7, z}, {11, -7, z}, {11, -6, z}, {10, -6, z}} }
	cube := stack([][]vec{ring(3), ring(4)}, EndsBoth)
	// GEO-57, divergence theorem (Zhang & Chen 2001): a unit cube moved by (10,-7,3).
	if got := cube.volume(); math.Abs(got-1) > 1e-12 {
		t.Errorf("GEO-57: unit cube's volume %.15g", got)
	}
	near(t, "cube's area", 6, cube.area(), 1e-12)
	near(t, "cube's border", 0, cube.border(true), 1e-12)
	near(t, "cube's shadow", 1, cube.shadow(0), 1e-12)
	// GEO-59, exact: 5(3+sqrt5)/12 for a regular icosahedron of edge 1.
	near(t, "GEO-59: icosahedron's volume", 2.18169499062, icosahedron().volume(), 1e-9)
}

// icosahedron of edge 1: a pentagonal antiprism with two pyramids on it.
func icosahedron() *facets {
	r := 0.5 / math.Sin(math.Pi/5)
	rise := math.Sqrt(1 - r*r)
	waist := math.Sqrt(1 - math.Pow(2*r*math.Sin(math.Pi/10), 2))
	ring := func(z, turn float64) (points []vec) {
		for i := range 5 {
			sin, cos := math.Sincos(2*math.Pi*float64(i)/5 + turn)
			points = append(points, vec{r * cos, r * sin, z})
		}
		return points
	}
	bottom, top := slices.Repeat([]vec{{0, 0, -rise}}, 5), slices.Repeat([]vec{{0, 0, waist + rise}}, 5)
	return stack([][]vec{bottom, ring(0, 0), ring(waist, -math.Pi/5), top}, EndsBoth)
}
