package meshfile

import (
	"math"
	"math/bits"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

const (
	// mostCorners is how many corners one face of a file may have; mostEared how many
	// where it is not convex, since cutting it up takes their square.
	mostCorners = 8_192
	mostEared   = 1_024
	// The bytes that a vertex, a triangle and a change of zone take while a file is
	// read: 24 for the point, 4 for its number and 5 for its place in the table.
	vertexBytes   = 33
	triangleBytes = 12
	runBytes      = 24
	// spareBytes is kept free of the allowance for what is counted nowhere.
	spareBytes = 512 << 10
)

// soup gathers the vertices and faces of a file that names its vertices by number,
// within an allowance of memory: four times the file and 1 MiB. What would take more
// is no model but a trap.
type soup struct {
	points []mesh.Point
	// ids marks the vertices that faces use, until join makes them their numbers in
	// the mesh.
	ids    []uint32
	faces  [][3]uint32
	runs   []mesh.Run
	names  strings.Builder
	ring   ring
	memory int64 // bytes that may still be taken
	steps  int64 // steps that may still be spent on polygons that are not convex
	most   int   // triangles that may be held
}

func newSoup(size int, o Options) *soup {
	return &soup{
		memory: 4*int64(size) + 1<<20 - spareBytes,
		steps:  20*int64(size) + 10_000_000,
		most:   o.mostTriangles(int64(size)),
	}
}

// take takes n things of some bytes from the allowance.
func (s *soup) take(n, bytes int64, what string) error {
	if n > s.memory/bytes {
		return faultf(TooLarge, "%d %s need more memory than a file of this size is allowed", n, what)
	}
	s.memory -= n * bytes
	return nil
}

// hold makes room for so many vertices.
func (s *soup) hold(vertices int64) error {
	if err := s.take(vertices, vertexBytes, "vertices"); err != nil {
		return err
	}
	s.points = make([]mesh.Point, 0, vertices)
	s.ids = make([]uint32, vertices)
	return nil
}

// holdFaces makes room for so many triangles, and changes of zone whose names have so
// many bytes in all.
func (s *soup) holdFaces(triangles, runs, names int64) error {
	if triangles > int64(s.most) {
		return tooMany(triangles, s.most)
	}
	if err := s.take(triangles, triangleBytes, "triangles"); err != nil {
		return err
	}
	if err := s.take(runs*runBytes+names, 1, "bytes of zone names"); err != nil {
		return err
	}
	s.faces = make([][3]uint32, 0, triangles)
	s.runs = make([]mesh.Run, 0, runs)
	s.names.Grow(int(names))
	return nil
}

// zone says that the faces from here on are of a zone.
func (s *soup) zone(name []byte) {
	s.endRun()
	if n := len(s.runs); n == 0 || s.runs[n-1].Zone != string(name) {
		s.runs = append(s.runs, mesh.Run{Zone: s.text(name), First: len(s.faces)})
	}
}

// endRun takes out the last run where no face came of it.
func (s *soup) endRun() {
	if n := len(s.runs); n > 0 && s.runs[n-1].First == len(s.faces) {
		s.runs = s.runs[:n-1]
	}
}

// text is a name as valid text. All names stand in one buffer, so that a thousand
// short ones take no more than their bytes.
func (s *soup) text(name []byte) string {
	start := s.names.Len()
	for len(name) > 0 {
		r, size := utf8.DecodeRune(name)
		if r == utf8.RuneError && size == 1 {
			r = '?'
		}
		s.names.WriteRune(r)
		name = name[size:]
	}
	return s.names.String()[start:]
}

func (s *soup) triangle(i, j, k uint32) {
	s.ids[i], s.ids[j], s.ids[k] = 1, 1, 1
	s.faces = append(s.faces, [3]uint32{i, j, k})
}

// face adds a face by the numbers of its corners, of which there are at least three.
func (s *soup) face(corners []uint32) error {
	if len(corners) > 3 && !s.fans(corners) {
		return s.ears(corners)
	}
	for i := 2; i < len(corners); i++ {
		s.triangle(corners[0], corners[i-1], corners[i])
	}
	return nil
}

// fans says whether a fan from the first corner cuts a polygon up: whether it is
// convex, without corners on a straight line. A polygon without area is fanned too.
func (s *soup) fans(corners []uint32) bool {
	n := len(corners)
	first := s.points[corners[0]]
	var normal mesh.Point // Newell's: twice the vector area
	for i := 2; i < n; i++ {
		c := cross(sub(s.points[corners[i-1]], first), sub(s.points[corners[i]], first))
		normal = mesh.Point{normal[0] + c[0], normal[1] + c[1], normal[2] + c[2]}
	}
	s.ring.normal = normal
	least := 1e-12 * dot(normal, normal)
	if least == 0 {
		return true
	}
	a, b := s.points[corners[n-2]], s.points[corners[n-1]]
	for i, corner := range corners {
		c := s.points[corner]
		turn := dot(cross(sub(b, a), sub(c, b)), normal)
		blade := dot(cross(sub(b, first), sub(c, first)), normal)
		if turn <= least || (i > 1 && blade <= least) {
			return false
		}
		a, b = b, c
	}
	return true
}

func sub(a, b mesh.Point) mesh.Point { return mesh.Point{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

// dot and cross round each product, so that every machine cuts a polygon up alike.
func dot(a, b mesh.Point) float64 {
	return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2])
}

func cross(a, b mesh.Point) mesh.Point {
	return mesh.Point{
		float64(a[1]*b[2]) - float64(a[2]*b[1]),
		float64(a[2]*b[0]) - float64(a[0]*b[2]),
		float64(a[0]*b[1]) - float64(a[1]*b[0]),
	}
}

// ring is a polygon laid flat along its normal's longest axis, anticlockwise, with
// links between the corners that are left.
type ring struct {
	normal     mesh.Point
	x, y       []float64
	prev, next []int
}

// lay lays the polygon flat.
func (r *ring) lay(points []mesh.Point, corners []uint32) {
	axis := 0
	for i := 1; i < 3; i++ {
		if math.Abs(r.normal[i]) > math.Abs(r.normal[axis]) {
			axis = i
		}
	}
	u, v := (axis+1)%3, (axis+2)%3
	if r.normal[axis] < 0 {
		u, v = v, u
	}
	n := len(corners)
	r.x, r.y, r.prev, r.next = r.x[:0], r.y[:0], r.prev[:0], r.next[:0]
	for i, c := range corners {
		r.x, r.y = append(r.x, points[c][u]), append(r.y, points[c][v])
		r.prev, r.next = append(r.prev, (i+n-1)%n), append(r.next, (i+1)%n)
	}
}

// turn is twice the area of a triangle of corners, positive anticlockwise.
func (r *ring) turn(i, j, k int) float64 {
	return float64((r.x[j]-r.x[i])*(r.y[k]-r.y[i])) - float64((r.y[j]-r.y[i])*(r.x[k]-r.x[i]))
}

// ear says whether a corner can be cut off: whether it is convex and no other corner
// lies in or on what is cut. left is how many corners there are.
func (r *ring) ear(i int) bool {
	a, c := r.prev[i], r.next[i]
	if r.turn(a, i, c) <= 0 {
		return false
	}
	for j := r.next[c]; j != a; j = r.next[j] {
		if r.turn(a, i, j) >= 0 && r.turn(i, c, j) >= 0 && r.turn(c, a, j) >= 0 &&
			!r.same(j, a) && !r.same(j, i) && !r.same(j, c) {
			return false
		}
	}
	return true
}

// same says whether two corners lie at one place, as where a hole is joined to the
// outline.
func (r *ring) same(i, j int) bool { return r.x[i] == r.x[j] && r.y[i] == r.y[j] }

// ears cuts up a polygon that is not convex by cutting off ears. Where none is left,
// as in one that crosses itself, the rest is fanned.
func (s *soup) ears(corners []uint32) error {
	if len(corners) > mostEared {
		return faultf(TooLarge, "a face that is not convex has %d corners; allowed are %d", len(corners), mostEared)
	}
	r := &s.ring
	r.lay(s.points, corners)
	i, misses := 0, 0
	for left := len(corners); left > 2; {
		if s.steps -= int64(left); s.steps < 0 {
			return faultf(TooLarge, "the faces that are not convex have too many corners to cut up")
		}
		if left > 3 && misses < left && !r.ear(i) {
			i, misses = r.next[i], misses+1
			continue
		}
		a, c := r.prev[i], r.next[i]
		s.triangle(corners[a], corners[i], corners[c])
		r.next[a], r.prev[c] = c, a
		left--
		// Going on past the neighbour keeps the triangles from all meeting in one corner.
		i = r.next[c]
		if misses < left+1 {
			misses = 0
		}
	}
	return nil
}

// mesh joins the vertices that lie at one place, leaves out those that no face uses,
// and returns the mesh. The soup is not used afterwards.
func (s *soup) mesh() *mesh.Mesh {
	s.join()
	s.endRun()
	for i, f := range s.faces {
		s.faces[i] = [3]uint32{s.ids[f[0]], s.ids[f[1]], s.ids[f[2]]}
	}
	return &mesh.Mesh{Vertices: s.points, Faces: s.faces, Runs: s.runs}
}

// join moves the used vertices together, each place once, and makes ids say where
// each went. A table with one slot more in four finds the places seen before.
func (s *soup) join() {
	size := uint64(len(s.points))
	slots := make([]uint32, size+size/4+1)
	key := keyOf(s.points)
	kept := s.points[:0]
	for i, p := range s.points {
		if s.ids[i] == 0 {
			continue
		}
		at := slot(p, key, uint64(len(slots)))
		for slots[at] != 0 && kept[slots[at]-1] != p {
			if at++; at == uint64(len(slots)) {
				at = 0
			}
		}
		if slots[at] == 0 {
			kept = append(kept, p)
			slots[at] = uint32(len(kept)) //nolint:gosec // fewer than the bytes of a file
		}
		s.ids[i] = slots[at] - 1
	}
	s.points = slices.Clip(kept)
}

// golden is 2^64 divided by the golden ratio, which spreads what it multiplies.
const golden = 0x9e3779b97f4a7c15

// keyOf is a number that hangs on every point. With it in every hash, no file can be made
// whose points all meet in one stretch of the table, where each would be compared with
// all before it: changing a point to that end moves all the others.
func keyOf(points []mesh.Point) uint64 {
	key := uint64(golden)
	for _, p := range points {
		key = hashed(p, key)
	}
	return key
}

func hashed(p mesh.Point, key uint64) uint64 {
	for _, v := range p {
		high, low := bits.Mul64(key^math.Float64bits(v), 0xa0761d6478bd642f)
		key = (high ^ low) + golden
	}
	return key
}

// slot is where the search for a point begins in a table of so many slots.
func slot(p mesh.Point, key, slots uint64) uint64 {
	at, _ := bits.Mul64(hashed(p, key)*golden, slots)
	return at
}
