package meshfile

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

const (
	publicSet = "../../testdata/meshes/public/"
	badSet    = "../../testdata/meshes/bad/"
)

// mine says whether a file is of a format that these tests are about.
func mine(name string) bool {
	switch strings.ToLower(filepath.Ext(name)) {
	case ".stl", ".obj", ".ply":
		return true
	}
	return false
}

// expectation is an entry of bad/expect.json (our own set: each file was written to be
// what its "why" says).
type expectation struct {
	File, Verdict, Code, Why string
	Line, Triangles          int
	Area, Volume             float64
	Groups                   []string
}

func expectations(t testing.TB) []expectation {
	text, err := os.ReadFile(badSet + "expect.json")
	require.NoError(t, err)
	var set struct{ Files []expectation }
	require.NoError(t, json.Unmarshal(text, &set))
	return set.Files
}

// value is an entry of public/values.json (computed by exact rational sums and, apart
// from them, by CGAL 5.5.1; in file units).
type value struct {
	Triangles, Vertices int
	Area                float64
	Volume              *float64 `json:"signed_volume_as_wound"`
	Inconsistent        int      `json:"inconsistent_edges"` // then the volume depends on the origin
	Zones               map[string]float64
}

func values(t testing.TB) map[string]value {
	text, err := os.ReadFile(publicSet + "values.json")
	require.NoError(t, err)
	var set struct{ Files map[string]value }
	require.NoError(t, json.Unmarshal(text, &set))
	return set.Files
}

func summed(m *mesh.Mesh) *mesh.Sum {
	s := &mesh.Sum{}
	s.AddMesh(m)
	return s
}

// signed is the volume by the divergence theorem, closed or not.
func signed(s *mesh.Sum) float64 { v, _ := s.Volume(); return v }

func codes(warnings []mesh.Warning) (codes []string) {
	for _, w := range warnings {
		codes = append(codes, w.Code)
	}
	return codes
}

// TestBadFiles reads every file of the bad set: the verdict, the code, the line.
func TestBadFiles(t *testing.T) {
	for _, e := range expectations(t) {
		if !mine(e.File) {
			continue
		}
		t.Run(e.File, func(t *testing.T) {
			data, err := os.ReadFile(badSet + e.File)
			require.NoError(t, err)
			got, err := Read(data, Options{Name: e.File, Unit: 1e-3})
			if e.Verdict == "reject" {
				rejected(t, e, err)
				return
			}
			require.NoError(t, err, e.Why)
			accepted(t, e, got)
		})
	}
}

func rejected(t *testing.T, e expectation, err error) {
	var f *Fault
	require.ErrorAs(t, err, &f, e.Why)
	assert.Equal(t, e.Code, f.Code, f.Says)
	assert.NotEmpty(t, f.Says)
	if e.Line > 0 {
		assert.Equal(t, e.Line, f.Line, f.Says)
	}
}

func accepted(t *testing.T, e expectation, got *File) {
	if e.Triangles > 0 {
		assert.Equal(t, e.Triangles, got.Triangles)
	}
	if e.Code == TrailingBytes || e.Code == MissingEndsolid {
		assert.Equal(t, []string{e.Code}, codes(got.Warnings))
	} else {
		assert.Empty(t, got.Warnings)
	}
	s := summed(got.Mesh)
	if e.Area > 0 {
		assert.InEpsilon(t, e.Area, s.Area*1e6, 1e-6)
	}
	if e.Volume > 0 {
		assert.InEpsilon(t, e.Volume, signed(s)*1e9, 1e-6)
	}
	var zones []string
	for _, r := range got.Mesh.Runs {
		zones = append(zones, r.Zone)
	}
	if e.Groups != nil {
		assert.Equal(t, e.Groups, zones)
	}
}

