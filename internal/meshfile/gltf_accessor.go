package meshfile

import (
	"encoding/binary"
	"math"
	"sort"
)

// The component types (glTF 2.0, 3.6.2.2).
const (
	int8Type    = 5120
	uint8Type   = 5121
	int16Type   = 5122
	uint16Type  = 5123
	uint32Type  = 5125
	float32Type = 5126
)

// column is an accessor: so many elements that lie at a stride in the bytes of the file.
type column struct {
	bytes         []byte // nil where all is zero
	count, stride int
	component     int // type
	normalised    bool
	sparse        *overlay
}

// overlay is the elements of an accessor that others replace.
type overlay struct{ indices, values column }

// restart is the index that stands for none: the greatest of its type, by which some
// programs begin a new strip (glTF 2.0, 3.7.2.1: it must not be there).
func (c *column) restart() int { return 1<<(8*sizeOf(c.component)) - 1 }

// sizeOf is the size of a component in bytes; 0 for a type that is not known.
func sizeOf(component int) int {
	switch component {
	case int8Type, uint8Type:
		return 1
	case int16Type, uint16Type:
		return 2
	case uint32Type, float32Type:
		return 4
	}
	return 0
}

// positions returns the corners of a primitive.
func (d *document) positions(p *primitive) (column, error) {
	at, err := p.Attributes.Position.in(len(d.Accessors), "accessor")
	if err != nil {
		return column{}, err
	}
	a := &d.Accessors[at]
	switch {
	case a.Type != vec3Kind:
		return column{}, faultf(Syntax, "accessor %d holds positions; it must be of type VEC3", at)
	case a.ComponentType == uint32Type || sizeOf(int(a.ComponentType)) == 0:
		return column{}, faultf(Syntax, "accessor %d holds positions of component type %d; allowed is %d", at, a.ComponentType, float32Type)
	case a.ComponentType != float32Type && !d.Required.has(quantised):
		return column{}, faultf(Unsupported, "accessor %d holds positions of component type %d, which needs %s", at, a.ComponentType, quantised)
	}
	return d.column(a, 3)
}

// indices returns the corners of the triangles of a primitive.
func (d *document) indices(p *primitive) (column, error) {
	at, err := p.Indices.in(len(d.Accessors), "accessor")
	if err != nil {
		return column{}, err
	}
	a := &d.Accessors[at]
	switch a.ComponentType {
	case uint8Type, uint16Type, uint32Type:
	default:
		return column{}, faultf(Syntax, "accessor %d holds indices of component type %d; allowed are %d, %d and %d",
			at, a.ComponentType, uint8Type, uint16Type, uint32Type)
	}
	if a.Type != scalarKind {
		return column{}, faultf(Syntax, "accessor %d holds indices; it must be of type SCALAR", at)
	}
	return d.column(a, 1)
}

// column returns an accessor of elements of so many components. One without any bytes
// is zeros by the letter (glTF 2.0, 3.6.2.3), but who writes one has the bytes elsewhere.
func (d *document) column(a *accessor, components int) (column, error) {
	c := column{count: int(a.Count), component: int(a.ComponentType), normalised: a.Normal}
	switch {
	case a.Count < 0 || a.Count > mostIndex:
		return c, faultf(IndexRange, "an accessor has %d elements; allowed is 0 to %d", a.Count, mostIndex)
	case a.BufferView == 0 && a.Sparse == nil:
		return c, faultf(Unsupported, "an accessor has no bytes: they come by an extension that is not read, as by compression")
	}
	if a.BufferView != 0 {
		if err := d.locate(&c, a.BufferView, int64(a.ByteOffset), components); err != nil {
			return c, err
		}
	}
	if a.Sparse == nil {
		return c, nil
	}
	var err error
	c.sparse, err = d.overlay(a, components)
	return c, err
}

// overlay returns the elements that replace others of an accessor. It is checked once,
// however many copies use it.
func (d *document) overlay(a *accessor, components int) (*overlay, error) {
	s := a.Sparse
	if s.checked != nil {
		return s.checked, nil
	}
	if s.Count < 0 || s.Count > a.Count {
		return nil, faultf(IndexRange, "a sparse accessor replaces %d elements of %d", s.Count, a.Count)
	}
	if t := s.Indices.ComponentType; t != uint8Type && t != uint16Type && t != uint32Type {
		return nil, faultf(Syntax, "a sparse accessor has indices of component type %d", t)
	}
	o := &overlay{
		indices: column{count: int(s.Count), component: int(s.Indices.ComponentType)},
		values:  column{count: int(s.Count), component: int(a.ComponentType), normalised: a.Normal},
	}
	if err := d.locate(&o.indices, s.Indices.BufferView, int64(s.Indices.ByteOffset), 1); err != nil {
		return nil, err
	}
	if err := d.locate(&o.values, s.Values.BufferView, int64(s.Values.ByteOffset), components); err != nil {
		return nil, err
	}
	if err := o.rising(int64(a.Count)); err != nil {
		return nil, err
	}
	s.checked = o
	return o, nil
}

// rising says whether the indices rise, as they must for one to be found among them.
func (o *overlay) rising(count int64) error {
	last := int64(-1)
	for i := range o.indices.count {
		at := int64(o.indices.index(i))
		if at <= last {
			return faultf(Syntax, "the indices of a sparse accessor must rise: %d follows %d", at, last)
		}
		last = at
	}
	if last >= count {
		return faultf(IndexRange, "a sparse accessor replaces element %d of %d", last, count)
	}
	return nil
}

