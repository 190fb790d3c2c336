package meshfile

import (
	"encoding/binary"
	"math"
	"math/bits"
	"strconv"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// records are triangles as binary STL has them: three corners of three float32, some
// bytes into each record.
type records struct {
	body   []byte
	stride int // from one record to the next
	offset int // of the first corner
}

func (r records) count() int { return len(r.body) / r.stride }

// corner returns the bytes of a corner, numbered through: three to a triangle.
func (r records) corner(number uint32) []byte {
	at := int(number/3)*r.stride + r.offset + int(number%3)*12
	return r.body[at : at+12 : at+12]
}

// place is the bits of a corner's coordinates, without minus zeros.
type place [3]uint32

func placeOf(corner []byte) place {
	_ = corner[11]
	return place{
		unsigned(binary.LittleEndian.Uint32(corner)),
		unsigned(binary.LittleEndian.Uint32(corner[4:])),
		unsigned(binary.LittleEndian.Uint32(corner[8:])),
	}
}

// unsigned returns the bits of a float32, of zero for minus zero.
func unsigned(v uint32) uint32 {
	if v == 1<<31 {
		return 0
	}
	return v
}

// slot is where the search for a place begins in a table of so many slots.
func (p place) slot(slots uint64) uint32 {
	high, low := bits.Mul64((uint64(p[0])<<32|uint64(p[1]))^0x9e3779b97f4a7c15, 0xa0761d6478bd642f)
	high, low = bits.Mul64(high^low^uint64(p[2]), 0xe7037ed1a0b428db)
	at, _ := bits.Mul64(high^low, slots)
	return uint32(at) //nolint:gosec // fewer slots than 1<<32
}

// point returns a corner in metres.
func (r records) point(number uint32, unit float64) mesh.Point {
	return metres(r.corner(number), unit)
}

// metres returns the point of a corner's bytes.
func metres(corner []byte, unit float64) mesh.Point {
	_ = corner[11]
	return mesh.Point{float(corner)*unit + 0, float(corner[4:])*unit + 0, float(corner[8:])*unit + 0}
}

// weldBlock is how many triangles are hashed before their slots are read, so that the
// processor fetches many slots at once.
const weldBlock = 64

// welder numbers the corners of records, those at one place alike. A slot of its table
// holds a corner, whose coordinates stand in the file and whose number stands in faces:
// 4 bytes a slot, and every size is known before it is asked for.
type welder struct {
	records
	slots    []uint32 // corner plus one; 0 is free
	faces    [][3]uint32
	vertices uint32
	warm     uint32 // keeps the early reads of the slots alive
}

// weld builds the mesh of records whose coordinates were checked. It takes 12 bytes a
// triangle, 15 for the table and 24 a vertex.
func (r records) weld(unit float64) *mesh.Mesh {
	n := r.count()
	w := &welder{records: r, slots: make([]uint32, 3*n+3*n/4+1), faces: make([][3]uint32, n)}
	for first := 0; first < n; first += weldBlock {
		w.block(first, min(first+weldBlock, n))
	}
	w.slots = nil
	return &mesh.Mesh{Faces: w.faces, Vertices: w.points(unit)}
}

func (w *welder) block(first, end int) {
	var at [3 * weldBlock]uint32
	corner := uint32(3 * first) //nolint:gosec // a file holds fewer corners than 1<<32
	corners := at[:3*(end-first)]
	for i := range corners {
		at[i] = placeOf(w.corner(corner + uint32(i))).slot(uint64(len(w.slots))) //nolint:gosec // within a block
		w.warm ^= w.slots[at[i]]
	}
	for i, slot := range corners {
		w.faces[first+i/3][i%3] = w.number(corner+uint32(i), slot) //nolint:gosec // within a block
	}
}

// number returns the vertex of a corner, whose search begins at a slot.
func (w *welder) number(corner, slot uint32) uint32 {
	here := placeOf(w.corner(corner))
	for {
		seen := w.slots[slot]
		if seen == 0 {
			w.slots[slot] = corner + 1
			w.vertices++
			return w.vertices - 1
		}
		if seen--; placeOf(w.corner(seen)) == here {
			return w.faces[seen/3][seen%3]
		}
		if slot++; int(slot) == len(w.slots) {
			slot = 0
		}
	}
}

// points returns the vertices in the order in which they first appear.
func (w *welder) points(unit float64) []mesh.Point {
	points := make([]mesh.Point, 0, w.vertices)
	for f := range w.faces {
		for c, v := range w.faces[f] {
			if int(v) == len(points) {
				points = append(points, w.point(uint32(3*f+c), unit)) //nolint:gosec // a corner
			}
		}
	}
	return points
}

// check finds the first coordinate that is not allowed. number is that of the first
// record, for the fault.
func (r records) check(unit float64, number int64) error {
	// The bits of float32, less the sign, are in the order of the sizes, and those of
	// what is not finite come last: one comparison of integers tells most corners.
	near := math.Float32bits(float32(MostReach / unit))
	for at := r.offset; at+36 <= len(r.body); at += r.stride {
		c := r.body[at : at+36 : at+36]
		most := uint32(0)
		for i := 0; i < 36; i += 4 {
			most = max(most, binary.LittleEndian.Uint32(c[i:])&^(1<<31))
		}
		if most < near {
			continue
		}
		if err := misrecorded(c, unit, number+int64(at/r.stride)); err != nil {
			return err
		}
	}
	return nil
}

// misrecorded is the fault of the first of three corners that is not allowed, or nil.
func misrecorded(corners []byte, unit float64, number int64) error {
	for at := 0; at < 36; at += 12 {
		x, y, z := float(corners[at:]), float(corners[at+4:]), float(corners[at+8:])
		if _, ok := placed(x, y, z, unit); !ok {
			f := misplaced(x, y, z, unit)
			f.Offset = stlHead + number*stlRecord + 12 + int64(at)
			f.Says = "triangle " + strconv.FormatInt(number+1, 10) + ": " + f.Says
			return f
		}
	}
	return nil
}

func float(b []byte) float64 {
	return float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
}
