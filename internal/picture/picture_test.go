package picture_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"hash/fnv"
	"image"
	"image/png"
	"io"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/picture"
)

var update = flag.Bool("update", false, "write the golden files")

func drawPNG(t testing.TB, s picture.Scene, o picture.Options) image.Image {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, picture.PNG(&b, s, o))
	img, err := png.Decode(&b)
	require.NoError(t, err)
	return img
}

func drawSVG(t testing.TB, s picture.Scene, o picture.Options) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, picture.SVG(&b, s, o))
	return b.String()
}

func TestPNGHasTheWidthAskedFor(t *testing.T) {
	for _, width := range []int{0, picture.LeastWidth, 1000, 2001} {
		img := drawPNG(t, split(box(1, 1, 1)), picture.Options{Width: width})
		if width == 0 {
			width = picture.DefaultWidth
		}
		assert.Equal(t, width, img.Bounds().Dx())
		assert.InDelta(t, float64(width)*210/297, img.Bounds().Dy(), 0.51)
	}
}

// count counts pixels by what they are.
func count(img image.Image, is func(r, g, b int) bool) int {
	n, pix := 0, img.(*image.RGBA).Pix // what a PNG without transparency is read as
	for i := 0; i < len(pix); i += 4 {
		if is(int(pix[i]), int(pix[i+1]), int(pix[i+2])) {
			n++
		}
	}
	return n
}

// figureArea is what the person covers, in pixels.
func figureArea(img image.Image) int {
	return count(img, func(r, g, b int) bool { return r == 0x8A && g == 0x94 && b == 0x9E })
}

func TestAPersonStandsBesideEveryPiece(t *testing.T) {
	for _, size := range []float64{1e-5, 0.01, 0.3, 1, 5, 30} {
		img := drawPNG(t, picture.Scene{Mesh: box(size, size, size)}, picture.Options{})
		assert.Greater(t, figureArea(img), 20, "a box of %g m", size)
	}
}

// The person's scale is the piece's: both are drawn smaller together.
func TestThePersonShrinksAsThePieceGrows(t *testing.T) {
	last := math.MaxInt
	for _, size := range []float64{1, 2, 4, 8, 16} {
		area := figureArea(drawPNG(t, picture.Scene{Mesh: box(size, size, size)}, picture.Options{}))
		assert.Less(t, area, last)
		last = area
	}
}

// node is an element of an SVG.
type node struct {
	XMLName xml.Name
	Attrs   []xml.Attr `xml:",any,attr"`
	Nodes   []node     `xml:",any"`
	Text    string     `xml:",chardata"`
}

