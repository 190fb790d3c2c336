package picture

import (
	"image"
	"image/png"
	"io"
	"math"
)

// PNG writes a scene as a PNG, smoothly shaded. Its height is 210/297 of its width.
// Up to 2 million faces are drawn in time proportional to their number; memory grows
// with the square of the width: about 15 MB at 1600 pixels, 200 MB at MostWidth.
// What cannot be drawn is an error that says what is allowed, and nothing is written.
func PNG(w io.Writer, s Scene, o Options) error {
	c, err := prepare(s, o)
	if err != nil {
		return err
	}
	o, _ = o.complete()
	p := newPixels(o.Width, s, c.sheet)
	c.canvas = p
	if err := c.compose(); err != nil {
		return err
	}
	return png.Encode(w, p.image)
}

// prepare checks a scene and lays it out.
func prepare(s Scene, o Options) (composer, error) {
	o, err := o.complete()
	if err != nil {
		return composer{}, err
	}
	box, err := s.check()
	if err != nil {
		return composer{}, err
	}
	return composer{scene: s, sheet: lay(box, o, rows(len(s.entries())))}, nil
}

// pixels is a canvas of pixels.
type pixels struct {
	image   *image.RGBA
	scene   Scene
	box     span
	font    font
	scale   float64 // pixels to a mm
	normals [][3]float32
}

func newPixels(width int, s Scene, sh sheet) *pixels {
	scale := float64(width) / sheetWidth
	height := int(math.Round(float64(scale * sheetHeight)))
	p := &pixels{image.NewRGBA(image.Rect(0, 0, width, height)), s, sh.box, newFont(), scale, normals(s.Mesh)}
	for i := range p.image.Pix {
		p.image.Pix[i] = 255
	}
	return p
}

// blend lays a colour over a pixel; part is of 1024.
func (p *pixels) blend(x, y int, c tone, part int) {
	pix := p.image.Pix[p.image.PixOffset(x, y):]
	for k := range 3 {
		over := int(c>>(16-8*k)) & 255
		pix[k] = uint8((int(pix[k])*(1024-part) + over*part + 512) >> 10) //nolint:gosec // a mean of bytes
	}
}

// polygon fills a polygon.
func (p *pixels) polygon(line []spot, fill tone) { p.fill([][]spot{line}, fill) }

// stroke draws a line with round ends.
func (p *pixels) stroke(line []spot, width float64, ink tone) {
	width = max(width, 1/p.scale) // not finer than a pixel
	p.fill(capsules(nil, line, width/2), ink)
}

// heavy is the weight of letters, mm.
func (p *pixels) heavy(size float64, strong bool) float64 {
	part := 0.72
	if strong {
		part = 1.05
	}
	return max(float64(size*part)/em, 0.9/p.scale)
}

// breadth is how long words are.
func (p *pixels) breadth(text string, size float64, strong bool) float64 {
	return p.font.width(text, size) + p.heavy(size, strong)
}

// words draws letters as strokes, the ink of the first and the last within the words'
// breadth.
func (p *pixels) words(w words) {
	part, heavy := w.size/em, p.heavy(w.size, w.strong)
	x := heavy/2 - float64(p.breadth(w.text, w.size, w.strong)*float64(w.anchor)/2)
	var strokes [][]spot
	for _, r := range w.text {
		g := p.font.glyph(r)
		for _, stroke := range g.strokes {
			strokes = capsules(strokes, w.lay(stroke, x, part), heavy/2)
		}
		x += float64((g.width + spacing) * part)
	}
	p.fill(strokes, w.ink)
}

// lay puts a stroke of a letter in its place, x along the line.
func (w words) lay(stroke []spot, x, part float64) []spot {
	laid := make([]spot, len(stroke))
	for i, q := range stroke {
		along, up := x+float64(q.x*part), float64(q.y*part)
		laid[i] = spot{w.at.x + along, w.at.y - up}
		if w.upward {
			laid[i] = spot{w.at.x - up, w.at.y - along}
		}
	}
	return laid
}

// capsules appends the outlines of the parts of a line with round ends.
func capsules(to [][]spot, line []spot, radius float64) [][]spot {
	for i, a := range line {
		if i+1 < len(line) {
			to = append(to, capsule(a, line[i+1], radius))
		}
	}
	return to
}

// capsule is the outline of what lies within radius of the line from a to b.
func capsule(a, b spot, radius float64) []spot {
	along := unitSpot(spot{b.x - a.x, b.y - a.y})
	if along == (spot{}) {
		along.x = 1
	}
	// Cosines of 90, 60, 30, 0, -30, -60 and -90 degrees, and sines shifted.
	turn := [...]float64{0, 0.5, 0.8660254037844386, 1, 0.8660254037844386, 0.5, 0}
	side := [...]float64{1, 0.8660254037844386, 0.5, 0, -0.5, -0.8660254037844386, -1}
	var outline []spot
	for end, at := range []spot{b, a} {
		sign := float64(1 - 2*end)
		for k := range turn {
			f, l := float64(sign*turn[k]*radius), float64(sign*side[k]*radius)
			outline = append(outline, spot{
				at.x + float64(along.x*f) - float64(along.y*l),
				at.y + float64(along.y*f) + float64(along.x*l),
			})
		}
	}
	return outline
}

func unitSpot(p spot) spot {
	length := math.Sqrt(float64(p.x*p.x) + float64(p.y*p.y))
	if length == 0 {
		return spot{}
	}
	return spot{p.x / length, p.y / length}
}

// swatch shows how a piece is drawn.
func (p *pixels) swatch(label uint8, corner spot, w, h float64) {
	n := p.samples()
	x0, y0 := int(corner.x*p.scale), int(corner.y*p.scale)
	t := p.tile()
	for y := y0; y < y0+int(h*p.scale); y++ {
		for x := x0; x < x0+int(w*p.scale); x++ {
			for k := range n * n {
				c := hueOf(label).tint
				if t.inked(hatchOf(label), x*n+k%n, y*n+k/n) {
					c = hueOf(label).ink
				}
				p.blend(x, y, c, 1024/(k+1))
			}
		}
	}
	p.frame(corner, w, h)
}

// frame draws a line round a swatch.
func (p *pixels) frame(corner spot, w, h float64) {
	line := rectangle(corner, w, h)
	p.stroke(append(line, line[0]), 0.2, grey)
}
