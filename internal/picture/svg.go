package picture

import (
	"bufio"
	"encoding/xml"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// perMM is how many samples a mm has when outlines are traced: places then lie on
// halves of a tenth of a mm, which two decimals write exactly.
const perMM = 10

// SVG writes a scene as an SVG of A4's size, with outlines, a region for each piece
// in each view, parting lines, and text that a screen reader can read. It holds no
// scripts and refers to nothing outside itself. Errors are as for PNG, and those of
// w.
func SVG(w io.Writer, s Scene, o Options) error {
	c, err := prepare(s, o)
	if err != nil {
		return err
	}
	v := &vectors{out: bufio.NewWriter(w), scene: s, sheet: c.sheet, normals: normals(s.Mesh)}
	c.canvas = v
	v.open()
	if err := c.compose(); err != nil {
		return err
	}
	v.print("</svg>\n")
	return v.out.Flush()
}

// vectors is a canvas of outlines.
type vectors struct {
	out     *bufio.Writer
	scene   Scene
	sheet   sheet
	normals [][3]float32
}

// print writes; an error of the writer stays with it until the end.
func (v *vectors) print(format string, args ...any) { _, _ = fmt.Fprintf(v.out, format, args...) }

// open writes what stands before the drawing.
func (v *vectors) open() {
	v.print(`<svg xmlns="http://www.w3.org/2000/svg" role="img" width="297mm" height="210mm" viewBox="0 0 297 210"`)
	v.print(` font-family="Helvetica, Arial, sans-serif" stroke-linecap="round" stroke-linejoin="round">` + "\n")
	v.print("<title>%s</title>\n<desc>%s</desc>\n", escape(v.name()), escape(v.description()))
	v.print("<defs>\n")
	for _, e := range v.scene.entries() {
		v.pattern(e.label)
	}
	v.print("</defs>\n")
	v.print(`<rect width="297" height="210" fill="%s"/>`+"\n", paper)
}

// name is the title, or what stands for one.
func (v *vectors) name() string {
	if strings.TrimSpace(v.scene.Title) == "" {
		return "A piece"
	}
	return v.scene.Title
}

// description says in words what is drawn.
func (v *vectors) description() string {
	text := "The piece beside a person 1.75 m tall; " + sizes(v.sheet.box) + "."
	if v.scene.Caption != "" {
		text = v.scene.Caption + ". " + text
	}
	for _, e := range v.scene.entries() {
		text += " " + e.text + "."
	}
	return text
}

// escape makes text safe in XML.
func escape(text string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(text)) // a Builder takes all
	return b.String()
}

// String writes a colour.
func (t tone) String() string { return fmt.Sprintf("#%06x", uint32(t)) }

// mm writes a length on the sheet: two decimals at most.
func mm(v float64) string {
	text := strings.TrimSuffix(strings.TrimRight(strconv.FormatFloat(v, 'f', 2, 64), "0"), ".")
	if text == "-0" {
		return "0"
	}
	return text
}

// hatchID names the pattern of a label.
func hatchID(label uint8) string {
	if label == Locked {
		return "hatch-locked"
	}
	return "hatch-" + strconv.Itoa(int(label)+1)
}

// pattern defines the hatching of a label. Its tile lies on the sheet, not on the
// view.
func (v *vectors) pattern(label uint8) {
	w, h, turn, path, ink := hatchOf(label).path()
	v.print(`<pattern id="%s" patternUnits="userSpaceOnUse" width="%s" height="%s"`, hatchID(label), mm(w), mm(h))
	if turn != 0 {
		v.print(` patternTransform="rotate(%d)"`, turn)
	}
	v.print(`><rect width="%s" height="%s" fill="%s"/>`, mm(w), mm(h), hueOf(label).tint)
	v.print(`<path d="%s" fill="none" stroke="%s" stroke-width="%s"/></pattern>`+"\n", path, hueOf(label).ink, mm(ink))
}

// path is a tile of a hatching: its size, by how many degrees it is turned, its
// lines, and their weight.
func (h hatch) path() (width, height float64, turn int, path string, ink float64) {
	switch h {
	case rising:
		return pitch, pitch, -45, "M0 1.2H2.4", weight
	case falling:
		return pitch, pitch, 45, "M0 1.2H2.4", weight
	case diamond:
		return pitch, pitch, 45, "M0 1.2H2.4M1.2 0V2.4", weight
	case upright:
		return pitch, pitch, 0, "M1.2 0V2.4", weight
	case grid:
		return pitch, pitch, 0, "M0 1.2H2.4M1.2 0V2.4", weight
	case dots:
		return pitch, 2 * pitch, 0, "M0 1.2h0M2.4 1.2h0M1.2 3.6h0", 3 * weight
	case dashes:
		return 2 * pitch, 2 * pitch, 0, "M0.6 1.2h1.8M3 3.6h1.8", 2 * weight
	case crosses:
		return pitch, pitch, 0, "M0.6 0.6L1.8 1.8M0.6 1.8L1.8 0.6", weight
	default: // level
		return pitch, pitch, 0, "M0 1.2H2.4", weight
	}
}