func (n node) attr(name string) string {
	for _, a := range n.Attrs {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// all lists an element and what it holds, in order.
func (n node) all(name string) []node {
	var found []node
	if n.XMLName.Local == name {
		found = append(found, n)
	}
	for _, child := range n.Nodes {
		found = append(found, child.all(name)...)
	}
	return found
}

func parse(t *testing.T, svg string) node {
	t.Helper()
	var root node
	require.NoError(t, xml.Unmarshal([]byte(svg), &root))
	return root
}

// area is what a path's loops enclose, holes taken off: they are wound either way,
// so a loop inside an odd number of others counts as a hole.
func area(t *testing.T, d string) float64 {
	t.Helper()
	var loops [][][2]float64
	for loop := range strings.SplitSeq(strings.TrimPrefix(d, "M"), "M") {
		var line [][2]float64
		for place := range strings.SplitSeq(strings.TrimSuffix(loop, "Z"), "L") {
			var p [2]float64
			_, err := fmt.Sscan(place, &p[0], &p[1])
			require.NoError(t, err)
			line = append(line, p)
		}
		loops = append(loops, line)
	}
	sum := 0.0
	for i, loop := range loops {
		sign := 1.0
		for j, other := range loops {
			if i != j && inside(other, loop[0]) {
				sign = -sign
			}
		}
		sum += sign * math.Abs(shoelace(loop))
	}
	return sum
}

func shoelace(loop [][2]float64) float64 {
	twice := 0.0
	for i, p := range loop {
		q := loop[(i+1)%len(loop)]
		twice += p[0]*q[1] - q[0]*p[1]
	}
	return twice / 2
}

func inside(loop [][2]float64, p [2]float64) bool {
	in := false
	for i, a := range loop {
		b := loop[(i+1)%len(loop)]
		if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0]+(b[0]-a[0])*(p[1]-a[1])/(b[1]-a[1]) {
			in = !in
		}
	}
	return in
}

// scaleOf reads the scale, mm on the sheet to a metre, from the scale bar: its four
// quarters, and the words beside it.
func scaleOf(t *testing.T, root node) float64 {
	t.Helper()
	texts := root.all("text")
	var value float64
	var unit string
	_, err := fmt.Sscan(strings.TrimSuffix(strings.Split(texts[len(texts)-1].Text, ";")[0], ";"), &value, &unit)
	require.NoError(t, err)
	if unit == "mm" {
		value /= 1000
	}
	paths := root.all("path")
	var from, to float64
	_, err = fmt.Sscanf(paths[len(paths)-4].attr("d"), "M%f", &from)
	require.NoError(t, err)
	last := regexp.MustCompile(`[\d.]+`).FindAllString(paths[len(paths)-1].attr("d"), -1)
	to, err = strconv.ParseFloat(last[2], 64)
	require.NoError(t, err)
	return (to - from) / value
}

// The areas seen are those of plane geometry: a box is seen as rectangles, a sphere
// as a circle, a torus from above as a ring and from the side as a stadium.
func TestOutlinesHaveTheAreaThatIsSeen(t *testing.T) {
	circle := math.Pi * 0.6 * 0.6
	stadium := 1.6*0.6 + math.Pi*0.3*0.3
	for name, row := range map[string]struct {
		mesh *mesh.Mesh
		want [3]float64 // front, side, plan, m2
	}{
		"box":    {box(2, 1, 1.5), [3]float64{3, 1.5, 2}},
		"sphere": {sphere(0.6, 80), [3]float64{circle, circle, circle}},
		"torus":  {torus(0.8, 0.3, 160), [3]float64{stadium, stadium, math.Pi * (1.1*1.1 - 0.5*0.5)}},
		"hook":   {stl(t, "p06_undercut_hook.stl", 10), [3]float64{1.04, 1.2, 2}}, // by hand from its outline
		"small":  {box(0.02, 0.01, 0.015), [3]float64{3e-4, 1.5e-4, 2e-4}},
	} {
		root := parse(t, drawSVG(t, picture.Scene{Mesh: row.mesh}, picture.Options{}))
		scale := scaleOf(t, root)
		views := root.all("g")
		views = views[len(views)-3:] // a small piece is drawn beside the person first
		for i, view := range views {
			seen := area(t, view.all("path")[0].attr("d")) / (scale * scale)
			assert.InEpsilon(t, row.want[i], seen, 0.01, "%s, view %d", name, i)
		}
	}
}

// The same by pixels: front, side and plan of a box have one shade each.
func TestPixelsHaveTheAreaThatIsSeen(t *testing.T) {
	for name, row := range map[string]struct {
		mesh *mesh.Mesh
		want float64 // m2
		rim  float64 // m; the line on it covers half its width of the surface
	}{
		"box":    {box(2, 1, 1.5), 3, 7},
		"sphere": {sphere(0.6, 80), math.Pi * 0.6 * 0.6, 2 * math.Pi * 0.6},
	} {
		s := picture.Scene{Mesh: row.mesh}
		o := picture.Options{Width: 2000, Views: []picture.View{picture.Front}}
		scale := scaleOf(t, parse(t, drawSVG(t, s, o))) * 2000 / 297
		stone := count(drawPNG(t, s, o), func(r, _, b int) bool { return r > b+3 && r-b < 40 }) // the one warm colour
		assert.InEpsilon(t, row.want, (float64(stone)+row.rim*scale*0.175*2000/297)/(scale*scale), 0.01, name)
	}
}

func TestSVGIsWellFormedAndSelfContained(t *testing.T) {
	s := split(sphere(0.6, 30))
	s.Title, s.Caption = `<b>"A & B"</b>`, "a\x01b ]]> é"
	svg := drawSVG(t, s, picture.Options{})
	decoder := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		if e, ok := token.(xml.StartElement); ok {
			assert.NotContains(t, []string{"script", "image", "use", "foreignObject", "b"}, e.Name.Local)
			for _, a := range e.Attr {
				assert.NotContains(t, a.Name.Local, "href")
			}
		}
	}
	root := parse(t, svg)
	assert.Equal(t, s.Title, root.all("title")[0].Text)
	assert.Contains(t, root.all("desc")[0].Text, "piece 2, pulls down (-z)")
	assert.Equal(t, "0 0 297 210", root.attr("viewBox"))
	assert.NotContains(t, svg, "NaN")
}

