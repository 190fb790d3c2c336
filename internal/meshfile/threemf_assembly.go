package meshfile

import "github.com/mouldwright/mouldwright/internal/mesh"

// placement carries the points of a part to where the part stands. Its rows are where
// the three axes and the origin go: the twelve numbers of a 3MF transform in their
// order (3MF core specification, transform="m00 m01 m02 m10 ..."), and the columns of a
// glTF matrix, which is stored by columns (glTF 2.0, node.matrix).
type placement [4][3]float64

// asDrawn is the placement that moves nothing.
func asDrawn() placement {
	return placement{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {0, 0, 0}}
}

// direction carries a difference of two points: turned and scaled, not moved. The
// products are rounded one by one, so that every machine gets the same corners.
func (m *placement) direction(v [3]float64) [3]float64 {
	var out [3]float64
	for i := range out {
		out[i] = float64(v[0]*m[0][i]) + float64(v[1]*m[1][i]) + float64(v[2]*m[2][i])
	}
	return out
}

func (m *placement) point(p [3]float64) [3]float64 {
	out := m.direction(p)
	for i := range out {
		out[i] += m[3][i]
	}
	return out
}

// within is the placement of a part that m places in an assembly that outer places.
func (m *placement) within(outer *placement) placement {
	return placement{
		outer.direction(m[0]), outer.direction(m[1]), outer.direction(m[2]), outer.point(m[3]),
	}
}

// determinant is the volume of the unit cube once placed: below zero where the part is
// mirrored, zero where it is squashed flat.
func (m *placement) determinant() float64 {
	minor := func(i, j int) float64 {
		return float64(m[1][i]*m[2][j]) - float64(m[1][j]*m[2][i])
	}
	return float64(m[0][0]*minor(1, 2)) + float64(m[0][1]*minor(2, 0)) + float64(m[0][2]*minor(0, 1))
}

// part is a surface in its own coordinates, read where it lies in the file.
type part struct {
	vertices, triangles int
	vertex              func(i uint32) [3]float64
	triangle            func(t int) [3]uint32
	zone                func(t int) (string, error)
}

// assembly lays copies of parts into one mesh. It goes over them twice: to count what
// will be needed, and to lay it into tables of just that size.
type assembly struct {
	soup     *soup
	unit     float64  // m
	seen     []uint32 // by vertex of the part being laid: 1 + the vertex it became
	flat     int      // copies that were squashed flat
	counting bool
	vertices int64 // counted
	runs     int64 // counted
	zone     string
	zoned    bool // a zone was met
}

// assemble has every part laid into a file, by a walk that calls lay for each.
func (f *File) assemble(s *soup, total tally, walk func(*assembly) error) error {
	a := &assembly{soup: s, unit: f.Unit, counting: true}
	if err := walk(a); err != nil {
		return err
	}
	if err := s.hold(a.vertices); err != nil {
		return err
	}
	if err := s.holdFaces(total.triangles, a.runs, 0); err != nil {
		return err
	}
	a.counting, a.zoned, a.flat = false, false, 0
	if err := walk(a); err != nil {
		return err
	}
	a.finish(f)
	return nil
}

// lay adds a copy of a part. A mirrored copy is wound the other way round, so that its
// outside stays outside (3MF core specification: a negative determinant must not change
// the sign of the volume; glTF 2.0, 3.7.4: it reverses the winding).
func (a *assembly) lay(p *part, at *placement) error {
	det := at.determinant()
	if det == 0 {
		a.flat++
	}
	if err := a.forget(p); err != nil {
		return err
	}
	for t := range p.triangles {
		corners := p.triangle(t)
		if det < 0 {
			corners[1], corners[2] = corners[2], corners[1]
		}
		if err := a.face(p, t, corners, at); err != nil {
			return err
		}
	}
	return nil
}

// forget makes room to remember which vertices of a part were laid already. A part
// with far more vertices than its triangles can use is laid corner by corner instead,
// for its vertices may be announced and not there.
func (a *assembly) forget(p *part) error {
	n := p.vertices
	if n > 3*p.triangles {
		n = 0
	}
	if n > cap(a.seen) {
		if err := a.soup.take(int64(n), 4, "vertices"); err != nil {
			return err
		}
		a.seen = make([]uint32, n)
	}
	a.seen = a.seen[:n]
	clear(a.seen)
	return nil
}

func (a *assembly) face(p *part, t int, corners [3]uint32, at *placement) error {
	zone, err := p.zone(t)
	if err != nil {
		return err
	}
	for i, c := range corners {
		if corners[i], err = a.corner(p, c, at); err != nil {
			return err
		}
	}
	a.turnTo(zone)
	if !a.counting {
		a.soup.triangle(corners[0], corners[1], corners[2])
	}
	return nil
}

