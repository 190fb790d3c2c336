package release

import (
	"math"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Draft is the least angle between a pull and the surface that it frees.
type Draft int

// The drafts that are studied.
const (
	NoDraft    Draft = iota // walls that run along the pull come off
	TwoDegrees              // every wall leans away from the pull by 2 degrees
)

const drafts = 2

// lean is how far a wall may lean the wrong way and still be taken as made right, as
// n.d: 0.1 mm in a metre. Walls written down in single precision lean by up to that.
const lean = 1e-4

// mostLean is how far it may lean on a scan, whose grain turns it: by 1 degree, so that
// half of a draft of 2 degrees is asked for in any case.
const mostLean = 0.01745

// leasts is the least n.d of each draft.
func (s *Study) leasts() [drafts]float64 {
	may := max(lean, min(s.waver, mostLean))
	return [drafts]float64{-may, math.Sin(2*math.Pi/180) - may}
}

// directions is +x, -x, +y, -y, +z, -z and then so many more pairs of opposites,
// spread over the half sphere above as the seeds of a sunflower are: equal steps in
// height, and each turned on by the golden angle.
func directions(pairs int) []Direction {
	ds := []Direction{{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}}
	golden := math.Pi * (3 - math.Sqrt(5))
	for i := range pairs {
		z := (float64(i) + 0.5) / float64(pairs)
		r, turn := math.Sqrt(1-float64(z*z)), golden*float64(i)
		d := Direction{r * math.Cos(turn), r * math.Sin(turn), z}
		ds = append(ds, d, d.opposite())
	}
	return ds
}

func (d Direction) opposite() Direction {
	return Direction{0 - d[0], 0 - d[1], 0 - d[2]}
}

func (d Direction) dot(e Direction) float64 {
	return float64(d[0]*e[0]) + float64(d[1]*e[1]) + float64(d[2]*e[2])
}

// same says whether two directions are one but for rounding.
func (d Direction) same(e Direction) bool { return d.dot(e) > 1-1e-12 }

// across is two directions square to d and to each other.
func (d Direction) across() (u, v Direction) {
	least := 0
	for i := range d {
		if math.Abs(d[i]) < math.Abs(d[least]) {
			least = i
		}
	}
	var axis Direction
	axis[least] = 1
	u = d.cross(axis).unit()
	return u, d.cross(u)
}

func (d Direction) cross(e Direction) Direction {
	return Direction{
		float64(d[1]*e[2]) - float64(d[2]*e[1]),
		float64(d[2]*e[0]) - float64(d[0]*e[2]),
		float64(d[0]*e[1]) - float64(d[1]*e[0]),
	}
}

// unit is d at length 1, or zero where it has none.
func (d Direction) unit() Direction {
	l := math.Sqrt(d.dot(d))
	if l == 0 {
		return Direction{}
	}
	return Direction{d[0] / l, d[1] / l, d[2] / l}
}

// single is d in single precision, for what is reckoned by the million.
func (d Direction) single() [3]float32 {
	return [3]float32{float32(d[0]), float32(d[1]), float32(d[2])}
}

func (d Direction) check() error {
	l := d.dot(d)
	return fault.Unless(math.Abs(l-1) < 1e-6, "length of a direction", math.Sqrt(l), "1, as of a unit vector")
}

// dot is of vectors in single precision. Here and elsewhere a conversion of each product
// keeps processors with fused multiply-add from differing.
func dot(a, b [3]float32) float32 {
	return float32(a[0]*b[0]) + float32(a[1]*b[1]) + float32(a[2]*b[2])
}
