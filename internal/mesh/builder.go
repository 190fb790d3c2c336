package mesh

import (
	"hash/maphash"
	"math"
	"math/bits"
)

// Builder joins triangles into a Mesh as they are read: corners whose coordinates
// are equal become one vertex.
//
// It finds a vertex by open addressing: eight bytes a slot, which hold the vertex and
// enough of its hash to grow the table without a look at the vertices. A second, small
// table holds the vertices seen last, for most corners of a file were seen a moment ago.
type Builder struct {
	mesh  Mesh
	slots []slot // a power of two of them
	limit int    // vertices that the slots take before they are doubled
	last  []slot // vertices seen last, by the upper bits of their hash
	key   uint64 // of the hash; by chance, as maps have one, so that no file can make its points collide
	warm  uint32 // keeps the early reads alive
}

// slot holds a vertex; next is its index plus one, so that zero is free.
type slot struct{ tag, next uint32 }

// A block is as many corners as are hashed before their slots are read, so that the
// processor fetches many slots at once.
const (
	block      = 64 // triangles
	fewestSlot = 64
	lastBits   = 13
)

// NewBuilder returns a builder with room for so many faces of a surface that hangs
// together: count them by the bytes that are there, not by what a header claims. More
// faces find room too.
func NewBuilder(faces int) *Builder {
	// Euler: a closed surface has half as many vertices as faces, an open one more by half
	// its border.
	vertices := faces/2 + faces/16 + 64
	b := &Builder{mesh: Mesh{
		Faces:    make([][3]uint32, 0, faces),
		Vertices: make([]Point, 0, vertices),
	}, last: make([]slot, 1<<lastBits), key: maphash.Bytes(maphash.MakeSeed(), nil)}
	b.resize(slotsFor(vertices))
	return b
}

// slotsFor is how many slots so many vertices want: a power of two, a quarter of it free.
func slotsFor(vertices int) int {
	return max(fewestSlot, 1<<bits.Len(uint(vertices+vertices/3))) //nolint:gosec // not below zero
}

// Vertex returns the index of the vertex at a point, new or seen before.
func (b *Builder) Vertex(p Point) uint32 {
	return b.vertex(placed(&p), b.tag(&p))
}

// Face adds a face between three vertices that Vertex returned.
func (b *Builder) Face(i, j, k uint32) {
	b.mesh.Faces = append(b.mesh.Faces, [3]uint32{i, j, k})
}

// Triangle adds a face by its corners.
func (b *Builder) Triangle(t Triangle) {
	b.Face(b.Vertex(t[0]), b.Vertex(t[1]), b.Vertex(t[2]))
}

// Triangles adds faces by their corners, as Triangle does for each, but faster.
func (b *Builder) Triangles(batch []Triangle) {
	for len(batch) > 0 {
		n := min(block, len(batch))
		b.block(batch[:n])
		batch = batch[n:]
	}
}

func (b *Builder) block(batch []Triangle) {
	var tags, cold [3 * block]uint32
	n := 0
	for i := range batch {
		for c := range batch[i] {
			tag := b.tag(&batch[i][c])
			tags[3*i+c] = tag
			if b.last[tag>>(32-lastBits)].tag != tag {
				cold[n] = tag
				n++
			}
		}
	}
	b.touch(cold[:n])
	for i := range batch {
		var f [3]uint32
		for c := range f {
			f[c] = b.vertex(placed(&batch[i][c]), tags[3*i+c])
		}
		b.mesh.Faces = append(b.mesh.Faces, f)
	}
}

// touch reads the slots that are about to be searched, in a loop so short that many reads
// are under way at once.
func (b *Builder) touch(tags []uint32) {
	mask, warm := uint32(len(b.slots)-1), b.warm //nolint:gosec // at most 1<<31 slots
	for _, tag := range tags {
		warm ^= b.slots[tag&mask].next
	}
	b.warm = warm
}