// TestPublicFiles reads every STL, OBJ and PLY of the public set.
func TestPublicFiles(t *testing.T) {
	for name, v := range values(t) {
		if !mine(name) {
			continue
		}
		t.Run(name, func(t *testing.T) {
			data, err := os.ReadFile(publicSet + name)
			require.NoError(t, err)
			got, err := Read(data, Options{Name: name, Unit: 1e-3})
			require.NoError(t, err)
			assert.Empty(t, got.Warnings)
			assert.Equal(t, v.Triangles, got.Triangles)
			assert.Len(t, got.Mesh.Vertices, v.Vertices)
			s := summed(got.Mesh)
			assert.InEpsilon(t, v.Area, s.Area*1e6, 1e-6)
			if v.Volume != nil && v.Inconsistent == 0 {
				assert.InEpsilon(t, *v.Volume, signed(s)*1e9, 1e-6)
			}
			zonesAgree(t, v.Zones, got.Mesh)
		})
	}
}

// zonesAgree compares the areas of zones, whose colours stand for the names that the
// material file of the OBJ gives them.
func zonesAgree(t *testing.T, want map[string]float64, m *mesh.Mesh) {
	areas := map[string]float64{}
	for i, r := range m.Runs {
		end := len(m.Faces)
		if i+1 < len(m.Runs) {
			end = m.Runs[i+1].First
		}
		var s mesh.Sum
		for f := r.First; f < end; f++ {
			s.Add(m.Triangle(f))
		}
		areas[r.Zone] += s.Area * 1e6
	}
	for zone, area := range want {
		assert.InEpsilon(t, area, areas[zone], 1e-6, "%s of %v", zone, areas)
	}
}

// TestHookVariants: one hook, in binary, with a header that begins with solid, as text
// and in inches (the set's own writer), is one hook.
func TestHookVariants(t *testing.T) {
	var first *mesh.Sum
	for name, unit := range map[string]float64{
		"p06_undercut_hook.stl": 1e-3, "p06_undercut_hook_ascii.stl": 1e-3,
		"p06_undercut_hook_solid_header.stl": 1e-3, "p06_undercut_hook_inch.stl": 0.0254,
	} {
		data, err := os.ReadFile(publicSet + name)
		require.NoError(t, err)
		got, err := Read(data, Options{Name: name, Unit: unit})
		require.NoError(t, err)
		s := summed(got.Mesh)
		if first == nil {
			first = s
		}
		assert.InEpsilon(t, first.Area, s.Area, 1e-6, name)
		assert.InEpsilon(t, signed(first), signed(s), 1e-6, name)
		assert.Len(t, got.Mesh.Vertices, 16, name)
	}
}

// allocated is how many bytes Read asks for in all.
func allocated(data []byte, o Options) (file *File, bytes uint64, err error) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	file, err = Read(data, o)
	runtime.ReadMemStats(&after)
	return file, after.TotalAlloc - before.TotalAlloc, err
}

func TestMemoryIsBoundedByTheFile(t *testing.T) {
	for _, set := range []string{publicSet, badSet} {
		names, err := filepath.Glob(set + "*")
		require.NoError(t, err)
		for _, name := range names {
			if !mine(name) {
				continue
			}
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			_, took, _ := allocated(data, Options{Name: name, Unit: 1e-3})
			assert.LessOrEqual(t, took, uint64(4*len(data)+1<<20), name)
		}
	}
}

// TestMemoryOfTraps: files of a megabyte and more that ask for the most a byte.
func TestMemoryOfTraps(t *testing.T) {
	var far, short, changing bytes.Buffer
	for i := range 300_000 {
		far.WriteString("v " + digitsOf(i) + " 0 1\n")
		short.WriteString("v 0 0 " + digitsOf(i%10) + "\n")
		changing.WriteString("usemtl " + digitsOf(i) + "\nf 1 2 3\n")
	}
	fan := strings.Repeat("f"+strings.Repeat(" 1", 4000)+"\n", 100)
	const corner = "v 0 0 0\nv 1 0 0\nv 0 1 0\n"
	for name, text := range map[string]string{
		"far.obj": far.String() + "f 1 2 3\n", "short.obj": short.String() + fan,
		"fan.obj": corner + fan, "changing.obj": corner + changing.String(),
		"dust.ply": dustPLY(500_000, 1), "fan.ply": dustPLY(3, 300_000), "both.ply": dustPLY(40_000, 200_000),
		"loose.stl": looseSTL(40_000), "loose_ascii.stl": looseText(20_000),
	} {
		_, took, err := allocated([]byte(text), Options{Name: name, Unit: 1e-3})
		assert.LessOrEqual(t, took, uint64(4*len(text)+1<<20), "%s: %v", name, err)
		t.Logf("%s: %.2f of the file, %v", name, float64(took)/float64(len(text)), err)
	}
}

