package mesh

import (
	"cmp"
	"math"
	"slices"
)

// A half-edge is a side of a face: 3*face + corner runs from that corner to the next.

// topology is how the faces of a mesh hang together. It takes twelve bytes a face for
// the half-edges in the order of their edges, and four for the parts.
type topology struct {
	mesh  *Mesh
	first []uint32 // by vertex: where in order its edges to later vertices begin
	order []uint32 // half-edges, edge by edge
	// edges counts the edges, branching those of more than two faces.
	edges, branching int
	border           []uint32 // half-edges of edges that have one face
	loose            []uint32 // faces at edges of three, five ... faces: nothing pairs them
	twins            []uint32 // faces that have the corners of an earlier one
	parts            parts
}

// closed reports whether every edge joins its faces two by two.
func (t *topology) closed() bool { return len(t.border) == 0 && len(t.loose) == 0 }

// ends returns where a half-edge comes from and goes to.
func (m *Mesh) ends(half uint32) (from, to uint32) {
	f := &m.Faces[half/3]
	switch half % 3 {
	case 0:
		return f[0], f[1]
	case 1:
		return f[1], f[2]
	}
	return f[2], f[0]
}

// apex returns the corner of its face that a half-edge does not touch.
func (m *Mesh) apex(half uint32) uint32 { return m.Faces[half/3][(half+2)%3] }

// forward reports whether a half-edge runs to the later vertex.
func (m *Mesh) forward(half uint32) bool {
	from, to := m.ends(half)
	return from < to
}

// join finds the edges of a mesh whose faces have three different corners, and the
// parts that hang together through them.
func join(m *Mesh) *topology {
	t := &topology{mesh: m, parts: newParts(len(m.Faces))}
	t.bucket()
	var keys []uint64
	var branches [][]uint32
	for v := range m.Vertices {
		b := t.order[t.first[v]:t.first[v+1]]
		keys = t.arrange(b, keys[:0])
		for lo := 0; lo < len(b); {
			hi := lo + 1
			for hi < len(b) && keys[hi]>>32 == keys[lo]>>32 {
				hi++
			}
			if g := b[lo:hi]; t.edge(g) {
				branches = append(branches, g)
			}
			lo = hi
		}
	}
	if len(t.twins) == 0 {
		t.branch(branches)
	}
	return t
}

// bucket sorts the half-edges by the smaller of their vertices, by counting.
func (t *topology) bucket() {
	m := t.mesh
	t.first = make([]uint32, len(m.Vertices)+1)
	t.order = make([]uint32, 3*len(m.Faces))
	for _, f := range m.Faces {
		t.first[min(f[0], f[1])]++
		t.first[min(f[1], f[2])]++
		t.first[min(f[2], f[0])]++
	}
	var sum uint32
	for v, n := range t.first {
		sum += n
		t.first[v] = sum
	}
	for i := len(m.Faces) - 1; i >= 0; i-- {
		f := &m.Faces[i]
		t.put(f[2], f[0], uint32(3*i+2)) //nolint:gosec // readers bound the file
		t.put(f[1], f[2], uint32(3*i+1)) //nolint:gosec // readers bound the file
		t.put(f[0], f[1], uint32(3*i))   //nolint:gosec // readers bound the file
	}
}

func (t *topology) put(a, b, half uint32) {
	v := min(a, b)
	t.first[v]--
	t.order[t.first[v]] = half
}

// arrange sorts the half-edges of one vertex by the other vertex and then by face, and
// returns the keys by which they now stand: the other vertex in the upper half.
func (t *topology) arrange(b []uint32, keys []uint64) []uint64 {
	for _, half := range b {
		from, to := t.mesh.ends(half)
		keys = append(keys, uint64(max(from, to))<<32|uint64(half))
	}
	if len(keys) <= 12 {
		insertion(keys)
	} else {
		slices.Sort(keys)
	}
	for i, k := range keys {
		b[i] = uint32(k) //nolint:gosec // the lower half is meant
	}
	return keys
}

