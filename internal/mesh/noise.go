package mesh

import "math"

const (
	// step is how far a vertex goes toward the middle of its neighbours, and in a second
	// step away from it again: of waves as short as the mesh is fine half or nothing is
	// left, and of long ones all. (Taubin 1995, from memory, has
	// two such steps; equal ones are ours.)
	step = math.Sqrt2 / 2
	// sharp is the fold from which an edge is meant, 30 degrees, as its cosine (proposal
	// of our own, not measured).
	sharp = 0.8660254037844387
	// bent is the fold of 5 degrees, as its cosine: noise that adds 2 % to the area folds
	// most edges further.
	bent = 0.9961946980917455
	// evenFold is the fold of half a degree, as its cosine.
	evenFold = 0.9999619230641713
	// mostLasting tells noise from shape: see lasting.
	mostLasting = 0.18
	// fewestEdges is how many edges a part must have to be a scan.
	fewestEdges = 300
	// fewestFolded is the share of the edges, one in so many, below which no look at the
	// parts is worth while.
	fewestFolded = 50
	// mostRough is the share of the area by which the smoothed one is the one to price.
	mostRough = 0.02
	// soundings is how many edges are looked at to see whether a mesh could be rough.
	soundings = 1 << 14
)

// SmoothedArea returns the area of a surface after one light smoothing, m2. The noise of
// a scan adds about 2 (s/h)^2 of the area, s being the noise and h the mean edge
// (measured: 1.25 % at 0.079, 12.7 % at 0.249); smoothing takes most of it away. Open
// edges, and folds of more than 30 degrees that are still there once the noise is gone,
// stay where they are. A surface that is not as noise leaves it has its own area: its
// facets are its shape. The mesh is one that a Survey holds, without faces that have no
// area.
func SmoothedArea(m *Mesh) float64 {
	if len(m.Faces) == 0 {
		return 0
	}
	g := newGrounds(join(m))
	g.majority()
	rough := g.rough()
	if rough == nil {
		return m.area()
	}
	total := 0.0
	for _, a := range g.smoothed(rough) {
		total += a
	}
	return total
}

// offset is where a vertex has gone, m, and how many neighbours it has, counted once for
// each face.
type offset struct{ x, y, z, faces float32 }

// smoother moves vertices.
type smoother struct {
	*grounds
	fixed    []bool
	at, pull []offset
}

// newSmoother returns a smoother that holds the vertices on open edges.
func newSmoother(g *grounds) *smoother {
	n := len(g.mesh.Vertices)
	s := &smoother{grounds: g, fixed: make([]bool, n), at: make([]offset, n), pull: make([]offset, n)}
	s.fixBorders()
	return s
}

// smoothed returns the area of each part, after one light smoothing of the rough ones, m2.
func (g *grounds) smoothed(rough []bool) []float64 {
	s := newSmoother(g)
	s.smooth()
	s.smooth() // to see which folds are more than noise
	s.fixFolds()
	clear(s.at)
	s.smooth()
	area := make([]float64, len(g.sums))
	for f := range g.mesh.Faces {
		part := g.parts.parent[f] >> 1
		t := g.mesh.Triangle(f)
		if rough[part] {
			t = s.moved(f)
		}
		area[part] += t.AreaVector().length()
	}
	return area
}

// smooth takes the step toward the neighbours and the step back.
func (s *smoother) smooth() {
	s.move(step)
	s.move(-step)
}

// move takes each vertex that is free by a share of the way to the middle of its neighbours.
func (s *smoother) move(share float64) {
	clear(s.pull)
	for f, c := range s.mesh.Faces {
		t := s.moved(f)
		for i, v := range c {
			a, b, p := &t[(i+1)%3], &t[(i+2)%3], &t[i]
			o := &s.pull[v]
			o.x += float32(a[0] + b[0] - 2*p[0])
			o.y += float32(a[1] + b[1] - 2*p[1])
			o.z += float32(a[2] + b[2] - 2*p[2])
			o.faces += 2
		}
	}
	for v, o := range s.pull {
		if !s.fixed[v] && o.faces > 0 {
			k := float32(share) / o.faces
			s.at[v].x += float32(k * o.x)
			s.at[v].y += float32(k * o.y)
			s.at[v].z += float32(k * o.z)
		}
	}
}

// moved returns a face, wound as it is to be, where its corners have gone.
func (s *smoother) moved(face int) Triangle {
	t := s.mesh.Triangle(face)
	for i, v := range s.mesh.Faces[face] {
		o := &s.at[v]
		t[i] = Point{t[i][0] + float64(o.x), t[i][1] + float64(o.y), t[i][2] + float64(o.z)}
	}
	return t
}

// fixBorders holds the vertices on edges that do not join two faces.
func (s *smoother) fixBorders() {
	for g := range s.groups() {
		if len(g) != 2 {
			s.fix(g[0])
		}
	}
}