func digitsOf(i int) string { b, _ := json.Marshal(i); return string(b) }

// loose is so many triangles of which no two share a corner.
func loose(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range n {
		x, v := float64(i%1000), uint32(3*i)
		y := float64(i / 1000)
		m.Vertices = append(m.Vertices, mesh.Point{x, y, 0}, mesh.Point{x + .5, y, 0}, mesh.Point{x, y + .5, 0})
		m.Faces = append(m.Faces, [3]uint32{v, v + 1, v + 2})
	}
	return m
}

// dustPLY is a PLY file of the fewest bytes a vertex and a face, every face of a
// colour of its own.
func dustPLY(vertices, faces int) string {
	b := []byte("ply\nformat binary_little_endian 1.0\nelement vertex " + digitsOf(vertices) +
		"\nproperty uchar x\nproperty uchar y\nproperty uchar z\nelement face " + digitsOf(faces) +
		"\nproperty list uchar uchar vertex_index\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nend_header\n")
	for i := range vertices {
		b = append(b, byte(i), byte(i>>8), byte(i>>16))
	}
	for i := range faces {
		b = append(b, 3, 0, 1, 2, byte(i), byte(i>>8), byte(i>>16))
	}
	return string(b)
}

func looseSTL(n int) string { return string(writeSTL(loose(n))) }

func looseText(n int) string { return string(writeTextSTL(loose(n))) }

func TestDetect(t *testing.T) {
	for _, c := range []struct {
		text, name string
		want       Format
		code       string
	}{
		{"ply\nformat ascii 1.0\n", "a.stl", PLY, ""},
		{"glTF............", "", GLB, ""},
		{"PK\x03\x04............", "a.3mf", TMF, ""},
		{"PK\x03\x04............", "a.stl", "", NotAMesh},
		{" {\"asset\":{\"version\":\"2.0\"}}", "a.bin", GLTF, ""},
		{"\xef\xbb\xbfsolid a\nendsolid", "", STL, ""},
		{"v 0 0 0\nv 1 0 0\n", "A.OBJ", OBJ, ""},
		{"v 0 0 0\nv 1 0 0\n", "a.txt", "", NotAMesh},
		{"<!doctype html><html>", "a.obj", "", NotAMesh},
		{"", "a.obj", "", EmptyFile},
		{"solid", "a.stl", "", EmptyFile},
	} {
		got, err := Detect([]byte(c.text), c.name)
		assert.Equal(t, c.want, got, "%q %q", c.text, c.name)
		var f *Fault
		if errors.As(err, &f) {
			assert.Equal(t, c.code, f.Code)
		} else {
			assert.Empty(t, c.code, "%q %q", c.text, c.name)
		}
	}
}

func TestUnitIsWanted(t *testing.T) {
	data, err := os.ReadFile(publicSet + "p06_undercut_hook.stl")
	require.NoError(t, err)
	for _, unit := range []float64{0, -1, math.NaN(), math.Inf(1), 1e-12, 1e9} {
		_, err := Read(data, Options{Unit: unit})
		var f *Fault
		require.ErrorAs(t, err, &f)
		assert.Equal(t, Unit, f.Code)
	}
	_, err = Read(data, Options{Unit: 1e-3, MostTriangles: 27})
	var f *Fault
	require.ErrorAs(t, err, &f)
	assert.Equal(t, TooLarge, f.Code)
}
