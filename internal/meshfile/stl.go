package meshfile

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"strings"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// A binary STL is a header of 80 bytes, a count, and that many records of a normal,
// three corners and an attribute word.
const (
	stlHead   = 84
	stlRecord = 50
	// stlSlack is how many bytes may follow the last record: some programs pad.
	stlSlack = 16
	// usualFacet is about how long a facet of text STL is, in bytes; 86 is the shortest.
	usualFacet = 200
	// shownText is how much of a file is looked at to tell text from bytes.
	shownText = 512
	// longestName is how much of a solid's name is kept, in bytes.
	longestName = 128
)

// lengthSaysSTL is the length equation of binary STL, the one sure sign of it: the
// header's words and high bytes say nothing.
func lengthSaysSTL(head []byte, size int64) bool {
	return size >= stlHead && stlRoom(head, size) == 0
}

// stlRoom is how many bytes are left over after the records that the count announces;
// negative where they do not all fit.
func stlRoom(head []byte, size int64) int64 {
	return size - stlHead - stlRecord*int64(binary.LittleEndian.Uint32(head[80:]))
}

// stlLayout says how an STL file of a size that begins with head is laid out: the
// number of records where it is binary, or that it is text. left is how many bytes
// follow the records.
func stlLayout(head []byte, size int64) (records int64, text bool, left int64, err error) {
	long, isText := size >= stlHead, stlText(head)
	if long {
		left = stlRoom(head, size)
	}
	switch {
	case long && (left == 0 || (left > 0 && left <= stlSlack && !isText)):
		return (size - left - stlHead) / stlRecord, false, left, nil
	case isText && bytes.EqualFold(firstWord(head), []byte("solid")):
		return 0, true, 0, nil
	case isText && (long || len(firstWord(head)) > 0):
		return 0, false, 0, faultf(NotAMesh, "this is text, but not STL: that begins with the word solid")
	case !long:
		return 0, false, 0, faultf(Truncated, "the file ends after %d bytes; a binary STL has a header of 80 and a count of 4", size)
	}
	return 0, false, 0, miscounted(head, size, left)
}

// miscounted is the fault of a binary STL whose length is not what its count says.
func miscounted(head []byte, size, left int64) *Fault {
	says, holds := binary.LittleEndian.Uint32(head[80:]), (size-stlHead)/stlRecord
	f := faultf(CountMismatch, "the header says %d triangles, the file holds %d and %d bytes", says, holds, (size-stlHead)%stlRecord)
	f.Offset = 80
	if left < 0 {
		f.Code, f.Offset = Truncated, size
	}
	return f
}

// stlText says whether the beginning of a file is text: no control byte but blanks.
func stlText(head []byte) bool {
	for _, c := range head[:min(len(head), shownText)] {
		if c < ' ' && (c < '\t' || c > '\r') {
			return false
		}
	}
	return len(head) > 0
}

func firstWord(head []byte) []byte {
	return newScanner(head[:min(len(head), shownText)]).token()
}

func readSTL(data []byte, o Options) (*File, error) {
	unit, err := o.unitless(STL)
	if err != nil {
		return nil, err
	}
	count, text, left, err := stlLayout(data, int64(len(data)))
	if err != nil {
		return nil, err
	}
	file := &File{Unit: unit}
	if text {
		return file, file.readTextSTL(data, o) // Read looks at the error first
	}
	body := bytes.NewReader(data[stlHead : stlHead+count*stlRecord])
	return file, file.readRecords(body, count, left, o.mostTriangles(int64(len(data))))
}

func tooMany(count int64, most int) *Fault {
	return faultf(TooLarge, "the file holds %d triangles; allowed are %d", count, most)
}

func leftOver(left int64) []mesh.Warning {
	if left <= 0 {
		return nil
	}
	return []mesh.Warning{{Code: TrailingBytes, Says: fmt.Sprintf("%d bytes follow the last triangle; they were left out", left)}}
}

func (f *File) readTextSTL(data []byte, o Options) error {
	b := mesh.NewBuilder(len(data) / usualFacet)
	text := &textSTL{scanner: newScanner(data), unit: f.Unit, most: o.mostTriangles(int64(len(data))), zone: b.Zone}
	text.add = func(v *[9]float64) { b.Triangle(facet(v, f.Unit)) }
	if err := text.read(); err != nil {
		return err
	}
	f.Warnings = text.warnings()
	f.Mesh = b.Mesh()
	return nil
}

// facet returns a triangle in metres from coordinates that are allowed.
func facet(v *[9]float64, unit float64) (t mesh.Triangle) {
	for i := range t {
		t[i], _ = placed(v[3*i], v[3*i+1], v[3*i+2], unit)
	}
	return t
}

