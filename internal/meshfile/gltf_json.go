package meshfile

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// The bounds of the JSON. An object of three bytes takes some two hundred once decoded.
const (
	freeObjects    = 4096 // that every file may hold
	bytesPerObject = 100  // of the file, for each object above those
	objectBytes    = 200  // that an object takes once decoded, about
	mostNumbers    = 16   // in a matrix
	mostExtensions = 64
)

// document is what is read of the JSON of a glTF file.
type document struct {
	Asset       asset            `json:"asset"`
	Required    extensions       `json:"extensionsRequired"`
	Scene       ref              `json:"scene"`
	Scenes      list[sceneNodes] `json:"scenes"`
	Nodes       list[node]       `json:"nodes"`
	Skins       list[skin]       `json:"skins"`
	Meshes      list[meshPart]   `json:"meshes"`
	Materials   list[material]   `json:"materials"`
	Accessors   list[accessor]   `json:"accessors"`
	BufferViews list[bufferView] `json:"bufferViews"`
	Buffers     list[buffer]     `json:"buffers"`

	binary []byte // the binary chunk
	glb    bool   // there is one
	taken  int64  // bytes that the decoding took, about
}

type asset struct {
	Version string `json:"version"`
	Least   string `json:"minVersion"`
}

type sceneNodes struct {
	Nodes refs `json:"nodes"`
}

type node struct {
	Children    refs    `json:"children"`
	Mesh        ref     `json:"mesh"`
	Skin        ref     `json:"skin"`
	Matrix      numbers `json:"matrix"`
	Translation numbers `json:"translation"`
	Rotation    numbers `json:"rotation"`
	Scale       numbers `json:"scale"`
	Extensions  struct {
		Instances present `json:"EXT_mesh_gpu_instancing"`
	} `json:"extensions"`
}

// skin is the joints that a mesh hangs on.
type skin struct {
	Joints  refs `json:"joints"`
	Inverse ref  `json:"inverseBindMatrices"`

	at    placement // where they put the mesh
	known bool      // it was worked out
}

type meshPart struct {
	Primitives list[primitive] `json:"primitives"`
}

type primitive struct {
	Attributes struct {
		Position ref `json:"POSITION"`
	} `json:"attributes"`
	Indices  ref     `json:"indices"`
	Material ref     `json:"material"`
	Mode     ref     `json:"mode"`
	Targets  present `json:"targets"`
}

// mode is the mode of a primitive; triangles where none is given.
func (p *primitive) mode() int {
	if p.Mode == 0 {
		return modeTriangles
	}
	return p.Mode.index()
}

type material struct {
	Name string `json:"name"`
}

type accessor struct {
	BufferView    ref     `json:"bufferView"`
	ByteOffset    whole   `json:"byteOffset"`
	Count         whole   `json:"count"`
	ComponentType whole   `json:"componentType"`
	Normal        bool    `json:"normalized"` //nolint:misspell // the word of glTF
	Type          kind    `json:"type"`
	Sparse        *sparse `json:"sparse"`
}

type sparse struct {
	Count   whole `json:"count"`
	Indices struct {
		BufferView    ref   `json:"bufferView"`
		ByteOffset    whole `json:"byteOffset"`
		ComponentType whole `json:"componentType"`
	} `json:"indices"`
	Values struct {
		BufferView ref   `json:"bufferView"`
		ByteOffset whole `json:"byteOffset"`
	} `json:"values"`

	checked *overlay // once it was found sound
}

type bufferView struct {
	Buffer     ref   `json:"buffer"`
	ByteOffset whole `json:"byteOffset"`
	ByteLength whole `json:"byteLength"`
	ByteStride whole `json:"byteStride"`
}

type buffer struct {
	ByteLength whole `json:"byteLength"`
	URI        uri   `json:"uri"`
}