func TestSVGHasARegionForEachPieceSeen(t *testing.T) {
	root := parse(t, drawSVG(t, split(sphere(0.6, 30)), picture.Options{}))
	ids := map[string]bool{}
	for _, p := range root.all("pattern") {
		assert.False(t, ids[p.attr("id")], "%s twice", p.attr("id"))
		ids[p.attr("id")] = true
	}
	assert.Len(t, ids, 2)
	want := [][]string{{"url(#hatch-1)", "url(#hatch-2)"}, {"url(#hatch-1)", "url(#hatch-2)"}, {"url(#hatch-1)"}}
	for i, view := range root.all("g") {
		var got []string
		for _, p := range view.all("path") {
			if strings.HasPrefix(p.attr("fill"), "url") {
				got = append(got, p.attr("fill"))
			}
		}
		assert.Equal(t, want[i], got, "view %d", i)
	}
}

// A sphere parts at its equator: seen from the front, that is a straight line of its
// width.
func TestThePartingLineIsWherePiecesMeet(t *testing.T) {
	root := parse(t, drawSVG(t, split(sphere(0.6, 40)), picture.Options{Views: []picture.View{picture.Front}}))
	for _, p := range root.all("path") {
		if p.attr("stroke") != "#000000" {
			continue
		}
		var a, b [2]float64
		_, err := fmt.Sscanf(p.attr("d"), "M%f %fL%f %f", &a[0], &a[1], &b[0], &b[1])
		require.NoError(t, err)
		assert.InDelta(t, a[1], b[1], 0.11)
		assert.InEpsilon(t, 1.2*scaleOf(t, root), math.Abs(b[0]-a[0]), 0.01)
		return
	}
	t.Error("no parting line")
}

func TestPicturesAreTheSameEveryTime(t *testing.T) {
	s := split(torus(0.8, 0.3, 48))
	var first, second bytes.Buffer
	require.NoError(t, picture.PNG(&first, s, picture.Options{Width: 800}))
	require.NoError(t, picture.PNG(&second, s, picture.Options{Width: 800}))
	assert.True(t, bytes.Equal(first.Bytes(), second.Bytes()))
	assert.Equal(t, drawSVG(t, s, picture.Options{}), drawSVG(t, s, picture.Options{}))
}

// The same pixels on every processor, with fused multiplication (GOAMD64=v3) and
// without: the sum was taken from a picture that was looked at.
func TestPixelsAreTheSameOnEveryProcessor(t *testing.T) {
	sum := fnv.New64a()
	for _, s := range []picture.Scene{split(stl(t, "p08a_horn_left.stl", 10)), split(torus(0.02, 0.008, 48))} {
		_, _ = sum.Write(drawPNG(t, s, picture.Options{Width: 900}).(*image.RGBA).Pix)
	}
	assert.Equal(t, uint64(0xc6ae9a16eb29ba21), sum.Sum64(), "%#x", sum.Sum64())
}

func TestGolden(t *testing.T) {
	m := box(1.6, 0.9, 1.2)
	s := picture.Scene{
		Mesh: m, Labels: halves(m), Pieces: two(),
		Title: "Fernhollow Arboretum: plinth", Caption: "Suggested split, 2 degrees of draft",
	}
	s.Labels[2], s.Labels[3] = 0, 0
	for i := range 4 {
		s.Labels[8+i] = picture.Locked
	}
	got := drawSVG(t, s, picture.Options{})
	const golden = "testdata/box.svg"
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(got), 0o600))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Equal(t, string(want), got)
}

// Each piece brings its tint and its ink.
func TestPiecesAreTinted(t *testing.T) {
	s := split(sphere(0.6, 40))
	bluish := func(r, _, b int) bool { return b > r+25 && b > 150 }
	yellowish := func(r, _, b int) bool { return r > b+40 }
	legend := drawPNG(t, picture.Scene{Mesh: s.Mesh, Labels: make([]uint8, len(s.Labels)), Pieces: two()}, picture.Options{})
	parted := drawPNG(t, s, picture.Options{})
	assert.Greater(t, count(parted, bluish), 20000)
	assert.Greater(t, count(parted, yellowish), 5*count(legend, yellowish)) // in the legend alone there
	assert.Zero(t, count(drawPNG(t, picture.Scene{Mesh: s.Mesh}, picture.Options{}), bluish))
}

