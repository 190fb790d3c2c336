package mesh_test

import (
	"math"
	"testing"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// fuzzMesh makes a mesh of bytes: a vertex for each three, a face for each three more.
func fuzzMesh(raw []byte) *mesh.Mesh {
	m := &mesh.Mesh{}
	n := len(raw) / 6
	for i := range n {
		v, f := raw[3*i:], raw[3*(n+i):]
		// Steps of 1 and of nearly nothing, so that corners nearly meet.
		var p mesh.Point
		for k := range p {
			p[k] = float64(v[k]>>5) + 2e-5*float64(v[k]&31>>3)
		}
		m.Vertices = append(m.Vertices, p)
		m.Faces = append(m.Faces, [3]uint32{uint32(f[0]) % uint32(n), uint32(f[1]) % uint32(n), uint32(f[2]) % uint32(n)})
		if v[0]&7 == 7 {
			m.Runs = append(m.Runs, mesh.Run{Zone: string('a' + rune(v[1]&3)), First: i})
		}
	}
	return m
}

// Whatever the faces are: no panic, nothing that is not a number, nothing below zero, and
// parts that add up.
func FuzzExamine(f *testing.F) {
	f.Add([]byte("a tetrahedron, perhaps, or something else that hangs together somehow"))
	f.Add([]byte{0, 0, 0, 32, 0, 0, 0, 32, 0, 0, 0, 32, 0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3})
	f.Add([]byte{0, 0, 0, 32, 0, 0, 0, 32, 0, 0, 0, 32, 32, 32, 0, 0, 1, 2, 0, 1, 3, 0, 1, 4, 1, 0, 2, 3, 4, 0})
	f.Fuzz(func(t *testing.T, raw []byte) {
		if len(raw) > 1500 {
			return
		}
		s, err := mesh.Examine(fuzzMesh(raw))
		if err != nil {
			return
		}
		list, _ := figures(s)
		for i, x := range list {
			if !(x >= -1e-9 && x < math.MaxFloat64) {
				t.Errorf("figure %d is %v", i, x)
			}
		}
		sound(t, s)
	})
}

func sound(t *testing.T, s *mesh.Survey) {
	faces, area, zones := 0, 0.0, 0.0
	for _, c := range s.Components {
		faces += c.Faces
		area += c.Area
	}
	for _, z := range s.Zones {
		zones += z.Area
	}
	same(t, "faces", faces, len(s.Mesh.Faces))
	near(t, "area of the parts", area, s.Area, 1e-9)
	if len(s.Zones) > 0 {
		near(t, "area of the zones", zones, s.Area, 1e-9)
	}
	if s.Rim > s.Border+1e-9 || s.Skin > s.Area+1e-9 {
		t.Errorf("rim %v of %v, skin %v of %v", s.Rim, s.Border, s.Skin, s.Area)
	}
	again, err := mesh.Examine(s.Mesh)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "area examined again", again.Area, s.Area, 1e-9)
}