// decodeDocument decodes the JSON of a file of size bytes.
func decodeDocument(text []byte, size int) (*document, error) {
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	n := bytes.Count(text, []byte("{"))
	if n > freeObjects+size/bytesPerObject {
		return nil, faultf(TooLarge, "the JSON holds %d objects; allowed are %d in a file of %d bytes",
			n, freeObjects+size/bytesPerObject, size)
	}
	d := &document{taken: int64(n) * objectBytes}
	if err := json.Unmarshal(text, d); err != nil {
		return nil, jsonFault(err, len(text))
	}
	switch {
	case d.Asset.Version == "":
		return nil, faultf(NotAMesh, "the JSON names no version of glTF (asset.version)")
	case !strings.HasPrefix(d.Asset.Version, "2."):
		return nil, faultf(Unsupported, "this is glTF %.20q; read is 2.0", d.Asset.Version)
	case d.Asset.Least != "" && d.Asset.Least != "2.0":
		return nil, faultf(Unsupported, "the file asks for glTF %.20q at least; read is 2.0", d.Asset.Least)
	}
	for i := range d.Buffers {
		d.taken += d.Buffers[i].URI.taken
	}
	return d, d.Required.understood()
}

// jsonFault makes a fault of what stopped the decoding.
func jsonFault(err error, size int) error {
	var f *Fault
	var s *json.SyntaxError
	var t *json.UnmarshalTypeError
	switch {
	case errors.As(err, &f):
		return f
	case errors.As(err, &s) && s.Offset >= int64(size):
		f = faultf(Truncated, "the JSON ends in the middle, at byte %d", s.Offset)
		f.Offset = s.Offset
	case errors.As(err, &s):
		f = faultf(Syntax, "byte %d is no JSON: %v", s.Offset, s)
		f.Offset = s.Offset
	case errors.As(err, &t):
		f = faultf(Syntax, "%s is a %.40s, which it cannot be", t.Field, t.Value)
		f.Offset = t.Offset
	default:
		f = faultf(Syntax, "the JSON cannot be read: %v", err)
	}
	return f
}

// list is an array of objects. It is sized before it is decoded: grown one by one it
// would take several times the memory.
type list[T any] []T

// UnmarshalJSON decodes an array.
func (l *list[T]) UnmarshalJSON(text []byte) error {
	if len(text) > 0 && text[0] == 'n' {
		return nil // null
	}
	n, ok := elements(text)
	if !ok {
		return faultf(Syntax, "%.40s: an array of objects holds something else", text)
	}
	items := make([]T, 0, n)
	if err := json.Unmarshal(text, &items); err != nil {
		return err
	}
	*l = items
	return nil
}

// elements counts the objects of an array of objects, not those within them. It is not
// ok where the array holds anything else: a null of four bytes would take two hundred.
func elements(text []byte) (n int, ok bool) {
	depth, quoted := 0, false
	for i := 0; i < len(text); i++ {
		c := text[i]
		if depth == 1 && !quoted {
			switch c {
			case '{':
				n++
			case ',', ']', ' ', '\t', '\r', '\n':
			default:
				return n, false
			}
		}
		switch {
		case quoted && c == '\\':
			i++
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '{' || c == '[':
			depth++
		case c == '}' || c == ']':
			depth--
		}
	}
	return n, true
}

// whole is a whole number. It may be written 100, 100.0 or 1e2 (glTF 2.0, 2.7).
type whole int64

// UnmarshalJSON decodes a whole number.
func (w *whole) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		return nil
	}
	n, err := wholeOf(text)
	*w = whole(n)
	return err
}

// mostWhole is the greatest whole number that every reader of JSON gets right (RFC 8259,
// section 6).
const mostWhole = 1<<53 - 1

func wholeOf(text []byte) (int64, error) {
	if n, err := strconv.ParseInt(string(text), 10, 64); err == nil {
		return n, nil
	}
	v, err := strconv.ParseFloat(string(text), 64)
	switch {
	case err != nil && !errors.Is(err, strconv.ErrRange):
		return 0, faultf(Syntax, "%.40s stands where a whole number should", text)
	case err != nil || math.Abs(v) > mostWhole:
		return 0, faultf(IndexRange, "a whole number is %.40s; allowed is up to %d", text, int64(mostWhole))
	case v != math.Trunc(v):
		return 0, faultf(Syntax, "%.40s stands where a whole number should", text)
	}
	return int64(v), nil
}

