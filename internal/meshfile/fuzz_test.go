package meshfile

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// seed adds the small files of one format from the sets.
func seed(f *testing.F, extension string) {
	for _, set := range []string{publicSet, badSet} {
		names, err := filepath.Glob(set + "*." + extension)
		require.NoError(f, err)
		for _, name := range names {
			data, err := os.ReadFile(name)
			require.NoError(f, err)
			if len(data) <= 20_000 {
				f.Add(data)
			}
		}
	}
}

// sound checks what must hold of any bytes: an answer or a fault, finite, in order,
// within four times the file and a megabyte.
func sound(t *testing.T, data []byte, name string) *File {
	got, took, err := allocated(data, Options{Name: name, Unit: 1e-3})
	if most := uint64(4*len(data) + 1<<20); took > most {
		t.Fatalf("%d bytes were asked for; allowed are %d", took, most)
	}
	var f *Fault
	if err != nil {
		if !errors.As(err, &f) || f.Code == "" || f.Says == "" || got != nil {
			t.Fatalf("%v is no fault", err)
		}
		return nil
	}
	finite(t, got.Mesh)
	return got
}

func finite(t *testing.T, m *mesh.Mesh) {
	for _, f := range m.Faces {
		for _, v := range f {
			if int(v) >= len(m.Vertices) {
				t.Fatalf("vertex %d of %d", v, len(m.Vertices))
			}
		}
	}
	for i, r := range m.Runs {
		if r.First >= len(m.Faces) || (i > 0 && r.First <= m.Runs[i-1].First) {
			t.Fatalf("runs %v", m.Runs)
		}
	}
	for _, p := range m.Vertices {
		for _, x := range p {
			if !(math.Abs(x) <= MostReach) || (x == 0 && math.Signbit(x)) {
				t.Fatalf("vertex %v", p)
			}
		}
	}
	s := summed(m)
	if v, _ := s.Volume(); !(s.Area >= 0) || math.IsInf(s.Area, 1) || math.IsNaN(v) || math.IsInf(v, 0) {
		t.Fatalf("area %v, volume %v", s.Area, v)
	}
}

func FuzzSTL(f *testing.F) {
	seed(f, "stl")
	f.Fuzz(func(t *testing.T, data []byte) {
		kept := sound(t, data, "a.stl")
		if format, err := Detect(data, "a.stl"); err != nil || format != STL {
			return
		}
		passed, err := Gauge(bytes.NewReader(data), int64(len(data)), Options{Unit: 1e-3})
		if (kept == nil) != (err != nil) || (err == nil && passed.Faces != kept.Triangles) {
			t.Fatalf("kept %v, passed %v (%v)", kept, passed, err)
		}
	})
}

func FuzzOBJ(f *testing.F) {
	seed(f, "obj")
	f.Add([]byte("v 0 0 0\nv 4 0 0\nv 1 1 0\nv 0 4 0\nusemtl a b\nf 1 2 \\\r\n3 -1\n"))
	f.Add([]byte("v 0 0 0\nv 4 0 0\nv 1 1 0\nusemtl a\nf 1 2 3\nusemtl b\n"))
	f.Fuzz(func(t *testing.T, data []byte) { sound(t, data, "a.obj") })
}

func FuzzPLY(f *testing.F) {
	seed(f, "ply")
	m := loose(3)
	m.Runs = []mesh.Run{{Zone: "#102030"}}
	for _, format := range []string{"ascii", "binary_little_endian", "binary_big_endian"} {
		for i := range 2 {
			f.Add(writePLY(m, plyKind{format, "uchar", "int", "vertex_index", "float", i == 1}))
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) { sound(t, data, "a.ply") })
}

// ball is a ball of some rings and meridians, as a sculpt is: joined everywhere.
func ball(rings, meridians int) *mesh.Mesh {
	m := &mesh.Mesh{}
	at := func(i, j int) mesh.Point {
		a, b := math.Pi*float64(i)/float64(rings), 2*math.Pi*float64(j%meridians)/float64(meridians)
		return mesh.Point{
			float64(float32(100 * math.Sin(a) * math.Cos(b))), float64(float32(100 * math.Sin(a) * math.Sin(b))),
			float64(float32(100 * math.Cos(a))),
		}
	}
	number := func(i, j int) uint32 { return uint32(i*meridians + j%meridians) }
	for i := range rings + 1 {
		for j := range meridians {
			m.Vertices = append(m.Vertices, at(i, j))
			if i < rings {
				m.Faces = append(m.Faces,
					[3]uint32{number(i, j), number(i+1, j), number(i+1, j+1)},
					[3]uint32{number(i, j), number(i+1, j+1), number(i, j+1)})
			}
		}
	}
	return m
}

func perTriangle(b *testing.B, faces int) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(faces), "ns/triangle")
}

func benchmarkRead(b *testing.B, data []byte, name string, faces int) {
	b.ReportAllocs()
	for b.Loop() {
		_, err := Read(data, Options{Name: name, Unit: 1e-3})
		require.NoError(b, err)
	}
	perTriangle(b, faces)
}

func BenchmarkSTLBinary(b *testing.B) {
	for _, n := range []int{200, 1000} {
		m := ball(n, n/2)
		b.Run(fmt.Sprint(len(m.Faces)), func(b *testing.B) { benchmarkRead(b, writeSTL(m), "a.stl", len(m.Faces)) })
	}
}

func BenchmarkSTLASCII(b *testing.B) {
	m := ball(400, 250)
	benchmarkRead(b, writeTextSTL(m), "a.stl", len(m.Faces))
}

func BenchmarkOBJ(b *testing.B) {
	m := ball(400, 250)
	benchmarkRead(b, writeOBJ(m, false), "a.obj", len(m.Faces))
}

func BenchmarkPLY(b *testing.B) {
	m := ball(400, 250)
	data := writePLY(m, plyKind{"binary_little_endian", "uchar", "int", "vertex_index", "float", false})
	benchmarkRead(b, data, "a.ply", len(m.Faces))
}

func BenchmarkGauge(b *testing.B) {
	m := ball(1000, 500)
	data := writeSTL(m)
	for b.Loop() {
		_, err := Gauge(bytes.NewReader(data), int64(len(data)), Options{Unit: 1e-3})
		require.NoError(b, err)
	}
	perTriangle(b, len(m.Faces))
}

func BenchmarkGaugeASCII(b *testing.B) {
	m := ball(400, 250)
	data := writeTextSTL(m)
	for b.Loop() {
		_, err := Gauge(bytes.NewReader(data), int64(len(data)), Options{Unit: 1e-3})
		require.NoError(b, err)
	}
	perTriangle(b, len(m.Faces))
}
