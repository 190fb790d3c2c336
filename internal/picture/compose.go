package picture

import (
	"fmt"
	"strconv"
	"strings"
)

// canvas is what a sheet is drawn on. All is in mm on the sheet, y down.
type canvas interface {
	// breadth is how long words may turn out, mm.
	breadth(text string, size float64, strong bool) float64
	polygon(line []spot, fill tone)
	stroke(line []spot, width float64, ink tone)
	words(w words)
	swatch(label uint8, corner spot, w, h float64)
	view(p panel) error
}

// anchor is which part of words stands at their place.
type anchor int

const (
	start anchor = iota
	middle
	end
)

// words are a line of text. Size is that of the type; a capital is 0.7 of it.
type words struct {
	at     spot // on the base line
	text   string
	size   float64
	anchor anchor
	ink    tone
	upward bool // turned to be read from the right
	strong bool
}

const (
	titleSize, wordSize, sizeSize, smallSize = 7.5, 4.0, 3.6, 3.3

	badgeRadius = 2.5 // mm, of the disc behind a piece's number
)

// composer draws a scene.
type composer struct {
	canvas
	scene Scene
	sheet sheet
}

// compose draws all of a scene.
func (c composer) compose() error {
	c.heading()
	c.ground()
	for _, p := range c.sheet.panels {
		if err := c.view(p); err != nil {
			return err
		}
		c.thin(p)
		c.describe(p)
	}
	c.legend()
	c.bar()
	return nil
}

// heading writes title, caption and sizes.
func (c composer) heading() {
	const across = sheetWidth - 2*margin
	title := c.clip(c.scene.Title, titleSize, true, across)
	caption := c.clip(c.scene.Caption, wordSize, false, across)
	c.words(words{at: spot{margin, 22}, text: title, size: titleSize, ink: black, strong: true})
	y := 29.5
	if caption != "" {
		c.words(words{at: spot{margin, y}, text: caption, size: wordSize, ink: grey})
		y = 36
	}
	c.words(words{at: spot{margin, y}, text: sizes(c.sheet.box), size: wordSize, ink: black})
}

// clip shortens words to a width, mm.
func (c composer) clip(text string, size float64, strong bool, width float64) string {
	text = strings.Join(strings.Fields(text), " ")
	if c.breadth(text, size, strong) <= width {
		return text
	}
	for runes := []rune(text); len(runes) > 0; runes = runes[:len(runes)-1] {
		if cut := strings.TrimSpace(string(runes)) + "..."; c.breadth(cut, size, strong) <= width {
			return cut
		}
	}
	return ""
}

// sizes writes width, depth and height.
func sizes(b span) string {
	return fmt.Sprintf("width %s, depth %s, height %s", length(b.size(0)), length(b.size(1)), length(b.size(2)))
}

// ground draws the person and the line on which all stand.
func (c composer) ground() {
	s := c.sheet
	left, right := s.person.x-s.stall()/2, s.person.x+s.stall()/2
	for _, p := range s.panels {
		if p.corner.y == s.person.y && p.view != Plan {
			right = max(right, p.corner.x+p.w)
		}
	}
	c.stroke([]spot{{left, s.person.y}, {right, s.person.y}}, 0.25, figure)
	outline := person()
	for i, p := range outline {
		outline[i] = spot{s.person.x + float64(p.x*s.tall), s.person.y - float64(p.y*s.tall)}
	}
	c.polygon(outline, figure)
	c.words(words{
		at: spot{s.person.x, s.person.y + 5}, text: "1.75 m",
		size: sizeSize, anchor: middle, ink: grey,
	})
}

// thin draws a line where a sheet is seen edge on and may lie between all samples.
func (c composer) thin(p panel) {
	if p.w < contourWidth || p.h < contourWidth {
		c.stroke([]spot{p.corner, {p.corner.x + p.w, p.corner.y - p.h}}, contourWidth, black)
	}
}

// describe writes a view's name and sizes.
func (c composer) describe(p panel) {
	if p.aside {
		return
	}
	x, y := p.corner.x, p.corner.y
	right, up, _, _ := p.view.axes()
	drop := 5.5
	if p.across {
		c.measure(spot{x, y + 4.5}, spot{x + p.w, y + 4.5}, length(c.sheet.box.size(right)), false)
		drop = 14.5
	}
	if p.upright {
		c.measure(spot{x - 4.5, y}, spot{x - 4.5, y - p.h}, length(c.sheet.box.size(up)), true)
	}
	name := words{at: spot{x + p.w/2, y + drop}, text: p.view.String(), size: wordSize, anchor: middle, ink: black}
	c.words(name)
}