// insertion sorts a handful; most vertices have three edges to later ones.
func insertion(keys []uint64) {
	for i := 1; i < len(keys); i++ {
		k, j := keys[i], i
		for ; j > 0 && keys[j-1] > k; j-- {
			keys[j] = keys[j-1]
		}
		keys[j] = k
	}
}

// edge takes in one edge, given by its half-edges, and reports whether its faces are to
// be paired later.
func (t *topology) edge(g []uint32) bool {
	t.edges++
	switch {
	case len(g) == 1:
		t.border = append(t.border, g[0])
		return false
	case len(g) == 2:
		if t.mesh.apex(g[0]) == t.mesh.apex(g[1]) {
			t.twins = append(t.twins, g[1]/3)
		}
		t.pair(g[0], g[1])
		return false
	}
	t.branching++
	t.findTwins(g)
	if len(g)%2 == 1 {
		for _, half := range g {
			t.loose = append(t.loose, half/3)
		}
		return false
	}
	return true
}

// pair joins two faces through the edge that they share.
func (t *topology) pair(g, h uint32) {
	same := t.mesh.forward(g) == t.mesh.forward(h) // wound against each other
	t.parts.join(g/3, h/3, same)
}

// findTwins notes the faces at an edge that have the same third corner as an earlier one.
func (t *topology) findTwins(g []uint32) {
	keys := make([]uint64, len(g))
	for i, half := range g {
		keys[i] = uint64(t.mesh.apex(half))<<32 | uint64(half)
	}
	slices.Sort(keys)
	for i := 1; i < len(keys); i++ {
		if keys[i]>>32 == keys[i-1]>>32 {
			t.twins = append(t.twins, uint32(keys[i])/3) //nolint:gosec // the lower half is meant
		}
	}
}

// branch pairs the faces at the edges that four, six ... faces share. Two faces that hang
// together in another way are a pair: they are of one body. The others are paired by the
// angle at which they stand around the edge.
func (t *topology) branch(groups [][]uint32) {
	if len(groups) == 0 {
		return
	}
	rest := make([][]uint32, len(groups))
	for i, g := range groups {
		rest[i] = t.pairWithinParts(g)
	}
	var s Sum
	s.AddMesh(t.mesh)
	for _, g := range rest {
		t.pairByAngle(g, s.six < 0)
	}
}

// pairWithinParts pairs the faces of parts that have just two at an edge, and returns
// the half-edges of the others. It joins nothing that was not joined before.
func (t *topology) pairWithinParts(g []uint32) []uint32 {
	keys := make([]uint64, len(g))
	for i, half := range g {
		root, _ := t.parts.find(half / 3)
		keys[i] = uint64(root)<<32 | uint64(half)
	}
	slices.Sort(keys)
	var rest []uint32
	for lo, hi := 0, 0; lo < len(keys); lo = hi {
		for hi = lo + 1; hi < len(keys) && keys[hi]>>32 == keys[lo]>>32; {
			hi++
		}
		if hi-lo == 2 {
			t.pair(uint32(keys[lo]), uint32(keys[lo+1])) //nolint:gosec // the lower half is meant
			continue
		}
		for _, k := range keys[lo:hi] {
			rest = append(rest, uint32(k)) //nolint:gosec // the lower half is meant
		}
	}
	return rest
}

// spoke is a face at an edge: how far around it stands, and which way it is wound.
type spoke struct {
	angle   float64
	half    uint32
	forward bool
}

// pairByAngle pairs neighbours around an edge so that material lies between them: a face
// wound backward along the edge with the next one forward, seen along it. In a file that
// is inside out it is the other way about, and where the faces are wound at random the
// narrower wedges count as material.
func (t *topology) pairByAngle(g []uint32, insideOut bool) {
	if len(g) == 0 {
		return
	}
	s := t.spokes(g)
	from := 0
	if !alternating(s) {
		from = narrower(s)
	} else if s[0].forward != insideOut {
		from = 1
	}
	for i := from; i < len(s)+from; i += 2 {
		t.pair(s[i%len(s)].half, s[(i+1)%len(s)].half)
	}
}

