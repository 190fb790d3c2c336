package meshfile_test

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/meshfile"
)

// A wavy ring of 2*around*across triangles, written row by row as scanners do.
type ring struct{ around, across int }

func (r ring) triangles() int { return 2 * r.around * r.across }

func (r ring) corner(u, v int) [3]float32 {
	a, b := 2*math.Pi*float64(u%r.around)/float64(r.around), 2*math.Pi*float64(v%r.across)/float64(r.across)
	small := 0.3 + 0.02*math.Sin(7*a)*math.Cos(3*b)
	return [3]float32{float32((1 + small*math.Cos(b)) * math.Cos(a)), float32((1 + small*math.Cos(b)) * math.Sin(a)), float32(small * math.Sin(b))}
}

func (r ring) each(take func([3][3]float32)) {
	for u := range r.around {
		for v := range r.across {
			a, b, c, d := r.corner(u, v), r.corner(u+1, v), r.corner(u+1, v+1), r.corner(u, v+1)
			take([3][3]float32{a, b, c})
			take([3][3]float32{a, c, d})
		}
	}
}

func (r ring) binary(w io.Writer) {
	head := make([]byte, 84)
	binary.LittleEndian.PutUint32(head[80:], uint32(r.triangles())) //nolint:gosec // a few million
	_, _ = w.Write(head)
	var record [50]byte
	r.each(func(t [3][3]float32) {
		for i := range 9 {
			binary.LittleEndian.PutUint32(record[12+4*i:], math.Float32bits(t[i/3][i%3]))
		}
		_, _ = w.Write(record[:])
	})
}

func (r ring) text(w io.Writer) {
	fmt.Fprintln(w, "solid ring")
	r.each(func(t [3][3]float32) {
		fmt.Fprintln(w, "  facet normal 0 0 0\n    outer loop")
		for _, p := range t {
			fmt.Fprintf(w, "      vertex %e %e %e\n", p[0], p[1], p[2])
		}
		fmt.Fprintln(w, "    endloop\n  endfacet")
	})
	fmt.Fprintln(w, "endsolid ring")
}

func fileOf(b *testing.B, write func(io.Writer)) string {
	b.Helper()
	name := filepath.Join(b.TempDir(), "ring.stl")
	f, err := os.Create(name)
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriterSize(f, 1<<20)
	write(w)
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	if err := f.Close(); err != nil {
		b.Fatal(err)
	}
	return name
}

func opened(b *testing.B, name string) (*os.File, int64) {
	b.Helper()
	f, err := os.Open(name)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = f.Close() })
	info, err := f.Stat()
	if err != nil {
		b.Fatal(err)
	}
	return f, info.Size()
}

func gauge(b *testing.B, name string) {
	b.Helper()
	file, size := opened(b, name)
	g, err := meshfile.Gauge(file, size, meshfile.Options{Unit: 1})
	if err != nil {
		b.Fatal(err)
	}
	if _, closed := g.Volume(); !closed {
		b.Fatal("not closed")
	}
}

func examine(b *testing.B, name string) {
	b.Helper()
	file, size := opened(b, name)
	f, err := meshfile.ReadFrom(file, size, meshfile.Options{Unit: 1})
	if err != nil {
		b.Fatal(err)
	}
	s, err := mesh.Examine(f.Mesh)
	if err != nil {
		b.Fatal(err)
	}
	if s.Enclosed != mesh.ByEdges || len(s.Components) != 1 {
		b.Fatal("not closed")
	}
}

// BenchmarkBesideAdmesh measures one file with us and with admesh, in turn, and reports
// our time as a share of admesh's: whatever else the machine does slows both.
func BenchmarkBesideAdmesh(b *testing.B) {
	admesh, err := exec.LookPath("admesh")
	if err != nil {
		b.Skip("admesh is not installed: nothing to compare with")
	}
	large, text := ring{2000, 1250}, ring{500, 400}
	if testing.Short() {
		large, text = ring{400, 250}, ring{100, 100}
	}
	for _, c := range []struct {
		says  string
		write func(io.Writer)
		ours  func(*testing.B, string)
		flags []string
	}{
		{fmt.Sprintf("area-volume-box-of-%d", large.triangles()), large.binary, gauge, []string{"-c"}},
		{fmt.Sprintf("read-and-examine-%d", large.triangles()), large.binary, examine, []string{"-e", "-d", "-v"}},
		{fmt.Sprintf("area-volume-box-of-text-%d", text.triangles()), text.text, gauge, []string{"-c"}},
	} {
		b.Run(c.says, func(b *testing.B) {
			name := fileOf(b, c.write)
			var own, other time.Duration
			for b.Loop() {
				from := time.Now()
				c.ours(b, name)
				own += time.Since(from)
				from = time.Now()
				if said, err := exec.CommandContext(b.Context(), admesh, append(c.flags, name)...).CombinedOutput(); err != nil {
					b.Fatalf("admesh: %v\n%s", err, said)
				}
				other += time.Since(from)
			}
			b.ReportMetric(own.Seconds()/other.Seconds(), "ours/admesh")
			b.ReportMetric(own.Seconds()/float64(b.N), "s-ours")
			b.ReportMetric(other.Seconds()/float64(b.N), "s-admesh")
		})
	}
}
