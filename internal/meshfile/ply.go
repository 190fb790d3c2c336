package meshfile

import (
	"encoding/binary"
	"fmt"
	"math"
	"strconv"
)

const (
	// The most that a header may have: lines, elements, and properties of one element.
	mostLines      = 4_096
	mostElements   = 64
	mostProperties = 256
	// colourBytes is what the colour of a vertex takes while a file is read, and that
	// of a zone's name.
	colourBytes = 4
	colourName  = len("#rrggbb")
)

// scalar is a type of number in a PLY file.
type scalar uint8

const (
	none scalar = iota
	int8s
	uint8s
	int16s
	uint16s
	int32s
	uint32s
	float32s
	float64s
)

func scalarNamed(word []byte) scalar {
	switch string(word) {
	case "char", "int8":
		return int8s
	case "uchar", "uint8":
		return uint8s
	case "short", "int16":
		return int16s
	case "ushort", "uint16":
		return uint16s
	case "int", "int32":
		return int32s
	case "uint", "uint32":
		return uint32s
	case "float", "float32":
		return float32s
	case "double", "float64":
		return float64s
	}
	return none
}

func (t scalar) size() int64 { return [...]int64{0, 1, 1, 2, 2, 4, 4, 4, 8}[t] }

func (t scalar) whole() bool { return t >= int8s && t <= uint32s }

// role is what a property is read for.
type role uint8

const (
	skipped role = iota
	coordinateX
	coordinateY
	coordinateZ
	red
	green
	blue
	corners
)

func roleNamed(word []byte) role {
	switch string(word) {
	case "x":
		return coordinateX
	case "y":
		return coordinateY
	case "z":
		return coordinateZ
	case "red", "diffuse_red":
		return red
	case "green", "diffuse_green":
		return green
	case "blue", "diffuse_blue":
		return blue
	case "vertex_indices", "vertex_index":
		return corners
	}
	return skipped
}

// property is one value of an element, or a list of them where length has a type.
type property struct {
	role          role
	kind, lengths scalar
}

// element is a table of a PLY file.
type element struct {
	name       string // "vertex", "face" or nothing
	count      int64
	properties []property
	start      scanner // where its first record stands, once it is known
}

// plyFile reads the tables of a PLY file.
type plyFile struct {
	*scanner
	text     bool
	order    binary.ByteOrder
	elements []element
	unit     float64
	colours  []uint32 // of the vertices, where zones come from them
	record   record
}

// record is what was read of one record.
type record struct {
	values  [blue + 1]float64
	corners []uint32
	most    int64 // corners that vertices are there for
}

func readPLY(data []byte, o Options) (*File, error) {
	unit, err := o.unitless(PLY)
	if err != nil {
		return nil, err
	}
	p := &plyFile{scanner: newScanner(data), unit: unit}
	file, err := p.file(newSoup(len(data), o))
	return file, p.unlined(err)
}

func (p *plyFile) file(s *soup) (*File, error) {
	if err := p.header(); err != nil {
		return nil, err
	}
	if err := p.locate(); err != nil {
		return nil, err
	}
	file := &File{Unit: p.unit}
	if (p.text && p.token() != nil) || (!p.text && p.pos < len(p.buf)) {
		file.warn(TrailingBytes, "there is more after the last record that the header announces; it was left out")
	}
	if err := p.vertices(s); err != nil {
		return nil, err
	}
	if err := p.faces(s); err != nil {
		return nil, err
	}
	file.Mesh = s.mesh()
	return file, nil
}

// header reads what the tables are.
func (p *plyFile) header() error {
	p.next() // "ply"
	for lines := 0; lines < mostLines; lines++ {
		word := p.word()
		switch string(word) {
		case "format":
			if err := p.format(); err != nil {
				return err
			}
		case "element":
			if err := p.element(); err != nil {
				return err
			}
		case "property":
			if err := p.property(); err != nil {
				return err
			}
		case "end_header":
			return p.endHeader()
		case "comment", "obj_info", "":
		default:
			return p.fault(Syntax, "%q is not a word of a PLY header", short(word))
		}
		if !p.next() {
			return p.fault(Truncated, "the file ends inside its header")
		}
	}
	return p.fault(TooLarge, "the header has more than %d lines", mostLines)
}

