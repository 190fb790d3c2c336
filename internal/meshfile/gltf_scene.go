package meshfile

import (
	"math"
	"strconv"
)

// scene is what of a document is laid.
type scene struct {
	*document
	placed  map[ref]bool // meshes that were tallied, for the warnings
	skipped int          // points and lines
	posed   int          // skinned nodes and morphing primitives
}

// The modes of a primitive (glTF 2.0, 3.7.2.1).
const (
	modeTriangles = 4
	modeStrip     = 5
	modeFan       = 6
)

// census counts the triangles of nodes.
func (s *scene) census() *census {
	c := newCensus(len(s.Nodes))
	c.own = s.own
	c.held = func(n, i int) (int, bool, error) {
		children := s.Nodes[n].Children
		if i >= len(children) {
			return 0, false, nil
		}
		child, err := children[i].in(len(s.Nodes), "node")
		return child, true, err
	}
	return c
}

// own counts the triangles of a node itself.
func (s *scene) own(node int) (int64, error) {
	n := &s.Nodes[node]
	if n.Mesh == 0 {
		return 0, nil
	}
	at, err := n.Mesh.in(len(s.Meshes), "mesh")
	if err != nil {
		return 0, err
	}
	if n.Skin != 0 {
		s.posed++
	}
	total := int64(0)
	for i := range s.Meshes[at].Primitives {
		p := &s.Meshes[at].Primitives[i]
		triangles, err := s.triangles(p)
		if err != nil {
			return 0, err
		}
		s.note(n.Mesh, p)
		total = min(total+triangles, mostTallied)
	}
	s.placed[n.Mesh] = true
	return total, nil
}

// note remembers, once for each mesh, what a primitive has that is not laid.
func (s *scene) note(mesh ref, p *primitive) {
	if s.placed[mesh] {
		return
	}
	if p.mode() < modeTriangles {
		s.skipped++
	}
	if p.Targets {
		s.posed++
	}
}

// triangles counts the triangles of a primitive: none in points and lines.
func (s *scene) triangles(p *primitive) (int64, error) {
	corners := p.Indices
	if corners == 0 {
		corners = p.Attributes.Position
	}
	if corners == 0 || p.mode() < modeTriangles {
		return 0, nil
	}
	at, err := corners.in(len(s.Accessors), "accessor")
	if err != nil {
		return 0, err
	}
	switch n := s.Accessors[at].Count; {
	case p.mode() > modeFan:
		return 0, faultf(Syntax, "a primitive has the mode %d; allowed is 0 to 6", p.mode())
	case p.mode() != modeTriangles:
		return max(n-2, 0), nil
	case n%3 != 0:
		return 0, faultf(CountMismatch, "a primitive has %d corners, which are no whole triangles", n)
	default:
		return max(n/3, 0), nil
	}
}

// roots returns the nodes of the default scene, else those that no other node holds.
// Every node is counted, so that no cycle goes unseen.
func (s *scene) roots(count *census) ([]ref, error) {
	held := make([]bool, len(s.Nodes))
	for i := range s.Nodes {
		if _, err := count.count(i, 1); err != nil {
			return nil, err
		}
		for _, child := range s.Nodes[i].Children {
			held[child.index()] = true // in range, or it would not have been counted
		}
	}
	if s.Scene != 0 {
		return s.listed(s.Scene)
	}
	var roots []ref
	for i := range held {
		if !held[i] {
			roots = append(roots, refTo(i))
		}
	}
	return roots, nil
}

// listed returns the nodes that a scene lists.
func (s *scene) listed(r ref) ([]ref, error) {
	at, err := r.in(len(s.Scenes), "scene")
	if err != nil {
		return nil, err
	}
	for _, n := range s.Scenes[at].Nodes {
		if _, err := n.in(len(s.Nodes), "node"); err != nil {
			return nil, err
		}
	}
	return s.Scenes[at].Nodes, nil
}

// lay puts a node, and what it holds, into an assembly.
func (s *scene) lay(a *assembly, count *census, node int, outer *placement) error {
	if count.tallies[node].triangles == 0 {
		return nil
	}
	n := &s.Nodes[node]
	own, err := n.placement()
	if err != nil {
		return err
	}
	at := own.within(outer)
	if n.Mesh != 0 {
		if err := s.layMesh(a, n.Mesh.index(), &at); err != nil {
			return err
		}
	}
	for _, child := range n.Children {
		if err := s.lay(a, count, child.index(), &at); err != nil {
			return err
		}
	}
	return nil
}

func (s *scene) layMesh(a *assembly, mesh int, at *placement) error {
	for i := range s.Meshes[mesh].Primitives {
		p := &s.Meshes[mesh].Primitives[i]
		if n, _ := s.triangles(p); n == 0 {
			continue
		}
		surface, err := s.surface(p)
		if err != nil {
			return err
		}
		if err := a.lay(surface, at); err != nil {
			return err
		}
	}
	return nil
}

