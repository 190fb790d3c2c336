package meshfile

import (
	"bytes"
	"cmp"
	"io"
	"math"
	"runtime"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// mostGauging is how many blocks are added up at once.
const mostGauging = 8

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
// keeping the mesh: it holds a megabyte for each processor and one more, at most nine.
// Joins, borders and parts it cannot know. The error is a *Fault, or that of r.
func Gauge(r io.Reader, size int64, o Options) (*Gauged, error) {
	unit, err := o.unitless(STL)
	if err != nil {
		return nil, err
	}
	block, err := opening(r, size)
	if err != nil {
		return nil, err
	}
	count, text, left, err := passingLayout(block, size)
	if err != nil {
		return nil, err
	}
	g := &Gauged{Unit: unit}
	switch most := o.MostTriangles; {
	case text:
		err = g.text(r, block, o)
	case most > 0 && count > int64(most):
		err = tooMany(count, most)
	default:
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

// stretch is some records of a file and what they come to.
type stretch struct {
	mesh.Sum
	first int64 // number of its first record
	bad   error
}

// binary adds up count records, the first of which stand in block behind the header. One
// block is read while others are added up; what they come to is joined in the order of
// the file, so that the figures do not depend on who was done first.
func (g *Gauged) binary(r io.Reader, block []byte, count int64) error {
	r = io.MultiReader(bytes.NewReader(block[stlHead:]), r)
	free := make(chan []byte, min(runtime.GOMAXPROCS(0), mostGauging)+1)
	for range cap(free) {
		free <- nil // made when it is wanted
	}
	var all []*stretch
	var cut error
	for done := int64(0); done < count && cut == nil; done += blockRecords {
		part := atFull(<-free)[:min(count-done, blockRecords)*stlRecord]
		n, err := io.ReadFull(r, part)
		cut = cutShort(err, stlHead+done*stlRecord+int64(n), stlHead+count*stlRecord)
		s := &stretch{first: done}
		all = append(all, s)
		go func() {
			s.bad = s.add(part[:n/stlRecord*stlRecord], g.Unit)
			free <- part
		}()
	}
	for range cap(free) {
		<-free
	}
	return cmp.Or(g.join(all), cut)
}

// atFull is a block of the full length, the one given if it is one.
func atFull(block []byte) []byte {
	if cap(block) < blockRecords*stlRecord {
		return make([]byte, blockRecords*stlRecord)
	}
	return block
}

// join joins what the stretches of a file come to, up to the first fault.
func (g *Gauged) join(all []*stretch) error {
	for _, s := range all {
		if s.bad != nil {
			return s.bad
		}
		g.Join(&s.Sum)
	}
	return nil
}

// add adds whole records. That every coordinate is allowed shows in the area and the box;
// where one is not, the records are looked through for it.
func (s *stretch) add(part []byte, unit float64) error {
	records(part).each(unit, func(t []mesh.Triangle) { s.Add(t...) })
	if s.Finite() && within(s.Low) && within(s.High) {
		return nil
	}
	return records(part).check(unit, s.first)
}

func within(p mesh.Point) bool {
	return math.Abs(p[0]) <= MostReach && math.Abs(p[1]) <= MostReach && math.Abs(p[2]) <= MostReach
}

// text adds up a text file that begins with block.
func (g *Gauged) text(r io.Reader, block []byte, o Options) error {
	s := newScanner(block)
	s.source = r
	text := &textSTL{scanner: s, unit: g.Unit, most: o.MostTriangles, zone: func(string) {}}
	text.add = func(v *[9]float64) { g.Add(facet(v, g.Unit)) }
	if err := text.read(); err != nil {
		return err
	}
	g.Warnings = text.warnings()
	return nil
}