func (p *plyFile) format() error {
	word := p.word()
	switch string(word) {
	case "ascii":
		p.text = true
	case "binary_little_endian":
		p.order = binary.LittleEndian
	case "binary_big_endian":
		p.order = binary.BigEndian
	default:
		return p.fault(Syntax, "the format is %q; read are ascii, binary_little_endian and binary_big_endian", short(word))
	}
	return nil
}

func (p *plyFile) element() error {
	name := string(short(p.word()))
	word := p.word()
	count, err := strconv.ParseInt(string(short(word)), 10, 64)
	if err != nil || count < 0 {
		return p.fault(Syntax, "%q is not a number of records", short(word))
	}
	for _, e := range p.elements {
		if e.name == name && (name == "vertex" || name == "face") {
			return p.fault(Syntax, "there are two elements %s", name)
		}
	}
	if len(p.elements) >= mostElements {
		return p.fault(TooLarge, "the header has more than %d elements", mostElements)
	}
	if name != "vertex" && name != "face" {
		name = ""
	}
	p.elements = append(p.elements, element{name: name, count: count})
	return nil
}

func (p *plyFile) property() error {
	if len(p.elements) == 0 {
		return p.fault(Syntax, "a property stands before any element")
	}
	e := &p.elements[len(p.elements)-1]
	var v property
	word := p.word()
	if string(word) == "list" {
		if v.lengths = scalarNamed(p.word()); !v.lengths.whole() {
			return p.fault(Syntax, "the length of a list is not of a whole type")
		}
		word = p.word()
	}
	if v.kind = scalarNamed(word); v.kind == none {
		return p.fault(Syntax, "%q is not a type", short(word))
	}
	v.role = roleNamed(p.word())
	if (v.role == corners) != (v.lengths != none) || (v.role == corners && !v.kind.whole()) {
		v.role = skipped
	}
	if len(e.properties) >= mostProperties {
		return p.fault(TooLarge, "an element has more than %d properties", mostProperties)
	}
	e.properties = append(e.properties, v)
	return nil
}

// endHeader goes to the first byte of the tables: after one line end, for bytes that
// look like another may follow.
func (p *plyFile) endHeader() error {
	if !p.text && p.order == nil {
		return p.fault(Syntax, "the header names no format")
	}
	vertex, face := p.table("vertex"), p.table("face")
	if vertex == nil || face == nil {
		return p.fault(EmptyMesh, "the file has no table of vertices or none of faces: a cloud of points is not a surface")
	}
	for _, r := range []role{coordinateX, coordinateY, coordinateZ} {
		if !vertex.has(r) {
			return p.fault(Syntax, "the vertices have no x, y and z")
		}
	}
	if !face.has(corners) && face.count > 0 {
		return p.fault(Syntax, "the faces have no list vertex_indices or vertex_index of whole numbers")
	}
	p.next()
	return nil
}

func (p *plyFile) table(name string) *element {
	for i := range p.elements {
		if p.elements[i].name == name {
			return &p.elements[i]
		}
	}
	return nil
}

func (e *element) has(r role) bool {
	for _, v := range e.properties {
		if v.role == r {
			return true
		}
	}
	return false
}

func (e *element) coloured() bool { return e.has(red) && e.has(green) && e.has(blue) }

// locate notes where each table begins, so that they may stand in any order, and that
// every record is there.
func (p *plyFile) locate() error {
	p.record.most = math.MaxUint32
	for i := range p.elements {
		e := &p.elements[i]
		e.start = *p.scanner
		if err := p.skip(e); err != nil {
			return err
		}
	}
	return nil
}

