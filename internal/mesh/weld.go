package mesh

import (
	"cmp"
	"math"
	"slices"
)

// The steps at which nearly equal corners are joined, as shares of the box's diagonal,
// and what makes a step one too far (own measurements on cracked scans).
const (
	mostLost = 1e-3 // share of the area
	// mostNear bounds the work: so many looks at a neighbour for each corner. Where
	// corners are crowded closer than the tolerance, joining them would eat detail.
	mostNear = 256
)

func tolerances() [3]float64 { return [3]float64{1e-6, 1e-5, 1e-4} }

// weld joins corners on open edges that nearly meet, by pairs and not by rounding to a
// grid, at the first tolerance that closes the mesh. Where none does, or where it costs
// more than it mends, the mesh stays as it was. Corners inside the surface are let be:
// joining them closes nothing.
func weld(t *topology) (*topology, Weld) {
	if len(t.border) == 0 {
		return t, Weld{}
	}
	var s Sum
	s.AddMesh(t.mesh)
	corners := borderCorners(t)
	for _, share := range tolerances() {
		w := Weld{Tolerance: share * s.Diagonal()}
		to, ok := near(t.mesh, corners, w.Tolerance)
		if !ok {
			break
		}
		if w.Merged = merged(to); w.Merged == 0 {
			continue
		}
		welded, collapsed, lost := t.mesh.joined(corners, to)
		w.Collapsed = collapsed
		if lost > mostLost*s.Area || len(welded.Faces) == 0 {
			break // a wider step loses more
		}
		if u, _ := joinOnce(welded); u.closed() && u.branching <= t.branching && u.mesh.area() >= (1-mostLost)*s.Area {
			return u, w
		}
	}
	return t, Weld{}
}

// joinOnce joins a mesh without its duplicate faces, and returns how many there were.
func joinOnce(m *Mesh) (*topology, int) {
	t := join(m)
	if len(t.twins) == 0 {
		return t, 0
	}
	drop := make([]bool, len(m.Faces))
	for _, f := range t.twins {
		drop[f] = true
	}
	n := len(m.Faces)
	m.drop(func(f int) bool { return drop[f] })
	return join(m), n - len(m.Faces)
}

// borderCorners returns the vertices on open edges, in order.
func borderCorners(t *topology) []uint32 {
	corners := make([]uint32, 0, 2*len(t.border))
	for _, half := range t.border {
		from, to := t.mesh.ends(half)
		corners = append(corners, from, to)
	}
	slices.Sort(corners)
	return slices.Compact(corners)
}

// cell is a corner and the cube of space in which it lies.
type cell struct {
	key    uint64
	corner uint32 // index into the corners
}

// Keys hold 21 bits for each axis, of which the finest step needs 20.
const (
	axisBits = 21
	columnsX = 1 << (2 * axisBits)
	columnsY = 1 << axisBits
)

// near joins the corners that lie within a tolerance of each other, straight or through
// others, and returns for each the first of its group, as indices into corners. It is
// false where they are too crowded for the tolerance.
func near(m *Mesh, corners []uint32, tolerance float64) ([]uint32, bool) {
	to := make([]uint32, len(corners))
	for i := range to {
		to[i] = uint32(i) //nolint:gosec // readers bound the file
	}
	cells := cellsOf(m, corners, tolerance)
	looks := mostNear * len(corners)
	for _, column := range forward() {
		neighbours(cells, column, func(a, b uint32) bool {
			if within(m.Vertices[corners[a]], m.Vertices[corners[b]], tolerance) {
				group(to, a, b)
			}
			looks--
			return looks >= 0
		})
	}
	for i := range to {
		to[i] = to[to[i]] // each points at an earlier one, settled by now
	}
	return to, looks >= 0
}

// neighbours calls look for each corner and those in a column's three cells beside its own
// cell, each pair once, while look wants more.
func neighbours(cells []cell, column uint64, look func(a, b uint32) bool) {
	at := 0 // where the neighbours of cells[i] begin: it only moves on, as the keys do
	for i := range cells {
		low := cells[i].key + column - 1 // one cell below in z, to one above
		for at < len(cells) && cells[at].key < low {
			at++
		}
		for j := max(at, i+1); j < len(cells) && cells[j].key <= low+2; j++ {
			if !look(cells[i].corner, cells[j].corner) {
				return
			}
		}
	}
}

// forward lists the columns of cells along z that come at or after a cell's own: the other
// half of the 27 neighbours meets it from its own side.
func forward() [5]uint64 {
	return [5]uint64{0, columnsY, columnsX - columnsY, columnsX, columnsX + columnsY}
}

func cellsOf(m *Mesh, corners []uint32, size float64) []cell {
	low := m.Vertices[corners[0]]
	for _, v := range corners {
		for i, x := range m.Vertices[v] {
			low[i] = min(low[i], x)
		}
	}
	cells := make([]cell, len(corners))
	for i, v := range corners {
		var key uint64
		for axis, x := range m.Vertices[v] {
			key = key<<axisBits | uint64(1+math.Floor((x-low[axis])/size))
		}
		cells[i] = cell{key, uint32(i)} //nolint:gosec // readers bound the file
	}
	slices.SortFunc(cells, func(a, b cell) int {
		return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.corner, b.corner))
	})
	return cells
}

func within(p, q Point, tolerance float64) bool {
	d := p.less(q)
	return d.dot(d) <= tolerance*tolerance
}

// group makes two corners point at the same earlier one.
func group(to []uint32, a, b uint32) {
	a, b = first(to, a), first(to, b)
	to[max(a, b)] = min(a, b)
}

func first(to []uint32, a uint32) uint32 {
	for to[a] != a {
		to[a] = to[to[a]]
		a = to[a]
	}
	return a
}

func merged(to []uint32) int {
	n := 0
	for i, a := range to {
		if a != uint32(i) { //nolint:gosec // readers bound the file
			n++
		}
	}
	return n
}

// joined returns a copy of a mesh in which each of the corners is the one it points at,
// without the faces that lose their area by it: how many, and how much area, m2.
func (m *Mesh) joined(corners, to []uint32) (welded *Mesh, collapsed int, lost float64) {
	at := make([]uint32, len(m.Vertices))
	for v := range at {
		at[v] = uint32(v) //nolint:gosec // readers bound the file
	}
	for i, v := range corners {
		at[v] = corners[to[i]]
	}
	w := &Mesh{Vertices: m.Vertices, Faces: make([][3]uint32, len(m.Faces)), Runs: m.Runs}
	for i, f := range m.Faces {
		w.Faces[i] = [3]uint32{at[f[0]], at[f[1]], at[f[2]]}
	}
	w.drop(func(f int) bool {
		if !w.degenerate(f) {
			return false
		}
		collapsed++
		lost += m.Triangle(f).AreaVector().length()
		return true
	})
	w.compact()
	return w, collapsed, lost
}