// ref is 1 + an index, so that zero is none.
type ref uint32

const mostIndex = 1<<31 - 1

func refTo(index int) ref { return ref(index) + 1 } //nolint:gosec // indices are below 2^31

func (r ref) index() int { return int(r) - 1 }

// in returns the index where it is one of so many.
func (r ref) in(n int, what string) (int, error) {
	if r == 0 || r.index() >= n {
		return 0, faultf(IndexRange, "%s %d is used; the file holds %d", what, r.index(), n)
	}
	return r.index(), nil
}

// UnmarshalJSON decodes an index.
func (r *ref) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		return nil
	}
	n, err := wholeOf(text)
	switch {
	case err != nil:
		return err
	case n < 0 || n > mostIndex:
		return faultf(IndexRange, "an index is %.40s; allowed is 0 to %d", text, mostIndex)
	}
	*r = ref(n) + 1
	return nil
}

// refs is an array of indices.
type refs []ref

// UnmarshalJSON decodes an array of indices.
func (l *refs) UnmarshalJSON(text []byte) error {
	items, err := array(text)
	if err != nil || len(items) == 0 {
		return err
	}
	*l = make(refs, 0, bytes.Count(items, []byte(","))+1)
	for item := range bytes.SplitSeq(items, []byte(",")) {
		var r ref
		if err := r.UnmarshalJSON(bytes.TrimSpace(item)); err != nil {
			return err
		}
		*l = append(*l, r)
	}
	return nil
}

// array returns what stands between the brackets of an array.
func array(text []byte) ([]byte, error) {
	if string(text) == "null" {
		return nil, nil
	}
	if len(text) < 2 || text[0] != '[' {
		return nil, faultf(Syntax, "%.40s stands where an array should", text)
	}
	return bytes.TrimSpace(text[1 : len(text)-1]), nil
}

// numbers is an array of as many numbers as a matrix has, at most.
type numbers []float64

// UnmarshalJSON decodes an array of numbers.
func (l *numbers) UnmarshalJSON(text []byte) error {
	items, err := array(text)
	if err != nil || len(items) == 0 {
		return err
	}
	n := bytes.Count(items, []byte(",")) + 1
	if n > mostNumbers {
		return faultf(Syntax, "an array has %d numbers; allowed are %d", n, mostNumbers)
	}
	*l = make(numbers, 0, n)
	for item := range bytes.SplitSeq(items, []byte(",")) {
		v, err := strconv.ParseFloat(string(bytes.TrimSpace(item)), 64)
		switch {
		case errors.Is(err, strconv.ErrRange):
			return faultf(OutOfRange, "a number is %.40s, which is too large", item)
		case err != nil:
			return faultf(Syntax, "%.40s stands where a number should", item)
		}
		*l = append(*l, v)
	}
	return nil
}

// present says that a field is there.
type present bool

// UnmarshalJSON notes that the field is there.
func (p *present) UnmarshalJSON(text []byte) error {
	*p = present(string(text) != "null")
	return nil
}

// kind is the type of an accessor, as far as it matters here.
type kind byte

// The kinds of accessors.
const (
	otherKind kind = iota
	scalarKind
	vec3Kind
	mat4Kind
)

// UnmarshalJSON decodes the type of an accessor without keeping its text.
func (k *kind) UnmarshalJSON(text []byte) error {
	switch string(text) {
	case `"SCALAR"`:
		*k = scalarKind
	case `"VEC3"`:
		*k = vec3Kind
	case `"MAT4"`:
		*k = mat4Kind
	}
	return nil
}

// uri is where the bytes of a buffer are: in the text itself, or in a file that was not
// sent.
type uri struct {
	data     []byte
	taken    int64 // bytes that the decoding took
	given    bool
	external string // the beginning of another uri
}

