package meshfile

import (
	"bytes"
	"encoding/binary"
)

// AtRest is the warning that a skinned or morphing part was read before any pose: as it is
// stored, and where its first joint puts it.
const AtRest = "at_rest"

// The numbers of a GLB file (glTF 2.0, 4.4).
const (
	glbHeader = 12
	chunkHead = 8
	chunkJSON = 0x4E4F534A
	chunkBIN  = 0x004E4942
)

// readGLTF reads glTF 2.0 (Khronos, ISO/IEC 12113:2022), as JSON or as GLB: the default
// scene with every node in place, else all nodes that no other holds. Its unit is the
// metre and up is y.
func readGLTF(data []byte, o Options) (*File, error) {
	f := &File{YUp: true}
	var err error
	if f.Unit, err = o.carried(GLTF, 1); err != nil {
		return nil, err
	}
	text, binaryChunk := data, []byte(nil)
	if bytes.HasPrefix(data, []byte("glTF")) {
		if text, binaryChunk, err = f.chunks(data); err != nil {
			return nil, err
		}
	}
	d, err := decodeDocument(text, len(data))
	if err != nil {
		return nil, err
	}
	d.binary, d.glb = binaryChunk, binaryChunk != nil
	return f, d.build(f, len(data), o)
}

// chunks takes a GLB file apart.
func (f *File) chunks(data []byte) (text, bin []byte, err error) {
	size := int64(len(data))
	if size < glbHeader {
		return nil, nil, faultf(Truncated, "the GLB header has %d bytes of %d", size, glbHeader)
	}
	if v := binary.LittleEndian.Uint32(data[4:]); v != 2 {
		return nil, nil, faultf(Unsupported, "this is GLB version %d; read is 2", v)
	}
	announced := int64(binary.LittleEndian.Uint32(data[8:]))
	switch {
	case announced > size:
		return nil, nil, faultf(Truncated, "the GLB header announces %d bytes, the file has %d", announced, size)
	case announced < glbHeader:
		return nil, nil, faultf(Syntax, "the GLB header announces %d bytes, less than itself", announced)
	case announced < size:
		f.warn(TrailingBytes, "%d bytes follow the end of the GLB file", size-announced)
	}
	return split(data[:announced])
}

// split returns the JSON chunk, which comes first, and the binary chunk, if any.
func split(data []byte) (text, bin []byte, err error) {
	for at := int64(glbHeader); at < int64(len(data)); {
		kind, body, err := chunk(data, at)
		first := at == glbHeader
		switch {
		case err != nil:
			return nil, nil, err
		case first && kind != chunkJSON:
			return nil, nil, faultf(Syntax, "the first chunk of the GLB file is %#x, not JSON", kind)
		case first:
			text = body
		case kind == chunkBIN && bin == nil:
			bin = body
		}
		at += chunkHead + int64(len(body))
	}
	if text == nil {
		return nil, nil, faultf(Truncated, "the GLB file holds no chunk")
	}
	return text, bin, nil
}

// chunk returns the chunk at an offset. Lengths are summed in 64 bits: near 2^32 they
// would come round.
func chunk(data []byte, at int64) (kind uint32, body []byte, err error) {
	left := int64(len(data)) - at - chunkHead
	if left < 0 {
		return 0, nil, faultf(Truncated, "the GLB file ends inside the head of a chunk, at byte %d", len(data))
	}
	length := int64(binary.LittleEndian.Uint32(data[at:]))
	if length > left {
		return 0, nil, faultf(Truncated, "a chunk at byte %d announces %d bytes, %d are left", at, length, left)
	}
	start := at + chunkHead
	return binary.LittleEndian.Uint32(data[at+4:]), data[start : start+length : start+length], nil
}

// build lays every node of the scene.
func (d *document) build(f *File, size int, o Options) error {
	s := &scene{document: d, placed: make(map[ref]bool)}
	count := s.census()
	roots, err := s.roots(count)
	if err != nil {
		return err
	}
	total := tally{}
	for _, r := range roots {
		total.add(count.tallies[r.index()])
	}
	if err := total.allow(int64(size), o); err != nil {
		return err
	}
	root := asDrawn()
	err = f.assemble(d.soup(size, o), total, func(a *assembly) error {
		for _, r := range roots {
			if err := s.lay(a, count, r.index(), &root); err != nil {
				return err
			}
		}
		return nil
	})
	s.report(f)
	return err
}

// soup has the allowance of a file of so many bytes, less what the JSON took.
func (d *document) soup(size int, o Options) *soup {
	s := newSoup(size, o)
	s.memory -= d.taken
	return s
}
