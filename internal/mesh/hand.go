package mesh

import (
	"cmp"
	"math"
	"slices"
)

// Relation is how one part's shape relates to another's.
type Relation int

// The relations. A part that looks the same in a mirror is Copy and Mirror at once
// of its like: Both.
const (
	Different Relation = 0
	Copy      Relation = 1 // the same, turned and moved
	Mirror    Relation = 2 // the other hand, turned and moved
	Both      Relation = Copy | Mirror
)

// String is the relation in words.
func (r Relation) String() string {
	return [...]string{"different", "copy", "mirror", "copy and mirror"}[r&Both]
}

// Evidence is what a comparison rests on. Lengths are in metres.
type Evidence struct {
	// Measures is by how much the measures that do not depend on the hand differ,
	// as a share: the greatest of area, volume and principal second moments.
	Measures float64
	// Copy and Mirror are the best fits found, as it is and as the other hand; zero
	// where the measures differ already or where one was not asked for.
	Copy, Mirror Fit
	// Floor is the root mean square distance that two sets of samples of the very
	// same surface have (evenly random points: sqrt(area / (pi n))).
	Floor float64
}

// Fit is how near two parts' samples come when laid on each other, m.
type Fit struct {
	RMS   float64 // root mean square distance from a sample to the nearest of the other
	Worst float64 // the greatest of the distances: a small boss that one part lacks
}

// What counts as the same.
const (
	sameMeasures = 0.02 // share; a stretch of 2 % moves a second moment by about 4 %
	sameRMS      = 1.6  // floors; right pairs lie at 1, other hands at 4 and more
	sameWorst    = 6.0  // floors; random points of the same surface stay below about 3
)

// What the search costs: samples in all, and of these those that steer it.
const (
	handSamples  = 4000
	steerSamples = 250
	scanSamples  = 80
)

// Compare tells whether two parts are the same, or each other's mirror image, where
// moves and turns do not matter and sizes do. Measures and shape must both agree:
// area, volume and principal second moments of the surface within 2 %, and samples
// of the two, laid on each other by their principal axes, near the distance that
// samples of one surface have by chance.
//
// Where principal moments are equal the axes are not fixed, and turns about the odd
// axis, or all turns, are tried and the best refined. What is smaller than about a
// fiftieth of the part's size is not seen. The volume counts where faces are wound
// the same way. Meshes without area are Different.
func Compare(a, b *Mesh) (Relation, Evidence) {
	pa, pb := newPose(a), newPose(b)
	if pa.moments.area == 0 || pb.moments.area == 0 {
		return Different, Evidence{Measures: 1}
	}
	e := Evidence{Measures: pa.moments.apart(pb.moments), Floor: math.Sqrt(pb.moments.area / (math.Pi * handSamples))}
	if e.Measures > sameMeasures {
		return Different, e
	}
	e.Copy, e.Mirror = pa.fit(pb, 1), pa.fit(pb, -1)
	relation := Different
	if e.Copy.near(e.Floor) {
		relation |= Copy
	}
	if e.Mirror.near(e.Floor) {
		relation |= Mirror
	}
	return relation, e
}

// SelfMirror tells whether a part looks the same in a mirror, so that one mould
// serves both hands.
func SelfMirror(m *Mesh) (bool, Evidence) {
	p := newPose(m)
	if p.moments.area == 0 {
		return false, Evidence{}
	}
	e := Evidence{Mirror: p.fit(p, -1), Floor: math.Sqrt(p.moments.area / (math.Pi * handSamples))}
	return e.Mirror.near(e.Floor), e
}

func (f Fit) near(floor float64) bool {
	return f.RMS <= sameRMS*floor && f.Worst <= sameWorst*floor
}

// moments are a surface's area, its centroid, the volume about that, and the second
// moments of area with their axes, greatest first.
type moments struct {
	area, volume float64
	centre       Point
	second       [3]float64 // m2: over the area
	axes         frame
}

// momentsOf integrates over each face exactly: the second moments of a triangle are
// area / 12 (sum of corner products + product of the corners' sum).
func momentsOf(m *Mesh) moments {
	o, first := moments{}, Point{}
	if len(m.Faces) == 0 {
		return o
	}
	start := m.Triangle(0)[0]
	for i := range m.Faces {
		t := m.Triangle(i)
		a := t.AreaVector().length()
		o.area += a
		for _, p := range t {
			first = first.plus(p.less(start).times(a / 3))
		}
	}
	if o.area == 0 {
		return o
	}
	o.centre = start.plus(first.times(1 / o.area))
	o.second, o.axes = principal(o.spread(m))
	return o
}

