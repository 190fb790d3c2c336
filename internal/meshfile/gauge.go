package meshfile

import (
	"errors"
	"io"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// gaugeBlock is how much of a file is held at a time, in bytes: whole records, and
// the header with the first of them.
const gaugeBlock = 20_000 * stlRecord

// Gauged is what can be said of a mesh that passed by and was not kept.
type Gauged struct {
	// Sum has the area, the volume, the box and the count of faces, in metres.
	mesh.Sum
	// Unit is the length of one file unit that was used, m.
	Unit float64
	// Warnings are what the caller should know of the file itself.
	Warnings []mesh.Warning
}

// Gauge measures an STL file of any size, which r reads from its beginning, without
// keeping the mesh: it holds a megabyte at a time. Joins, borders and parts it cannot
// know. The error is a *Fault, or that of r.
func Gauge(r io.Reader, size int64, o Options) (*Gauged, error) {
	unit, err := o.unitless(STL)
	if err != nil {
		return nil, err
	}
	block := make([]byte, gaugeBlock)
	block = block[:max(0, min(size, gaugeBlock))]
	if n, err := io.ReadFull(r, block); err != nil {
		return nil, cutShort(err, int64(n), size)
	}
	count, text, left, err := gaugeLayout(block, size)
	if err != nil {
		return nil, err
	}
	g := &Gauged{Unit: unit}
	if text {
		err = g.text(r, block, o)
	} else {
		g.Warnings = leftOver(left)
		err = g.binary(r, block, count)
	}
	if err == nil && g.Faces == 0 {
		err = faultf(EmptyMesh, "the stl file holds no triangle")
	}
	if err != nil {
		return nil, err
	}
	return g, nil
}

// gaugeLayout is stlLayout, once the file is found to be no other kind.
func gaugeLayout(head []byte, size int64) (count int64, text bool, left int64, err error) {
	if size < stlHead || stlRoom(head, size) != 0 {
		switch format, err := Detect(head, "x.stl"); {
		case err != nil:
			return 0, false, 0, err
		case format != STL:
			return 0, false, 0, faultf(TooLarge, "only STL can be gauged without being held; this is a %s file", format)
		}
	}
	return stlLayout(head, size)
}

// cutShort is the fault of a file that ends before its size.
func cutShort(err error, got, size int64) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		f := faultf(Truncated, "%d bytes came of %d", got, size)
		f.Offset = got
		return f
	}
	return err
}

// binary adds up count records, the first of which stand in block behind the header.
func (g *Gauged) binary(r io.Reader, block []byte, count int64) error {
	whole := (int64(len(block)) - stlHead) / stlRecord
	done := min(count, whole)
	part := block[stlHead : stlHead+done*stlRecord]
	rest := append([]byte(nil), block[stlHead+done*stlRecord:]...) // the beginning of the next record
	if err := g.add(part, 0); err != nil {
		return err
	}
	for done < count {
		n := min(count-done, gaugeBlock/stlRecord)
		part = block[:n*stlRecord]
		head := copy(part, rest)
		rest = nil
		if m, err := io.ReadFull(r, part[head:]); err != nil {
			return cutShort(err, stlHead+done*stlRecord+int64(head+m), stlHead+count*stlRecord)
		}
		if err := g.add(part, done); err != nil {
			return err
		}
		done += n
	}
	return nil
}

// add adds whole records, the first of which has a number.
func (g *Gauged) add(part []byte, number int64) error {
	body := records{body: part, stride: stlRecord, offset: 12}
	if err := body.check(g.Unit, number); err != nil {
		return err
	}
	for ; len(part) >= stlRecord; part = part[stlRecord:] {
		c := part[12:48:48]
		g.Add(mesh.Triangle{metres(c, g.Unit), metres(c[12:], g.Unit), metres(c[24:], g.Unit)})
	}
	return nil
}

// text adds up a text file that begins with block.
func (g *Gauged) text(r io.Reader, block []byte, o Options) error {
	s := newScanner(block)
	s.source = r
	text := &textSTL{scanner: s, unit: g.Unit, most: o.MostTriangles, zone: func(string) {}}
	text.add = func(v *[9]float64) {
		var t mesh.Triangle
		for i := range t {
			t[i], _ = placed(v[3*i], v[3*i+1], v[3*i+2], g.Unit)
		}
		g.Add(t)
	}
	if err := text.read(); err != nil {
		return err
	}
	g.Warnings = text.warnings()
	return nil
}
