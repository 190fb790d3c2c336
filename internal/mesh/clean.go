package mesh

import (
	"slices"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// MostReach is how far from the origin a corner may lie along each axis, m (common
// practice, no source: no casting is ten kilometres long).
const MostReach = 1e4

// mostFaces is what 32-bit half-edges allow.
const mostFaces = 1 << 30

// check refuses a mesh that cannot be measured.
func check(m *Mesh) error {
	if len(m.Faces) == 0 {
		return ErrEmpty
	}
	if n := len(m.Faces); n > mostFaces {
		return fault.Unless(false, "faces of the mesh", float64(n), "at most 1073741824")
	}
	for _, p := range m.Vertices {
		for _, x := range p {
			if !(x >= -MostReach && x <= MostReach) {
				return fault.Unless(false, "coordinate of a corner in m", x, "from -10000 to 10000")
			}
		}
	}
	for _, f := range m.Faces {
		if n := max(f[0], f[1], f[2]); uint64(n) >= uint64(len(m.Vertices)) {
			return fault.Unless(false, "corner of a face", float64(n), "an index of a vertex, from 0")
		}
	}
	return checkRuns(m)
}

func checkRuns(m *Mesh) error {
	from := 0
	for _, r := range m.Runs {
		if r.First < from || r.First > len(m.Faces) {
			return fault.Unless(false, "first face of a run", float64(r.First), "an index of a face, in order")
		}
		from = r.First
	}
	return nil
}

// cleaned returns a mesh without the faces that have no area and without the vertices that
// no face uses, and how many faces were dropped. It shares with the one given what need
// not change.
func (m *Mesh) cleaned() (*Mesh, int) {
	c := &Mesh{Vertices: m.Vertices, Faces: m.Faces, Runs: m.Runs, lent: true}
	for f := range c.Faces {
		if c.degenerate(f) {
			c.drop(c.degenerate)
			break
		}
	}
	c.compact()
	return c, len(m.Faces) - len(c.Faces)
}

// degenerate reports whether a face has no area.
func (m *Mesh) degenerate(face int) bool {
	f := &m.Faces[face]
	return f[0] == f[1] || f[1] == f[2] || f[2] == f[0] || flat(&m.Vertices[f[0]], &m.Vertices[f[1]], &m.Vertices[f[2]])
}

// own makes the faces the mesh's own before they are changed.
func (m *Mesh) own() {
	if m.lent {
		m.Faces, m.lent = slices.Clone(m.Faces), false
	}
}

// drop takes out faces. Runs begin at the same faces as before, or at what came after.
func (m *Mesh) drop(out func(face int) bool) {
	m.own()
	kept, run := 0, 0
	runs := slices.Clone(m.Runs)
	for f := range m.Faces {
		for ; run < len(runs) && runs[run].First == f; run++ {
			runs[run].First = kept
		}
		if !out(f) {
			m.Faces[kept] = m.Faces[f]
			kept++
		}
	}
	for ; run < len(runs); run++ {
		runs[run].First = kept
	}
	m.Faces, m.Runs = m.Faces[:kept], runs
}

// compact takes out the vertices that no face uses.
func (m *Mesh) compact() {
	at := make([]uint32, len(m.Vertices))
	for _, f := range m.Faces {
		at[f[0]], at[f[1]], at[f[2]] = 1, 1, 1
	}
	var kept []Point
	if n := used(at); n < len(at) {
		kept = make([]Point, 0, n)
	} else {
		return
	}
	m.own()
	for v, p := range m.Vertices {
		if at[v] == 1 {
			at[v] = uint32(len(kept)) //nolint:gosec // readers bound the file
			kept = append(kept, p)
		}
	}
	for i, f := range m.Faces {
		m.Faces[i] = [3]uint32{at[f[0]], at[f[1]], at[f[2]]}
	}
	m.Vertices = kept
}

func used(at []uint32) int {
	n := 0
	for _, u := range at {
		n += int(u)
	}
	return n
}
