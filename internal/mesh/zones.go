package mesh

import (
	"cmp"
	"slices"
)

// meeting is an edge where two zones meet, the first of them by name first.
type meeting struct {
	a, b   uint32
	length float64
}

// zones measures the zones and where they meet.
func (s *Survey) zones(t *topology) {
	m := t.mesh
	if len(m.Runs) == 0 {
		return
	}
	zone := s.zoneAreas(m)
	if len(s.Zones) < 2 {
		return
	}
	var meetings []meeting
	for g := range t.groups() {
		if len(g) != 2 || zone[g[0]/3] == zone[g[1]/3] {
			continue
		}
		a, b := zone[g[0]/3], zone[g[1]/3]
		if s.Zones[a].Zone > s.Zones[b].Zone {
			a, b = b, a
		}
		meetings = append(meetings, meeting{a, b, m.edgeLength(g[0])})
	}
	s.seams(meetings)
}

// zoneAreas fills in the areas and returns the zone of each face, by number. Faces before
// the first run are of a zone without a name.
func (s *Survey) zoneAreas(m *Mesh) []uint32 {
	number := map[string]uint32{} // of names, not of faces
	zone := make([]uint32, len(m.Faces))
	for i := -1; i < len(m.Runs); i++ {
		name, from, to := m.run(i)
		if from == to {
			continue
		}
		z, ok := number[name]
		if !ok {
			z = uint32(len(s.Zones)) //nolint:gosec // at most one a face
			number[name] = z
			s.Zones = append(s.Zones, ZoneArea{Zone: name})
		}
		for f := from; f < to; f++ {
			zone[f] = z
			s.Zones[z].Area += m.Triangle(f).AreaVector().length()
		}
	}
	return zone
}

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
func (s *Survey) seams(meetings []meeting) {
	slices.SortStableFunc(meetings, func(a, b meeting) int {
		return cmp.Or(cmp.Compare(s.Zones[a.a].Zone, s.Zones[b.a].Zone), cmp.Compare(s.Zones[a.b].Zone, s.Zones[b.b].Zone))
	})
	for i, m := range meetings {
		if i == 0 || m.a != meetings[i-1].a || m.b != meetings[i-1].b {
			s.Seams = append(s.Seams, Seam{A: s.Zones[m.a].Zone, B: s.Zones[m.b].Zone})
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
