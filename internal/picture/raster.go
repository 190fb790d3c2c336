package picture

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

const (
	sub        = 256       // parts of a sample to which corners are rounded
	deepest    = 1 << 24   // depth of the nearest point of the box; 0 is the farthest
	nothing    = int32(-1) // depth where there is no piece
	mostLayers = 64        // how often faces may lie over each other, on the mean of a view
	crease     = 0.8       // cosine of the angle from the mean at which a vertex is sharp
)

// raster is a view in samples: what is nearest at the centre of each.
type raster struct {
	frame
	depth []int32 // nothing, or 0 to deepest
	label []uint8
	shade []uint8 // light that falls on it
}

// frame says where the piece lies on a raster: x right and y down, in samples.
type frame struct {
	view  View
	box   span
	x, y  float64 // of the box's left lower corner
	scale float64 // samples to a metre
	w, h  int
}

// toDepth is how many steps of depth a metre has.
func (f frame) toDepth() float64 {
	_, _, toward, _ := f.view.axes()
	return deepest / max(f.box.size(toward), f.box.largest()/1024)
}

// drawing is the work of one raster.
type drawing struct {
	raster
	scene   Scene
	normals [][3]float32
	steps   float64 // of depth, to a metre
	left    int64   // samples and rows that may yet be filled
}

// corner is a vertex on the raster: x and y in 1/sub of a sample.
type corner struct {
	x, y         int64
	depth, light float64
}

// render draws the scene into a raster.
func render(s Scene, normals [][3]float32, f frame) (raster, error) {
	n := f.w * f.h
	d := drawing{
		raster: raster{f, make([]int32, n), make([]uint8, n), make([]uint8, n)},
		scene:  s, normals: normals, steps: f.toDepth(), left: mostLayers * int64(n+len(s.Mesh.Faces)),
	}
	for i := range d.depth {
		d.depth[i] = nothing
	}
	for i := range s.Mesh.Faces {
		if d.face(i); d.left < 0 {
			return d.raster, fmt.Errorf("the faces lie over each other too often to be drawn; allowed: %d times on the mean of a view", mostLayers)
		}
	}
	return d.raster, nil
}

// normals returns the mean normal at each vertex, weighted by area; zero where its
// faces meet too sharply for one.
func normals(m *mesh.Mesh) [][3]float32 {
	mean := means(m)
	sharp := make([]bool, len(mean))
	for i, face := range m.Faces {
		flat := unit(cross(m.Triangle(i)))
		for _, v := range face {
			sharp[v] = sharp[v] || flat != (mesh.Point{}) && dot(flat, wide(mean[v])) < crease
		}
	}
	for v := range mean {
		if sharp[v] {
			mean[v] = [3]float32{}
		}
	}
	return mean
}

func wide(n [3]float32) mesh.Point { return mesh.Point{float64(n[0]), float64(n[1]), float64(n[2])} }

func means(m *mesh.Mesh) [][3]float32 {
	sum := make([][3]float32, len(m.Vertices))
	for i, face := range m.Faces {
		t := m.Triangle(i)
		n := cross(t)
		for _, v := range face {
			for axis := range n {
				sum[v][axis] += float32(n[axis])
			}
		}
	}
	for i, n := range sum {
		u := unit(wide(n))
		sum[i] = [3]float32{float32(u[0]), float32(u[1]), float32(u[2])}
	}
	return sum
}

// cross is twice the area vector of a triangle.
func cross(t mesh.Triangle) mesh.Point {
	var a, b mesh.Point
	for i := range a {
		a[i], b[i] = t[1][i]-t[0][i], t[2][i]-t[0][i]
	}
	return mesh.Point{
		float64(a[1]*b[2]) - float64(a[2]*b[1]),
		float64(a[2]*b[0]) - float64(a[0]*b[2]),
		float64(a[0]*b[1]) - float64(a[1]*b[0]),
	}
}

func dot(a, b mesh.Point) float64 {
	return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2])
}

func unit(p mesh.Point) mesh.Point {
	length := math.Sqrt(dot(p, p))
	if length == 0 {
		return p
	}
	return mesh.Point{p[0] / length, p[1] / length, p[2] / length}
}

// face draws one face.
func (d *drawing) face(i int) {
	t := d.scene.Mesh.Triangle(i)
	flat := unit(cross(t))
	var c [3]corner
	for k, v := range d.scene.Mesh.Faces[i] {
		c[k] = d.place(t[k])
		n := wide(d.normals[v])
		if n == (mesh.Point{}) {
			n = flat
		}
		c[k].light = d.light(n)
	}
	d.fill(c, d.scene.label(i))
}

