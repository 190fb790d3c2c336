package geometry

import "math"

// AsSweep gives the sweep that a solid is, measured already or not.
func AsSweep(s Solid) (Sweep, bool) {
	if kept, ok := s.(Kept); ok {
		s = kept.Solid
	}
	sweep, ok := s.(Sweep)
	return sweep, ok
}

// PassesItself finds where a solid passes through itself, as [Sweep.PassesItself] does: no
// other can. It relies on Faults being empty.
func PassesItself(s Solid) (station int, passes bool) {
	switch of := s.(type) {
	case Kept:
		return of.station, of.passes
	case Sweep:
		return of.PassesItself()
	default:
		return 0, false
	}
}

// Length gives the length of the centre line in metres. It relies on Faults being empty.
func (s Sweep) Length() float64 {
	nodes, weights := gauss8()
	sum := 0.0
	for _, p := range s.pieces() {
		places := p.parted(2, 0.11) // as the surface is summed
		for i := range places[1:] {
			wide := places[i+1] - places[i]
			for k, at := range nodes {
				sum += wide * weights[k] / 2 * (p.velocity(places[i]+wide*(1-at)/2).length() + p.velocity(places[i]+wide*(1+at)/2).length())
			}
		}
	}
	return sum
}

// Widest gives the greatest diameter of the tube in metres: that of a station.
func (s Sweep) Widest() float64 {
	widest := 0.0
	for _, at := range s.Stations {
		widest = max(widest, at.Diameter)
	}
	return widest
}

const (
	// passingPlaces is into how many parts a centre line is cut to look for a tube that
	// passes through itself, beside one for each station.
	passingPlaces = 200
	// passingShare is the share of the room that two tubes need below which they are
	// taken to overlap, and not to touch.
	passingShare = 0.98
)

// PassesItself finds where two far stretches of the tube overlap: the station nearest to
// the first such place, and whether there is one. Near is what lies within half a turn
// of the tightest bend that the tube can make, pi times its radius along the line, and
// the two sides of a mitre, which part them. Touching is let be, and so are the ends of a
// line that ends where it starts. It relies on Faults being empty.
//
// At a place the tube is the disc of its radius square to the line. Where two stretches
// are nearer to each other than to either side, their discs miss each other if the gap
// between their centres is more than what both reach along it, r sin f for a disc whose
// axis is at the angle f to the gap (elementary).
func (s Sweep) PassesItself() (station int, passes bool) {
	p := s.passing()
	for i := range p.parts {
		a := &p.parts[i]
		for k := i + 1; k < len(p.parts); {
			b := &p.parts[k]
			// A step along the line goes no further than it is long.
			if near := p.near(a, b); near > 0 {
				k += 1 + int(near/p.longest)
				continue
			}
			apart := b.start.minus(a.start).length()
			if apart < 2*p.longest+a.radius+b.radius && p.overlap(a, b) && p.nearestThere(i, k) {
				return a.nearest(), true
			}
			k += 1 + int(max(0, apart-2*p.longest-a.radius-p.widest)/p.longest)
		}
	}
	return 0, false
}

// passing is a centre line cut into short parts.
type passing struct {
	parts   []part
	smooth  bool
	longest float64 // m, of a part
	widest  float64 // m, radius
	line    float64 // m, of all
	loop    float64 // m, of the line from an end to the other where they meet, else endless
}

// part is a stretch of one piece of a sweep, taken as straight.
type part struct {
	piece
	index      int     // of the piece
	from, to   float64 // of the piece, u
	start, end vector
	since      float64 // m along the line, of its start
	long       float64 // m
	radius     float64 // m, the greatest
}

func (s Sweep) passing() passing {
	out := passing{smooth: s.Smooth, loop: math.Inf(1)}
	rough := 0.0
	for i := range s.Stations[1:] {
		rough += s.chord(i)
	}
	for i, p := range s.pieces() {
		n := 1 + int(passingPlaces*s.chord(i)/rough)
		for k := range n {
			out.add(p, i, float64(k)/float64(n), float64(k+1)/float64(n))
		}
	}
	first, last := s.Stations[0], s.Stations[len(s.Stations)-1]
	if last.point().minus(first.point()).length() < (1-passingShare)*first.Diameter {
		out.loop = out.line
	}
	return out
}

