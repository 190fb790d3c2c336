package picture

import (
	"cmp"
	"slices"
)

// lines is how many lines of a pixel are looked at when a polygon is filled.
const lines = 4

// side is an edge of a polygon in 1/sub of a pixel, from its upper to its lower end.
type side struct {
	x0, y0, x1, y1 int64
	wind           int // 1 down, -1 up
}

// crossing is where a line crosses a side.
type crossing struct {
	x    int64
	wind int
}

// fill fills polygons together: what any of them winds round.
func (p *pixels) fill(polygons [][]spot, c tone) {
	sides, top, bottom := p.sides(polygons)
	top, bottom = max(top, 0), min(bottom, p.image.Rect.Dy()-1)
	cover := make([]int64, p.image.Rect.Dx())
	var live []crossing
	for y := top; y <= bottom; y++ {
		for k := range lines {
			live = crossings(live[:0], sides, int64(y)*sub+int64(2*k+1)*sub/(2*lines))
			p.cover(cover, live)
		}
		for x, part := range cover {
			if part > 0 {
				p.blend(x, y, c, int(part*1024/(lines*sub)))
				cover[x] = 0
			}
		}
	}
}

// sides lists the sides of polygons, and the rows of pixels that they touch.
func (p *pixels) sides(polygons [][]spot) (all []side, top, bottom int) {
	low, high := int64(1<<40), int64(-1<<40)
	for _, polygon := range polygons {
		for i, a := range polygon {
			b := polygon[(i+1)%len(polygon)]
			s := side{snap(a.x * p.scale), snap(a.y * p.scale), snap(b.x * p.scale), snap(b.y * p.scale), 1}
			low, high = min(low, s.y0), max(high, s.y0)
			if s.y0 > s.y1 {
				s = side{s.x1, s.y1, s.x0, s.y0, -1}
			}
			all = append(all, s)
		}
	}
	return all, int(low >> 8), int(high >> 8)
}

// crossings finds where a line crosses sides, from left to right.
func crossings(to []crossing, sides []side, y int64) []crossing {
	for _, s := range sides {
		if y >= s.y0 && y < s.y1 {
			to = append(to, crossing{s.x0 + (s.x1-s.x0)*(y-s.y0)/(s.y1-s.y0), s.wind})
		}
	}
	slices.SortFunc(to, func(a, b crossing) int { return cmp.Compare(a.x, b.x) })
	return to
}

// cover adds how much of each pixel lies inside on one line.
func (p *pixels) cover(cover []int64, live []crossing) {
	wind := 0
	for i, c := range live {
		wind += c.wind
		if wind == 0 || i+1 == len(live) {
			continue
		}
		from, to := max(c.x, 0), min(live[i+1].x, int64(len(cover))*sub)
		for x := from >> 8; x<<8 < to; x++ {
			cover[x] += max(0, min(to, (x+1)<<8)-max(from, x<<8))
		}
	}
}