// spokes sorts faces by the angle around their edge.
func (t *topology) spokes(g []uint32) []spoke {
	m := t.mesh
	from, to := m.ends(g[0])
	base := m.Vertices[min(from, to)]
	axis := m.Vertices[max(from, to)].less(base)
	across := m.Vertices[m.apex(g[0])].less(base)
	third := axis.cross(across)
	second := third.cross(axis)
	s := make([]spoke, len(g))
	for i, half := range g {
		d := m.Vertices[m.apex(half)].less(base)
		y, x := d.dot(third)*axis.length(), d.dot(second)
		s[i] = spoke{math.Atan2(y, x), half, m.forward(half)}
	}
	slices.SortFunc(s, func(a, b spoke) int {
		return cmp.Or(cmp.Compare(a.angle, b.angle), cmp.Compare(a.half, b.half))
	})
	return s
}

// alternating reports whether the faces around an edge are wound in turn.
func alternating(s []spoke) bool {
	for i := range s {
		if s[i].forward == s[(i+1)%len(s)].forward {
			return false
		}
	}
	return true
}

// narrower returns 0 where the wedges from the spokes 0, 2 ... on are together narrower
// than those from 1, 3 ... on, otherwise 1.
func narrower(s []spoke) int {
	var even float64
	for i := 0; i < len(s); i += 2 {
		even += s[i+1].angle - s[i].angle
	}
	if even <= math.Pi {
		return 0
	}
	return 1
}

// parts are the faces that hang together: a forest in which each face points at another
// and knows whether it is wound as that one is. Bits 1 to 31 hold the face pointed at,
// bit 0 whether the two are wound against each other.
type parts struct {
	parent   []uint32
	oneSided []uint32 // faces at which a part met itself wound the other way
}

func newParts(faces int) parts {
	p := parts{parent: make([]uint32, faces)}
	for f := range p.parent {
		p.parent[f] = uint32(f) << 1 //nolint:gosec // readers bound the file
	}
	return p
}

// find returns the first face of a part and 1 where the face asked for is wound against it.
func (p *parts) find(face uint32) (root, turned uint32) {
	for {
		up := p.parent[face]
		next := up >> 1
		if next == face {
			return face, turned
		}
		over := p.parent[next] ^ up&1 // halve the way for the next who asks
		p.parent[face] = over
		turned ^= over & 1
		face = over >> 1
	}
}

// join makes two faces one part; turned says that they are wound against each other.
func (p *parts) join(f, g uint32, turned bool) {
	a, turnA := p.find(f)
	b, turnB := p.find(g)
	turn := turnA ^ turnB
	if turned {
		turn ^= 1
	}
	switch {
	case a < b:
		p.parent[b] = a<<1 | turn
	case b < a:
		p.parent[a] = b<<1 | turn
	case turn == 1:
		p.oneSided = append(p.oneSided, f)
	}
}

// flatten numbers the parts by their first faces and returns how many there are. From
// then on parent holds the number of each face's part instead, in bits 1 to 31.
func (p *parts) flatten() int {
	var n uint32
	for f := range p.parent {
		up := p.parent[f]
		if up>>1 == uint32(f) { //nolint:gosec // readers bound the file
			p.parent[f] = n << 1
			n++
			continue
		}
		p.parent[f] = p.parent[up>>1] ^ up&1 // an earlier face, numbered by now
	}
	return int(n)
}

// of returns the number of a face's part, once flattened.
func (p *parts) of(face uint32) uint32 { return p.parent[face] >> 1 }

// turned reports whether a face is to be turned over, once flattened.
func (p *parts) turned(face uint32) bool { return p.parent[face]&1 == 1 }