// measure draws a line between two places with a stroke across each end, and a size
// beside it. An upward size that is longer than its line lies level.
func (c composer) measure(a, b spot, text string, upward bool) {
	w := words{at: spot{(a.x + b.x) / 2, a.y + 4.2}, text: text, size: sizeSize, anchor: middle, ink: grey}
	if upward {
		w.at, w.upward = spot{a.x - 1.6, (a.y + b.y) / 2}, true
		if c.breadth(text, sizeSize, false) > a.y-b.y {
			w.at.y, w.upward, w.anchor = b.y-0.8, false, end // over the ground line
		}
	}
	c.stroke([]spot{a, b}, 0.2, grey)
	for _, p := range []spot{a, b} {
		c.stroke([]spot{{p.x - 1, p.y + 1}, {p.x + 1, p.y - 1}}, 0.35, grey)
	}
	c.words(w)
}

// entry is a line of the legend.
type entry struct {
	label uint8
	text  string
}

// entries lists the legend.
func (s Scene) entries() []entry {
	var all []entry
	if s.Labels == nil {
		return nil
	}
	for i, text := range s.Pieces {
		all = append(all, entry{uint8(i), text}) //nolint:gosec // at most MostPieces
	}
	if s.locked() {
		all = append(all, entry{Locked, "locked: no piece pulls free here"})
	}
	return all
}

// columns is how many columns the legend has: few pieces have room for long words.
func columns(entries int) int {
	if entries <= 12 {
		return 2
	}
	return 3
}

// rows is how many rows the legend has.
func rows(entries int) int { return (entries + columns(entries) - 1) / columns(entries) }

// legend says what the hatchings mean.
func (c composer) legend() {
	all := c.scene.entries()
	n := rows(len(all))
	if n == 0 {
		return
	}
	width := (sheetWidth - 2*margin) / float64(columns(len(all)))
	size := wordSize
	if columns(len(all)) > 2 {
		size = smallSize
	}
	top := sheetHeight - footroom + 4 - float64(legendRow*float64(n))
	for i, e := range all {
		at := spot{margin + float64(width*float64(i/n)), top + float64(legendRow*float64(i%n))}
		c.swatch(e.label, spot{at.x + 7, at.y}, 12, 5)
		if e.label != Locked {
			number(c.canvas, e.label, spot{at.x + 2.5, at.y + 2.5})
		}
		text := c.clip(e.text, size, false, width-24)
		c.words(words{at: spot{at.x + 21.5, at.y + 3.8}, text: text, size: size, ink: black})
	}
}

// number writes a piece's number on a disc.
func number(c canvas, label uint8, at spot) {
	size := sizeSize - 0.2
	if label >= 9 {
		size = 2.8 // two digits
	}
	c.polygon(disc(at, badgeRadius), hueOf(label).ink)
	c.polygon(disc(at, badgeRadius-0.3), paper)
	c.words(words{
		at: spot{at.x, at.y + float64(0.35*size)}, text: strconv.Itoa(int(label) + 1),
		size: size, anchor: middle, ink: black, strong: true,
	})
}

// disc is a circle, as a square whose corners are cut.
func disc(at spot, radius float64) []spot {
	square := []spot{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}
	for range 4 {
		square = cutCorners(square, true)
	}
	for i, p := range square {
		p = unitSpot(p)
		square[i] = spot{at.x + float64(p.x*radius), at.y + float64(p.y*radius)}
	}
	return square
}

// bar draws the scale.
func (c composer) bar() {
	const y, high = sheetHeight - margin, 1.6
	long := c.sheet.barLength()
	for i := range 4 {
		from := margin + float64(float64(long*c.sheet.scale)*float64(i)/4)
		to := margin + float64(float64(long*c.sheet.scale)*float64(i+1)/4)
		c.polygon(rectangle(spot{from, y - high}, to-from, high), [...]tone{black, figure}[i%2])
	}
	text := barWords(long)
	if c.sheet.zoom > 1 {
		text += "; " + c.sheet.zoomed()
	}
	at := spot{margin + float64(long*c.sheet.scale) + 4, y + 0.3}
	c.words(words{at: at, text: text, size: sizeSize, ink: grey})
}

// zoomed says how much larger the views are than the person.
func (s sheet) zoomed() string {
	return fmt.Sprintf("the views are drawn %d times as large as the person", s.zoom)
}

// barWords writes the length of the scale.
func barWords(m float64) string {
	if m >= 0.9 {
		return fmt.Sprintf("%.0f m", m)
	}
	return fmt.Sprintf("%.4g mm", float64(m*1000))
}

func rectangle(corner spot, w, h float64) []spot {
	return []spot{corner, {corner.x + w, corner.y}, {corner.x + w, corner.y + h}, {corner.x, corner.y + h}}
}