func TestWhatCannotBeDrawnIsRefused(t *testing.T) {
	broken := func(change func(*picture.Scene, *picture.Options)) (picture.Scene, picture.Options) {
		s, o := split(box(1, 1, 1)), picture.Options{}
		change(&s, &o)
		return s, o
	}
	for want, change := range map[string]func(*picture.Scene, *picture.Options){
		"empty":       func(s *picture.Scene, _ *picture.Options) { s.Mesh = &mesh.Mesh{} },
		"mesh is emp": func(s *picture.Scene, _ *picture.Options) { s.Mesh = nil },
		"320 to 4096": func(_ *picture.Scene, o *picture.Options) { o.Width = 319 },
		"width of 40": func(_ *picture.Scene, o *picture.Options) { o.Width = 4097 },
		"each once":   func(_ *picture.Scene, o *picture.Options) { o.Views = []picture.View{0, 0} },
		"views [View": func(_ *picture.Scene, o *picture.Options) { o.Views = []picture.View{3} },
		"labels for":  func(s *picture.Scene, _ *picture.Options) { s.Labels = s.Labels[1:] },
		"of piece 2":  func(s *picture.Scene, _ *picture.Options) { s.Labels[0] = 2 },
		"at most 32":  func(s *picture.Scene, _ *picture.Options) { s.Pieces = make([]string, 33) },
		"bytes":       func(s *picture.Scene, _ *picture.Options) { s.Title = strings.Repeat("x", 2001) },
		"vertex 8":    func(s *picture.Scene, _ *picture.Options) { s.Mesh.Faces[3][1] = 8 },
		"NaN":         func(s *picture.Scene, _ *picture.Options) { s.Mesh.Vertices[0][1] = math.NaN() },
		"+Inf":        func(s *picture.Scene, _ *picture.Options) { s.Mesh.Vertices[0][1] = math.Inf(1) },
		"at least":    func(s *picture.Scene, _ *picture.Options) { s.Mesh = box(0, 0, 0) },
	} {
		s, o := broken(change)
		var b bytes.Buffer
		require.ErrorContains(t, picture.PNG(&b, s, o), want)
		require.ErrorContains(t, picture.SVG(&b, s, o), want)
		assert.Zero(t, b.Len())
	}
}

// Sheets and needles have views in which there is next to nothing to see.
func TestThinPiecesAreDrawn(t *testing.T) {
	for _, m := range []*mesh.Mesh{box(1, 0, 1), box(0, 0, 1), box(5, 1e-7, 1e-7), box(1e4, 1, 1), box(1e-6, 1e-6, 1e-6)} {
		for _, views := range [][]picture.View{nil, {picture.Plan}, {picture.Side, picture.Plan}} {
			svg := drawSVG(t, picture.Scene{Mesh: m}, picture.Options{Views: views})
			assert.NotRegexp(t, "NaN|Inf", svg)
			drawPNG(t, picture.Scene{Mesh: m}, picture.Options{Width: 320, Views: views})
		}
	}
}

// failing takes nothing.
type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }

func TestAWritersErrorIsHandedOn(t *testing.T) {
	require.ErrorIs(t, picture.PNG(failing{}, split(box(1, 1, 1)), picture.Options{}), io.ErrClosedPipe)
	require.ErrorIs(t, picture.SVG(failing{}, split(box(1, 1, 1)), picture.Options{}), io.ErrClosedPipe)
}

func ExampleSVG() {
	corners := []mesh.Point{{0, 0, 0}, {2, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	wedge := &mesh.Mesh{Vertices: corners, Faces: [][3]uint32{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}}}
	var b strings.Builder
	err := picture.SVG(&b, picture.Scene{Mesh: wedge, Title: "A wedge"}, picture.Options{})
	for line := range strings.Lines(b.String()) {
		if strings.Contains(line, "<desc>") {
			fmt.Print(line)
		}
	}
	fmt.Println(err)
	// Output:
	// <desc>The piece beside a person 1.75 m tall; width 2000 mm, depth 1000 mm, height 1000 mm. Views: front; side, from +x; plan.</desc>
	// <nil>
}

func BenchmarkPNG(b *testing.B) {
	m := sphere(1, 224) // 200 704 faces
	s := split(m)
	b.ReportAllocs()
	for b.Loop() {
		if err := picture.PNG(io.Discard, s, picture.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSVG(b *testing.B) {
	s := split(sphere(1, 224))
	b.ReportAllocs()
	for b.Loop() {
		if err := picture.SVG(io.Discard, s, picture.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
