package picture_test

import (
	"bytes"
	"encoding/xml"
	"image"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/picture"
)

var number = regexp.MustCompile(`-?[\d.]+`)

// reach is the box of a path on the sheet, mm: left, top, right, bottom.
func reach(t *testing.T, d string) (box [4]float64) {
	t.Helper()
	box = [4]float64{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for i, text := range number.FindAllString(d, -1) {
		v, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err)
		box[i%2], box[2+i%2] = min(box[i%2], v), max(box[2+i%2], v)
	}
	return box
}

// covered is the area, mm2, that a piece without mould pieces covers in a part of a
// large PNG: warm stone, or more than half under the line on its
// outline, half of which lies beyond the piece.
func covered(img image.Image, part [4]float64, outline float64) float64 {
	perMM := float64(img.Bounds().Dx()) / 297
	n := 0
	for y := int((part[1] - 0.4) * perMM); y < int((part[3]+0.4)*perMM); y++ {
		for x := int((part[0] - 0.4) * perMM); x < int((part[2]+0.4)*perMM); x++ {
			c := img.(*image.RGBA).RGBAAt(x, y)
			if int(c.R) > int(c.B)+3 || c.R < 142 {
				n++
			}
		}
	}
	return float64(n)/(perMM*perMM) - outline*0.35/2
}

// Each view has the area of the mesh's shadow that way, which the mesh package sweeps
// exactly from its contour, in vectors and in pixels.
func TestBothKindsShowTheShadow(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"dome":  stl(t, "p01_dome_stem.stl", 6),
		"torus": stl(t, "p04_twisted_torus.stl", 5),
		"hook":  stl(t, "p06_undercut_hook.stl", 10),
		"horn":  stl(t, "p08a_horn_left.stl", 4),
		"egg":   stl(t, "p09_hollow_egg.stl", 10),
		"hare":  meshtest.Scaled(meshtest.Hare(), 8, 8, 8),
	} {
		for view, along := range []mesh.Point{{0, 1, 0}, {1, 0, 0}, {0, 0, 1}} {
			shadow, err := mesh.Silhouette(m, along)
			require.NoError(t, err)
			require.False(t, shadow.ByRaster)
			s, o := picture.Scene{Mesh: m}, picture.Options{Width: 3000, Views: []picture.View{picture.View(view)}}
			root := parse(t, drawSVG(t, s, o))
			scale := scaleOf(t, root)
			views := root.all("g")
			d := views[len(views)-1].all("path")[0].attr("d")
			vectors := area(t, d)
			pixels := covered(drawPNG(t, s, o), reach(t, d), shadow.Outline*scale)
			assert.InEpsilon(t, shadow.Area*scale*scale, vectors, 0.01, "%s, view %d, SVG", name, view)
			assert.InEpsilon(t, shadow.Area*scale*scale, pixels, 0.01, "%s, view %d, PNG", name, view)
			assert.InEpsilon(t, vectors, pixels, 0.01, "%s, view %d", name, view)
		}
	}
}

// noise is a block each of whose faces belongs to a piece of its own choosing.
func noise(n int) picture.Scene {
	s := picture.Scene{Mesh: sphere(1, n), Pieces: make([]string, picture.MostPieces)}
	for i, p := range s.Mesh.Vertices {
		most := max(math.Abs(p[0]), math.Abs(p[1]), math.Abs(p[2]-1))
		s.Mesh.Vertices[i] = mesh.Point{p[0] / most, p[1] / most, 1 + (p[2]-1)/most}
	}
	random := uint32(1)
	for range s.Mesh.Faces {
		random = random*1664525 + 1013904223 // Knuth's generator, as in Numerical Recipes
		s.Labels = append(s.Labels, uint8(random>>24&(picture.MostPieces-1)))
	}
	return s
}

// A gRPC client takes messages of up to 4 MiB unless told otherwise (the default of
// grpc-go's MaxCallRecvMsgSize), so no SVG is larger.
func TestAnSVGIsNeverTooLargeToBeSent(t *testing.T) {
	for _, n := range []int{120, 260} {
		assert.Less(t, len(drawSVG(t, noise(n), picture.Options{})), 4<<20)
	}
}