// Zone says that the faces from here on are of a zone.
func (b *Builder) Zone(name string) {
	b.endRun()
	runs := b.mesh.Runs
	if n := len(runs); n == 0 || runs[n-1].Zone != name {
		b.mesh.Runs = append(runs, Run{Zone: name, First: len(b.mesh.Faces)})
	}
}

// endRun takes out the last run where no face came of it.
func (b *Builder) endRun() {
	if n := len(b.mesh.Runs); n > 0 && b.mesh.Runs[n-1].First == len(b.mesh.Faces) {
		b.mesh.Runs = b.mesh.Runs[:n-1]
	}
}

// Mesh returns what was built. The builder is not used afterwards.
func (b *Builder) Mesh() *Mesh {
	b.endRun()
	b.slots, b.last = nil, nil
	return &b.mesh
}

// vertex returns the vertex at p, whose hash is tag.
func (b *Builder) vertex(p Point, tag uint32) uint32 {
	last := &b.last[tag>>(32-lastBits)]
	if s := *last; s.tag == tag && s.next != 0 && b.mesh.Vertices[s.next-1] == p {
		return s.next - 1
	}
	v := b.search(p, tag)
	*last = slot{tag: tag, next: v + 1}
	return v
}

// search finds the vertex at p among all, and adds it where it is new.
func (b *Builder) search(p Point, tag uint32) uint32 {
	mask := uint32(len(b.slots) - 1) //nolint:gosec // at most 1<<31 slots
	for i := tag & mask; ; i = (i + 1) & mask {
		s := b.slots[i]
		if s.next == 0 {
			return b.add(p, i, tag)
		}
		if s.tag == tag && b.mesh.Vertices[s.next-1] == p {
			return s.next - 1
		}
	}
}

// add puts a new vertex into the free slot at i.
func (b *Builder) add(p Point, i, tag uint32) uint32 {
	if len(b.mesh.Vertices) == cap(b.mesh.Vertices) {
		b.widen()
	}
	b.mesh.Vertices = append(b.mesh.Vertices, p)
	n := len(b.mesh.Vertices)
	b.slots[i] = slot{tag: tag, next: uint32(n)} //nolint:gosec // readers bound the file
	if n >= b.limit {
		b.resize(max(2*len(b.slots), slotsFor(cap(b.mesh.Vertices))))
	}
	return uint32(n - 1) //nolint:gosec // readers bound the file
}

// widen makes room for the vertices of a surface that does not hang together: as many as
// there can be, at once, since to double the room again and again takes more in all.
func (b *Builder) widen() {
	most := max(2*len(b.mesh.Vertices), 3*cap(b.mesh.Faces))
	b.mesh.Vertices = append(make([]Point, 0, most), b.mesh.Vertices...)
}

// resize moves the vertices to a table of so many slots.
func (b *Builder) resize(slots int) {
	old := b.slots
	b.slots, b.limit = make([]slot, slots), slots/4*3
	mask := uint32(slots - 1) //nolint:gosec // at most 1<<31 slots
	for _, s := range old {
		if s.next == 0 {
			continue
		}
		i := s.tag & mask
		for b.slots[i].next != 0 {
			i = (i + 1) & mask
		}
		b.slots[i] = s
	}
}

// placed returns a point without minus zeros, which are where zero is.
func placed(p *Point) Point { return Point{p[0] + 0, p[1] + 0, p[2] + 0} }

// tag returns the hash of a point, the same for minus zero as for zero.
func (b *Builder) tag(p *Point) uint32 {
	high, low := bits.Mul64(math.Float64bits(p[0]+0)^b.key, odd)
	high, low = bits.Mul64(math.Float64bits(p[1]+0)^high^low, odd)
	high, low = bits.Mul64(math.Float64bits(p[2]+0)^high^low, odd)
	high, low = bits.Mul64(high^low^b.key, odd)
	return uint32((high ^ low) >> 32) //nolint:gosec // a half of it
}

// odd is the golden ratio's share of 1<<64, as multiplicative hashing has it.
const odd = 0x9E3779B97F4A7C15
