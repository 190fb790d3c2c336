package meshfile

import (
	"bytes"
	"errors"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// drawMesh draws a mesh whose vertices differ, are all used, and first appear in their
// order; its coordinates are whole float32. Zones change now and then where it has any.
func drawMesh(t *rapid.T, zones []string) *mesh.Mesh {
	m := &mesh.Mesh{}
	seen := map[mesh.Point]bool{}
	point := func() uint32 {
		for {
			p := mesh.Point{}
			for i := range p {
				p[i] = float64(rapid.Float32Range(-900, 900).Draw(t, "x")) + 0
			}
			if !seen[p] {
				seen[p] = true
				m.Vertices = append(m.Vertices, p)
				return uint32(len(m.Vertices) - 1)
			}
		}
	}
	for i := range rapid.IntRange(1, 40).Draw(t, "faces") {
		var f [3]uint32
		for c := range f {
			if n := len(m.Vertices); n > 0 && rapid.Bool().Draw(t, "old") {
				f[c] = uint32(rapid.IntRange(0, n-1).Draw(t, "vertex"))
			} else {
				f[c] = point()
			}
		}
		m.Faces = append(m.Faces, f)
		if len(zones) > 0 && (i == 0 || rapid.IntRange(0, 5).Draw(t, "change") == 0) {
			zone := rapid.SampledFrom(zones).Draw(t, "zone")
			if n := len(m.Runs); n == 0 || m.Runs[n-1].Zone != zone {
				m.Runs = append(m.Runs, mesh.Run{Zone: zone, First: i})
			}
		}
	}
	return m
}

// same checks that what was read is what was written.
func same(t *rapid.T, want *mesh.Mesh, data []byte, name string) {
	got, err := Read(data, Options{Name: name, Unit: 1})
	if err != nil {
		t.Fatalf("%v in\n%.300q", err, data)
	}
	if !slices.Equal(want.Vertices, got.Mesh.Vertices) || !slices.Equal(want.Faces, got.Mesh.Faces) ||
		!slices.Equal(want.Runs, got.Mesh.Runs) || got.Triangles != len(want.Faces) {
		t.Fatalf("%v came back as %v", want, got.Mesh)
	}
}

func TestRoundTripSTL(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMesh(t, nil)
		same(t, m, writeSTL(m), "a.stl")
		same(t, m, writeTextSTL(m), "a.stl")
	})
}

func TestRoundTripTextSTL(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMesh(t, []string{"base", "fin with spaces", "facet 7"})
		text := writeTextSTL(m)
		same(t, m, text, "a.stl")
		same(t, m, bytes.ReplaceAll(text, []byte("\n"), []byte("\r")), "a.stl")
		same(t, m, bytes.ReplaceAll(text, []byte("\n"), []byte("\r\n\t ")), "a.stl")
		for _, word := range []string{"solid", "facet normal", "outer loop", "vertex", "endloop", "endfacet"} {
			text = bytes.ReplaceAll(text, []byte(word+" "), []byte(strings.ToUpper(word)+"\t"))
		}
		same(t, m, append([]byte("\xef\xbb\xbf \n"), bytes.ReplaceAll(text, []byte("FACET\t7"), []byte("facet 7"))...), "")
	})
}

func TestRoundTripOBJ(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMesh(t, []string{"gold", "white", "two words"})
		same(t, m, writeOBJ(m, false), "a.obj")
		same(t, m, writeOBJ(m, true), "a.obj")
		same(t, m, bytes.ReplaceAll(writeOBJ(m, false), []byte("\n"), []byte("\r")), "a.obj")
	})
}

func TestRoundTripPLY(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMesh(t, []string{"#102030", "#ff0000", "#000001"})
		k := plyKind{
			format:  rapid.SampledFrom([]string{"ascii", "binary_little_endian", "binary_big_endian"}).Draw(t, "format"),
			lengths: rapid.SampledFrom([]string{"char", "uchar", "short", "ushort", "int", "uint", "int8", "uint32"}).Draw(t, "lengths"),
			indices: rapid.SampledFrom([]string{"short", "ushort", "int", "uint", "int16", "uint32"}).Draw(t, "indices"),
			list:    rapid.SampledFrom([]string{"vertex_index", "vertex_indices"}).Draw(t, "list"),
			real:    rapid.SampledFrom([]string{"float", "double"}).Draw(t, "real"),
			first:   rapid.Bool().Draw(t, "faces first"),
		}
		same(t, m, writePLY(m, k), "a.ply")
	})
}

// TestColoursOfVertices: a face whose corners are of one colour is of that zone.
func TestColoursOfVertices(t *testing.T) {
	const text = "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n" +
		"property float red\nproperty float green\nproperty float blue\nelement face 2\nproperty list uchar int vertex_index\nend_header\n" +
		"0 0 0 1 0 0\n1 0 0 1 0 0\n0 1 0 1 0 0\n0 0 1 0 0 0.2\n3 0 1 2\n3 0 1 3\n"
	got, err := Read([]byte(text), Options{Unit: 1})
	require.NoError(t, err)
	assert.Equal(t, []mesh.Run{{Zone: "#ff0000", First: 0}, {Zone: "", First: 1}}, got.Mesh.Runs)
}

