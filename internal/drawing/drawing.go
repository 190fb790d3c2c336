// Package drawing reads outlines drawn as SVG path data (SVG 2, section 9.3) and
// turns them into closed loops of corners in metres.
//
// All commands are read: M L H V C S Q T A Z, absolute and relative. Where SVG has a
// picture rendered up to the first error, a quote needs the whole, so every error is
// a [Fault]. Curves become chords that leave them nowhere by more than the least of
// [DeviationMax] and [DeviationShare] of the drawing's larger side.
package drawing

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

// The bounds of a drawing.
const (
	// BytesMax bounds the path data.
	BytesMax = 65_536
	// PointsMax bounds the corners of all loops after curves have become chords.
	PointsMax = 20_000
	// UnitMin and UnitMax bound the size of a drawing unit, in metres.
	UnitMin = 1e-9
	UnitMax = 1000
)

// How far a chord may leave its curve: the lesser of the two. The first is below what
// a workshop can cut. The second keeps small drawings as true: a circle alone is then
// 3e-5 of its area too small.
const (
	DeviationMax   = 0.05e-3 // m
	DeviationShare = 1e-5    // of the larger side of the box round all points, control points too
)

// closedShare is how far the end of a subpath may be from its start, as a share of the
// larger side of the drawing, and still meet it: the rounding of relative steps.
const closedShare = 1e-9

// emptyShare: a subpath that fills less of the square of the larger side is a line.
const emptyShare = 1e-12

// Drawing is what a path draws.
type Drawing struct {
	// Loops are the closed outlines, m, in the order of their subpaths; the last point
	// joins the first. SVG's y runs down; here it is turned upwards.
	Loops [][]geometry.Point
	// Empty are the numbers of subpaths that are closed but fill nothing, such as a
	// line there and back. They are not among Loops.
	Empty []int
	// Overlap is where two subpaths cross, nil where none do. Letters that overlap are
	// no fault, but a cutter will want to know.
	Overlap *Overlap
}

// Overlap is a place where two subpaths cross.
type Overlap struct {
	First, Second int     // numbers of the subpaths
	X, Y          float64 // in drawing units, y down as drawn
}

// Fault says why path data cannot be used.
type Fault struct {
	Offset int    // bytes of the path data before the trouble
	Says   string // what was got and what is allowed
}

// Error says where the trouble is and what it is.
func (f *Fault) Error() string { return fmt.Sprintf("path data at byte %d: %s", f.Offset, f.Says) }

func faultAt(offset int, format string, args ...any) *Fault {
	return &Fault{Offset: offset, Says: fmt.Sprintf(format, args...)}
}

// Parse reads path data whose unit is so many metres. Every error is a *[Fault].
//
// Subpaths are numbered from 1, each M beginning one, as does a line or curve after Z.
// An M that draws nothing is passed over. A subpath must be closed, by Z or by ending
// where it began, and may touch but not cross itself; subpaths may cross each other.
func Parse(pathData string, metresPerUnit float64) (*Drawing, error) {
	if !(metresPerUnit >= UnitMin && metresPerUnit <= UnitMax) { // NaN compares false with all
		return nil, faultAt(0, "a drawing unit of %g m, allowed is %g to %g m", metresPerUnit, UnitMin, float64(UnitMax))
	}
	if len(pathData) > BytesMax {
		return nil, faultAt(BytesMax, "%d bytes, allowed are %d", len(pathData), BytesMax)
	}
	r := reader{data: pathData, pen: pen{reach: geometry.LengthMax / metresPerUnit}}
	if err := r.path(); err != nil {
		return nil, err
	}
	s := sheet{unit: metresPerUnit, size: r.pen.size()}
	if err := s.loops(r.pen.subpaths); err != nil {
		return nil, err
	}
	return s.finish()
}

// sheet is where subpaths become loops.
type sheet struct {
	unit    float64 // m
	size    float64 // drawing units, the larger side
	points  int
	numbers []int // the subpath of each loop
	drawing Drawing
}