// skip passes a table by. One of fixed records is passed in one step, and one without
// properties has no bytes, whatever its count.
func (p *plyFile) skip(e *element) error {
	size, fixed := int64(0), !p.text
	for _, v := range e.properties {
		size += v.kind.size()
		fixed = fixed && v.lengths == none
	}
	if len(e.properties) == 0 {
		return nil
	}
	if fixed {
		if left := int64(len(p.buf) - p.pos); e.count > left/size {
			return p.fault(Truncated, "the header says %d records; there is room for %d", e.count, left/size)
		}
		p.pos += int(e.count * size)
		return nil
	}
	return p.each(e, func() error { return nil })
}

// each reads the records of a table.
func (p *plyFile) each(e *element, do func() error) error {
	for i := range e.count {
		for j := range e.properties {
			if err := p.value(&e.properties[j]); err != nil {
				return p.during(err, e, i)
			}
		}
		if err := do(); err != nil {
			return err
		}
	}
	return nil
}

// during says which record a fault is of, where the file ends in it.
func (p *plyFile) during(err error, e *element, number int64) error {
	if f, ok := err.(*Fault); ok && f.Code == Truncated { //nolint:errorlint // made here, not wrapped
		f.Says = fmt.Sprintf("the header says %d records; the file ends in number %d", e.count, number+1)
	}
	return err
}

// value reads one property of a record.
func (p *plyFile) value(v *property) error {
	if v.lengths != none {
		return p.list(v)
	}
	x, err := p.scalar(v.kind)
	if v.role != skipped {
		p.record.values[v.role] = x
	}
	return err
}

func (p *plyFile) list(v *property) error {
	length, err := p.integer(v.lengths)
	if err != nil {
		return err
	}
	if length < 0 {
		return p.fault(Syntax, "a list has %d values", length)
	}
	if v.role == corners {
		return p.corners(v.kind, length)
	}
	if !p.text {
		return p.leap(length * v.kind.size())
	}
	for range length {
		if _, err := p.scalar(v.kind); err != nil {
			return err
		}
	}
	return nil
}

// leap passes over bytes.
func (p *plyFile) leap(size int64) error {
	if size > int64(len(p.buf)-p.pos) {
		return p.fault(Truncated, "the file ends in a list")
	}
	p.pos += int(size)
	return nil
}

// corners reads the corners of a face.
func (p *plyFile) corners(kind scalar, length int64) error {
	if err := p.cornersAllowed(length); err != nil {
		return err
	}
	p.record.corners = p.record.corners[:0]
	for range length {
		index, err := p.integer(kind)
		if err != nil {
			return err
		}
		if index < 0 || index >= p.record.most {
			return p.fault(IndexRange, "a face uses vertex %d; vertices are numbered from 0 to %d", index, p.record.most-1)
		}
		p.record.corners = append(p.record.corners, uint32(index)) //nolint:gosec // within range
	}
	return nil
}

func (p *plyFile) integer(t scalar) (int64, error) {
	x, err := p.scalar(t)
	if err != nil {
		return 0, err
	}
	if !(math.Abs(x) < 1<<33) || x != math.Trunc(x) {
		return 0, p.fault(Syntax, "%g stands where a whole number is wanted", x)
	}
	return int64(x), nil
}

// scalar reads a number.
func (p *plyFile) scalar(t scalar) (float64, error) {
	if !p.text {
		return p.bytes(t)
	}
	word := p.token()
	switch {
	case word == nil:
		return 0, p.fault(Truncated, "the file ends in a record")
	case t == float32s:
		return p.number(word)
	}
	return p.double(word)
}

func (p *plyFile) bytes(t scalar) (float64, error) {
	b := p.buf[p.pos:]
	if int64(len(b)) < t.size() {
		return 0, p.fault(Truncated, "the file ends in a record")
	}
	p.pos += int(t.size())
	switch t {
	case int8s:
		return float64(int8(b[0])), nil //nolint:gosec // the bits are meant
	case uint8s:
		return float64(b[0]), nil
	case int16s:
		return float64(int16(p.order.Uint16(b))), nil //nolint:gosec // the bits are meant
	case uint16s:
		return float64(p.order.Uint16(b)), nil
	case int32s:
		return float64(int32(p.order.Uint32(b))), nil //nolint:gosec // the bits are meant
	case uint32s:
		return float64(p.order.Uint32(b)), nil
	case float32s:
		return float64(math.Float32frombits(p.order.Uint32(b))), nil
	default:
		return math.Float64frombits(p.order.Uint64(b)), nil
	}
}

