package picture

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// luminance is WCAG 2.2's relative luminance (its formula and limits from memory).
func luminance(c tone) float64 {
	part := func(shift int) float64 {
		v := float64(c>>shift&255) / 255
		if v <= 0.04045 {
			return v / 12.92
		}
		return math.Pow((v+0.055)/1.055, 2.4)
	}
	return 0.2126*part(16) + 0.7152*part(8) + 0.0722*part(0)
}

// contrast is WCAG 2.2's contrast ratio.
func contrast(a, b tone) float64 {
	high, low := max(luminance(a), luminance(b)), min(luminance(a), luminance(b))
	return (high + 0.05) / (low + 0.05)
}

func labels() []uint8 {
	all := []uint8{Locked}
	for i := range uint8(MostPieces) {
		all = append(all, i)
	}
	return all
}

// WCAG 2.2, success criterion 1.4.11 (non-text contrast): at least 3:1, here in the
// deepest shadow too. 1.4.3 (text): at least 4.5:1.
func TestInkStandsOutFromItsTint(t *testing.T) {
	assert.InDelta(t, 21, contrast(paper, 0), 1e-9) // WCAG 2.2: black on white
	for _, label := range labels() {
		h := hueOf(label)
		assert.GreaterOrEqual(t, contrast(h.tint, h.ink), 4.5, "label %d", label)
		assert.GreaterOrEqual(t, contrast(shaded(h.tint, label, 0), h.ink), 3.0, "label %d in shadow", label)
		assert.GreaterOrEqual(t, contrast(shaded(h.tint, label, 0), seam), 3.0, "label %d at a parting line", label)
	}
	for _, ink := range []tone{black, grey} {
		assert.GreaterOrEqual(t, contrast(ink, paper), 4.5)
	}
}

// In grey, two hatchings differ in at least a tenth of their samples however one is
// shifted against the other, so that no tint is needed to tell them apart.
func TestHatchingsDifferWithoutColour(t *testing.T) {
	grain := tile{24, 4}
	for a := rising; a < bare; a++ {
		for b := a + 1; b < bare; b++ {
			assert.Greater(t, leastDifference(grain, a, b), 0.1, "hatchings %d and %d", a, b)
		}
	}
}

func leastDifference(grain tile, a, b hatch) float64 {
	const side = 96
	least := 1.0
	for shift := range 24 * 24 / 9 {
		dx, dy, n := 3*(shift%8), 3*(shift/8), 0
		for i := range side * side {
			if grain.inked(a, i%side, i/side) != grain.inked(b, i%side+dx, i/side+dy) {
				n++
			}
		}
		least = min(least, float64(n)/(side*side))
	}
	return least
}

func TestNoTwoPiecesLookTheSame(t *testing.T) {
	type look struct {
		hue   hue
		hatch hatch
	}
	seen := map[look]uint8{}
	for _, label := range labels() {
		l := look{hueOf(label), hatchOf(label)}
		other, taken := seen[l]
		assert.False(t, taken, "labels %d and %d", label, other)
		seen[l] = label
	}
}

func TestEveryLetterIsThere(t *testing.T) {
	f := newFont()
	for _, r := range "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 .,:;+-=/()[]<>%*'\"!?_#°×·&éüßÅ–" {
		_, ok := f[r]
		assert.True(t, ok, "%q", r)
	}
	assert.Equal(t, f['\uFFFD'], f.glyph('語'))
	assert.Equal(t, "ab...", f.clip("ab cdefghij", 4, f.width("ab...", 4)))
}

func TestThePersonIsAsTallAsItSays(t *testing.T) {
	low, high, wide := math.Inf(1), math.Inf(-1), 0.0
	for _, p := range person() {
		low, high, wide = min(low, p.y), max(high, p.y), max(wide, math.Abs(p.x))
	}
	assert.InDelta(t, 0, low, 0.005)
	assert.InDelta(t, stature, high, 0.001)
	assert.LessOrEqual(t, 2*wide, shoulder)
}

// Neighbours that share an edge cover every sample once: a square cut into two.
func TestFacesShareNoSample(t *testing.T) {
	for _, cut := range [][2]int64{{100, 37}, {5000, 4999}, {2561, 1283}} {
		d := drawing{raster: raster{frame: frame{w: 40, h: 40}}, left: mostInk}
		n := d.w * d.h
		d.depth, d.label, d.shade = make([]int32, n), make([]uint8, n), make([]uint8, n)
		a, b, c, e := corner{x: 0, y: 0}, corner{x: 40 * sub, y: cut[0]}, corner{x: 40*sub - cut[1], y: 40 * sub}, corner{x: 0, y: 40 * sub}
		whole := d.left
		d.fill([3]corner{a, b, c}, 1)
		d.fill([3]corner{a, c, e}, 2)
		cost := whole - d.left
		d.left = whole
		d.fill([3]corner{a, b, c}, 1)
		assert.Positive(t, cost)
		for y := range int64(40) {
			_, to := reach([3]corner{a, b, c}, y*sub+sub/2)
			from, _ := reach([3]corner{a, b, c}, y*sub+sub/2)
			low, high := reach([3]corner{a, c, e}, y*sub+sub/2)
			assert.True(t, high == from || low == to || from > to, "row %d: %d-%d and %d-%d", y, low, high, from, to)
		}
	}
}
