package mesh

import (
	"cmp"
	"slices"
)

// meeting is an edge of a part where two zones meet, the first of them by name first.
type meeting struct {
	a, b, part uint32
	length     float64
}

// zoning is which zone each face is of, by number, and where zones meet, before it is known
// which parts are outer skins.
type zoning struct {
	names    []string
	of       []uint32 // empty where the mesh names no zone
	meetings []meeting
}

// zoning finds the zones of a mesh.
func (t *topology) zoning() zoning {
	m := t.mesh
	if len(m.Runs) == 0 {
		return zoning{}
	}
	z := m.zoned()
	if len(z.names) < 2 {
		return z
	}
	for g := range t.groups() {
		if len(g) != 2 || z.of[g[0]/3] == z.of[g[1]/3] {
			continue
		}
		a, b := z.of[g[0]/3], z.of[g[1]/3]
		if z.names[a] > z.names[b] {
			a, b = b, a
		}
		z.meetings = append(z.meetings, meeting{a, b, t.parts.of(g[0] / 3), m.edgeLength(g[0])})
	}
	return z
}

// zoned numbers the zones in the order of their first faces. Faces before the first run are
// of a zone without a name.
func (m *Mesh) zoned() zoning {
	number := map[string]uint32{} // of names, not of faces
	zone := zoning{of: make([]uint32, len(m.Faces))}
	for i := -1; i < len(m.Runs); i++ {
		name, from, to := m.run(i)
		if from == to {
			continue
		}
		z, ok := number[name]
		if !ok {
			z = uint32(len(zone.names)) //nolint:gosec // at most one a face
			number[name] = z
			zone.names = append(zone.names, name)
		}
		for f := from; f < to; f++ {
			zone.of[f] = z
		}
	}
	return zone
}

// zones measures the zones of the outer skins and where they meet; a zone that only inner
// skins have is none.
func (s *Survey) zones(g *grounds, z zoning) {
	area := make([]float64, len(z.names))
	for f, zone := range z.of {
		if s.moulded(g.parts.of(uint32(f))) { //nolint:gosec // readers bound the file
			area[zone] += g.mesh.Triangle(f).AreaVector().length()
		}
	}
	for zone, name := range z.names {
		if area[zone] > 0 {
			s.Zones = append(s.Zones, ZoneArea{Zone: name, Area: area[zone]})
		}
	}
	s.seams(z)
}

// moulded reports whether a part is an outer skin.
func (s *Survey) moulded(part uint32) bool { return s.Components[part].Depth == 0 }

// run returns the zone of a run and its faces; run -1 is what comes before the first.
func (m *Mesh) run(i int) (name string, from, to int) {
	to = len(m.Faces)
	if i >= 0 {
		name, from = m.Runs[i].Zone, m.Runs[i].First
	}
	if i+1 < len(m.Runs) {
		to = m.Runs[i+1].First
	}
	return name, from, to
}

// seams adds up the edges where two zones meet, by the names of the two.
func (s *Survey) seams(z zoning) {
	meetings := slices.DeleteFunc(z.meetings, func(m meeting) bool { return !s.moulded(m.part) })
	slices.SortStableFunc(meetings, func(a, b meeting) int {
		return cmp.Or(cmp.Compare(z.names[a.a], z.names[b.a]), cmp.Compare(z.names[a.b], z.names[b.b]))
	})
	for i, m := range meetings {
		if i == 0 || m.a != meetings[i-1].a || m.b != meetings[i-1].b {
			s.Seams = append(s.Seams, Seam{A: z.names[m.a], B: z.names[m.b]})
		}
		s.Seams[len(s.Seams)-1].Length += m.length
	}
}

// groups yields the half-edges of each edge in turn.
func (t *topology) groups() func(yield func([]uint32) bool) {
	return func(yield func([]uint32) bool) {
		for lo, hi := 0, 0; lo < len(t.order); lo = hi {
			for hi = lo + 1; hi < len(t.order) && t.mesh.sameEdge(t.order[lo], t.order[hi]); {
				hi++
			}
			if !yield(t.order[lo:hi]) {
				return
			}
		}
	}
}

func (m *Mesh) sameEdge(g, h uint32) bool {
	a, b := m.ends(g)
	c, d := m.ends(h)
	return a == c && b == d || a == d && b == c
}
