package geometry

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// Profile is a solid turned from a line of straight pieces: a finial, a bollard, a
// bowl. The line runs from base to top, which lies higher; on the way it may
// overhang and come back, as round the lip of a bowl, but not cross itself. Where it
// starts or ends off the axis there is a flat face, the base or the top of Ends; an
// end on the axis has none.
type Profile struct {
	Points []ProfilePoint // at least 2
	Ends   Ends
}

// Faults lists what is wrong with the profile.
func (p Profile) Faults() []DimensionError {
	f := profileFaults("points", p.Points)
	f.choice("ends", int(p.Ends), int(EndsNeither))
	if len(f) > 0 {
		return f
	}
	last := len(p.Points) - 1
	if from, to := p.Points[0].Height, p.Points[last].Height; to-from < LengthMin {
		f.add(pointField(last, "height"), to, Millimetres, "above the "+lengthInWords(from, typedDigits)+" of the first point: the line runs from base to top")
	}
	if widest := p.widest(); widest < LengthMin {
		f.add(pointField(0, "radius"), widest, Millimetres, "at least "+atLeast(LengthMin, typedDigits)+" at some point of the line")
	}
	if len(f) == 0 {
		p.crossingFault(&f)
	}
	return f
}

func pointField(i int, name string) string { return fmt.Sprintf("points[%d].%s", i, name) }

// crossingFault looks at the line closed by its flat faces and the axis. Parts that
// touch and do not pass through each other are let be: they measure right.
func (p Profile) crossingFault(f *faultList) {
	loop := p.closed()
	crossing, crosses, err := FirstCrossing([][]Point{loop})
	if err != nil {
		return // there is none left: the points are in range and too few for a bound
	}
	if crosses {
		i := min(crossing.First.Corner, crossing.Second.Corner)
		other := max(crossing.First.Corner, crossing.Second.Corner)
		f.add(pointField(i, "radius"), p.Points[i].Radius, Millimetres, fmt.Sprintf(
			"a line that does not cross itself: after this point it crosses the %s, at %s", p.stretch(other), crossing.At.onProfile()))
		return
	}
	if at, crosses, err := SelfCrossing(loop); err == nil && crosses {
		i := p.nearest(at)
		f.add(pointField(i, "radius"), p.Points[i].Radius, Millimetres,
			"a line that does not cross itself, in a corner neither: what lies above "+at.onProfile()+" is gone round the wrong way or twice")
	}
}

// onProfile words a place of a profile.
func (p Point) onProfile() string {
	return "radius " + lengthInWords(p.X, workedDigits) + " and height " + lengthInWords(p.Y, workedDigits)
}

// closed is the line from base to top and back along the axis.
func (p Profile) closed() []Point {
	loop := make([]Point, 0, len(p.Points)+2)
	for _, at := range p.Points {
		loop = append(loop, Point{at.Radius, at.Height})
	}
	last := len(loop) - 1
	return append(loop, Point{0, loop[last].Y}, Point{0, loop[0].Y})
}

// nearest is the point of the line that is nearest to a place.
func (p Profile) nearest(to Point) int {
	best, least := 0, math.Inf(1)
	for i, at := range p.Points {
		if d := math.Hypot(at.Radius-to.X, at.Height-to.Y); d < least {
			best, least = i, d
		}
	}
	return best
}

// stretch names an edge of the closed line by its first corner.
func (p Profile) stretch(corner int) string {
	switch last := len(p.Points) - 1; {
	case corner < last:
		return fmt.Sprintf("line from points[%d] to points[%d]", corner, corner+1)
	case corner == last:
		return "flat top"
	default:
		return "flat base"
	}
}

// Measure gives the sums of [Revolve] with the ends that are moulded. The elevation
// is that of the outermost points at each height, so a hollow inside does not show.
// It relies on Faults being empty.
func (p Profile) Measure() Measures { return p.body().whole() }

// Half gives the measures of the solid cut down its axis.
func (p Profile) Half() Measures { return p.body().half() }

// RadiusAt gives the outermost radius in metres at a height above the lowest point.
func (p Profile) RadiusAt(height float64) (float64, error) {
	low, high := p.span()
	if err := onSolid(height, high-low); err != nil {
		return 0, err
	}
	z, radius := low+height, 0.0
	for i := 1; i < len(p.Points); i++ {
		a, b := p.Points[i-1], p.Points[i]
		if z >= min(a.Height, b.Height) && z <= max(a.Height, b.Height) {
			radius = max(radius, a.outermost(b, z))
		}
	}
	return radius, nil
}

// outermost is the radius at a height between p and q, on a level stretch the larger.
func (p ProfilePoint) outermost(q ProfilePoint, z float64) float64 {
	if p.Height == q.Height {
		return max(p.Radius, q.Radius)
	}
	share := (z - p.Height) / (q.Height - p.Height)
	return p.Radius*(1-share) + q.Radius*share
}

func (p Profile) body() body {
	shell := revolve(p.Points)
	low, high := p.span()
	across, elevation := 2*p.widest(), p.elevation()
	return body{
		skin: shell.Area, volume: shell.Volume, profile: 2 * p.length(),
		base:  roundEnd(p.Points[0].Radius, p.Ends.BaseMoulded()),
		top:   roundEnd(p.Points[len(p.Points)-1].Radius, p.Ends.TopMoulded()),
		front: elevation, side: elevation, plan: circleArea(across),
		extent: Extent{across, across, high - low},
	}
}

// roundEnd is no face at all on the axis.
func roundEnd(radius float64, moulded bool) face {
	if radius == 0 {
		return face{}
	}
	return roundFace(2*radius, moulded)
}

func (p Profile) widest() float64 {
	widest := 0.0
	for _, at := range p.Points {
		widest = max(widest, at.Radius)
	}
	return widest
}

func (p Profile) span() (low, high float64) {
	low, high = p.Points[0].Height, p.Points[0].Height
	for _, at := range p.Points {
		low, high = min(low, at.Height), max(high, at.Height)
	}
	return low, high
}

func (p Profile) length() float64 {
	sum := 0.0
	for i := 1; i < len(p.Points); i++ {
		a, b := p.Points[i-1], p.Points[i]
		sum += math.Hypot(b.Radius-a.Radius, b.Height-a.Height)
	}
	return sum
}

// elevation is twice the area under the outermost radius, m2. Between two levels of
// points the pieces of the line keep their order, so the one that is outermost half
// way up is so all the way, and its radius there is its mean.
func (p Profile) elevation() float64 {
	levels := p.levels()
	outer := make([]float64, len(levels)-1)
	for i := 1; i < len(p.Points); i++ {
		a, b := p.Points[i-1], p.Points[i]
		top := max(a.Height, b.Height)
		for k := sort.SearchFloat64s(levels, min(a.Height, b.Height)); k < len(outer) && levels[k] < top; k++ {
			outer[k] = max(outer[k], a.outermost(b, (levels[k]+levels[k+1])/2))
		}
	}
	sum := 0.0
	for k, radius := range outer {
		sum += 2 * radius * (levels[k+1] - levels[k])
	}
	return sum
}

// levels are the heights of the points, each once, from the lowest up.
func (p Profile) levels() []float64 {
	levels := make([]float64, len(p.Points))
	for i, at := range p.Points {
		levels[i] = at.Height
	}
	slices.Sort(levels)
	return slices.Compact(levels)
}
