package meshtest

import (
	"math"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// Hare returns the invented maquette of a sitting hare on a mound, 0.25 m tall, as a
// scanner might give it: closed, of some 40,000 triangles, with a roughness of 0.05
// mm, and with zones "fur", "inner ears" and "mound". It faces the front, -y.
//
// The shape is the union of ellipsoids and round bars, melted into each other, and
// its skin is found with a net of one vertex in each cell that the skin crosses.
func Hare() *mesh.Mesh {
	const cell = 2.75 // mm
	n := net{low: [3]float64{-95, -120, -4}, cell: cell, size: [3]int{70, 92, 98}, shape: hare}
	return n.skin()
}

// vec is a place in the maquette, mm.
type vec [3]float64

func (a vec) sub(b vec) vec     { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) dot(b vec) float64 { return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2]) }

func (a vec) along(t float64, b vec) vec {
	return vec{a[0] + float64(t*b[0]), a[1] + float64(t*b[1]), a[2] + float64(t*b[2])}
}

// ellipsoid is how far outside an ellipsoid a place is, near enough for melting.
func ellipsoid(p, centre, half vec) float64 {
	d := p.sub(centre)
	k := vec{d[0] / half[0], d[1] / half[1], d[2] / half[2]}
	length := math.Sqrt(k.dot(k))
	return (length - 1) * min(half[0], half[1], half[2])
}

// bar is how far outside a round bar, thick at a and thin at b, a place is.
func bar(p, a, b vec, ra, rb float64) float64 {
	ab, ap := b.sub(a), p.sub(a)
	t := min(1, max(0, ap.dot(ab)/ab.dot(ab)))
	d := p.sub(a.along(t, ab))
	return math.Sqrt(d.dot(d)) - (ra + float64(t*(rb-ra)))
}

// melt joins two shapes with a fillet of about k mm.
func melt(a, b, k float64) float64 {
	h := max(k-math.Abs(a-b), 0) / k
	return min(a, b) - float64(h*h*k)/4
}

// mirrored is a shape that stands on both sides.
func mirrored(p vec) vec { return vec{math.Abs(p[0]), p[1], p[2]} }

// hare is negative inside the maquette.
func hare(p vec) float64 {
	q := mirrored(p)
	d := ellipsoid(p, vec{0, 25, 62}, vec{42, 58, 44})                  // body
	d = melt(d, ellipsoid(p, vec{0, -22, 86}, vec{30, 30, 42}), 18)     // chest
	d = melt(d, ellipsoid(q, vec{30, 38, 46}, vec{26, 44, 38}), 14)     // haunches
	d = melt(d, bar(q, vec{30, 10, 16}, vec{28, -42, 11}, 13, 9), 10)   // hind feet
	d = melt(d, bar(q, vec{17, -34, 70}, vec{18, -58, 14}, 14, 9), 12)  // forelegs
	d = melt(d, bar(q, vec{18, -58, 12}, vec{18, -74, 11}, 9, 8), 8)    // forefeet
	d = melt(d, bar(p, vec{0, -28, 110}, vec{0, -44, 142}, 24, 20), 16) // neck
	d = melt(d, head(p, q), 12)
	d = melt(d, ellipsoid(p, vec{0, 86, 44}, vec{15, 17, 15}), 8) // tail
	mound := ellipsoid(p, vec{0, 5, -6}, vec{82, 108, 20})
	return max(melt(d, mound, 10), -p[2]) // cut level below
}

func head(p, q vec) float64 {
	d := ellipsoid(p, vec{0, -50, 156}, vec{22, 30, 22})
	d = melt(d, bar(p, vec{0, -70, 150}, vec{0, -88, 145}, 15, 10), 10)    // muzzle
	d = melt(d, ellipsoid(q, vec{15, -72, 146}, vec{9, 11, 9}), 8)         // cheeks
	d = melt(d, ellipsoid(q, vec{19, -58, 163}, vec{6, 7, 7}), 3)          // eyes
	ear := bar(q, vec{11, -38, 172}, vec{22, -20, 236}, 7.5, 6)            // ears
	ear = melt(ear, bar(q, vec{22, -20, 236}, vec{25, -14, 252}, 6, 3), 4) // their tips
	hollow := bar(q, vec{12.5, -48, 184}, vec{23.5, -30, 238}, 6.5, 6)     // and their hollows
	return melt(d, max(ear, -hollow), 6)
}

// zoneAt names the zone of a place on the skin.
func zoneAt(p vec) string {
	q := mirrored(p)
	switch {
	case p[2] < 12 && hareWithoutMound(p) > 1.5:
		return "mound"
	case p[2] > 182 && bar(q, vec{12.5, -48, 184}, vec{23.5, -30, 238}, 6.5, 6) < 0.8:
		return "inner ears"
	default:
		return "fur"
	}
}

func hareWithoutMound(p vec) float64 {
	q := mirrored(p)
	return min(
		bar(q, vec{30, 10, 16}, vec{28, -42, 11}, 13, 9), bar(q, vec{18, -58, 12}, vec{18, -74, 11}, 9, 8),
		ellipsoid(q, vec{30, 38, 46}, vec{26, 44, 38}), ellipsoid(p, vec{0, 86, 44}, vec{15, 17, 15}), ellipsoid(p, vec{0, 25, 62}, vec{42, 58, 44}),
	)
}