// Faces over each other cost time without end; what no sculpture has is refused.
func TestTooManyLayersAreRefused(t *testing.T) {
	m := &mesh.Mesh{Vertices: []mesh.Point{{0, 0, 0}, {1, 0, 0}, {1, 1, 1}, {0, 1, 1}}}
	for range 20 {
		m.Faces = append(m.Faces, [3]uint32{0, 1, 2}, [3]uint32{0, 2, 3})
	}
	drawPNG(t, picture.Scene{Mesh: m}, picture.Options{Width: 320})
	for range 500 {
		m.Faces = append(m.Faces, [3]uint32{0, 1, 2}, [3]uint32{0, 2, 3})
	}
	var b bytes.Buffer
	require.ErrorContains(t, picture.PNG(&b, picture.Scene{Mesh: m}, picture.Options{Width: 320}), "lie over each other")
	assert.Zero(t, b.Len())
}

// A small piece stands beside the person without its mould pieces, in both kinds.
func TestTheSmallCopyIsPlain(t *testing.T) {
	s := split(box(0.4, 0.3, 0.3))
	root := parse(t, drawSVG(t, s, picture.Options{}))
	part := reach(t, root.all("g")[0].all("path")[0].attr("d"))
	img := drawPNG(t, s, picture.Options{}).(*image.RGBA)
	for y := int(part[1]*1600/297) + 4; y < int(part[3]*1600/297)-4; y++ {
		for x := int(part[0]*1600/297) + 4; x < int(part[2]*1600/297)-4; x++ {
			c := img.RGBAAt(x, y)
			require.True(t, c.R > c.B && c.R < c.B+40, "%v at %d, %d", c, x, y)
		}
	}
}

// What faces the viewer has the same colour in both kinds, that of the legend.
func TestBothKindsAreShadedAlike(t *testing.T) {
	s := split(box(2, 1, 1.5))
	for i := range s.Labels {
		s.Labels[i] = 0
	}
	front := parse(t, drawSVG(t, s, picture.Options{})).all("g")[0]
	for _, p := range front.all("path") {
		assert.Empty(t, p.attr("fill-opacity"), "a shadow on a face in full view")
	}
}

// wordsLeft is where a line of text begins at the least, in mm: at 0.65 of its size a
// letter, more than Helvetica's digits take (0.556, Adobe's font metrics, from memory).
func wordsLeft(t *testing.T, n node) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(n.attr("x"), 64)
	require.NoError(t, err)
	size, err := strconv.ParseFloat(n.attr("font-size"), 64)
	require.NoError(t, err)
	if n.attr("text-anchor") == "middle" {
		x -= 0.65 * size * float64(len(n.Text)) / 2
	}
	return x
}

// Beside the largest pieces the person is narrower than the words under it.
func TestWordsKeepTheMargin(t *testing.T) {
	for _, size := range []float64{0.01, 1, 16, 400} {
		for _, n := range parse(t, drawSVG(t, picture.Scene{Mesh: box(size, size, size)}, picture.Options{})).all("text") {
			assert.GreaterOrEqual(t, wordsLeft(t, n), 15-0.5, "%q, %g m", n.Text, size)
		}
	}
}

// Letters of an SVG are whoever's shows it; the widest usual ones are wider than our own.
// An em to a capital W is near the widest letter of any (Helvetica bold: 0.944, from memory).
func TestLongWordsEndOnTheSheet(t *testing.T) {
	s := split(box(1, 1, 1))
	s.Title, s.Caption = strings.Repeat("W", 200), strings.Repeat("m", 200)
	s.Pieces = []string{strings.Repeat("W", 100), strings.Repeat("語", 100)}
	for _, n := range parse(t, drawSVG(t, s, picture.Options{})).all("text") {
		size, err := strconv.ParseFloat(n.attr("font-size"), 64)
		require.NoError(t, err)
		letters := strings.Count(n.Text, "W") + strings.Count(n.Text, "m") + strings.Count(n.Text, "語")
		if letters > 9 {
			assert.Less(t, wordsLeft(t, n)+float64(letters)*size, 297-15+1.0, n.Text)
		}
	}
}

