package mesh_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

func TestZZCluster(t *testing.T) {
	for axis := range 3 {
		for _, n := range []int{20000, 40000, 80000} {
			for _, start := range []float32{1, 0.001, 5e-39} {
				tri := make([]mesh.Triangle, n)
				v := start
				for i := range tri {
					for c := range 3 {
						v = math.Nextafter32(v, 1e9)
						var p mesh.Point
						p[axis] = float64(v)
						tri[i][c] = p
					}
				}
				at := time.Now()
				b := mesh.NewBuilder(n)
				b.Triangles(tri)
				fmt.Println(axis, n, start, time.Since(at))
			}
		}
	}
}

func tetra(s float64, o float64) []mesh.Triangle {
	a, b, c, d := mesh.Point{o, 0, 0}, mesh.Point{o + s, 0, 0}, mesh.Point{o, s, 0}, mesh.Point{o, 0, s}
	return []mesh.Triangle{{a, c, b}, {a, b, d}, {a, d, c}, {b, c, d}}
}

func TestZZTiny(t *testing.T) {
	for e := -60.0; e > -90; e -= 0.02 {
		s := math.Pow(10, e)
		func() {
			defer func() {
				if r := recover(); r != nil {
					fmt.Println("panic at", s, r)
				}
			}()
			b := mesh.NewBuilder(8)
			b.Triangles(tetra(s, 0))
			b.Triangles(tetra(s, 4*s))
			sv, err := mesh.Examine(b.Mesh())
			if err == nil {
				list, _ := figures(sv)
				for i, x := range list {
					if !(x >= -1e-9 && x < math.MaxFloat64) {
						t.Errorf("%g: figure %d is %v", s, i, x)
					}
				}
				_, _ = mesh.Thickness(sv.Mesh, 60)
				mesh.OrientedBox(sv.Mesh)
				_, _ = mesh.Silhouette(sv.Mesh, mesh.Point{1, 2, 3})
			}
		}()
	}
}