// spread adds up the volume and the second moments about the centre.
func (o *moments) spread(m *Mesh) [3]Point {
	var c [3]Point
	for i := range m.Faces {
		t := m.Triangle(i)
		corners := [4]Point{t[0].less(o.centre), t[1].less(o.centre), t[2].less(o.centre)}
		corners[3] = corners[0].plus(corners[1]).plus(corners[2])
		o.volume += corners[0].dot(corners[1].cross(corners[2])) / 6
		a := t.AreaVector().length() / (12 * o.area)
		for _, p := range corners {
			for k := range c {
				c[k] = c[k].plus(p.times(a * p[k]))
			}
		}
	}
	return c
}

// apart is the greatest share by which two parts' measures differ. Both must
// have an area.
func (o moments) apart(q moments) float64 {
	share := func(x, y, floor float64) float64 { return math.Abs(x-y) / max(math.Abs(x), math.Abs(y), floor) }
	most := max(share(o.area, q.area, 0), share(math.Abs(o.volume), math.Abs(q.volume), 1e-3*math.Pow(o.area, 1.5)))
	for k := range o.second {
		most = max(most, share(o.second[k], q.second[k], 1e-4*o.second[0]))
	}
	return most
}

// principal turns a symmetric matrix by plane rotations until it is diagonal
// (Jacobi 1846, from memory) and gives its values, greatest first, and their axes.
func principal(c [3]Point) (values [3]float64, axes frame) {
	axes = frame{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	for range 30 {
		for _, pair := range [3][2]int{{0, 1}, {0, 2}, {1, 2}} {
			rotate(&c, &axes, pair[0], pair[1])
		}
	}
	order := []int{0, 1, 2}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(c[j][j], c[i][i]) })
	u, v := axes[order[0]], axes[order[1]]
	return [3]float64{c[order[0]][order[0]], c[order[1]][order[1]], c[order[2]][order[2]]}, frame{u, v, u.cross(v)}
}

// rotate makes one pair of a matrix zero.
func rotate(c *[3]Point, axes *frame, p, q int) {
	if math.Abs(c[p][q]) <= 1e-300 {
		return
	}
	a := 0.5 * math.Atan2(2*c[p][q], c[p][p]-c[q][q])
	cos, sin := math.Cos(a), math.Sin(a)
	mix := func(x, y Point) (Point, Point) {
		return x.times(cos).plus(y.times(sin)), y.times(cos).plus(x.times(-sin))
	}
	c[p], c[q] = mix(c[p], c[q])
	for k := range c {
		c[k][p], c[k][q] = c[k][p]*cos+c[k][q]*sin, c[k][q]*cos-c[k][p]*sin
	}
	axes[p], axes[q] = mix(axes[p], axes[q])
}

// pose is a part's samples in the frame of its principal axes.
type pose struct {
	moments moments
	spots   []Point
	near    cloud
}

func newPose(m *Mesh) pose {
	p := pose{moments: momentsOf(m)}
	if p.moments.area == 0 {
		return p
	}
	for _, s := range Samples(m, handSamples) {
		p.spots = append(p.spots, p.moments.axes.into(s.At.less(p.moments.centre)))
	}
	p.near = newCloud(p.spots)
	return p
}

// fit lays p on q, mirrored where the hand is -1, as well as it can.
func (p pose) fit(q pose, hand float64) Fit {
	starts, step := q.moments.turns()
	scan, steer := thinned(p.spots, scanSamples), thinned(p.spots, steerSamples)
	tried := make([]lay, len(starts))
	for i, f := range starts {
		f[2] = f[2].times(hand)
		tried[i] = lay{f, q.near.square(scan, f)}
	}
	slices.SortStableFunc(tried, func(a, b lay) int { return cmp.Compare(a.square, b.square) })
	best := lay{square: math.Inf(1)}
	for _, l := range tried[:min(8, len(tried))] {
		l.square = q.near.square(steer, l.turn)
		if l = q.near.settle(steer, l, step); l.square < best.square {
			best = l
		}
	}
	there := q.near.fit(p.spots, best.turn)
	back := p.near.fit(q.spots, best.turn.transposed())
	return Fit{RMS: max(there.RMS, back.RMS), Worst: max(there.Worst, back.Worst)}
}

// lay is a way to lay one part on another, and its mean square distance.
type lay struct {
	turn   frame
	square float64
}