// UnmarshalJSON decodes a uri. Text of base64 is decoded at once, for it may be all of
// the file.
func (u *uri) UnmarshalJSON(text []byte) error {
	if len(text) < 2 || text[0] != '"' {
		return nil // null, or what is no uri
	}
	u.given = true
	head, payload, ok := bytes.Cut(text[1:len(text)-1], []byte(","))
	head = plain(head[:min(len(head), longestHead)])
	if !ok || !hasFold(head[:min(len(head), 5)], "data:") {
		u.external = string(head[:min(len(head), 80)])
		return nil
	}
	return u.decode(head, payload)
}

// longestHead bounds what stands before the data in a uri, in bytes.
const longestHead = 1000

func (u *uri) decode(head, payload []byte) error {
	const coded = ";base64" // in letters of either size, as the scheme is (RFC 2397, RFC 3986)
	if !hasFold(head[max(0, len(head)-len(coded)):], coded) {
		return faultf(Unsupported, "a buffer is %.60q; read are data: uris of base64", head)
	}
	data := make([]byte, base64.RawStdEncoding.DecodedLen(len(payload)))
	n, err := io.ReadFull(base64.NewDecoder(base64.RawStdEncoding, &characters{payload}), data)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) { // it ends before data: of escapes and line ends
		return faultf(Syntax, "the base64 of a buffer is damaged: %v", err)
	}
	u.taken, u.data = int64(len(data)), data[:n]
	return nil
}

func hasFold(text []byte, word string) bool { return strings.EqualFold(string(text), word) }

// characters reads the characters of JSON text up to the =, which fills base64 up. Some
// writers write / as \/, or + as \u002b; package json would make three copies of a text
// that may be all of the file to say so.
type characters struct{ text []byte }

// Read reads on.
func (r *characters) Read(b []byte) (int, error) {
	n := 0
	for n < len(b) && len(r.text) > 0 {
		if b[n], r.text = character(r.text); b[n] == '=' {
			r.text = nil
			break
		}
		n++
	}
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

// plain is JSON text without its escapes.
func plain(text []byte) []byte {
	out := make([]byte, 0, len(text))
	var c byte
	for len(text) > 0 {
		c, text = character(text)
		out = append(out, c)
	}
	return out
}

// character takes a character off the front of JSON text (RFC 8259, section 7). What is
// none of ASCII becomes ?, which no base64 holds.
func character(text []byte) (c byte, rest []byte) {
	switch {
	case text[0] != '\\' || len(text) == 1:
		return text[0], text[1:]
	case text[1] != 'u':
		if i := strings.IndexByte("bfnrt", text[1]); i >= 0 {
			return "\b\f\n\r\t"[i], text[2:]
		}
		return text[1], text[2:]
	}
	end := min(6, len(text))
	n, err := strconv.ParseUint(string(text[2:end]), 16, 16)
	if err != nil || n > unicode.MaxASCII {
		n = '?'
	}
	return byte(n), text[end:]
}

// extensions are names of extensions that a file needs.
type extensions []string

// UnmarshalJSON decodes the names.
func (x *extensions) UnmarshalJSON(text []byte) error {
	if n := bytes.Count(text, []byte(",")) + 1; n > mostExtensions {
		return faultf(Unsupported, "the file needs %d extensions; allowed are %d", n, mostExtensions)
	}
	return json.Unmarshal(text, (*[]string)(x))
}

// quantised is the extension by which corners may be whole numbers.
const quantised = "KHR_mesh_quantization"

// understood says whether every needed extension is read, or changes no shape.
func (x extensions) understood() error {
	for _, name := range x {
		switch {
		case name == quantised, name == "KHR_lights_punctual", name == "KHR_xmp_json_ld":
		case strings.HasPrefix(name, "KHR_materials_"), strings.HasPrefix(name, "KHR_texture_"), strings.HasPrefix(name, "EXT_texture_"):
		default:
			return faultf(Unsupported, "the file needs the extension %.60q, which is not read: save it without compression or extensions", name)
		}
	}
	return nil
}

func (x extensions) has(name string) bool {
	for _, n := range x {
		if n == name {
			return true
		}
	}
	return false
}
