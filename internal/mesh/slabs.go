package mesh

import (
	"fmt"
	"math"
)

// Slab is a block cut from one sheet of foam: the rectangle, along x and y, that
// holds the part between two levels.
type Slab struct {
	// Low and High are the block's corners, m. Between two bodies a slab may hold
	// nothing: then Low and High differ in z alone.
	Low, High Point
}

// Width is along x, m.
func (s Slab) Width() float64 { return s.High[0] - s.Low[0] }

// Depth is along y, m.
func (s Slab) Depth() float64 { return s.High[1] - s.Low[1] }

// Thickness is along z, m: that asked for, or less for the topmost.
func (s Slab) Thickness() float64 { return s.High[2] - s.Low[2] }

// Volume is the foam in the block, m3.
func (s Slab) Volume() float64 { return s.Width() * s.Depth() * s.Thickness() }

// SlabVolume is the foam in all the blocks, m3.
func SlabVolume(slabs []Slab) float64 {
	sum := 0.0
	for _, s := range slabs {
		sum += s.Volume()
	}
	return sum
}

// The most slabs, and the most pieces that they may cut the faces into.
const (
	MostSlabs      = 10_000
	mostSlabPieces = 1_000_000_000
)

// snap is the part of a slab's thickness within which a level counts as reached: a
// flat step that was meant to lie in a cut must not fall beside it by rounding.
const snap = 1e-9

// Slabs cuts a mesh by level planes a thickness apart, from its lowest point up,
// and returns the block for each slab. Faces are clipped to the slab, so the
// rectangles are exact. What is inside a solid is inside its outline, so the
// surface alone gives the rectangle and it does not matter which way faces are
// wound. A flat face that lies in a cut belongs to neither slab: the walls that
// meet it do.
//
// The thickness is in the mesh's own metres, above 0: for a part that is made s
// times as large, give the sheet's thickness divided by s. An error says that the
// mesh is empty or the thickness asks for more than MostSlabs.
func Slabs(m *Mesh, thickness float64) ([]Slab, error) {
	if len(m.Faces) == 0 {
		return nil, ErrEmpty
	}
	s, err := newStack(m, thickness)
	if err != nil {
		return nil, err
	}
	pieces := 0
	for i := range m.Faces {
		if pieces += s.face(m.Triangle(i)); pieces > mostSlabPieces {
			return nil, fmt.Errorf("slabs of %g m cut the mesh into more than %d pieces: allowed are thicker slabs or fewer faces", thickness, mostSlabPieces)
		}
	}
	return s.finish(), nil
}

// stack is slabs in the making.
type stack struct {
	slabs []Slab
	thick float64
}

func newStack(m *Mesh, thickness float64) (*stack, error) {
	low, high := levels(m)
	n := math.Ceil((high-low)/thickness - snap)
	if !(thickness > 0) || math.IsInf(thickness, 0) || n > MostSlabs {
		return nil, fmt.Errorf("a slab thickness of %g m for a height of %g m: allowed is from %g m up", thickness, high-low, (high-low)/MostSlabs)
	}
	s := &stack{slabs: make([]Slab, max(1, int(n))), thick: thickness}
	none := math.Inf(1)
	for i := range s.slabs {
		s.slabs[i] = Slab{Point{none, none, low + float64(float64(i)*thickness)}, Point{-none, -none, low + float64(float64(i+1)*thickness)}}
	}
	s.slabs[len(s.slabs)-1].High[2] = high
	return s, nil
}

// levels are the lowest and the highest that faces reach.
func levels(m *Mesh) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, f := range m.Faces {
		for _, v := range f {
			z := m.Vertices[v][2]
			low, high = min(low, z), max(high, z)
		}
	}
	return low, high
}

// face widens the slabs that a face reaches into and tells how many they are.
func (s *stack) face(t Triangle) int {
	low, high := min(t[0][2], t[1][2], t[2][2]), max(t[0][2], t[1][2], t[2][2])
	first, last := s.at(low), s.at(high)
	for i := first; i <= last; i++ {
		if s.reaches(i, low, high) && !s.holds(i, t) {
			s.slabs[i].widen(t)
		}
	}
	return last - first + 1
}

// at is the slab at a level.
func (s *stack) at(z float64) int {
	i := int((z - s.slabs[0].Low[2]) / s.thick)
	return max(0, min(len(s.slabs)-1, i))
}

// reaches tells whether what is between two levels reaches into a slab. The lowest
// and the topmost have no neighbour to leave a flat face to.
func (s *stack) reaches(i int, low, high float64) bool {
	slab, hair := s.slabs[i], snap*s.thick
	under := i > 0 && high <= slab.Low[2]+hair
	over := i < len(s.slabs)-1 && low >= slab.High[2]-hair
	return !under && !over
}

// holds tells whether a slab's rectangle is wide enough already.
func (s *stack) holds(i int, t Triangle) bool {
	slab := &s.slabs[i]
	for _, p := range t {
		if p[0] < slab.Low[0] || p[0] > slab.High[0] || p[1] < slab.Low[1] || p[1] > slab.High[1] {
			return false
		}
	}
	return true
}

// widen lets a slab hold the part of a face that lies between its levels.
func (s *Slab) widen(t Triangle) {
	for k, p := range t {
		q := t[(k+1)%3]
		if p[2] >= s.Low[2] && p[2] <= s.High[2] {
			s.hold(p[0], p[1])
		}
		for _, z := range []float64{s.Low[2], s.High[2]} {
			if (p[2] < z) != (q[2] < z) {
				f := (z - p[2]) / (q[2] - p[2])
				s.hold(p[0]+float64(f*(q[0]-p[0])), p[1]+float64(f*(q[1]-p[1])))
			}
		}
	}
}

func (s *Slab) hold(x, y float64) {
	s.Low[0], s.High[0] = min(s.Low[0], x), max(s.High[0], x)
	s.Low[1], s.High[1] = min(s.Low[1], y), max(s.High[1], y)
}

// finish gives slabs that hold nothing no size.
func (s *stack) finish() []Slab {
	for i := range s.slabs {
		if slab := &s.slabs[i]; slab.High[0] < slab.Low[0] {
			slab.Low[0], slab.Low[1], slab.High[0], slab.High[1] = 0, 0, 0, 0
		}
	}
	return s.slabs
}