// textSTL reads ASCII STL by its words: any blanks, any case, any number of solids.
type textSTL struct {
	*scanner
	unit    float64
	most    int
	add     func(corners *[9]float64) // in file units, of float32 range
	zone    func(name string)
	count   int
	corners [9]float64 // of the facet that is read; here, so that none is made for each
	named   bool       // a solid has had a name
	open    bool       // a solid is open
	unshut  int        // solids that were not shut
}

func (t *textSTL) warnings() []mesh.Warning {
	if t.unshut == 0 {
		return nil
	}
	return []mesh.Warning{{
		Code: MissingEndsolid,
		Says: fmt.Sprintf("solids without their endsolid: %d; every triangle was whole and is counted", t.unshut),
	}}
}

func (t *textSTL) read() error {
	for {
		word := t.token()
		if word == nil {
			t.shut()
			return t.err
		}
		if err := t.statement(word); err != nil {
			return err
		}
	}
}

// shut ends a solid that has no endsolid.
func (t *textSTL) shut() {
	if t.open {
		t.unshut++
	}
	t.open = false
}

func (t *textSTL) statement(word []byte) error {
	switch {
	case is(word, "facet") && t.open:
		if err := t.want("normal"); err != nil {
			return err
		}
		return t.facet()
	case is(word, "solid"):
		return t.solid()
	case is(word, "endsolid") && t.open:
		return t.endsolid()
	}
	return t.fault(Syntax, "%q stands where solid, facet or endsolid is allowed", short(word))
}

// solid reads the name of a solid. It ends with the line, or before "facet normal"
// where a program writes everything on one line.
func (t *textSTL) solid() error {
	t.shut()
	t.open = true
	name := make([]byte, 0, longestName)
	facet, end := false, 0 // whether the word before was facet, and the name before it
	for word := t.word(); word != nil; word = t.word() {
		switch {
		case facet && is(word, "normal"):
			t.begin(name[:end])
			return t.facet()
		case is(word, "endsolid"):
			t.begin(name)
			return t.endsolid()
		}
		facet, end = is(word, "facet"), len(name)
		if room := longestName - len(name); room > len(word) {
			name = append(append(name, ' '), word...)
		}
	}
	t.begin(name)
	return nil
}

// begin begins the zone of a solid. Solids without names are no zones, until one has
// a name.
func (t *textSTL) begin(name []byte) {
	t.named = t.named || len(name) > 0
	if t.named {
		t.zone(strings.ToValidUTF8(string(bytes.TrimSpace(name)), "?"))
	}
}

// endsolid skips the name that may follow, to the end of the line or the next solid
// on it.
func (t *textSTL) endsolid() error {
	t.open = false
	for word := t.word(); word != nil; word = t.word() {
		if is(word, "solid") {
			return t.solid()
		}
	}
	return nil
}

// facet reads a facet after "facet normal". The normal itself is not used: programs
// write anything there.
func (t *textSTL) facet() error {
	for range 3 {
		t.token()
	}
	if err := t.want("outer", "loop"); err != nil {
		return err
	}
	for i := 0; i < 9; i += 3 {
		if err := t.vertex(t.corners[i : i+3]); err != nil {
			return err
		}
	}
	if err := t.want("endloop", "endfacet"); err != nil {
		return err
	}
	if t.count++; t.most > 0 && t.count > t.most {
		return tooMany(int64(t.count), t.most)
	}
	t.add(&t.corners)
	return nil
}

func (t *textSTL) vertex(v []float64) (err error) {
	if err := t.want("vertex"); err != nil {
		return err
	}
	for i := range v {
		if v[i], err = t.number(t.token()); err != nil {
			return t.orCut(err)
		}
	}
	if _, ok := placed(v[0], v[1], v[2], t.unit); !ok {
		f := misplaced(v[0], v[1], v[2], t.unit)
		f.Line = t.line
		return f
	}
	return nil
}

// want takes words that must stand here.
func (t *textSTL) want(words ...string) error {
	for _, w := range words {
		if got := t.token(); !is(got, w) {
			return t.orCut(t.fault(Syntax, "%q stands where %s is wanted", short(got), w))
		}
	}
	return nil
}

// orCut is the fault, unless it is that the file ends here.
func (t *textSTL) orCut(fault error) error {
	switch {
	case t.err != nil:
		return t.err
	case t.more():
		return fault
	}
	return t.fault(Truncated, "the file ends inside a facet, after %d whole ones", t.count)
}

// is compares a word of STL, in any case.
func is(word []byte, want string) bool {
	return string(word) == want || (len(word) == len(want) && strings.EqualFold(string(word), want))
}