// locate finds the bytes of a column and checks that they are there.
func (d *document) locate(c *column, view ref, offset int64, components int) error {
	at, err := view.in(len(d.BufferViews), "buffer view")
	if err != nil {
		return err
	}
	v := &d.BufferViews[at]
	bytes, err := d.view(v)
	if err != nil {
		return err
	}
	element := sizeOf(c.component) * components
	c.stride = element
	if v.ByteStride != 0 {
		if v.ByteStride < whole(element) || v.ByteStride > 252 { // glTF 2.0, bufferView.byteStride
			return faultf(Syntax, "buffer view %d has a stride of %d bytes for elements of %d; allowed is up to 252", at, v.ByteStride, element)
		}
		c.stride = int(v.ByteStride)
	}
	left := int64(len(bytes)) - offset
	need := int64(c.stride)*int64(c.count-1) + int64(element) // below 2^40
	if offset < 0 || left < 0 || c.count > 0 && need > left {
		return faultf(IndexRange, "an accessor of %d elements at byte %d runs past its buffer view of %d bytes", c.count, offset, len(bytes))
	}
	c.bytes = bytes[offset:]
	return nil
}

// view returns the bytes of a buffer view.
func (d *document) view(v *bufferView) ([]byte, error) {
	at, err := v.Buffer.in(len(d.Buffers), "buffer")
	if err != nil {
		return nil, err
	}
	bytes, err := d.buffer(at)
	if err != nil {
		return nil, err
	}
	size := whole(len(bytes))
	if v.ByteOffset < 0 || v.ByteLength < 0 || v.ByteOffset > size || v.ByteLength > size-v.ByteOffset {
		return nil, faultf(IndexRange, "a buffer view of %d bytes at byte %d runs past its buffer of %d", v.ByteLength, v.ByteOffset, size)
	}
	return bytes[v.ByteOffset : v.ByteOffset+v.ByteLength], nil
}

// buffer returns the bytes of a buffer.
func (d *document) buffer(at int) ([]byte, error) {
	b := &d.Buffers[at]
	bytes := b.URI.data
	switch {
	case b.URI.external != "":
		return nil, faultf(ExternalFile, "buffer %d is in another file, %q: send a GLB, or a glTF with its buffers inside", at, b.URI.external)
	case b.URI.given:
	case at == 0 && d.glb:
		bytes = d.binary
	}
	if b.ByteLength < 0 {
		return nil, faultf(Syntax, "buffer %d has %d bytes", at, b.ByteLength)
	}
	if b.ByteLength > whole(len(bytes)) {
		return nil, faultf(Truncated, "buffer %d announces %d bytes, %d are there", at, b.ByteLength, len(bytes))
	}
	return bytes[:b.ByteLength], nil
}

// index returns an element of indices.
func (c *column) index(i int) uint32 {
	bytes, i := c.element(i)
	if bytes == nil {
		return 0
	}
	switch c.component {
	case uint8Type:
		return uint32(bytes[i])
	case uint16Type:
		return uint32(binary.LittleEndian.Uint16(bytes[i:]))
	}
	return binary.LittleEndian.Uint32(bytes[i:])
}

// point returns an element of positions.
func (c *column) point(i uint32) [3]float64 {
	bytes, at := c.element(int(i))
	if bytes == nil {
		return [3]float64{}
	}
	size := sizeOf(c.component)
	return [3]float64{c.value(bytes[at:]), c.value(bytes[at+size:]), c.value(bytes[at+2*size:])}
}

// numbers returns the components of an element; zeros where it has no bytes.
func (c *column) numbers(i, components int) numbers {
	values := make(numbers, components)
	bytes, at := c.element(i)
	for k := range values {
		if bytes != nil {
			values[k] = c.value(bytes[at+k*sizeOf(c.component):])
		}
	}
	return values
}

// element returns the bytes that hold an element, and where in them it begins.
func (c *column) element(i int) ([]byte, int) {
	if s := c.sparse; s != nil {
		n := sort.Search(s.indices.count, func(n int) bool { return int(s.indices.index(n)) >= i })
		if n < s.indices.count && int(s.indices.index(n)) == i {
			return s.values.bytes, n * s.values.stride
		}
	}
	return c.bytes, i * c.stride
}

// value reads one component (KHR_mesh_quantization; glTF 2.0, 3.6.2.2: a normalised
// signed number is max(c / 127, -1)).
func (c *column) value(b []byte) float64 {
	v, most := 0.0, 1.0
	switch c.component {
	case int8Type:
		v, most = float64(int8(b[0])), math.MaxInt8 //nolint:gosec // the sign is what is read
	case uint8Type:
		v, most = float64(b[0]), math.MaxUint8
	case int16Type:
		v, most = float64(int16(binary.LittleEndian.Uint16(b))), math.MaxInt16 //nolint:gosec // the sign is what is read
	case uint16Type:
		v, most = float64(binary.LittleEndian.Uint16(b)), math.MaxUint16
	default:
		v = float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
	}
	if c.normalised && c.component != float32Type { // of floats it is not allowed, and says nothing
		return max(v/most, -1)
	}
	return v
}