// deviation is how far a chord may leave its curve, in drawing units.
func (s *sheet) deviation() float64 {
	return min(DeviationMax/s.unit, DeviationShare*s.size)
}

func (s *sheet) loops(subpaths []subpath) error {
	for i, p := range subpaths {
		if len(p.curves) == 0 && !p.closed {
			continue
		}
		if !p.closed && p.gap() > closedShare*s.size {
			return faultAt(p.offset, "subpath %d is not closed: end it with Z", i+1)
		}
		if err := s.loop(i+1, p); err != nil {
			return err
		}
	}
	return nil
}

// loop adds the loop of a closed subpath.
func (s *sheet) loop(number int, p subpath) error {
	points, err := s.flatten(p)
	if err != nil {
		return err
	}
	if len(points) < 3 {
		s.drawing.Empty = append(s.drawing.Empty, number)
		return nil
	}
	at, crosses, err := geometry.SelfCrossing(points)
	if err != nil {
		return faultAt(p.offset, "subpath %d is too tangled: %v", number, err)
	}
	if crosses {
		x, y := s.drawn(at)
		return faultAt(p.offset, "subpath %d crosses itself near (%.6g, %.6g): draw its parts as subpaths of their own", number, x, y)
	}
	return s.add(number, p, points)
}

func (s *sheet) add(number int, p subpath, points []geometry.Point) error {
	region, err := geometry.Fill([][]geometry.Point{points}, geometry.NonZero)
	if err != nil {
		return faultAt(p.offset, "subpath %d is too tangled: %v", number, err)
	}
	if side := s.size * s.unit; region.Area <= emptyShare*side*side {
		s.drawing.Empty = append(s.drawing.Empty, number)
		return nil
	}
	s.drawing.Loops = append(s.drawing.Loops, points)
	s.numbers = append(s.numbers, number)
	return nil
}

// flatten turns a subpath into corners in metres. Its last point is left out where it
// is its first again.
func (s *sheet) flatten(p subpath) ([]geometry.Point, error) {
	corners := []spot{p.start}
	for _, c := range p.curves {
		n := c.pieces(s.deviation())
		if s.points += n; s.points > PointsMax {
			return nil, faultAt(p.offset, "more than %d points once curves are chords: draw it with fewer", PointsMax)
		}
		for i := 1; i < n; i++ {
			corners = append(corners, c.at(float64(i)/float64(n)))
		}
		corners = append(corners, c.end())
	}
	if last := len(corners) - 1; last > 0 && corners[last].from(p.start).length() <= closedShare*s.size {
		corners = corners[:last]
	}
	points := make([]geometry.Point, len(corners))
	for i, c := range corners {
		points[i] = geometry.Point{X: c.x*s.unit + 0, Y: 0 - c.y*s.unit}
	}
	return points, nil
}

// drawn is a place in drawing units, y down.
func (s *sheet) drawn(p geometry.Point) (x, y float64) {
	return p.X/s.unit + 0, 0 - p.Y/s.unit
}

// finish looks for subpaths that cross each other.
func (s *sheet) finish() (*Drawing, error) {
	if len(s.drawing.Loops) == 0 {
		return nil, faultAt(0, "the path encloses nothing: draw at least one closed outline")
	}
	crossing, found, err := geometry.FirstCrossing(s.drawing.Loops)
	if err != nil {
		return nil, faultAt(0, "too tangled: %v", err)
	}
	if found {
		x, y := s.drawn(crossing.At)
		s.drawing.Overlap = &Overlap{s.numbers[crossing.First.Loop], s.numbers[crossing.Second.Loop], x, y}
	}
	return &s.drawing, nil
}

// spot is a place on the drawing, in drawing units, y down.
type spot struct{ x, y float64 }

func (p spot) from(q spot) spot { return spot{p.x - q.x, p.y - q.y} }

func (p spot) plus(q spot) spot { return spot{p.x + q.x, p.y + q.y} }

func (p spot) times(f float64) spot { return spot{p.x * f, p.y * f} }

func (p spot) length() float64 { return math.Hypot(p.x, p.y) }
