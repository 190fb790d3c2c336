package mesh

import (
	"fmt"
	"math"
	"slices"

	"github.com/mouldwright/mouldwright/internal/geometry"
)

const (
	// contourMax bounds the contour edges from which a shadow is reckoned exactly.
	// Clean sculpts of a million faces have a few thousand; scans with noise more.
	contourMax = 20_000
	// rasterSide is the side of the raster that takes over beyond it, in pixels.
	rasterSide = 2048
	// extentMax bounds coordinates either way, m, so that no product overflows.
	extentMax = 1e9
)

// Shadow is what light along a direction throws on a plane square to it.
type Shadow struct {
	Area float64 // m2
	// Outline is the length of the shadow's edge, m, holes included; 0 where
	// ByRaster, which cannot tell it.
	Outline float64
	// ByRaster says that the contour was too long or too tangled to be swept, so that
	// Area is a count of pixels.
	ByRaster bool
	// Error bounds how far Area may be off where ByRaster: the area of all pixels on
	// the shadow's edge, m2. What is thinner than a pixel may be missed beyond that.
	// Otherwise it is 0, and Area is exact but for rounding (about 1e-11 of it).
	Error float64
}

// Silhouette is the shadow of a surface along a direction, of any length but zero.
// The surface may be open, cracked or wound either way: what counts is where any
// face is.
//
// Every face is turned to face the direction, so that together they go round each
// place of the plane as often as faces lie over it. Where two faces meet without a
// fold their edge is gone along once each way and drops out; contours and borders are
// left. They close, since they are the sum of closed triangles, and what they go round
// at all is the shadow. Elementary.
func Silhouette(m *Mesh, direction Point) (Shadow, error) {
	v, err := newView(m, direction)
	if err != nil {
		return Shadow{}, err
	}
	edges := v.contour()
	if len(edges) > contourMax {
		return v.raster(), nil
	}
	region, err := geometry.FillEdges(edges, geometry.NonZero)
	if err != nil { // more crossings than can be swept: the rest has been checked
		return v.raster(), nil //nolint:nilerr // the raster is the answer to it
	}
	return Shadow{Area: region.Area, Outline: region.Perimeter}, nil
}

// view looks at a mesh against a direction.
type view struct {
	mesh      *Mesh
	right, up Point
}

func newView(m *Mesh, direction Point) (view, error) {
	largest := max(math.Abs(direction[0]), math.Abs(direction[1]), math.Abs(direction[2]))
	if !(largest > 0 && largest <= math.MaxFloat64) { // NaN compares false with all
		return view{}, fmt.Errorf("direction: got %v, allowed is any finite direction but zero", direction)
	}
	for _, p := range m.Vertices {
		if reach := max(math.Abs(p[0]), math.Abs(p[1]), math.Abs(p[2])); !(reach <= extentMax) {
			return view{}, fmt.Errorf("vertex: got %v, allowed are coordinates within %g m either way", p, float64(extentMax))
		}
	}
	right, up := across(direction, largest)
	return view{m, right, up}, nil
}

// across are two directions of length one, square to each other and to d. Where d is
// along an axis they are along the others, so that nothing is rounded.
func across(d Point, largest float64) (right, up Point) {
	least := 0
	for i := range d {
		d[i] /= largest // before it is squared: a length may be as small as a float64 goes
		if math.Abs(d[i]) < math.Abs(d[least]) {
			least = i
		}
	}
	var axis Point
	axis[least] = 1
	right = axis.cross(d).unit()
	return right, d.cross(right).unit()
}

// at is where a vertex is seen, m.
func (v view) at(vertex uint32) geometry.Point {
	p := v.mesh.Vertices[vertex]
	return geometry.Point{X: v.right.dot(p), Y: v.up.dot(p)}
}

// facing returns the corners of a face so that it faces the viewer, and false where
// it is seen edge on.
func (v view) facing(face int) ([3]uint32, bool) {
	f := v.mesh.Faces[face]
	a, b, c := v.at(f[0]), v.at(f[1]), v.at(f[2])
	twice := float64((b.X-a.X)*(c.Y-a.Y)) - float64((b.Y-a.Y)*(c.X-a.X))
	if twice < 0 {
		f[1], f[2] = f[2], f[1]
	}
	return f, twice != 0
}

// contour is the sum of the faces' borders: edges in buckets by their lesser vertex,
// each named by its greater and the way in which it is gone along.
func (v view) contour() []geometry.Edge {
	starts, sides := v.sides()
	var edges []geometry.Edge
	for vertex := range v.mesh.Vertices {
		here := sides[starts[vertex]:starts[vertex+1]]
		slices.Sort(here)
		for len(here) > 0 {
			n, weight := sameSide(here)
			if weight != 0 {
				from, to := uint32(vertex), uint32(here[0]>>1) //nolint:gosec // both index Vertices
				edges = append(edges, geometry.Edge{From: v.at(from), To: v.at(to), Weight: weight})
			}
			here = here[n:]
		}
	}
	return edges
}

// sameSide counts the sides at the head of a sorted bucket that have both vertices in
// common, and how many more of them go up from the lesser vertex than down to it.
func sameSide(sides []uint64) (n, weight int) {
	for n < len(sides) && sides[n]>>1 == sides[0]>>1 {
		weight += 1 - 2*int(sides[n]&1)
		n++
	}
	return n, weight
}

