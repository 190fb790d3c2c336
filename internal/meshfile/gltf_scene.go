package meshfile

import (
	"math"
	"strconv"
)

// scene is what of a document is laid.
type scene struct {
	*document
	placed  map[ref]bool // meshes that were tallied, for the warnings
	skipped int          // points, lines, and what has no positions
	posed   int          // skinned nodes and morphing primitives
	copied  int          // nodes that stand for many copies
	holder  []ref        // of each node, the node that holds it
	laid    laid
}

// laid is the primitive that is being laid. The same one serves all in turn, for a small
// file may ask for a great many copies.
type laid struct {
	mode              int
	position, indices column
	indexed           bool
	zone              string
	part              part
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
func (s *scene) own(node int) (tally, error) {
	n := &s.Nodes[node]
	own := tally{copies: 1}
	if n.Mesh == 0 {
		return own, nil
	}
	at, err := n.Mesh.in(len(s.Meshes), "mesh")
	if err != nil {
		return own, err
	}
	if n.Skin != 0 {
		s.posed++
	}
	if n.Extensions.Instances {
		s.copied++
	}
	for i := range s.Meshes[at].Primitives {
		p := &s.Meshes[at].Primitives[i]
		triangles, err := s.triangles(p)
		if err != nil {
			return own, err
		}
		s.note(n.Mesh, p)
		own.triangles = min(own.triangles+triangles, mostTallied)
		own.copies++
	}
	s.placed[n.Mesh] = true
	return own, nil
}

// note remembers, once for each mesh, what a primitive has that is not laid.
func (s *scene) note(mesh ref, p *primitive) {
	if s.placed[mesh] {
		return
	}
	if p.mode() < modeTriangles || p.Attributes.Position == 0 {
		s.skipped++
	}
	if p.Targets {
		s.posed++
	}
}

// triangles counts the triangles of a primitive: none in points, in lines, and in what
// has no positions, which is not shown (glTF 2.0, mesh.primitive.attributes).
func (s *scene) triangles(p *primitive) (int64, error) {
	corners := p.Indices
	if corners == 0 {
		corners = p.Attributes.Position
	}
	if p.Attributes.Position == 0 || p.mode() < modeTriangles {
		return 0, nil
	}
	at, err := corners.in(len(s.Accessors), "accessor")
	if err != nil {
		return 0, err
	}
	switch n := int64(s.Accessors[at].Count); {
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

// roots returns the nodes of the scene, else those that no other node holds. Every node
// is counted, so that no cycle goes unseen.
func (s *scene) roots(count *census) ([]ref, error) {
	s.holder = make([]ref, len(s.Nodes))
	for i := range s.Nodes {
		if _, err := count.count(i, 1); err != nil {
			return nil, err
		}
		for _, child := range s.Nodes[i].Children {
			s.holder[child.index()] = refTo(i) // in range, or it would not have been counted
		}
	}
	if shown := s.shown(); shown != 0 {
		return s.listed(shown)
	}
	var roots []ref
	for i := range s.holder {
		if s.holder[i] == 0 {
			roots = append(roots, refTo(i))
		}
	}
	return roots, nil
}

// shown is the default scene. Where the file names none the choice is the reader's
// (glTF 2.0, 3.5.1): the first, which a viewer shows; never what no scene shows.
func (s *scene) shown() ref {
	if s.Scene == 0 && len(s.Scenes) > 0 {
		return refTo(0)
	}
	return s.Scene
}

// listed returns the nodes that a scene lists: roots, each once (glTF 2.0, 3.5.1), for
// another would be laid and paid for twice.
func (s *scene) listed(r ref) ([]ref, error) {
	listed := make([]bool, len(s.Nodes))
	at, err := r.in(len(s.Scenes), "scene")
	if err != nil {
		return nil, err
	}
	for _, n := range s.Scenes[at].Nodes {
		i, err := n.in(len(s.Nodes), "node")
		if err != nil {
			return nil, err
		}
		if listed[i] || s.holder[i] != 0 {
			return nil, faultf(Syntax, "scene %d lists node %d, which is in it already or no root", at, i)
		}
		listed[i] = true
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
		stands := at
		if n.Skin != 0 {
			if stands, err = s.rest(n.Skin); err != nil {
				return err
			}
		}
		if err := s.layMesh(a, n.Mesh.index(), &stands); err != nil {
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

// rest is where the joints of a skin put the mesh that hangs on them, wherever its node
// stands (glTF 2.0, 3.8.2: "only the joint transforms are applied to the skinned mesh;
// the transform of the skinned mesh node must be ignored"). At rest every joint puts it
// in the same place, so that the first tells.
func (s *scene) rest(r ref) (placement, error) {
	at, err := r.in(len(s.Skins), "skin")
	if err != nil {
		return placement{}, err
	}
	k := &s.Skins[at]
	if k.known {
		return k.at, nil
	}
	if len(k.Joints) == 0 {
		return placement{}, faultf(Syntax, "skin %d has no joint", at)
	}
	joint, err := s.stands(k.Joints[0])
	if err != nil {
		return placement{}, err
	}
	bind, err := s.bind(k.Inverse)
	k.at, k.known = bind.within(&joint), true
	return k.at, err
}

// stands is where a node stands in the scene.
func (s *scene) stands(r ref) (placement, error) {
	at := asDrawn()
	for r != 0 { // to a root: no node holds itself, and none lies deeper than a census goes
		i, err := r.in(len(s.Nodes), "node")
		if err != nil {
			return at, err
		}
		own, err := s.Nodes[i].placement()
		if err != nil {
			return at, err
		}
		at, r = at.within(&own), s.holder[i]
	}
	return at, nil
}

// bind is the first of the matrices by which a mesh is brought to its joints.
func (s *scene) bind(r ref) (placement, error) {
	if r == 0 {
		return asDrawn(), nil
	}
	at, err := r.in(len(s.Accessors), "accessor")
	if err != nil {
		return placement{}, err
	}
	a := &s.Accessors[at]
	if a.Type != mat4Kind || a.ComponentType != float32Type || a.Count < 1 {
		return placement{}, faultf(Syntax, "accessor %d brings a mesh to its joints; it must be of type MAT4 and component type %d", at, float32Type)
	}
	c, err := s.column(a, mostNumbers)
	if err != nil {
		return placement{}, err
	}
	n := node{Matrix: c.numbers(0, mostNumbers)}
	return n.matrix()
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
	l := &s.laid
	var err error
	if l.zone, err = s.zone(p.Material); err != nil {
		return nil, err
	}
	if l.position, err = s.positions(p); err != nil {
		return nil, err
	}
	l.mode, l.indexed, l.part.vertices = p.mode(), p.Indices != 0, l.position.count
	if l.indexed {
		if l.indices, err = s.indices(p); err != nil {
			return nil, err
		}
		l.part.vertices = min(l.part.vertices, l.indices.restart())
	}
	triangles, err := s.triangles(p)
	l.part.triangles = int(triangles)
	if l.part.vertex == nil {
		l.part.vertex = func(i uint32) [3]float64 { return l.position.point(i) }
		l.part.triangle = l.triangle
		l.part.zone = func(int) (string, error) { return l.zone, nil }
	}
	return &l.part, err
}

// triangle returns the corners of a triangle.
func (l *laid) triangle(t int) [3]uint32 {
	var corners [3]uint32
	for i, place := range places(l.mode, t) {
		corners[i] = uint32(place) //nolint:gosec // counts are below 2^31
		if l.indexed {
			corners[i] = l.indices.index(place)
		}
	}
	return corners
}

// places says where the corners of a triangle of a list, a strip or a fan stand (glTF
// 2.0, 3.7.2.1: strips (i, i+1+i%2, i+2-i%2), fans (i+1, i+2, 0)).
func places(mode, t int) [3]int {
	switch mode {
	case modeStrip:
		return [3]int{t, t + 1 + t%2, t + 2 - t%2}
	case modeFan:
		return [3]int{t + 1, t + 2, 0}
	}
	return [3]int{3 * t, 3*t + 1, 3*t + 2}
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
	m := &s.Materials[at]
	if m.Name == "" {
		m.Name = "material " + strconv.Itoa(at)
	}
	return m.Name, nil
}

func (s *scene) report(f *File) {
	if s.skipped > 0 {
		f.warn(PartsSkipped, "%d sets of points or lines are left out", s.skipped)
	}
	if n := len(s.Scenes); s.Scene == 0 && n > 1 {
		f.warn(PartsSkipped, "the file says of none of its %d scenes that it is the one to show: the first is read", n)
	}
	if s.copied > 0 {
		f.warn(PartsSkipped, "%d nodes stand for many copies (EXT_mesh_gpu_instancing), of which one each is read", s.copied)
	}
	if s.posed > 0 {
		f.warn(AtRest, "%d skinned or morphing parts were read at rest, before any pose", s.posed)
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