// turnTo says that the faces from here on are of a zone.
func (a *assembly) turnTo(zone string) {
	switch {
	case a.zoned && a.zone == zone:
	case a.counting:
		a.runs++
	default:
		a.soup.runs = append(a.soup.runs, mesh.Run{Zone: zone, First: len(a.soup.faces)})
	}
	a.zone, a.zoned = zone, true
}

func (a *assembly) corner(p *part, i uint32, at *placement) (uint32, error) {
	if int64(i) >= int64(p.vertices) {
		return 0, faultf(IndexRange, "a triangle uses vertex %d of %d; allowed is 0 to %d", i, p.vertices, p.vertices-1)
	}
	known := int64(i) < int64(len(a.seen))
	if known && a.seen[i] != 0 {
		return a.seen[i] - 1, nil
	}
	v, err := a.place(p, i, at)
	if known {
		a.seen[i] = v + 1
	}
	return v, err
}

// place adds a vertex, or counts it.
func (a *assembly) place(p *part, i uint32, at *placement) (uint32, error) {
	if a.counting {
		a.vertices++
		return 0, nil
	}
	c := at.point(p.vertex(i))
	q, ok := placed(c[0], c[1], c[2], a.unit)
	if !ok {
		return 0, misplaced(c[0], c[1], c[2], a.unit)
	}
	a.soup.points = append(a.soup.points, q)
	return tableSize(len(a.soup.points) - 1), nil
}

// finish puts what was laid into the file.
func (a *assembly) finish(f *File) {
	f.Mesh = a.soup.mesh()
	if r := f.Mesh.Runs; len(r) == 0 || len(r) == 1 && r[0].Zone == "" {
		f.Mesh.Runs = nil // the file names no zone
	}
	if a.flat > 0 {
		f.warn(Degenerate, "%d parts are squashed flat by their transform and enclose nothing", a.flat)
	}
}

// tally is what a part amounts to with everything that it holds. Its copies are what a
// walk over it looks at, empty parts with the others: a walk over a thousand copies of
// a part that holds a thousand empty ones looks at a million.
type tally struct {
	triangles, copies int64
	height            int
}

// The bounds of an assembly. 1<<50 stands for every number above it.
const (
	mostTallied   = 1 << 50
	deepestNested = 1000
)

func (t *tally) add(held tally) {
	t.triangles = min(t.triangles+held.triangles, mostTallied)
	t.copies = min(t.copies+held.copies, mostTallied)
	t.height = max(t.height, held.height+1)
}

// census tallies parts that hold parts before any copy is made: a file of a thousand
// bytes can ask for 4e12 triangles.
type census struct {
	own     func(part int) (tally, error)                       // what a part itself amounts to
	held    func(part, n int) (child int, more bool, err error) // the n-th part that it holds
	tallies []tally
	state   []byte // 0 not met, 1 being counted, 2 counted
}

func newCensus(parts int) *census {
	return &census{tallies: make([]tally, parts), state: make([]byte, parts)}
}

func (c *census) count(part, depth int) (tally, error) {
	switch {
	case c.state[part] == 1:
		return tally{}, faultf(Cycle, "part %d holds itself", part)
	case c.state[part] == 2:
		return c.tallies[part], nil
	case depth > deepestNested:
		return tally{}, tooDeep()
	}
	c.state[part] = 1
	sum, err := c.sum(part, depth)
	c.state[part], c.tallies[part] = 2, sum
	return sum, err
}

func (c *census) sum(part, depth int) (tally, error) {
	sum, err := c.own(part)
	for n := 0; err == nil; n++ {
		child, more, e := c.held(part, n)
		if e != nil || !more {
			err = e
			break
		}
		var t tally
		t, err = c.count(child, depth+1)
		t.copies = max(t.copies, 1) // it is looked at, though there be nothing to walk
		sum.add(t)
	}
	if sum.triangles == 0 {
		sum.copies = 0 // never walked
	}
	if err == nil && sum.height > deepestNested {
		err = tooDeep()
	}
	return sum, err
}

func tooDeep() *Fault {
	return faultf(TooLarge, "parts are nested more than %d deep", deepestNested)
}

// allow says whether what was tallied may be read from n bytes.
func (t tally) allow(n int64, o Options) error {
	if most := o.mostTriangles(n); t.triangles > int64(most) {
		return faultf(TooLarge, "the file asks for %d triangles with all copies; allowed are %d", t.triangles, most)
	}
	if most := (Options{}).mostTriangles(n); t.copies > int64(most) {
		return faultf(TooLarge, "the file asks for %d copies of parts; allowed are %d", t.copies, most)
	}
	return nil
}
