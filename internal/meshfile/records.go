package meshfile

import (
	"encoding/binary"
	"math"
	"strconv"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// records are the triangles of a binary STL file: each a normal, three corners of three
// float32, and a word that programs use as they please.
type records []byte

func (r records) count() int { return len(r) / stlRecord }

// part is the records from first up to end.
func (r records) part(first, end int) records { return r[first*stlRecord : end*stlRecord] }

// corners returns the bytes of a triangle's corners.
func (r records) corners(number int) []byte {
	at := number*stlRecord + 12
	return r[at : at+36 : at+36]
}

// batchRecords is how many triangles are taken out of the records at a time.
const batchRecords = 64

// each passes the triangles on in batches, in metres.
func (r records) each(unit float64, take func([]mesh.Triangle)) {
	var batch [batchRecords]mesh.Triangle
	for from, n := 0, r.count(); from < n; from += batchRecords {
		some := batch[:min(batchRecords, n-from)]
		for i := range some {
			c := r.corners(from + i)
			some[i] = mesh.Triangle{metres(c[:12], unit), metres(c[12:24], unit), metres(c[24:], unit)}
		}
		take(some)
	}
}

// metres returns the point of a corner's bytes.
func metres(corner []byte, unit float64) mesh.Point {
	_ = corner[11]
	return mesh.Point{float(corner)*unit + 0, float(corner[4:])*unit + 0, float(corner[8:])*unit + 0}
}

// build adds the triangles to a mesh, where all their coordinates are allowed. number is
// that of the first record, for the fault.
func (r records) build(b *mesh.Builder, unit float64, number int64) error {
	// A few at a time, so that what was checked is still at hand when it is used.
	const some = 1024
	for from, n := 0, r.count(); from < n; from += some {
		part := r.part(from, min(from+some, n))
		if err := part.check(unit, number+int64(from)); err != nil {
			return err
		}
		part.each(unit, b.Triangles)
	}
	return nil
}

// check finds the first coordinate that is not allowed. number is that of the first
// record, for the fault.
func (r records) check(unit float64, number int64) error {
	// The bits of float32, less the sign, are in the order of the sizes, and those of
	// what is not finite come last: one comparison of integers tells most corners.
	near := math.Float32bits(float32(MostReach / unit))
	for i := range r.count() {
		c := r.corners(i)
		most := uint32(0)
		for at := 0; at < 36; at += 4 {
			most = max(most, binary.LittleEndian.Uint32(c[at:])&^(1<<31))
		}
		if most < near {
			continue
		}
		if err := misrecorded(c, unit, number+int64(i)); err != nil {
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