// chord is how far it is from a station to the next, m.
func (s Sweep) chord(i int) float64 {
	return s.Stations[i+1].point().minus(s.Stations[i].point()).length()
}

func (p *passing) add(of piece, index int, from, to float64) {
	t := part{
		piece: of, index: index, from: from, to: to, start: of.centre(from), end: of.centre(to), since: p.line,
		radius: max(of.radius.at(from), of.radius.at(to)),
	}
	t.long = t.end.minus(t.start).length()
	p.parts = append(p.parts, t)
	p.line += t.long
	p.longest, p.widest = max(p.longest, t.long), max(p.widest, t.radius)
}

func (p piece) centre(u float64) vector { return vector{p.x.at(u), p.y.at(u), p.z.at(u)} }

// nearest is the station that the part is nearest to.
func (t *part) nearest() int {
	if t.from+t.to > 1 {
		return t.index + 1
	}
	return t.index
}

// near is how much further along the line, in m, the second of two parts would have to
// be for the two to be far, above 0 where they are near; parts of one piece and those
// that a mitre parts are near, however long.
func (p *passing) near(a, b *part) float64 {
	if !p.smooth && b.index <= a.index+1 {
		return b.long
	}
	return math.Pi*a.radius - (b.since + b.long - a.since)
}

// overlap says whether two parts overlap where they are nearest to each other.
func (p *passing) overlap(a, b *part) bool {
	u, v := nearestShares(a.start, a.end, b.start, b.end)
	first, second := a.at(u), b.at(v)
	along := b.since + b.long*v - a.since - a.long*u
	if min(along, p.loop-along) <= math.Pi*max(first.radius, second.radius) {
		return false
	}
	gap := second.centre.minus(first.centre)
	return gap.length() < passingShare*(first.reachAlong(gap)+second.reachAlong(gap))
}

// nearestThere says whether two parts leave each other no more room than their neighbours
// do: elsewhere a gap says nothing, being askew, and at a bend it only closes.
func (p *passing) nearestThere(i, k int) bool {
	a := &p.parts[i]
	most := a.room(&p.parts[k]) - a.radius*1e-6
	for m := max(0, i-1); m <= min(i+1, len(p.parts)-1); m++ {
		for n := max(0, k-1); n <= min(k+1, len(p.parts)-1); n++ {
			if p.parts[m].room(&p.parts[n]) < most {
				return false
			}
		}
	}
	return true
}

// room is what is left between the tubes of two parts where they are nearest, m; less
// than nothing where they overlap.
func (t *part) room(other *part) float64 {
	u, v := nearestShares(t.start, t.end, other.start, other.end)
	first, second := t.at(u), other.at(v)
	return second.centre.minus(first.centre).length() - first.radius - second.radius
}

// at is the slice at a share of the part.
func (t *part) at(share float64) slice { return t.slice(t.from + (t.to-t.from)*share) }

// reachAlong is how far the slice reaches from its centre along a gap, m: all its radius
// where there is none.
func (s slice) reachAlong(gap vector) float64 {
	if gap == (vector{}) {
		return s.radius
	}
	return s.radius * math.Sin(s.along.angle(gap))
}

// nearestShares gives where two straight stretches are nearest to each other, as shares
// of each: where the line between them is square to both, held to their ends (elementary).
func nearestShares(p, q, r, s vector) (u, v float64) {
	d, e, w := q.minus(p), s.minus(r), p.minus(r)
	dd, de, ee, dw, ew := d.dot(d), d.dot(e), e.dot(e), d.dot(w), e.dot(w)
	if square := dd*ee - de*de; square > 1e-12*dd*ee {
		u = held((de*ew - ee*dw) / square)
	}
	v = held((de*u + ew) / ee)
	return held((de*v - dw) / dd), v
}

// held keeps a share between 0 and 1.
func held(share float64) float64 { return min(max(share, 0), 1) }