// TestPolygons: the area of a polygon that is cut up is that of the polygon (shoelace
// formula, school geometry), and each has two triangles fewer than corners.
func TestPolygons(t *testing.T) {
	for name, c := range map[string]struct {
		corners string
		area    float64
	}{
		"square":       {"0 0 1 0 1 1 0 1", 1},
		"arrow":        {"0 0 4 0 1 1 0 4", 4},
		"L":            {"0 0 2 0 2 1 1 1 1 2 0 2", 3},
		"comb":         {"0 0 7 0 7 3 6 3 6 1 5 1 5 3 4 3 4 1 3 1 3 3 2 3 2 1 1 1 1 3 0 3", 15},
		"on a line":    {"0 0 1 0 2 0 3 0 3 2 0 2", 6},
		"first hollow": {"1 1 0 4 0 0 4 0", 4},
		"keyhole":      {"0 0 4 0 4 4 0 4 0 0 1 1 1 3 3 3 3 1 1 1", 12},
	} {
		xy := strings.Fields(c.corners)
		for _, frame := range [][3]string{{"%x", "%y", "0"}, {"0", "%x", "%y"}, {"%y", "%x", "3"}, {"%x", "5", "%y"}} {
			text, face := "", "f"
			for i := 0; i < len(xy); i += 2 {
				place := strings.Join(frame[:], " ")
				text += "v " + strings.NewReplacer("%x", xy[i], "%y", xy[i+1]).Replace(place) + "\n"
				face += " " + digitsOf(i/2+1)
			}
			got, err := Read([]byte(text+face+"\n"), Options{Name: "a.obj", Unit: 1})
			require.NoError(t, err, name)
			assert.Equal(t, len(xy)/2-2, got.Triangles, name)
			assert.InDelta(t, c.area, summed(got.Mesh).Area, 1e-12, "%s %v", name, frame)
			assert.InDelta(t, c.area, math.Sqrt(dot(summed(got.Mesh).Vector, summed(got.Mesh).Vector)), 1e-12, "%s %v: no triangle is turned over", name, frame)
		}
	}
}

// TestManyCorners: a polygon that would take too long is refused, one that is convex
// is not.
func TestManyCorners(t *testing.T) {
	star := func(n int, inner float64) string {
		text, face := "", "f"
		for i := range n {
			r := 100.0
			if i%2 == 1 {
				r = inner
			}
			s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			text += "v " + floatText(r*c) + " " + floatText(r*s) + " 0\n"
			face += " " + digitsOf(i+1)
		}
		return text + face + "\n"
	}
	read := func(n int, inner float64) error {
		_, err := Read([]byte(star(n, inner)), Options{Name: "a.obj", Unit: 1e-3})
		return err
	}
	require.NoError(t, read(500, 100))
	require.NoError(t, read(1000, 90))
	var f *Fault
	require.ErrorAs(t, read(2000, 90), &f)
	assert.Equal(t, TooLarge, f.Code)
}

// TestNoCrowdInTheTable: points that were chosen to meet in the first sixteenth of the
// table, were the key known beforehand, stand all over it.
func TestNoCrowdInTheTable(t *testing.T) {
	const n = 20_000
	const slots = n + n/4 + 1
	points := make([]mesh.Point, 0, n)
	for i := 0; len(points) < n; i++ {
		if p := (mesh.Point{1, 2, float64(float32(i) / 1024)}); slot(p, golden, slots) < slots/16 {
			points = append(points, p)
		}
	}
	key, crowd := keyOf(points), 0
	for _, p := range points {
		if slot(p, key, slots) < slots/16 {
			crowd++
		}
	}
	assert.InDelta(t, n/16, crowd, 250) // seven times the deviation of chance, 34 (binomial distribution)
}

func floatText(x float64) string { return formatted(x) }

// TestOBJLines: what stands on the lines of an OBJ file.
func TestOBJLines(t *testing.T) {
	const corner = "v 0 0 0 1\nv 1 0 0 0.5 0.5 0.5\nv 0 1 0\n"
	for text, code := range map[string]string{
		"f 1 2 3":               "",
		"f 1/1 2/1 3/1":         "",
		"f 1//1 2//1 3//1 # a":  "",
		"f -3 -2 -1":            "",
		"f -4 -2 -1":            IndexRange,
		"f 4 2 1\nv 1 1 1":      "", // vertices may come later
		"f 1 2 -1\nf -4 1 2":    IndexRange,
		"f 1.5 2 3":             Syntax,
		"f a b c":               Syntax,
		"f 1 2 99999999999999":  IndexRange,
		"v nan 0 0\nf 1 2 3":    NonFinite,
		"v -inf 0 0\nf 1 2 3":   NonFinite,
		"v 1.#IND 0 0\nf 1 2 3": NonFinite,
		"v 1e400 0 0\nf 1 2 3":  OutOfRange,
		"v 1e39 0 0\nf 1 2 3":   OutOfRange,
		"v 10001 0 0\nf 1 2 3":  OutOfRange,
		"v 1 2\nf 1 2 3":        Syntax,
		"v 0x1p2 2 3\nf 1 2 3":  Syntax,
		"v 1_0 2 3\nf 1 2 3":    Syntax,
		"vt 1,5 a\ncurv 7\no x\ng y\ns off\nmtllib ../../x.mtl\nf 1 2 3": "",
		"":              EmptyMesh,
		"f 1 2 \\\n 3":  "",
		"f 1 2 3\\\n":   "",
		"f 1 2\\\n 3 1": "",
	} {
		_, err := Read([]byte(corner+text), Options{Name: "a.obj", Unit: 1})
		var f *Fault
		if errors.As(err, &f) {
			assert.Equal(t, code, f.Code, "%q: %v", text, f)
		} else {
			assert.Empty(t, code, text)
		}
	}
}

