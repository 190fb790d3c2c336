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
	// Two tetrahedra, each with corners some 1e-5 from the other's: neither is in the other.
	f.Add([]byte{
		32, 0, 8, 64, 32, 96, 80, 0, 96, 88, 96, 32, 56, 0, 0, 64, 32, 96, 64, 8, 96, 80, 96, 48,
		0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3, 4, 6, 5, 4, 5, 7, 4, 7, 6, 5, 6, 7,
	})
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
		near(t, "area of the zones", zones, s.Skin, 1e-9)
	}
	if s.Rim > s.Border+1e-9 || s.Skin > s.Area+1e-9 {
		t.Errorf("rim %v of %v, skin %v of %v", s.Rim, s.Border, s.Skin, s.Area)
	}
	if s.Volume > s.Envelope+1e-9 {
		t.Errorf("material %v in an envelope of %v", s.Volume, s.Envelope)
	}
	again, err := mesh.Examine(s.Mesh)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "area examined again", again.Area, s.Area, 1e-9)
}

// Whatever the faces are, flat, on a line, in one point or across each other: no panic,
// nothing that is not a number, boxes that hold all, nothing beyond them.
func FuzzMeasures(f *testing.F) {
	f.Add([]byte("a tetrahedron, perhaps, or something else that hangs together somehow"))
	f.Add([]byte{0, 0, 0, 32, 0, 0, 0, 32, 0, 0, 1, 2, 0, 1, 2, 2, 1, 0})                       // flat
	f.Add([]byte{0, 0, 0, 32, 32, 0, 64, 64, 0, 96, 96, 0, 0, 1, 2, 1, 2, 3, 0, 1, 3, 0, 2, 3}) // on a line
	f.Add([]byte{32, 32, 32, 32, 32, 32, 32, 32, 32, 0, 1, 2, 0, 1, 2, 2, 1, 0})                // in one point
	f.Fuzz(func(t *testing.T, raw []byte) {
		if len(raw) > 400 {
			return
		}
		m := fuzzMesh(raw)
		box := mesh.AxisBox(m)
		boxed(t, m, box)
		boxed(t, m, mesh.UprightBox(m))
		boxed(t, m, mesh.OrientedBox(m))
		slabs, err := mesh.Slabs(m, 0.3)
		if sum := mesh.SlabVolume(slabs); err == nil && !(sum >= 0 && sum <= box.Volume()*(1+1e-9)) {
			t.Errorf("slabs of %v in %v", sum, box.Volume())
		}
		thick, err := mesh.Thickness(m, 60)
		if err == nil && thick.Points() != 60 {
			t.Errorf("%d points", thick.Points())
		}
		for _, x := range thick.Sorted {
			if !(x > 0 && x <= box.Diagonal()*(1+1e-9)) {
				t.Errorf("%v thick in %v", x, box.Diagonal())
			}
		}
		for i, floor := range []float64{box.Depth * box.Height, box.Width * box.Height, box.Width * box.Depth} {
			var direction mesh.Point
			direction[i] = 1
			shadow, err := mesh.Silhouette(m, direction)
			if err != nil || !(shadow.Area >= 0 && shadow.Area <= floor*(1+1e-9)+1e-12) || !(shadow.Outline >= 0) {
				t.Errorf("shadow %+v on %v, %v", shadow, floor, err)
			}
		}
	})
}

// boxed checks that a box is one, and holds the corners that faces use.
func boxed(t *testing.T, m *mesh.Mesh, b mesh.Box) {
	if len(m.Faces) == 0 {
		return
	}
	used := &mesh.Mesh{}
	for f := range m.Faces {
		tri := m.Triangle(f)
		used.Vertices = append(used.Vertices, tri[:]...)
	}
	if !(b.Width >= 0 && b.Depth >= 0 && b.Height >= 0) {
		t.Errorf("box %+v", b)
	}
	assertHolds(t, b, used)
}