// at goes to where a table begins.
func (p *plyFile) at(e *element) { *p.scanner = e.start }

// vertices reads the points, and their colours where the faces have none.
func (p *plyFile) vertices(s *soup) error {
	e, face := p.table("vertex"), p.table("face")
	if err := s.hold(e.count); err != nil {
		return err
	}
	coloured := e.coloured() && !face.coloured()
	if coloured {
		if err := s.take(e.count, colourBytes, "colours of vertices"); err != nil {
			return err
		}
		p.colours = make([]uint32, 0, e.count)
	}
	p.at(e)
	return p.each(e, func() error {
		if coloured {
			p.colours = append(p.colours, p.colour(e))
		}
		v := &p.record.values
		return s.vertex(p.scanner, [3]float64{v[coordinateX], v[coordinateY], v[coordinateZ]}, p.unit)
	})
}

// faces reads the faces twice: to count, and to keep.
func (p *plyFile) faces(s *soup) error {
	e := p.table("face")
	p.record.most = int64(len(s.points))
	zoned := e.coloured() || p.colours != nil
	var triangles, runs int64
	last := int64(-1)
	p.at(e)
	if err := p.each(e, func() error {
		triangles += int64(len(p.record.corners)) - 2
		if zone := int64(p.zone(e)); zoned && zone != last {
			last = zone
			runs++
		}
		return nil
	}); err != nil {
		return err
	}
	if err := s.holdFaces(triangles, runs, runs*int64(colourName)); err != nil {
		return err
	}
	name := make([]byte, 0, colourName)
	p.at(e)
	return p.each(e, func() error {
		if zoned {
			name = colourText(name[:0], p.zone(e))
			s.zone(name)
		}
		return s.face(p.record.corners)
	})
}

// zone is the colour of a face, its own or that of all its corners; mixed where they
// differ.
func (p *plyFile) zone(e *element) uint32 {
	if p.colours == nil {
		if e.coloured() {
			return p.colour(e)
		}
		return mixed
	}
	c := p.record.corners
	for _, corner := range c[1:] {
		if p.colours[corner] != p.colours[c[0]] {
			return mixed
		}
	}
	return p.colours[c[0]]
}

// mixed is no colour.
const mixed = 1 << 24

// colourText writes a colour as #rrggbb, and mixed as nothing.
func colourText(to []byte, colour uint32) []byte {
	if colour == mixed {
		return to
	}
	const hex = "0123456789abcdef"
	to = append(to, '#')
	for shift := 20; shift >= 0; shift -= 4 {
		to = append(to, hex[colour>>shift&15])
	}
	return to
}

// colour is the colour of the record that was read.
func (p *plyFile) colour(e *element) uint32 {
	colour := uint32(0)
	for _, v := range e.properties {
		if v.role >= red && v.role <= blue {
			colour |= channel(p.record.values[v.role], v.kind) << (8 * (blue - v.role))
		}
	}
	return colour
}

// channel is a share of a colour from 0 to 255: as it is in a byte, the high byte of a
// longer number, or a share of 1.
func channel(x float64, kind scalar) uint32 {
	switch kind {
	case float32s, float64s:
		x = math.Round(x * 255)
	case int16s, uint16s:
		x = math.Floor(x / 256)
	case int32s, uint32s:
		x = math.Floor(x / (1 << 24))
	default: // a byte is the share itself
	}
	if !(x > 0) {
		return 0
	}
	return uint32(min(x, 255))
}

// unlined takes the line out of a fault of a binary file, which has none.
func (p *plyFile) unlined(err error) error {
	if f, ok := err.(*Fault); ok && !p.text { //nolint:errorlint // made here, not wrapped
		f.Line = 0
	}
	return err
}