// surface is the mesh of a primitive that has triangles.
func (s *scene) surface(p *primitive) (*part, error) {
	zone, err := s.zone(p.Material)
	if err != nil {
		return nil, err
	}
	position, err := s.positions(p)
	if err != nil {
		return nil, err
	}
	index := func(i int) uint32 { return uint32(i) } //nolint:gosec // counts are below 2^31
	if p.Indices != 0 {
		indices, err := s.indices(p)
		if err != nil {
			return nil, err
		}
		index = indices.index
	}
	triangles, err := s.triangles(p)
	return &part{
		vertices: position.count, triangles: int(triangles),
		vertex:   position.point,
		triangle: func(t int) [3]uint32 { return cornersOf(p.mode(), t, index) },
		zone:     func(int) (string, error) { return zone, nil },
	}, err
}

// cornersOf returns the corners of a triangle of a list, a strip or a fan (glTF 2.0,
// 3.7.2.1: strips (i, i+1+i%2, i+2-i%2), fans (i+1, i+2, 0)).
func cornersOf(mode, t int, index func(int) uint32) [3]uint32 {
	switch mode {
	case modeStrip:
		return [3]uint32{index(t), index(t + 1 + t%2), index(t + 2 - t%2)}
	case modeFan:
		return [3]uint32{index(t + 1), index(t + 2), index(0)}
	}
	return [3]uint32{index(3 * t), index(3*t + 1), index(3*t + 2)}
}

// zone is the name of a material.
func (s *scene) zone(r ref) (string, error) {
	if r == 0 {
		return "", nil
	}
	at, err := r.in(len(s.Materials), "material")
	if err != nil {
		return "", err
	}
	if name := s.Materials[at].Name; name != "" {
		return name, nil
	}
	return "material " + strconv.Itoa(at), nil
}

func (s *scene) report(f *File) {
	if s.skipped > 0 {
		f.warn(PartsSkipped, "%d sets of points or lines are left out", s.skipped)
	}
	if s.posed > 0 {
		f.warn(AtRest, "%d skinned or morphing parts were read as stored, before any pose", s.posed)
	}
}

// placement is where a node stands in the one that holds it: its matrix, else scaled,
// then turned, then moved.
func (n *node) placement() (placement, error) {
	if len(n.Matrix) > 0 {
		return n.matrix()
	}
	at := asDrawn()
	if len(n.Rotation) > 0 {
		turned, err := rotation(n.Rotation)
		if err != nil {
			return at, err
		}
		at = turned
	}
	if err := n.scale(&at); err != nil {
		return at, err
	}
	switch len(n.Translation) {
	case 0:
	case 3:
		copy(at[3][:], n.Translation)
	default:
		return at, wrongLength("translation", len(n.Translation), 3)
	}
	return at, nil
}

func (n *node) scale(at *placement) error {
	switch len(n.Scale) {
	case 0:
		return nil
	case 3:
	default:
		return wrongLength("scale", len(n.Scale), 3)
	}
	for axis, s := range n.Scale {
		for i := range at[axis] {
			at[axis][i] *= s
		}
	}
	return nil
}

func (n *node) matrix() (placement, error) {
	var at placement
	m := n.Matrix
	if len(m) != 16 {
		return at, wrongLength("matrix", len(m), 16)
	}
	if m[3] != 0 || m[7] != 0 || m[11] != 0 || m[15] != 1 {
		return at, faultf(Syntax, "the last row of a node's matrix is %g %g %g %g; allowed is 0 0 0 1", m[3], m[7], m[11], m[15])
	}
	for i := range at {
		copy(at[i][:], m[4*i:])
	}
	return at, nil
}

func wrongLength(field string, got, want int) *Fault {
	return faultf(Syntax, "the %s of a node has %d numbers; it takes %d", field, got, want)
}

// rotation turns by a quaternion x, y, z, w. It is brought to length 1, which decimals
// never quite have. The matrix of a unit quaternion is common practice, no source.
func rotation(q []float64) (placement, error) {
	if len(q) != 4 {
		return placement{}, wrongLength("rotation", len(q), 4)
	}
	length := math.Hypot(math.Hypot(q[0], q[1]), math.Hypot(q[2], q[3]))
	if !(length > 0) || math.IsInf(length, 1) {
		return placement{}, faultf(Syntax, "the rotation of a node has the length %g; allowed is 1", length)
	}
	x, y, z, w := q[0]/length, q[1]/length, q[2]/length, q[3]/length
	twice := func(a, b, c, d float64) float64 { return 2 * (float64(a*b) + float64(c*d)) }
	return placement{
		{1 - twice(y, y, z, z), twice(x, y, z, w), twice(x, z, -y, w)},
		{twice(x, y, -z, w), 1 - twice(x, x, z, z), twice(y, z, x, w)},
		{twice(x, z, y, w), twice(y, z, -x, w), 1 - twice(x, x, y, y)},
	}, nil
}