// sides puts every side of every face in its bucket (a counting sort: meshes are too
// big for a map). The bucket of vertex i is sides[starts[i]:starts[i+1]].
func (v view) sides() (starts []int, sides []uint64) {
	starts = make([]int, len(v.mesh.Vertices)+2)
	v.eachSide(func(lesser, _ uint32, _ uint64) { starts[lesser+2]++ })
	for i := 2; i < len(starts); i++ {
		starts[i] += starts[i-1]
	}
	sides = make([]uint64, starts[len(starts)-1])
	v.eachSide(func(lesser, greater uint32, down uint64) {
		sides[starts[lesser+1]] = uint64(greater)<<1 | down
		starts[lesser+1]++
	})
	return starts, sides
}

// eachSide visits the sides of all faces, turned to the viewer; down is 1 for those
// that go from the greater vertex to the lesser.
func (v view) eachSide(visit func(lesser, greater uint32, down uint64)) {
	for face := range v.mesh.Faces {
		f, seen := v.facing(face)
		if !seen {
			continue
		}
		for i, from := range f {
			switch to := f[(i+1)%3]; {
			case from < to:
				visit(from, to, 0)
			case from > to:
				visit(to, from, 1)
			}
		}
	}
}

// raster is a picture of the shadow: a pixel is dark where a face covers its middle.
type raster struct {
	view   view
	low    geometry.Point
	pixel  float64 // m, its side
	dark   []bool
	next   []uint16          // by pixel, and one past each row: see light
	corner [3]geometry.Point // of the face being drawn, in pixels
}

func (v view) raster() Shadow {
	low, side := v.frame()
	if side == 0 {
		return Shadow{ByRaster: true}
	}
	r := newRaster(v, low, side)
	for face := range v.mesh.Faces {
		r.draw(v.mesh.Faces[face])
	}
	inside, edge := r.count()
	one := r.pixel * r.pixel
	return Shadow{Area: float64(inside) * one, ByRaster: true, Error: float64(edge) * one}
}

func newRaster(v view, low geometry.Point, side float64) *raster {
	r := &raster{
		view: v, low: low, pixel: side / (rasterSide - 2),
		dark: make([]bool, rasterSide*rasterSide), next: make([]uint16, rasterSide*(rasterSide+1)),
	}
	for i := range r.next {
		r.next[i] = uint16(i % (rasterSide + 1)) //nolint:gosec // at most rasterSide
	}
	return r
}

// frame is the corner and the side of a square round the vertices as they are seen.
func (v view) frame() (low geometry.Point, side float64) {
	low = geometry.Point{X: math.Inf(1), Y: math.Inf(1)}
	high := geometry.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for i := range v.mesh.Vertices {
		p := v.at(uint32(i)) //nolint:gosec // it indexes Vertices
		low = geometry.Point{X: min(low.X, p.X), Y: min(low.Y, p.Y)}
		high = geometry.Point{X: max(high.X, p.X), Y: max(high.Y, p.Y)}
	}
	return low, max(0, high.X-low.X, high.Y-low.Y)
}

// draw darkens the pixels of one face, row by row.
func (r *raster) draw(face [3]uint32) {
	low, high := math.Inf(1), math.Inf(-1)
	for i, vertex := range face {
		p := r.view.at(vertex)
		r.corner[i] = geometry.Point{X: (p.X-r.low.X)/r.pixel + 1, Y: (p.Y-r.low.Y)/r.pixel + 1}
		low, high = min(low, r.corner[i].Y), max(high, r.corner[i].Y)
	}
	for row := int(math.Ceil(low - 0.5)); float64(row)+0.5 <= high; row++ {
		r.row(row)
	}
}

// row darkens the pixels of one row whose middles lie between the sides of the face.
func (r *raster) row(row int) {
	left, right, y := math.Inf(1), math.Inf(-1), float64(row)+0.5
	for i, a := range r.corner {
		b := r.corner[(i+1)%3]
		if min(a.Y, b.Y) > y || max(a.Y, b.Y) < y || a.Y == b.Y {
			continue
		}
		x := a.X + float64((b.X-a.X)*((y-a.Y)/(b.Y-a.Y)))
		left, right = min(left, x), max(right, x)
	}
	from := math.Ceil(max(0, left-0.5))
	for column := r.light(row, int(min(from, rasterSide))); float64(column)+0.5 <= right; column = r.light(row, column) {
		r.dark[row*rasterSide+column] = true
		r.next[row*(rasterSide+1)+column]++
	}
}

// light is the first light pixel of a row from a column on, rasterSide where there is none.
// Dark ones point on, and are passed in fewer steps each time, so that however many faces
// lie over each other a pixel is darkened once.
func (r *raster) light(row, column int) int {
	next := r.next[row*(rasterSide+1) : (row+1)*(rasterSide+1)]
	for int(next[column]) != column {
		next[column] = next[next[column]]
		column = int(next[column])
	}
	return column
}

// count counts the dark pixels and those, dark or light, beside one of the other kind.
// The frame leaves a light rim, so that every dark pixel has its neighbours.
func (r *raster) count() (inside, edge int) {
	for i, dark := range r.dark {
		if dark {
			inside++
		}
		column, row := i%rasterSide, i/rasterSide
		if column > 0 && row > 0 && column < rasterSide-1 && row < rasterSide-1 && r.mixed(i) {
			edge++
		}
	}
	return inside, edge
}

// mixed says whether a pixel differs from one of its four neighbours.
func (r *raster) mixed(i int) bool {
	d := r.dark[i]
	return d != r.dark[i-1] || d != r.dark[i+1] || d != r.dark[i-rasterSide] || d != r.dark[i+rasterSide]
}