// place projects a vertex.
func (d *drawing) place(p mesh.Point) corner {
	right, up, toward, sign := d.view.axes()
	near := p[toward] - d.box.low[toward]
	if sign < 0 {
		near = d.box.high[toward] - p[toward]
	}
	return corner{
		x:     snap(d.x + float64((p[right]-d.box.low[right])*d.scale)),
		y:     snap(d.y - float64((p[up]-d.box.low[up])*d.scale)),
		depth: float64(near * d.steps),
	}
}

// snap rounds a length in samples to a whole number of 1/sub of one.
func snap(v float64) int64 { return int64(math.Floor(float64(v*sub) + 0.5)) }

// light is how bright a surface is, 0 to 255, under a lamp over the viewer's left
// shoulder. The inside of an open shell is lit as its outside.
func (d *drawing) light(n mesh.Point) float64 {
	right, up, toward, sign := d.view.axes()
	seen := mesh.Point{n[right], n[up], float64(n[toward] * sign)}
	if seen[2] < 0 {
		seen = mesh.Point{-seen[0], -seen[1], -seen[2]}
	}
	lamp := dot(seen, mesh.Point{-0.40, 0.60, 0.69})
	return float64(255 * max(0, 0.30+float64(0.70*lamp)))
}

// plane is a quantity that changes evenly over a triangle, between two bounds.
type plane struct{ at, dx, dy, low, high float64 }

// across returns the plane through three values at three corners; area is twice
// the triangle's.
func across(c [3]corner, area int64, a, b, e float64) plane {
	x1, y1 := float64(c[1].x-c[0].x), float64(c[1].y-c[0].y)
	x2, y2 := float64(c[2].x-c[0].x), float64(c[2].y-c[0].y)
	return plane{
		at:  a,
		dx:  (float64((b-a)*y2) - float64((e-a)*y1)) / float64(area),
		dy:  (float64((e-a)*x1) - float64((b-a)*x2)) / float64(area),
		low: min(a, b, e), high: max(a, b, e),
	}
}

// value is the quantity at a place given from the first corner. A sliver's slope
// has few true digits, so the bounds hold it.
func (p plane) value(x, y int64) float64 {
	v := p.at + float64(p.dx*float64(x)) + float64(p.dy*float64(y))
	return min(max(v, p.low), p.high)
}

// fill draws a triangle: the samples whose centres it holds. What is nearer is kept;
// of two as near, the first.
func (d *drawing) fill(c [3]corner, label uint8) {
	area := (c[1].x-c[0].x)*(c[2].y-c[0].y) - (c[2].x-c[0].x)*(c[1].y-c[0].y)
	if area == 0 {
		return
	}
	depth := across(c, area, c[0].depth, c[1].depth, c[2].depth)
	light := across(c, area, c[0].light, c[1].light, c[2].light)
	first := max(0, row(min(c[0].y, c[1].y, c[2].y)))
	last := min(int64(d.h), row(max(c[0].y, c[1].y, c[2].y)))
	for y := first; y < last; y++ {
		from, to := reach(c, y*sub+sub/2)
		from, to = max(0, from), min(int64(d.w), to)
		d.left -= 1 + max(0, to-from)
		for x := from; x < to; x++ {
			at, px, py := int(y)*d.w+int(x), x*sub+sub/2-c[0].x, y*sub+sub/2-c[0].y
			if near := int32(depth.value(px, py)); near > d.depth[at] {
				d.depth[at], d.label[at], d.shade[at] = near, label, uint8(light.value(px, py))
			}
		}
	}
}

// row is the first sample whose centre is at v or beyond: neighbours that share an
// edge share no sample and leave none out.
func row(v int64) int64 { return (v + sub/2 - 1) >> 8 }

// reach returns the samples of a line of a triangle, the last one excluded.
func reach(c [3]corner, y int64) (from, to int64) {
	low, high := int64(math.MaxInt64), int64(math.MinInt64)
	for k := range c {
		a, b := c[k], c[(k+1)%3]
		if a.y > b.y {
			a, b = b, a // the same crossing for both faces of an edge
		}
		if y < a.y || y >= b.y {
			continue
		}
		x := row(a.x + ceilDiv((b.x-a.x)*(y-a.y), b.y-a.y))
		low, high = min(low, x), max(high, x)
	}
	return low, high
}

// ceilDiv divides and rounds up; b is positive.
func ceilDiv(a, b int64) int64 {
	q := a / b
	if a%b > 0 {
		q++
	}
	return q
}
