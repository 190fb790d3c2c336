package mesh

import "math"

// grounds are what is known of each part while a survey is drawn up, by its number.
type grounds struct {
	*topology
	sums     []Sum
	turned   []int     // faces wound against the first of their part
	open     []bool    // an edge has one face
	loose    []bool    // an edge has three faces, or five ...
	oneSided []bool    // no winding fits
	gaping   []bool    // a loop encloses something
	caps     []float64 // six times the volume under the caps, from the sum's origin
}

func newGrounds(t *topology) *grounds {
	n := t.parts.flatten()
	g := &grounds{
		topology: t, sums: make([]Sum, n), turned: make([]int, n), caps: make([]float64, n),
		open: make([]bool, n), loose: make([]bool, n), oneSided: make([]bool, n), gaping: make([]bool, n),
	}
	for _, half := range t.border {
		g.open[t.parts.of(half/3)] = true
	}
	for _, f := range t.loose {
		g.loose[t.parts.of(f)] = true
	}
	for _, f := range t.parts.oneSided {
		g.oneSided[t.parts.of(f)] = true
	}
	return g
}

// closedByEdges reports whether every edge of a part joins its faces two by two.
func (g *grounds) closedByEdges(part int) bool {
	return !g.open[part] && !g.loose[part] && !g.oneSided[part]
}

// nearlyNone is the share of its area that the vector area of a part may reach that is
// closed by geometry (measured: below 1e-6 for closed ones with cracks, 0.025 for the
// least open).
const nearlyNone = 1e-5

// closed reports whether a part closes, by its edges or by geometry.
func (g *grounds) closed(part int) bool {
	return g.closedByEdges(part) ||
		!g.loose[part] && !g.oneSided[part] && !g.gaping[part] && g.sums[part].Openness() < nearlyNone
}

// wind decides for each part which way its faces go: as most of them do.
func (s *Survey) wind(g *grounds) {
	turned := g.majority()
	if turned > 0 {
		s.warn(Winding, "%d faces were wound against the others of their part: turned over", turned)
	}
	g.sum()
}

// sum adds up the faces of each part as they are to be wound. Faces that follow one
// another are mostly of one part, and are added together.
func (g *grounds) sum() {
	var batch [batchFaces]Triangle
	n, part := 0, uint32(0)
	for f := range g.mesh.Faces {
		if of := g.parts.of(uint32(f)); of != part || n == len(batch) { //nolint:gosec // readers bound the file
			g.sums[part].Add(batch[:n]...)
			n, part = 0, of
		}
		g.wind(f, &batch[n])
		n++
	}
	g.sums[part].Add(batch[:n]...)
}

// majority leaves the bit set of the faces to turn over, and returns how many they are.
func (g *grounds) majority() int {
	faces := make([]int, len(g.sums))
	for f := range g.mesh.Faces {
		part := g.parts.parent[f] >> 1
		faces[part]++
		g.turned[part] += int(g.parts.parent[f] & 1)
	}
	over := make([]uint32, len(g.sums))
	turned := 0
	for part, n := range g.turned {
		switch {
		case g.oneSided[part]:
		case 2*n > faces[part]:
			over[part] = 1
			turned += faces[part] - n
		default:
			turned += n
		}
	}
	for f, p := range g.parts.parent {
		g.parts.parent[f] ^= over[p>>1]
		if g.oneSided[p>>1] {
			g.parts.parent[f] &^= 1
		}
	}
	return turned
}

// wind takes out a face as it is to be wound.
func (g *grounds) wind(face int, t *Triangle) {
	f := &g.mesh.Faces[face]
	second, third := f[1], f[2]
	if g.parts.parent[face]&1 == 1 {
		second, third = third, second
	}
	t[0], t[1], t[2] = g.mesh.Vertices[f[0]], g.mesh.Vertices[second], g.mesh.Vertices[third]
}

// borders measures the open edges and the loops that they make.
func (s *Survey) borders(g *grounds) {
	for _, half := range g.border {
		s.Border += g.mesh.edgeLength(half)
	}
	g.trace(func(part uint32, points []Point, closed bool) {
		l := newLoop(points, closed)
		s.Loops = append(s.Loops, l)
		g.caps[part] += l.capSix(g.sums[part].origin)
		if !l.collapses() {
			s.Rim += l.Length
			g.gaping[part] = true
		}
	})
	longestFirst(s.Loops)
	s.Components = make([]Component, len(g.sums))
	for part := range s.Components {
		c := &s.Components[part]
		c.Faces, c.Area, c.Closed = g.sums[part].Faces, g.sums[part].Area, g.closed(part)
		if c.Closed {
			c.Volume = g.sums[part].six / 6
		}
	}
}

