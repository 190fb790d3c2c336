package release

import (
	"math"
	"slices"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// labeller says which piece has what.
type labeller struct {
	*Study
	pulls  [][3]float32
	barred []uint32
	tie    float64 // what a piece must score above one chosen before it
}

// rivals is what each piece that may have a face scores at its corners: n.d of the
// smoothed normals, straight across the face. The piece with the most has the place.
type rivals struct {
	n      int
	piece  [mostPieces]int
	scores [mostPieces][3]float64
}

// rivals fills in those of a face.
func (l *labeller) rivals(face int, r *rivals) {
	r.n = 0
	for k, d := range l.pulls {
		if l.barred[face]>>k&1 == 1 {
			continue
		}
		r.piece[r.n] = k
		for corner := range 3 {
			n := l.surface.normals[l.surface.group[3*face+corner]]
			r.scores[r.n][corner] = float64(dot(n, d)) - float64(l.tie*float64(k))
		}
		r.n++
	}
}

// best is the piece that has a place: u of the way to the second corner and v to the
// third.
func (r *rivals) best(u, v float64) int {
	at, most := 0, math.Inf(-1)
	for i := range r.n {
		s := &r.scores[i]
		if x := s[0] + float64(u*(s[1]-s[0])) + float64(v*(s[2]-s[0])); x > most {
			at, most = i, x
		}
	}
	return r.piece[at]
}

// divided says whether no piece has the whole face.
func (r *rivals) divided() bool {
	a := r.best(0, 0)
	return a != r.best(1, 0) || a != r.best(0, 1)
}

// inside is the length of the lines at which pieces meet inside a face, m.
//
// Where two pieces score alike is a straight line; of it counts what no third scores
// above. For two opposite pulls it is the zero line of n.d.
func (l *labeller) inside(face int, r *rivals) float64 {
	if !r.divided() {
		return 0
	}
	t, sum := l.mesh.Triangle(face), 0.0
	for a := range r.n {
		for b := range a {
			if p, q, ok := r.level(a, b); ok {
				from, to := r.uncontested(a, b, p, q)
				sum += float64(max(0, to-from) * distance(at(t, p), at(t, q)))
			}
		}
	}
	return sum
}

// weights is a place in a face: the parts of its three corners.
type weights [3]float64

// level is the two places on the rim of a face between which a and b score alike.
func (r *rivals) level(a, b int) (p, q weights, ok bool) {
	var over [3]float64
	for k := range over {
		over[k] = r.scores[a][k] - r.scores[b][k]
	}
	found := 0
	for k := range over {
		x, y := over[k], over[(k+1)%3]
		if (x >= 0) == (y >= 0) {
			continue
		}
		p = q
		q = weights{}
		q[(k+1)%3] = x / (x - y)
		q[k] = 1 - q[(k+1)%3]
		found++
	}
	return p, q, found == 2
}

// uncontested is the part of the way from p to q on which no third piece scores above
// a, from 0 to 1.
func (r *rivals) uncontested(a, b int, p, q weights) (from, to float64) {
	from, to = 0, 1
	for c := range r.n {
		if c == a || c == b {
			continue
		}
		x, y := r.lead(a, c, p), r.lead(a, c, q)
		switch {
		case x < 0 && y < 0:
			return 0, 0
		case x < 0:
			from = max(from, x/(x-y))
		case y < 0:
			to = min(to, x/(x-y))
		}
	}
	return from, to
}

// lead is how much a scores above c at a place.
func (r *rivals) lead(a, c int, at weights) float64 {
	sum := 0.0
	for k, w := range at {
		sum += float64(w * (r.scores[a][k] - r.scores[c][k]))
	}
	return sum
}

// along is the length of the edges at whose two sides different pieces are, m: sharp
// edges, and the rims of shadows. Those go from face to face and are straightened.
func (l *labeller) along() float64 {
	var here, there rivals
	var rims rims
	sum := 0.0
	for h, t := range l.surface.twin {
		if int(t) < h || l.alike(h) {
			continue
		}
		l.rivals(h/3, &here)
		l.rivals(int(t)/3, &there)
		p, q := l.surface.start(h), l.surface.start(next(h))
		share := parted(here.edge(h%3, (h+1)%3), there.edge((int(t)+1)%3, int(t)%3))
		if _, ok := l.surface.smoothAt(h); ok {
			rims.add(p, q, share)
			continue
		}
		sum += float64(share * distance(l.mesh.Vertices[p], l.mesh.Vertices[q]))
	}
	return sum + rims.length(l.mesh.Vertices)
}

// alike says whether both sides of an edge score alike, as they do on nearly all.
func (l *labeller) alike(h int) bool {
	other, ok := l.surface.smoothAt(h)
	return ok && l.barred[h/3] == l.barred[other]
}

// contest is what the pieces score at the two ends of an edge.
type contest struct {
	pieces []int
	ends   [][2]float64
}

// edge is the contest from the i-th corner to the j-th (three half-edges are three
// corners, so that 3 f + k modulo 3 is k).
func (r *rivals) edge(i, j int) contest {
	c := contest{pieces: r.piece[:r.n], ends: make([][2]float64, r.n)}
	for k := range c.ends {
		c.ends[k] = [2]float64{r.scores[k][i], r.scores[k][j]}
	}
	return c
}

// best is the piece that has the place x of the way along.
func (c contest) best(x float64) int {
	at, most := 0, math.Inf(-1)
	for k, e := range c.ends {
		if s := e[0] + float64(x*(e[1]-e[0])); s > most {
			at, most = k, s
		}
	}
	return c.pieces[at]
}

// parted is the share of an edge at which its two sides are of different pieces.
func parted(a, b contest) float64 {
	stops := append([]float64{0, 1}, append(a.changes(), b.changes()...)...)
	slices.Sort(stops)
	sum := 0.0
	for i := 1; i < len(stops); i++ {
		middle := (stops[i-1] + stops[i]) / 2
		if a.best(middle) != b.best(middle) {
			sum += stops[i] - stops[i-1]
		}
	}
	return sum
}

// changes is the places at which another piece may have the edge; none where one has
// both its ends and so all of it.
func (c contest) changes() []float64 {
	if c.best(0) == c.best(1) {
		return nil
	}
	var stops []float64
	for i, e := range c.ends {
		for _, f := range c.ends[:i] {
			if x, y := e[0]-f[0], e[1]-f[1]; (x < 0) != (y < 0) {
				stops = append(stops, x/(x-y))
			}
		}
	}
	return stops
}

// at is a place in a face, m.
func at(t mesh.Triangle, w weights) mesh.Point {
	var p mesh.Point
	for k := range p {
		p[k] = float64(w[0]*t[0][k]) + float64(w[1]*t[1][k]) + float64(w[2]*t[2][k])
	}
	return p
}

func distance(p, q mesh.Point) float64 {
	d := from(p, q)
	return math.Sqrt(d.dot(d))
}
