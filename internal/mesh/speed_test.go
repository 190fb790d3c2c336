package mesh_test

import (
	"fmt"
	"math"
	"runtime"
	"testing"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// ringed is a wavy ring of 2*nu*nv triangles, one at a time, as a binary STL would give it.
type ringed struct{ nu, nv int }

func (r ringed) corner(u, v int) mesh.Point {
	a, b := 2*math.Pi*float64(u%r.nu)/float64(r.nu), 2*math.Pi*float64(v%r.nv)/float64(r.nv)
	small := 0.3 + 0.02*math.Sin(7*a)*math.Cos(3*b)
	x, y, z := (1+small*math.Cos(b))*math.Cos(a), (1+small*math.Cos(b))*math.Sin(a), small*math.Sin(b)
	return mesh.Point{float64(float32(x)), float64(float32(y)), float64(float32(z))}
}

// batches passes the triangles on by the row.
func (r ringed) batches(take func([]mesh.Triangle)) {
	here, next := make([]mesh.Point, r.nv+1), make([]mesh.Point, r.nv+1)
	row := make([]mesh.Triangle, 0, 2*r.nv)
	for u := range r.nu {
		row = row[:0]
		for v := range here {
			here[v], next[v] = r.corner(u, v), r.corner(u+1, v)
		}
		for v := range r.nv {
			row = append(row, mesh.Triangle{here[v], next[v], next[v+1]}, mesh.Triangle{here[v], next[v+1], here[v+1]})
		}
		take(row)
	}
}

// BenchmarkExamine reads and examines closed meshes. Bytes are what the heap was seen to
// have taken from the system; triangles are made as they are read, which is timed apart.
func BenchmarkExamine(b *testing.B) {
	for _, r := range []ringed{{400, 250}, {2000, 1250}} {
		n := 2 * r.nu * r.nv
		if n > 1_000_000 && testing.Short() {
			continue
		}
		b.Run(fmt.Sprintf("make-%d", n), func(b *testing.B) {
			for b.Loop() {
				r.batches(func([]mesh.Triangle) {})
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/triangle")
		})
		b.Run(fmt.Sprintf("stream-%d", n), func(b *testing.B) {
			for b.Loop() {
				var s mesh.Sum
				r.batches(func(row []mesh.Triangle) {
					for i := range row {
						s.Add(row[i])
					}
				})
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/triangle")
		})
		b.Run(fmt.Sprintf("read-and-examine-%d", n), func(b *testing.B) { benchmarkExamine(b, r, n) })
	}
}

func benchmarkExamine(b *testing.B, r ringed, n int) {
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for b.Loop() {
		builder := mesh.NewBuilder(n)
		r.batches(builder.Triangles)
		s := examine(b, builder.Mesh())
		if s.Enclosed != mesh.ByEdges || len(s.Mesh.Faces) != n {
			b.Fatal("not closed")
		}
	}
	runtime.ReadMemStats(&after)
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/triangle")
	b.ReportMetric(float64(after.TotalAlloc-before.TotalAlloc)/float64(b.N)/float64(n), "allocated-B/triangle")
	b.ReportMetric(float64(after.HeapSys-before.HeapReleased)/float64(n), "heap-B/triangle")
}
