package release

import (
	"math"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// A scan has grains: its vertices lie off the surface in no order. Grains shadow each
// other and look every way, so that on a ball they ask for a third piece. Where a part
// is grainy the study is made on a skin without them.
const (
	// step is how far a vertex goes toward the middle of its neighbours, and in a second
	// step away from it again: of waves as short as the mesh is fine half or nothing is
	// left, and of long ones all. (Taubin 1995, from memory, has two such steps; equal
	// ones are ours.)
	step = math.Sqrt2 / 2
	// ofLine is the part of a step along a line: there the shortest wave has the middle
	// of its neighbours twice as far off, on a surface one and a half times.
	ofLine = math.Sqrt2 / 2
	// glance is how many pairs of steps show which folds are more than grain, and
	// settled how many take the grain away: a twentieth of a wave ten edges long goes
	// with it, and a third of one six edges long.
	glance, settled = 2, 10
	// mostRounds bounds how often so many are taken where they do not do.
	mostRounds = 4
	// standing is how far the surface may stand out by what is left of the grain, in
	// parts of it. A quarter is left on faces and half on lines, in long waves, of which
	// the highest shadows all of a wall along a pull: with 2 parts 0.2 % of a cube was
	// out of reach, with 3 less than 0.01 % (measured, grain of 0.3 % of its edge).
	standing = 3
	// fewestEdges is how many edges a part must have to be a scan.
	fewestEdges = 1000
	// leastLasting and mostLasting tell grain from shape: see lasting.
	leastLasting, mostLasting = 0.08, 0.3
)

// Folds, as the cosine of the angle between two faces. 30 degrees: common practice, no
// source. The others are our own.
func meant() float64 { return math.Cos(30 * math.Pi / 180) }
func bent() float64  { return math.Cos(4 * math.Pi / 180) }
func even() float64  { return math.Cos(0.5 * math.Pi / 180) }

// skin is a mesh that is studied in the place of another, with the same faces.
type skin struct {
	*mesh.Mesh
	twin   []int32
	grainy []bool  // vertices that were moved; nil where none was
	grain  float64 // how far they were moved off the surface, m: root of the mean square
	edge   float64 // mean length of their edges, m
}

// skinOf is a mesh without its grain: it itself where there is none. Folds of more than
// 30 degrees that are still there once the grain is gone are kept, and so are borders.
func skinOf(m *mesh.Mesh) skin {
	s := skin{Mesh: m, twin: twins(m)}
	r := relaxer{faces: m.Faces, twin: s.twin}
	if !r.glancedRough(m) {
		return s
	}
	r.start(m)
	r.relax(glance)
	r.keepFolds(m)
	if s.grainy = r.grainy(m); s.grainy == nil {
		return s
	}
	r.settle(s.grainy)
	s.Mesh = r.result(m, s.grainy)
	s.measure(m)
	return s
}

// measure fills in the grain that was taken off a mesh.
func (s *skin) measure(m *mesh.Mesh) {
	off, along, n := 0.0, 0.0, 0.0
	for i := range s.Faces {
		if !s.grainyAt(i) {
			continue
		}
		is, was := s.Triangle(i), m.Triangle(i)
		normal := normalOf(is)
		for k := range is {
			d := normal.dot(from(is[k], was[k]))
			off += float64(d * d)
			along += distance(is[k], is[(k+1)%3])
			n++
		}
	}
	s.grain, s.edge = math.Sqrt(off/max(1, n)), along/max(1, n)
}

// waver is how far normals of a grainy part may lean for nothing, as n.d: a tenth of the
// grain over the length of an edge. On the walls of cubes they were measured to lean by
// less than half of that, root of the mean square, or nine tenths where the grain is 0.4
// of an edge.
func (s *skin) waver() float64 {
	if s.edge == 0 {
		return 0
	}
	return s.grain / s.edge / 10
}

// grainyAt says whether a face was moved.
func (s *skin) grainyAt(face int) bool { return s.grainy != nil && s.grainy[s.Faces[face][0]] }

// relaxer moves vertices toward and away from the middle of their neighbours. A vertex
// on a line, a border or a fold that is meant, goes by its neighbours along it; one where
// lines meet stays; where one ends, it is as any other.
type relaxer struct {
	faces [][3]uint32
	twin  []int32
	line  []bool  // of each half-edge
	lines []uint8 // of each vertex, at most 3
	at    []mesh.Point
	pulls []pulled
}

// pulled is the sum of the ways to a vertex's neighbours, m, and how many there are.
type pulled struct {
	to mesh.Point
	n  float64
}

func (p *pulled) add(way Direction, times float64) {
	for k, x := range way {
		p.to[k] += float64(times * x)
	}
	p.n++
}

// move takes a place by a share of the way to the middle of its neighbours.
func (p *pulled) move(at *mesh.Point, share float64) {
	for k, x := range p.to {
		at[k] += float64(share / p.n * x)
	}
}

// edges calls yield with one half-edge of each edge.
func (r *relaxer) edges(yield func(h, t int) bool) {
	for h, t := range r.twin {
		if t < 0 || int(t) > h {
			if !yield(h, int(t)) {
				return
			}
		}
	}
}

func (r *relaxer) ends(h int) (a, b uint32) { return r.faces[h/3][h%3], r.faces[h/3][(h+1)%3] }

// glancedRough says whether more than one in fifty of some edges are folded: where not,
// as on most meshes, no closer look is worth while.
func (r *relaxer) glancedRough(m *mesh.Mesh) bool {
	const looks = 1 << 14
	folded, seen := 0, 0
	for h := 0; h < len(r.twin); h += 1 + len(r.twin)/looks {
		if t := r.twin[h]; t >= 0 {
			seen++
			if c := foldOf(m.Triangle(h/3), m.Triangle(int(t)/3)); c < bent() {
				folded++
			}
		}
	}
	return 50*folded > seen
}

func (r *relaxer) start(m *mesh.Mesh) {
	r.line = make([]bool, len(r.twin))
	r.lines = make([]uint8, len(m.Vertices))
	r.pulls = make([]pulled, len(m.Vertices))
	r.at = append([]mesh.Point(nil), m.Vertices...)
	for h, t := range r.edges {
		if t < 0 {
			r.draw(h)
		}
	}
}

// draw makes an edge part of a line.
func (r *relaxer) draw(h int) {
	r.line[h] = true
	a, b := r.ends(h)
	r.lines[a], r.lines[b] = min(3, r.lines[a]+1), min(3, r.lines[b]+1)
}

// relax takes so many pairs of steps.
func (r *relaxer) relax(times int) {
	for range times {
		r.move(step)
		r.move(-step)
	}
}

// settle takes pairs of steps until most folds are gone that only grain has.
func (r *relaxer) settle(grainy []bool) {
	now := &mesh.Mesh{Vertices: r.at, Faces: r.faces}
	for range mostRounds {
		r.relax(settled)
		edges, folded := 0, 0
		for h, t := range r.edges {
			if a, _ := r.ends(h); !grainy[a] || r.line[h] {
				continue
			}
			edges++
			if foldOf(now.Triangle(h/3), now.Triangle(t/3)) < bent() {
				folded++
			}
		}
		if 2*folded < edges {
			return
		}
	}
}

// move takes each vertex by a share of the way to the middle of its neighbours.
func (r *relaxer) move(share float64) {
	clear(r.pulls)
	for h := range r.edges {
		a, b := r.ends(h)
		way := from(r.at[a], r.at[b])
		r.pull(a, way, 1, r.line[h])
		r.pull(b, way, -1, r.line[h])
	}
	for v, p := range r.pulls {
		switch {
		case p.n == 0:
		case r.lines[v] == 2:
			p.move(&r.at[v], share*ofLine)
		default:
			p.move(&r.at[v], share)
		}
	}
}

func (r *relaxer) pull(v uint32, way Direction, times float64, line bool) {
	if n := r.lines[v]; n > 2 || n == 2 && !line {
		return
	}
	r.pulls[v].add(way, times)
}

// keepFolds makes lines of the folds that the grain did not make, and puts the vertices
// back.
func (r *relaxer) keepFolds(m *mesh.Mesh) {
	now := &mesh.Mesh{Vertices: r.at, Faces: r.faces}
	for h, t := range r.edges {
		if t < 0 {
			continue
		}
		was := foldOf(m.Triangle(h/3), m.Triangle(t/3))
		is := foldOf(now.Triangle(h/3), now.Triangle(t/3))
		if was < meant() && is < meant() {
			r.draw(h)
		}
	}
	copy(r.at, m.Vertices)
}

// result is the mesh with its grainy vertices where they have gone.
func (r *relaxer) result(m *mesh.Mesh, grainy []bool) *mesh.Mesh {
	for v, moved := range grainy {
		if !moved {
			r.at[v] = m.Vertices[v]
		}
	}
	return &mesh.Mesh{Vertices: r.at, Faces: m.Faces}
}

// part is what tells whether a part of the mesh is grainy.
type part struct {
	edges, folded, even int
	once, twice         float64 // m2
}

// grainy says of each vertex whether its part is as grains leave it: most edges are
// folded, hardly one is flat, and vertices lie off the middle of their neighbours in no
// order. It is nil where none is.
func (r *relaxer) grainy(m *mesh.Mesh) []bool {
	of, n := r.parted(len(m.Vertices))
	parts := make([]part, n)
	r.countFolds(m, of, parts)
	r.lasting(m, of, parts)
	copy(r.at, m.Vertices)
	grainy, some := make([]bool, len(of)), false
	for v, p := range of {
		grainy[v] = parts[p].grainy()
		some = some || grainy[v]
	}
	if !some {
		return nil
	}
	return grainy
}

func (p *part) grainy() bool {
	folded := 2*p.folded > p.edges && 10*p.even < p.edges
	inNoOrder := p.twice > leastLasting*p.once && p.twice < mostLasting*p.once
	return p.edges >= fewestEdges && folded && inNoOrder
}

// parted is the part that each vertex is in, and how many there are: those that edges
// join.
func (r *relaxer) parted(vertices int) (of []int32, parts int) {
	joined := newSets(vertices)
	for _, f := range r.faces {
		joined.join(int(f[0]), int(f[1]))
		joined.join(int(f[0]), int(f[2]))
	}
	return joined.number()
}

func (r *relaxer) countFolds(m *mesh.Mesh, of []int32, parts []part) {
	for h, t := range r.edges {
		if r.line[h] {
			continue
		}
		a, _ := r.ends(h)
		p := &parts[of[a]]
		p.edges++
		switch c := foldOf(m.Triangle(h/3), m.Triangle(t/3)); {
		case c < bent():
			p.folded++
		case c > even():
			p.even++
		}
	}
}

// lasting fills in how far vertices lie off the middle of their neighbours, and how far
// still once each has been moved there, as sums of squares. The ratio is about 0.1 for
// grain, where neighbours know nothing of each other (0.107 on a grid where each has
// six), and near 1 for a shape that the mesh is fine enough to show. It is less where
// vertices lie off by turns, which is a pattern.
//
// Only the way along the normal counts: on a shape whose faces are uneven vertices lie
// in no order along the surface.
func (r *relaxer) lasting(m *mesh.Mesh, of []int32, parts []part) {
	normals := normalsOf(m)
	off := func(v int) float64 {
		p := &r.pulls[v]
		if r.lines[v] > 1 {
			return 0
		}
		way := normals[v].dot(Direction(p.to)) / max(1, p.n)
		return float64(way * way)
	}
	r.move(1)
	for v, p := range of {
		parts[p].once += off(v)
	}
	r.move(1)
	for v, p := range of {
		parts[p].twice += off(v)
	}
}

// normalsOf is the normal of every vertex: the sum of its faces', by area.
func normalsOf(m *mesh.Mesh) []Direction {
	normals := make([]Direction, len(m.Vertices))
	for i, f := range m.Faces {
		n := m.Triangle(i).AreaVector()
		for _, v := range f {
			for k := range n {
				normals[v][k] += n[k]
			}
		}
	}
	for v := range normals {
		normals[v] = normals[v].unit()
	}
	return normals
}