// turns are the ways that the principal axes may lie, and how far off the right one
// the nearest may be, in radians.
func (o moments) turns() ([]frame, float64) {
	const same, finest, coarse = 1e-2, 72, 20
	first := o.second[0]-o.second[1] <= same*o.second[0]
	last := o.second[1]-o.second[2] <= same*o.second[0]
	switch {
	case first && last:
		return everyTurn(coarse), 2 * math.Pi / coarse
	case first:
		return turnsAbout(2, finest), math.Pi / finest
	case last:
		return turnsAbout(0, finest), math.Pi / finest
	}
	return turnsAbout(0, 2), 0.01
}

// turnsAbout are n turns about a principal axis, the axis either way up.
func turnsAbout(k, n int) []frame {
	var out []frame
	for _, up := range []float64{1, -1} {
		for i := range n {
			a := 2 * math.Pi * float64(i) / float64(n)
			var u, v, w Point
			w[k] = up
			u[(k+1)%3], u[(k+2)%3] = math.Cos(a), math.Sin(a)
			v = w.cross(u)
			var f frame
			f[k], f[(k+1)%3], f[(k+2)%3] = w, u, v
			out = append(out, f)
		}
	}
	return out
}

// everyTurn spreads turns over all there are, n about each of many axes.
func everyTurn(n int) []frame {
	var out []frame
	for _, d := range hemisphere(n * n / 6) {
		for _, axis := range []Point{d, d.times(-1)} {
			for i := range n {
				out = append(out, turnedAbout(axis, 2*math.Pi*float64(i)/float64(n)))
			}
		}
	}
	return out
}

func (f frame) transposed() frame {
	var t frame
	for i := range f {
		for j := range f {
			t[i][j] = f[j][i]
		}
	}
	return t
}

// turned turns a frame a little about one of the axes.
func (f frame) turned(k int, angle float64) frame {
	u, v := f[(k+1)%3], f[(k+2)%3]
	cos, sin := math.Cos(angle), math.Sin(angle)
	f[(k+1)%3] = u.times(cos).plus(v.times(-sin))
	f[(k+2)%3] = v.times(cos).plus(u.times(sin))
	return f
}

// thinned keeps about n of the spots, evenly along their row.
func thinned(spots []Point, n int) []Point {
	var out []Point
	for i := 0; i < len(spots); i += max(1, len(spots)/n) {
		out = append(out, spots[i])
	}
	return out
}

// cloud is points arranged so that the nearest is found quickly: a k-d tree (Bentley
// 1975), the middle point of each stretch dividing it along the axis of its depth.
type cloud []Point

func newCloud(spots []Point) cloud {
	c := slices.Clone(spots)
	arrangeCloud(c, 0)
	return c
}

func arrangeCloud(c cloud, k int) {
	if len(c) < 2 {
		return
	}
	slices.SortFunc(c, func(p, q Point) int {
		return cmp.Or(cmp.Compare(p[k], q[k]), cmp.Compare(p[(k+1)%3], q[(k+1)%3]), cmp.Compare(p[(k+2)%3], q[(k+2)%3]))
	})
	middle := len(c) / 2
	arrangeCloud(c[:middle], (k+1)%3)
	arrangeCloud(c[middle+1:], (k+1)%3)
}

// nearest is the square of the distance to the nearest point, or best if that is less.
func (c cloud) nearest(p Point, k int, best float64) float64 {
	if len(c) == 0 {
		return best
	}
	middle := len(c) / 2
	d := p.plus(c[middle].times(-1))
	best = min(best, d.dot(d))
	side, other := c[:middle], c[middle+1:]
	if d[k] > 0 {
		side, other = other, side
	}
	best = side.nearest(p, (k+1)%3, best)
	if d[k]*d[k] < best {
		best = other.nearest(p, (k+1)%3, best)
	}
	return best
}

// square is the mean square distance of turned spots to the cloud.
func (c cloud) square(spots []Point, turn frame) float64 {
	sum := 0.0
	for _, p := range spots {
		sum += c.nearest(turn.into(p), 0, math.Inf(1))
	}
	return sum / float64(len(spots))
}

// fit measures how near turned spots are to the cloud.
func (c cloud) fit(spots []Point, turn frame) Fit {
	worst := 0.0
	for _, p := range spots {
		worst = max(worst, c.nearest(turn.into(p), 0, math.Inf(1)))
	}
	return Fit{RMS: math.Sqrt(c.square(spots, turn)), Worst: math.Sqrt(worst)}
}

// settle turns spots by steps that grow smaller until they lie best.
func (c cloud) settle(spots []Point, l lay, step float64) lay {
	for ; step > 2e-3; step /= 2 {
		for k := range 3 {
			for _, a := range []float64{step, -step} {
				next := l.turn.turned(k, a)
				if square := c.square(spots, next); square < l.square {
					l = lay{next, square}
				}
			}
		}
	}
	return l
}