// polygon fills a polygon.
func (v *vectors) polygon(line []spot, fill tone) {
	v.print(`<path d="%sZ" fill="%s"/>`+"\n", path(line), fill)
}

// stroke draws a line.
func (v *vectors) stroke(line []spot, width float64, ink tone) {
	v.print(`<path d="%s" fill="none" stroke="%s" stroke-width="%s"/>`+"\n", path(line), ink, mm(width))
}

// path writes a line.
func path(line []spot) string {
	var b strings.Builder
	for i, p := range line {
		b.WriteByte("ML"[min(i, 1)])
		b.WriteString(mm(p.x) + " " + mm(p.y))
	}
	return b.String()
}

// words writes text as text.
func (v *vectors) words(w words) {
	if w.text == "" {
		return
	}
	v.print(`<text x="%s" y="%s" font-size="%s" fill="%s"`, mm(w.at.x), mm(w.at.y), mm(w.size), w.ink)
	if w.anchor != start {
		v.print(` text-anchor="%s"`, [...]string{"start", "middle", "end"}[w.anchor])
	}
	if w.strong {
		v.print(` font-weight="bold"`)
	}
	if w.upward {
		v.print(` transform="rotate(-90 %s %s)"`, mm(w.at.x), mm(w.at.y))
	}
	v.print(">%s</text>\n", escape(w.text))
}

// swatch shows how a piece is drawn.
func (v *vectors) swatch(label uint8, corner spot, w, h float64) {
	v.print(`<path d="%sZ" fill="url(#%s)" stroke="%s" stroke-width="0.2"/>`+"\n",
		path(rectangle(corner, w, h)), hatchID(label), grey)
}

// view draws the piece: its outline, its pieces, what lies in shadow, its lines, and
// its pieces' numbers.
func (v *vectors) view(p panel) error {
	f, left, top := p.place(v.sheet.box, perMM, 1)
	r, err := render(v.scene, v.normals, f)
	if err != nil {
		return err
	}
	t := tracing{v, &r, left, top}
	v.print("<g>\n<title>%s</title>\n", escape(p.view.String()))
	t.region(stone.String(), "", func(at int) bool { return r.covered(at) })
	if !p.aside {
		t.pieces()
	}
	t.shadows()
	t.outlines(p)
	v.print("</g>\n")
	return nil
}

// tracing is a view on its way to outlines.
type tracing struct {
	*vectors
	raster    *raster
	left, top int
}

// pieces fills the region of each piece.
func (t tracing) pieces() {
	for _, e := range t.scene.entries() {
		t.region("url(#"+hatchID(e.label)+")", "", func(at int) bool {
			return t.raster.covered(at) && t.raster.label[at] == e.label
		})
	}
}

// shadows darkens in steps what less light falls on.
func (t tracing) shadows() {
	for _, light := range []uint8{60, 95, 130, 165, 200} {
		t.region(black.String(), ` fill-opacity="0.08"`, func(at int) bool {
			return t.raster.covered(at) && t.raster.shade[at] < light
		})
	}
}

// region fills the samples for which inside holds.
func (t tracing) region(fill, more string, inside func(at int) bool) {
	c := t.raster.crack(func(a, b int) bool { return inside(a) != inside(b) })
	if d := t.paths(c.chains()); d != "" {
		t.print(`<path d="%s" fill="%s" fill-rule="evenodd"%s/>`+"\n", d, fill, more)
	}
}

// outlines draws the lines and the numbers.
func (t tracing) outlines(p panel) {
	t.line(contour, contourWidth, black)
	if p.aside {
		return
	}
	t.line(parting, partingWidth, seam)
	for _, b := range t.raster.badges() {
		if b.label != Locked && float64(b.room)*0.7 > (badgeRadius+0.8)*perMM {
			number(t.vectors, b.label, t.spot(int32(2*b.x+1), int32(2*b.y+1))) //nolint:gosec // within a raster
		}
	}
}

func (t tracing) line(which kind, width float64, ink tone) {
	steep := t.raster.steep()
	c := t.raster.crack(func(a, b int) bool { return t.raster.between(a, b, steep) == which })
	if d := t.paths(c.chains()); d != "" {
		t.print(`<path d="%s" fill="none" stroke="%s" stroke-width="%s"/>`+"\n", d, ink, mm(width))
	}
}

// paths writes lines, but no loops too small to be seen.
func (t tracing) paths(all []chain) string {
	var b strings.Builder
	for _, c := range all {
		if len(c.places) < 6 {
			continue
		}
		c = c.simplify()
		line := make([]spot, len(c.places))
		for i, p := range c.places {
			line[i] = t.spot(p.x, p.y)
		}
		b.WriteString(path(line))
		if c.closed {
			b.WriteByte('Z')
		}
	}
	return b.String()
}

// spot is a place of the raster on the sheet.
func (t tracing) spot(x, y int32) spot {
	return spot{float64(2*t.left+int(x)) / (2 * perMM), float64(2*t.top+int(y)) / (2 * perMM)}
}
