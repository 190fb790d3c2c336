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

// mostPlaces is how many places the lines of a view may have. At up to 14 bytes each,
// those of three views and of the small copy stay below 4 MiB, the most that a gRPC
// client takes unless told otherwise.
const mostPlaces = 70_000

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
	spare   int // of mostPlaces, in the view that is being drawn
}

// print writes; an error of the writer stays with it until the end.
func (v *vectors) print(format string, args ...any) { _, _ = fmt.Fprintf(v.out, format, args...) }

// open writes what stands before the drawing.
func (v *vectors) open() {
	v.print(`<svg xmlns="http://www.w3.org/2000/svg" role="img" xml:lang="en-GB" width="297mm" height="210mm" viewBox="0 0 297 210"`)
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
	drawn := "The piece beside a person 1.75 m tall; " + sizes(v.sheet.box)
	if v.sheet.zoom > 1 {
		drawn += "; " + v.sheet.zoomed()
	}
	var views []string
	for _, p := range v.sheet.panels {
		if !p.aside {
			views = append(views, p.view.String())
		}
	}
	sentences := []string{v.scene.Caption, drawn, "Views: " + strings.Join(views, "; ")}
	for _, e := range v.scene.entries() {
		sentences = append(sentences, e.text)
	}
	return read(sentences)
}

// read joins sentences, each ended once.
func read(sentences []string) string {
	var all []string
	for _, s := range sentences {
		if s = strings.TrimSpace(s); s == "" {
			continue
		}
		if !strings.HasSuffix(s, ".") {
			s += "."
		}
		all = append(all, s)
	}
	return strings.Join(all, " ")
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
		return pitch, 2 * pitch, 0, "M0 1.2h.01M2.4 1.2h.01M1.2 3.6h.01", 3 * weight
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

// breadth is how long words may turn out. Whoever shows the picture brings the letters;
// the broadest usual ones are those of DejaVu Sans, and bold an eighth broader.
func (v *vectors) breadth(text string, size float64, strong bool) float64 {
	ems := 0.0
	for _, r := range text {
		ems += advance(r)
	}
	if strong {
		ems *= 1.13
	}
	return ems * size
}

// advance is at least the width of a letter, in ems.
func advance(r rune) float64 {
	switch {
	case strings.ContainsRune(" ,.:;'|lijI", r):
		return 0.34
	case strings.ContainsRune("tfr()[]-/!", r):
		return 0.46
	case r >= 'a' && r <= 'z' && r != 'm' && r != 'w', r >= '0' && r <= '9':
		return 0.64
	case strings.ContainsRune("mwMW%@", r), r >= 0x7F && r < 0x250:
		return 1
	case r < 0x7F:
		return 0.84
	}
	return 1.4
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
	r, err := p.look(v.scene, v.normals, f, perMM)
	if err != nil {
		return err
	}
	v.spare = mostPlaces
	t := tracing{v, &r, left, top}
	v.print("<g>\n<title>%s</title>\n", escape(p.view.String()))
	t.region(stone.String(), "", func(at int) bool { return r.covered(at) })
	if !p.aside {
		t.pieces()
	}
	t.shadows(p.aside || v.scene.Labels == nil)
	t.line(contour, contourWidth, black)
	t.line(parting, partingWidth, seam)
	for _, b := range r.badges(perMM) {
		number(v, b.label, t.spot(int32(2*b.x+1), int32(2*b.y+1))) //nolint:gosec // within a raster
	}
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

// Shadows are laid over each other; all together leave as much of a tint as lit does.
const (
	shadowSteps            = 12
	plainTakes, splitTakes = 0.0546, 0.0221 // the part of the light that each takes
)

// shadows darkens in steps what less light falls on.
func (t tracing) shadows(whole bool) {
	label, takes := uint8(0), splitTakes
	if whole {
		label, takes = plain, plainTakes
	}
	left := 255.0
	for range shadowSteps {
		limit := int(left * (2 - takes) / 2) // half-way to the next step
		left *= 1 - takes
		t.region(seam.String(), fmt.Sprintf(` fill-opacity="%g"`, takes), func(at int) bool {
			return t.raster.covered(at) && lit(label, t.raster.shade[at]) < limit
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

func (t tracing) line(which kind, width float64, ink tone) {
	steep := t.raster.steep()
	c := t.raster.crack(func(a, b int) bool { return t.raster.between(a, b, steep) == which })
	if d := t.paths(c.chains()); d != "" {
		t.print(`<path d="%s" fill="none" stroke="%s" stroke-width="%s"/>`+"\n", d, ink, mm(width))
	}
}

// paths writes lines, but no loops too small to be seen. Lines that would take more
// than an eighth of the places that are left are drawn twice as coarsely, and again:
// only noise takes so many.
func (t tracing) paths(all []chain) string {
	for coarse := 1; ; coarse *= 2 {
		lines, places := drawn(all, coarse)
		if places <= t.spare/8 {
			t.spare -= places
			return t.write(lines)
		}
	}
}

// drawn simplifies the lines that are long enough to be seen, and counts their places.
func drawn(all []chain, coarse int) (lines []chain, places int) {
	for _, c := range all {
		if len(c.places) >= 6*coarse {
			c = c.simplify(int64(coarse))
			lines, places = append(lines, c), places+len(c.places)
		}
	}
	return lines, places
}

// write writes lines as a path.
func (t tracing) write(lines []chain) string {
	var b strings.Builder
	for _, c := range lines {
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