func (m *Mesh) edgeLength(half uint32) float64 {
	from, to := m.ends(half)
	return m.Vertices[to].less(m.Vertices[from]).length()
}

// nest turns closed parts outward, finds which lie within which, and turns voids inward.
func (s *Survey) nest(g *grounds) {
	g.turn(func(part uint32) bool { return s.Components[part].Volume < 0 })
	nested, ok := g.nesting(s.Components)
	if !ok {
		s.warn(Nesting, "%d parts are too many to tell which lie within which: all taken as outer skins", len(s.Components))
	}
	if nested.crossing > 0 {
		s.warn(Crossing, "%d parts cross each other: where they overlap, the skin and the volume of each count", nested.crossing)
	}
	voids, closed, wrong := 0, 0, 0
	for part := range s.Components {
		c := &s.Components[part]
		c.Depth = nested.depth[part]
		voids += c.Depth % 2
		if c.Closed {
			closed++
			if (c.Volume < 0) != (c.Depth%2 == 1) {
				wrong++
			}
		}
	}
	if voids > 0 {
		g.turn(func(part uint32) bool { return s.Components[part].Depth%2 == 1 })
	}
	s.warnTurned(closed, wrong)
}

func (s *Survey) warnTurned(closed, wrong int) {
	switch {
	case wrong > 0 && wrong == closed:
		s.warn(InsideOut, "the file is inside out: every closed part was turned over")
	case wrong > 0:
		s.warn(Winding, "%d of %d closed parts were wound inside out: turned over", wrong, closed)
	}
}

// turn turns over the faces that were marked, and those of the parts named, which those
// marked in such a part are not.
func (g *grounds) turn(also func(part uint32) bool) {
	for f, p := range g.parts.parent {
		if (p&1 == 1) != also(p>>1) {
			g.mesh.own()
			c := &g.mesh.Faces[f]
			c[1], c[2] = c[2], c[1]
		}
		g.parts.parent[f] = p &^ 1
	}
}

// total adds up the parts.
func (s *Survey) total(g *grounds) {
	s.Low, s.High = g.sums[0].Low, g.sums[0].High
	var vector Point
	for part := range s.Components {
		c, sum := &s.Components[part], &g.sums[part]
		s.Area += c.Area
		outward := 1.0
		if (c.Volume < 0) != (c.Depth%2 == 1) {
			outward = -1
		}
		vector = vector.along(outward, sum.Vector)
		for i := range s.Low {
			s.Low[i], s.High[i] = min(s.Low[i], sum.Low[i]), max(s.High[i], sum.High[i])
		}
		s.volumes(g, part)
	}
	s.VectorArea = vector.length()
	s.enclosed(g)
}

// volumes adds one part's volume and area to those that they belong to.
func (s *Survey) volumes(g *grounds, part int) {
	c := &s.Components[part]
	v := math.Abs(c.Volume)
	if c.Depth == 0 {
		s.Skin += c.Area
		s.Envelope += v
	}
	if c.Depth%2 == 1 {
		v = -v
	}
	s.Volume += v
	s.Capped += v
	if !c.Closed && !g.loose[part] && !g.oneSided[part] {
		s.Capped += math.Abs(g.sums[part].six+g.caps[part]) / 6
	}
}

// enclosed decides on what grounds the whole has a volume, and says where it has none.
func (s *Survey) enclosed(g *grounds) {
	open, geometric, oneSided := 0, 0, 0
	for part, c := range s.Components {
		switch {
		case g.oneSided[part]:
			oneSided++
			open++
		case !c.Closed:
			open++
		case !g.closedByEdges(part):
			geometric++
		}
	}
	switch {
	case open > 0:
		s.warnOf(NotClosed, s.Rim, "parts that are open: %d of %d, with a rim of %s in all", open, len(s.Components))
	case geometric > 0:
		s.Enclosed = ByGeometry
		s.warnOf(ClosedByGeometry, s.Border, "nothing is open, though some edges do not join: %s of them in all")
	default:
		s.Enclosed = ByEdges
	}
	if oneSided > 0 {
		s.warn(OneSided, "%d of %d parts have neither inside nor outside, as a Moebius band has", oneSided, len(s.Components))
	}
}
