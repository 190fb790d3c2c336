package picture

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// luminance is relative luminance as WCAG 2.2 defines it in its glossary, with the limit
// of 0.04045 that stands there since May 2021 (0.03928 before).
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

// 1.4.11 again: the person, the parts of the scale, and lines on a piece in the deepest
// shadow.
func TestWhatIsDrawnStandsOut(t *testing.T) {
	assert.GreaterOrEqual(t, contrast(figure, paper), 3.0)
	assert.GreaterOrEqual(t, contrast(figure, black), 3.0)
	assert.GreaterOrEqual(t, contrast(shaded(stone, plain, 0), black), 3.0)
	for _, label := range labels() {
		assert.GreaterOrEqual(t, contrast(shaded(hueOf(label).tint, label, 0), black), 3.0, "label %d", label)
		assert.GreaterOrEqual(t, contrast(hueOf(label).ink, paper), 3.0, "ring of label %d", label)
		assert.GreaterOrEqual(t, contrast(veiled(hueOf(label).tint, splitTakes), veiled(hueOf(label).ink, splitTakes)), 3.0, "label %d", label)
	}
}

// veiled is a colour under all shadows of an SVG: black at an opacity, over and over.
func veiled(c tone, takes float64) tone {
	left := math.Pow(1-takes, shadowSteps)
	part := func(shift int) tone { return tone(float64(c>>shift&255)*left+0.5) << shift }
	return part(16) | part(8) | part(0)
}

// The deepest shadow is as deep in both kinds.
func TestShadowsGoAsDeepInBothKinds(t *testing.T) {
	assert.InDelta(t, float64(lit(0, 0))/255, math.Pow(1-splitTakes, shadowSteps), 0.01)
	assert.InDelta(t, float64(lit(plain, 0))/255, math.Pow(1-plainTakes, shadowSteps), 0.01)
	assert.Equal(t, 255, lit(plain, 255))
	assert.Equal(t, 255, lit(0, 255))
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
	for _, r := range "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 .,:;+-=/()[]<>%*'\"!?_#°×·&éüßÅ–£€ŵŷłš" {
		_, ok := f[r]
		assert.True(t, ok, "%q", r)
	}
	assert.Equal(t, f['\uFFFD'], f.glyph('語'))
	c := composer{canvas: &pixels{font: f, scale: 10}}
	assert.Equal(t, "ab...", c.clip("ab cdefghij", 4, false, c.breadth("ab...", 4, false)))
	for r := ' '; r <= '~'; r++ {
		_, ok := f[r]
		assert.True(t, ok, "%q", r)
	}
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
	const side = 40
	covers := func(faces ...[3]corner) int {
		d := drawing{raster: raster{frame: frame{w: side, h: side}}, left: math.MaxInt64}
		d.depth, d.label, d.shade = make([]int32, side*side), make([]uint8, side*side), make([]uint8, side*side)
		for _, c := range faces {
			d.fill(c, 1)
		}
		n := 0
		for _, label := range d.label {
			n += int(label)
		}
		return n
	}
	for _, cut := range [][2]int64{{100, 37}, {5000, 4999}, {2561, 1283}, {128, 128}, {sub, sub}} {
		a, b, c, e := corner{}, corner{x: side * sub, y: cut[0]}, corner{x: side*sub - cut[1], y: side * sub}, corner{y: side * sub}
		for _, k := range []*corner{&a, &b, &c, &e} {
			k.depth = 1
		}
		left, right := [3]corner{a, b, c}, [3]corner{a, c, e}
		assert.Equal(t, covers(left)+covers(right), covers(left, right), "%v", cut)
		assert.Equal(t, side*side, covers(left, right, [3]corner{a, {x: side * sub, depth: 1}, b}, [3]corner{b, {x: side * sub, y: side * sub, depth: 1}, c}))
	}
}
