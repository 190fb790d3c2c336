package picture

// How heavy lines on a view are, mm.
const (
	contourWidth = 0.35
	partingWidth = 0.6
)

// edge is samples of room round a view for the lines on its outline.
const edge = 8

// samples is how many samples a pixel has along an axis.
func (p *pixels) samples() int { return 2 }

// tile is the hatching in samples; not finer than can be seen.
func (p *pixels) tile() tile {
	n := p.scale * float64(p.samples())
	return tile{max(12, int(float64(pitch*n)+0.5)), max(2, int(float64(weight*n)+0.5))}
}

// place returns the frame of a panel on samples of which per make a mm, and the
// sample of the sheet at the frame's corner, a multiple of step.
func (p panel) place(box span, per float64, step int) (f frame, left, top int) {
	left = (int(p.corner.x*per)/step)*step - edge
	top = (int((p.corner.y-p.h)*per)/step)*step - edge
	f = frame{view: p.view, box: box, scale: float64(p.scale * per)}
	f.x = float64(p.corner.x*per) - float64(left)
	f.y = float64(p.corner.y*per) - float64(top)
	f.w = (int(float64(p.w*per))/step+1)*step + 2*edge
	f.h = (int(float64(p.h*per))/step+1)*step + 2*edge
	return f, left, top
}

// look renders the scene for a panel on a frame of per samples to a mm. What stands
// aside is there for its size, and has no mould pieces.
func (p panel) look(s Scene, normals [][3]float32, f frame, per float64) (raster, error) {
	if p.aside {
		s.Labels, s.Pieces = nil, nil
	}
	r, err := render(s, normals, f)
	if err == nil && s.Labels != nil {
		r.mend(float64(partingWidth*per) / 2)
	}
	return r, err
}

// view draws the piece.
func (p *pixels) view(q panel) error {
	n := p.samples()
	per := p.scale * float64(n)
	f, left, top := q.place(p.box, per, n)
	r, err := q.look(p.scene, p.normals, f, per)
	if err != nil {
		return err
	}
	p.paint(&r, left, top)
	for _, b := range r.badges(per) {
		number(p, b.label, spot{(float64(left+b.x) + 0.5) / per, (float64(top+b.y) + 0.5) / per})
	}
	return nil
}

// paint lays a raster on the sheet, each sample a part of its pixel.
func (p *pixels) paint(r *raster, left, top int) {
	n, t := p.samples(), p.tile()
	ink := r.ink(p.scale * float64(n))
	for y := 0; y+n <= r.h; y += n {
		for x := 0; x+n <= r.w; x += n {
			px, py := (left+x)/n, (top+y)/n
			if px < 0 || py < 0 || px >= p.image.Rect.Dx() || py >= p.image.Rect.Dy() {
				continue
			}
			p.pixel(r, ink, t, x, y, px, py)
		}
	}
}

// pixel mixes the samples of one pixel.
func (p *pixels) pixel(r *raster, ink []kind, t tile, x, y, px, py int) {
	n := p.samples()
	var sum [3]int
	for k := range n * n {
		sx, sy := x+k%n, y+k/n
		c := r.colour(ink, t, sx, sy, px*n+k%n, py*n+k/n)
		for i := range sum {
			sum[i] += int(c>>(16-8*i)) & 255
		}
	}
	pix := p.image.Pix[p.image.PixOffset(px, py):]
	for i := range sum {
		pix[i] = uint8(min(int(pix[i]), (sum[i]+n*n/2)/(n*n))) //nolint:gosec // a mean of bytes
	}
}

// colour is that of a sample: white where there is nothing.
func (r *raster) colour(ink []kind, t tile, x, y, sheetX, sheetY int) tone {
	at := y*r.w + x
	switch {
	case ink[at] == parting:
		return seam
	case ink[at] == contour:
		return black
	case !r.covered(at):
		return paper
	}
	label := r.label[at]
	if t.inked(hatchOf(label), sheetX, sheetY) {
		return hueOf(label).ink
	}
	return shaded(hueOf(label).tint, label, r.shade[at])
}

// Light on what is turned away most, of 255: lines on it stay in contrast, on a split
// piece those of its hatching too.
const plainDark, splitDark = 130, 195

// lit is how much of its tint a surface shows, of 255, in a light of 0 to 255. On a
// split piece what faces the viewer shows all of it, as the legend does.
func lit(label, shade uint8) int {
	if label == plain {
		return plainDark + (255-plainDark)*int(shade)/255
	}
	return min(255, splitDark+(270-splitDark)*int(shade)/255)
}

// shaded darkens a tint where less light falls.
func shaded(tint tone, label, shade uint8) tone {
	light := lit(label, shade)
	var c tone
	for k := range 3 {
		v := (int(tint>>(16-8*k)) & 255) * light / 255
		c = c<<8 | tone(v) //nolint:gosec // a byte
	}
	return c
}

// ink says which samples lie under a line. per is samples to a mm.
func (r *raster) ink(per float64) []kind {
	ink := make([]kind, len(r.depth))
	r.draw(ink, contour, float64(contourWidth*per)/2)
	r.draw(ink, parting, float64(partingWidth*per)/2)
	return ink
}

// draw lays round dabs of a radius along the lines of a kind.
func (r *raster) draw(ink []kind, which kind, radius float64) {
	steep, dab := r.steep(), dabOf(max(radius, 1))
	for y := range r.h {
		for x := range r.w {
			at := r.at(x, y)
			if r.between(at, r.at(x-1, y), steep) == which || r.between(at, r.at(x, y-1), steep) == which {
				r.dab(ink, which, dab, x, y)
			}
		}
	}
}

// dabOf is half the length of each row of a round dab, from its middle outward.
func dabOf(radius float64) []int {
	square := int(float64(radius * radius))
	var half []int
	for dy := 0; dy*dy <= square; dy++ {
		dx := 0
		for (dx+1)*(dx+1)+dy*dy <= square {
			dx++
		}
		half = append(half, dx)
	}
	return half
}

func (r *raster) dab(ink []kind, which kind, half []int, x, y int) {
	for dy := 1 - len(half); dy < len(half); dy++ {
		for dx := -half[abs(dy)]; dx <= half[abs(dy)]; dx++ {
			if at := r.at(x+dx, y+dy); at >= 0 {
				ink[at] = which
			}
		}
	}
}