// TestNumbers: the fast way and the slow way agree with what is written.
func TestNumbers(t *testing.T) {
	s := newScanner(nil)
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64().Draw(t, "x")
		for _, verb := range []byte("efg") {
			for _, digits := range []int{-1, 3, 9, 17} {
				text := formattedAs(x, verb, digits)
				want := max(-math.MaxFloat64, min(math.MaxFloat64, parsed(text)))
				got, err := s.double([]byte(text))
				if err != nil && len(text) <= 400 {
					t.Fatalf("%s: %v", text, err)
				}
				if err == nil && got != want {
					t.Fatalf("%s: %v, not %v", text, got, want)
				}
			}
		}
	})
}

// TestGauge: a file that passes by measures what it measures when it is kept, in
// whatever pieces it comes.
func TestGauge(t *testing.T) {
	for name := range values(t) {
		if !strings.HasSuffix(name, ".stl") {
			continue
		}
		gaugedAlike(t, publicSet+name)
	}
	for _, e := range expectations(t) {
		if strings.HasSuffix(e.File, ".stl") {
			gaugedAlike(t, badSet+e.File)
		}
	}
}

func gaugedAlike(t *testing.T, name string) {
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	o := Options{Name: name, Unit: 1e-3}
	want, wrong := Read(data, o)
	got, err := Gauge(iotest.HalfReader(bytes.NewReader(data)), int64(len(data)), o)
	if wrong != nil {
		var f, g *Fault
		require.ErrorAs(t, wrong, &f)
		require.ErrorAs(t, err, &g, name)
		assert.Equal(t, f.Code, g.Code, name)
		assert.Equal(t, f.Line, g.Line, name)
		return
	}
	require.NoError(t, err, name)
	s := summed(want.Mesh)
	assert.Equal(t, s.Faces, got.Faces, name)
	assert.InEpsilon(t, s.Area, got.Area, 1e-12, name)
	assert.Equal(t, s.Low, got.Low, name)
	assert.Equal(t, s.High, got.High, name)
	assert.Equal(t, want.Warnings, got.Warnings, name)
}

// TestGaugeBlocks: files of several blocks.
func TestGaugeBlocks(t *testing.T) {
	m := loose(50_000)
	s := summed(m)
	for _, data := range [][]byte{writeSTL(m), writeTextSTL(m), bytes.ReplaceAll(writeTextSTL(m), []byte("\n"), []byte("\r\n"))} {
		got, err := Gauge(bytes.NewReader(data), int64(len(data)), Options{Unit: 1})
		require.NoError(t, err)
		assert.Equal(t, 50_000, got.Faces)
		assert.InEpsilon(t, s.Area, got.Area, 1e-12)
		_, err = Gauge(bytes.NewReader(data[:len(data)-70]), int64(len(data)), Options{Unit: 1})
		var f *Fault
		require.ErrorAs(t, err, &f)
		assert.Equal(t, Truncated, f.Code)
	}
}

// A material that no face has is no zone, and leaves no seam in the one around it (the
// OBJ specification: usemtl names the material of the elements that follow it).
func TestMaterialsWithoutFacesAreNoZones(t *testing.T) {
	for text, want := range map[string][]mesh.Run{
		"usemtl red\nf 1 2 3\nusemtl blue\n":                          {{Zone: "red"}},
		"usemtl red\nf 1 2 3\nusemtl blue\nusemtl red\nf 1 3 4\n":     {{Zone: "red"}},
		"usemtl blue\nusemtl red\nf 1 2 3\nf 1 3 4\nusemtl red\n":     {{Zone: "red"}},
		"f 1 2 3\nusemtl blue\nusemtl red\nf 1 3 4\n":                 {{Zone: "red", First: 1}},
		"f 1 2 3\nusemtl blue\n":                                      {},
		"usemtl red\nf 1 2 3\nusemtl blue\nf 1 3 4\nusemtl\nusemtl x": {{Zone: "red"}, {Zone: "blue", First: 1}},
	} {
		file, err := Read([]byte("v 0 0 0\nv 4 0 0\nv 4 4 0\nv 0 4 0\n"+text), Options{Name: "a.obj", Unit: 1})
		require.NoError(t, err)
		require.Equal(t, want, file.Mesh.Runs, text)
	}
}