// A description is what a screen reader says: whole sentences, each ended once.
func TestTheDescriptionReadsAloud(t *testing.T) {
	s := split(box(0.4, 0.3, 0.3))
	s.Caption = "Not proven; look at the model."
	root := parse(t, drawSVG(t, s, picture.Options{}))
	text := root.all("desc")[0].Text
	assert.NotContains(t, text, "..")
	assert.Contains(t, text, "Not proven; look at the model. ")
	assert.Contains(t, text, "a person 1.75 m tall")
	assert.Contains(t, text, "Views: front; side, from +x; plan. ")
	assert.Contains(t, text, "times as large as the person")
	assert.Equal(t, "en-GB", root.attr("lang"))
}

// A name that shows control characters, quotes and brackets is data, not markup.
func TestAnythingMayStandInTheWords(t *testing.T) {
	for _, title := range []string{"\x00\x1b", "]]>", "<!--", "&amp;", "'\"", "\xff\xfe", "\u2028\u202e", strings.Repeat("é", 1000)} {
		s := split(box(1, 1, 1))
		s.Title, s.Caption, s.Pieces = title, title, []string{title, title}
		var root node
		require.NoError(t, xml.Unmarshal([]byte(drawSVG(t, s, picture.Options{})), &root), "%q", title)
	}
}

// The number of a piece stands clear of every line: here of the edge between a base
// and the block on it, which lies across the broadest part of the piece.
func TestNumbersStandClearOfLines(t *testing.T) {
	m := meshtest.Join(box(2, 2, 0.2), meshtest.Moved(box(1, 1, 1), meshtest.About(mesh.Point{0, 0, 1}, 0), mesh.Point{0.9, 0.5, 0.2}))
	s := picture.Scene{Mesh: m, Labels: make([]uint8, len(m.Faces)), Pieces: []string{"piece 1, pulls up (+z)"}}
	root := parse(t, drawSVG(t, s, picture.Options{Views: []picture.View{picture.Plan}}))
	view := root.all("g")[0]
	texts := view.all("text")
	require.Len(t, texts, 1)
	x, err := strconv.ParseFloat(texts[0].attr("x"), 64)
	require.NoError(t, err)
	outline := reach(t, view.all("path")[0].attr("d"))
	assert.InDelta(t, outline[0]+(outline[2]-outline[0])*1.4/2, x, 0.3, "amid the block, which is broader than what is left of the base")
}

// Slivers narrower than the line that would part them are drawn as what surrounds them:
// a strip of 3 mm on a sheet of a metre, which is a quarter of a mm on paper.
func TestSliversAreNotABlot(t *testing.T) {
	strips := func(width float64) picture.Scene {
		left, right := box(0.5, 1, 0), meshtest.Moved(box(0.5, 1, 0), meshtest.About(mesh.Point{0, 0, 1}, 0), mesh.Point{0.5 + width, 0, 0})
		strip := meshtest.Moved(box(width, 1, 0), meshtest.About(mesh.Point{0, 0, 1}, 0), mesh.Point{0.5, 0, 0})
		m := meshtest.Join(left, strip, right)
		return picture.Scene{Mesh: m, Pieces: two(), Labels: labelled(m, func(at, _ mesh.Point) uint8 {
			if at[0] > 0.5 && at[0] < 0.5+width {
				return 1
			}
			return 0
		})}
	}
	lines := func(s picture.Scene) (n int) {
		for _, p := range parse(t, drawSVG(t, s, picture.Options{Views: []picture.View{picture.Plan}})).all("path") {
			if p.attr("stroke") == "#000000" {
				n++
			}
		}
		return n
	}
	assert.Zero(t, lines(strips(0.003)))
	assert.Equal(t, 1, lines(strips(0.03)))
}