// fixFolds holds the vertices on edges that are folded, and still are when smoothed.
func (s *smoother) fixFolds() {
	for e := range s.groups() {
		if len(e) != 2 {
			continue
		}
		a, b := int(e[0]/3), int(e[1]/3)
		if s.edgeFold(e[0], e[1]) < sharp && s.fold(s.moved(a), s.moved(b), a, b) < sharp {
			s.fix(e[0])
		}
	}
}

func (s *smoother) fix(half uint32) {
	from, to := s.mesh.ends(half)
	s.fixed[from], s.fixed[to] = true, true
}

// fold returns the cosine of the angle between two triangles, given the faces that say
// how they are wound; 1 where one has no area.
func (g *grounds) fold(t, u Triangle, a, b int) float64 {
	n, m := t.AreaVector(), u.AreaVector()
	size := n.length() * m.length()
	if size == 0 {
		return 1
	}
	if (g.parts.parent[a]^g.parts.parent[b])&1 == 1 {
		size = -size
	}
	return n.dot(m) / size
}

// rough returns which parts are as noise leaves them, and far enough to matter: most of
// their edges are folded, hardly one is flat, and their vertices lie off the middle of
// their neighbours in no order. It is nil where none is, which a look at some edges
// tells in most cases.
func (g *grounds) rough() []bool {
	if folded, seen := g.sound(); fewestFolded*folded < seen {
		return nil
	}
	rough, some := make([]bool, len(g.sums)), false
	lasting := g.lasting()
	for part, c := range g.creases() {
		rough[part] = c.edges >= fewestEdges && 2*c.folded > c.edges && 10*c.even < c.edges && lasting[part] < mostLasting
		some = some || rough[part]
	}
	if !some {
		return nil
	}
	return rough
}

// sound looks at some of the edges and counts those that are folded by more than 5 degrees.
func (g *grounds) sound() (folded, seen int) {
	for i := 0; i+1 < len(g.order); i += 1 + len(g.order)/soundings {
		if !g.mesh.sameEdge(g.order[i], g.order[i+1]) {
			continue
		}
		seen++
		if g.edgeFold(g.order[i], g.order[i+1]) < bent {
			folded++
		}
	}
	return folded, seen
}

// creases counts the edges of a part that join two faces, those folded by more than 5
// degrees and those folded by less than half a degree.
type creases struct{ edges, folded, even int }

func (g *grounds) creases() []creases {
	parts := make([]creases, len(g.sums))
	for e := range g.groups() {
		if len(e) != 2 {
			continue
		}
		c := &parts[g.parts.of(e[0]/3)]
		c.edges++
		switch cos := g.edgeFold(e[0], e[1]); {
		case cos < bent:
			c.folded++
		case cos > evenFold:
			c.even++
		}
	}
	return parts
}

// edgeFold returns the cosine of the fold between the faces of two half-edges.
func (g *grounds) edgeFold(h, k uint32) float64 {
	a, b := int(h/3), int(k/3)
	return g.fold(g.mesh.Triangle(a), g.mesh.Triangle(b), a, b)
}

// lasting returns for each part how much of the distances at which vertices lie off the
// middle of their neighbours is left when each has been moved there, as the ratio of the
// sums of squares: about 0.1 for noise, where neighbours know nothing of each other (0.107
// on a grid where each has six), and near 1 for a shape that the mesh is fine enough to
// show.
func (g *grounds) lasting() []float64 {
	s := newSmoother(g)
	s.move(1)
	once := s.strayed()
	s.move(1)
	twice := s.strayed()
	for part := range twice {
		twice[part] /= max(once[part], math.SmallestNonzeroFloat64)
	}
	return twice
}

// strayed returns the sum of the squares of the last pulls on the corners of each part's
// faces, m2.
func (s *smoother) strayed() []float64 {
	sum := make([]float64, len(s.sums))
	for f, c := range s.mesh.Faces {
		for _, v := range c {
			o := &s.pull[v]
			p := Point{float64(o.x), float64(o.y), float64(o.z)}
			sum[s.parts.parent[f]>>1] += p.dot(p) / float64(o.faces*o.faces)
		}
	}
	return sum
}

// smooth fills in the smoothed area of the outer parts from that of each part.
func (s *Survey) smooth(smoothed []float64) {
	s.SmoothSkin = s.Skin
	if smoothed == nil {
		return
	}
	s.SmoothSkin = 0
	for part, c := range s.Components {
		if c.Depth == 0 {
			s.SmoothSkin += smoothed[part]
		}
	}
	if s.Skin-s.SmoothSkin > mostRough*s.Skin {
		s.warn(Rough, "noise makes the skin read %.1f %% high: the smoothed one is the one to price", 100*(s.Skin/s.SmoothSkin-1))
	}
}
