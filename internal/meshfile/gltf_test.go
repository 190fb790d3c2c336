package meshfile

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// glbOf puts JSON and bytes into a GLB file.
func glbOf(text string, bin []byte) []byte {
	text += strings.Repeat(" ", (4-len(text)%4)%4)
	bin = append(bytes.Clone(bin), make([]byte, (4-len(bin)%4)%4)...)
	out := []byte("glTF")
	add := func(v int) { out = binary.LittleEndian.AppendUint32(out, uint32(v)) }
	add(2)
	add(28 + len(text) + len(bin))
	add(len(text))
	add(chunkJSON)
	out = append(out, text...)
	add(len(bin))
	add(chunkBIN)
	return append(out, bin...)
}

// layout is the pieces of a glTF file of one primitive, the box of 1 x 2 x 3 m.
type layout struct {
	head, nodes, primitive, accessors, views string
	bin                                      []byte
}

// boxLayout has positions in view 0 and 16-bit indices in view 1.
func boxLayout() layout {
	l := layout{
		nodes:     `{"mesh":0}`,
		primitive: `"indices":1`,
		accessors: `{"bufferView":0,"componentType":5126,"count":8,"type":"VEC3"},{"bufferView":1,"componentType":5123,"count":36,"type":"SCALAR"}`,
		views:     `{"buffer":0,"byteLength":96},{"buffer":0,"byteOffset":96,"byteLength":72}`,
		bin:       boxCorners(),
	}
	for _, f := range boxFaces() {
		for _, v := range f {
			l.bin = binary.LittleEndian.AppendUint16(l.bin, v)
		}
	}
	return l
}

func boxCorners() (bin []byte) {
	for i := range 8 {
		bin = append(bin, floats(float32(i&1), float32(i>>1&1)*2, float32(i>>2)*3)...)
	}
	return bin
}

func floats(values ...float32) (bin []byte) {
	for _, v := range values {
		bin = binary.LittleEndian.AppendUint32(bin, math.Float32bits(v))
	}
	return bin
}

func (l layout) text(buffer string) string {
	return fmt.Sprintf(`{"asset":{"version":"2.0"},%s"nodes":[%s],"meshes":[{"primitives":[{"attributes":{"POSITION":0},%s}]}],`+
		`"accessors":[%s],"bufferViews":[%s],"buffers":[{"byteLength":%d%s}]}`, l.head, l.nodes, l.primitive, l.accessors, l.views, len(l.bin), buffer)
}

func (l layout) read() (*File, error) {
	return Read(glbOf(l.text(""), l.bin), Options{Name: "a.glb"})
}

// TestNodes: where a box of 1 x 2 x 3 m comes to stand, by hand (glTF 2.0: scale, then
// rotation, then translation; matrices by columns).
func TestNodes(t *testing.T) {
	for name, c := range map[string]struct {
		head, nodes string
		volume      float64
		low, high   mesh.Point
	}{
		"as drawn": {``, `{"mesh":0}`, 6, mesh.Point{}, mesh.Point{1, 2, 3}},
		// x doubled: 2 x 2 x 3; a quarter turn about z takes x to y, y to -x; then 10 in x.
		"scaled, turned, moved": {
			``, `{"mesh":0,"scale":[2,1,1],"rotation":[0,0,0.70710678,0.70710678],"translation":[10,0,0]}`, 12,
			mesh.Point{8, 0, 0},
			mesh.Point{10, 2, 3},
		},
		"matrix by columns": {``, `{"mesh":0,"matrix":[0,1,0,0,-1,0,0,0,0,0,1,0,10,0,0,1]}`, 6, mesh.Point{8, 0, 0}, mesh.Point{10, 1, 3}},
		"mirrored":          {``, `{"mesh":0,"scale":[-1,1,1]}`, 6, mesh.Point{-1, 0, 0}, mesh.Point{0, 2, 3}},
		"in another":        {``, `{"children":[1],"scale":[2,2,2]},{"mesh":0,"translation":[1,0,0]}`, 48, mesh.Point{2, 0, 0}, mesh.Point{4, 4, 6}},
		"second scene":      {`"scene":1,"scenes":[{"nodes":[0]},{"nodes":[1]}],`, `{"mesh":0},{"mesh":0,"translation":[5,0,0]}`, 6, mesh.Point{5, 0, 0}, mesh.Point{6, 2, 3}},
		"no scenes":         {``, `{"mesh":0},{"mesh":0,"translation":[5,0,0]}`, 12, mesh.Point{}, mesh.Point{6, 2, 3}},
		"no default scene":  {`"scenes":[{"nodes":[0]}],`, `{"mesh":0},{"mesh":0,"translation":[5,0,0]}`, 6, mesh.Point{}, mesh.Point{1, 2, 3}},
	} {
		t.Run(name, func(t *testing.T) {
			l := boxLayout()
			l.head, l.nodes = c.head, c.nodes
			got, err := l.read()
			require.NoError(t, err)
			assert.Equal(t, GLB, got.Format)
			s := summed(got.Mesh)
			assert.InEpsilon(t, c.volume, signed(s), 1e-7)
			assert.InDeltaSlice(t, c.low[:], s.Low[:], 1e-6)
			assert.InDeltaSlice(t, c.high[:], s.High[:], 1e-6)
		})
	}
}

// TestSkinAtRest: where a skinned box of 1 x 2 x 3 m comes to stand, by hand, with the
// nodes of the specification's own example (glTF 2.0, 3.8.2): the translation of the first
// and the scale of the second are applied, those of the mesh's own node are ignored.
func TestSkinAtRest(t *testing.T) {
	for name, c := range map[string]struct {
		inverse   []float32 // by columns
		low, high mesh.Point
	}{
		"no inverse": {nil, mesh.Point{0, 1, 0}, mesh.Point{.5, 2, 1.5}},
		// Twice the size, then 2 m down: what the joints do, undone.
		"as bound": {[]float32{2, 0, 0, 0, 0, 2, 0, 0, 0, 0, 2, 0, 0, -2, 0, 1}, mesh.Point{}, mesh.Point{1, 2, 3}},
	} {
		t.Run(name, func(t *testing.T) {
			l := boxLayout()
			l.nodes = `{"children":[1],"translation":[0,1,0]},{"children":[2],"scale":[0.5,0.5,0.5]},{},` +
				`{"children":[4],"translation":[1,0,0]},{"mesh":0,"rotation":[0,1,0,0],"skin":0}`
			l.head = `"skins":[{"joints":[1,2]}],`
			if c.inverse != nil {
				l.head = `"skins":[{"joints":[1,2],"inverseBindMatrices":2}],`
				l.accessors += `,{"bufferView":2,"componentType":5126,"count":1,"type":"MAT4"}`
				l.views += `,{"buffer":0,"byteOffset":168,"byteLength":64}`
				l.bin = append(l.bin, floats(c.inverse...)...)
			}
			got, err := l.read()
			require.NoError(t, err)
			s := summed(got.Mesh)
			assert.InDeltaSlice(t, c.low[:], s.Low[:], 1e-6)
			assert.InDeltaSlice(t, c.high[:], s.High[:], 1e-6)
			assert.Equal(t, []string{AtRest}, codes(got.Warnings))
		})
	}
}

// layouts are other ways to store a surface, each with the area that it must have, m2,
// and its count of triangles.
func layouts() map[string]struct {
	layout
	area      float64
	triangles int
} {
	type row = struct {
		layout
		area      float64
		triangles int
	}
	bytes8 := boxLayout()
	bytes8.accessors = strings.Replace(bytes8.accessors, "5123", "5121", 1)
	bytes8.views = strings.Replace(bytes8.views, `"byteLength":72`, `"byteLength":36`, 1)
	bytes8.bin = boxCorners()
	bytes32 := boxLayout()
	bytes32.accessors = strings.Replace(bytes32.accessors, "5123", "5125", 1)
	bytes32.views = strings.Replace(bytes32.views, `"byteLength":72`, `"byteLength":144`, 1)
	bytes32.bin = boxCorners()
	for _, f := range boxFaces() {
		for _, v := range f {
			bytes8.bin = append(bytes8.bin, byte(v))
			bytes32.bin = binary.LittleEndian.AppendUint32(bytes32.bin, uint32(v))
		}
	}
	// A sheet of 2 x 1 m in six corners: a strip; and round its first corner, a fan.
	sheet := func(mode int, places ...float32) layout {
		return layout{
			nodes: `{"mesh":0}`, primitive: fmt.Sprintf(`"mode":%d`, mode), bin: floats(places...),
			accessors: fmt.Sprintf(`{"bufferView":0,"componentType":5126,"count":%d,"type":"VEC3"}`, len(places)/3),
			views:     fmt.Sprintf(`{"buffer":0,"byteLength":%d}`, 4*len(places)),
		}
	}
	strip := sheet(modeStrip, 0, 0, 0, 0, 1, 0, 1, 0, 0, 1, 1, 0, 2, 0, 0, 2, 1, 0)
	fan := sheet(modeFan, 0, 0, 0, 2, 0, 0, 2, 1, 0, 1, 1, 0, 0, 1, 0)
	strided := sheet(modeTriangles, 0, 0, 0, 9, 2, 0, 0, 9, 0, 1, 0, 9)
	strided.accessors = `{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3"}`
	strided.views = `{"buffer":0,"byteLength":48,"byteStride":16}`
	// Three corners of zeros, of which two are replaced: a triangle of 2 x 1 m.
	sparse := sheet(modeTriangles, 2, 0, 0, 0, 1, 0)
	sparse.bin = append(sparse.bin, 1, 2)
	sparse.accessors = `{"componentType":5126,"count":3,"type":"VEC3","sparse":{"count":2,"indices":{"bufferView":1,"componentType":5121},"values":{"bufferView":0}}}`
	sparse.views = `{"buffer":0,"byteLength":24},{"buffer":0,"byteOffset":24,"byteLength":2}`
	// Floats must not be said to be normalised (glTF 2.0, accessor), and saying so changes none:
	// a triangle of 4 x 3 m, all beyond -1.
	negative := sheet(modeTriangles, -2, -2, 0, -6, -2, 0, -2, -5, 0)
	negative.accessors = strings.Replace(negative.accessors, `"count"`, `"normalized":true,"count"`, 1) //nolint:misspell // the word of glTF
	// Whole numbers "may be stored as decimals with a zero fractional part or by using
	// exponent notation" (glTF 2.0, 2.7).
	decimals := boxLayout()
	decimals.nodes = `{"mesh":0.0}`
	decimals.primitive = `"indices":1e0,"mode":4.0`
	decimals.accessors = strings.NewReplacer("36", "3.6e1", "5123", "5123.0", ":8", ":80e-1").Replace(decimals.accessors)
	decimals.views = strings.Replace(decimals.views, ":96,", ":9.6E+1,", 1)
	// 127 stands for 1 (KHR_mesh_quantization), so that the triangle is 1 x 1 m.
	small := layout{
		head: `"extensionsRequired":["KHR_mesh_quantization"],`, nodes: `{"mesh":0}`, primitive: `"mode":4`,
		accessors: `{"bufferView":0,"componentType":5120,"normalized":true,"count":3,"type":"VEC3"}`, //nolint:misspell // the word of glTF
		views:     `{"buffer":0,"byteLength":12,"byteStride":4}`,
		bin:       []byte{0, 0, 0, 0, 127, 0, 0, 0, 0, 0x81, 0, 0},
	}
	return map[string]row{
		"16-bit indices": {boxLayout(), 22, 12},
		"8-bit indices":  {bytes8, 22, 12},
		"32-bit indices": {bytes32, 22, 12},
		"strip":          {strip, 2, 4},
		"fan":            {fan, 2, 3},
		"stride":         {strided, 1, 1},
		"sparse":         {sparse, 1, 1},
		"quantised":      {small, 0.5, 1},
		"normalised":     {negative, 6, 1},
		"decimals":       {decimals, 22, 12},
	}
}

func TestLayouts(t *testing.T) {
	for name, c := range layouts() {
		t.Run(name, func(t *testing.T) {
			got, err := c.read()
			require.NoError(t, err)
			assert.Equal(t, c.triangles, got.Triangles)
			s := summed(got.Mesh)
			assert.InEpsilon(t, c.area, s.Area, 1e-12)
			assert.Empty(t, got.Mesh.Runs)
			if name == "strip" { // all one way up: the vector area is the area
				assert.InEpsilon(t, 1, s.Openness(), 1e-12)
			}
		})
	}
}

// TestDataURI: the same box as JSON alone, with / written plainly and as \/.
func TestDataURI(t *testing.T) {
	l := boxLayout()
	l.bin = append(l.bin, 0xff, 0xff, 0xff, 0xfb, 0xef, 0xbe, 0)
	code := base64.StdEncoding.EncodeToString(l.bin)
	require.Contains(t, code, "/")
	require.Contains(t, code, "+")
	require.Contains(t, code, "=")
	for _, c := range []string{
		code, strings.ReplaceAll(code, "/", `\/`), strings.TrimRight(code, "="), code[:60] + `\r\n` + code[60:],
		strings.NewReplacer("/", `\u002F`, "+", `\u002b`, "=", `\u003d`).Replace(code),
	} {
		head := "data:application/octet-stream;base64,"
		if len(c) != len(code) {
			head = "Data:application/octet-stream;BASE64,"
		}
		text := l.text(`,"uri":"` + head + c + `"`)
		got, err := Read([]byte(text), Options{Name: "a.gltf"})
		require.NoError(t, err)
		assert.Equal(t, GLTF, got.Format)
		assert.InEpsilon(t, 6, signed(summed(got.Mesh)), 1e-12)
	}
}

// TestGLTFFaults: what is wrong with a file, and by which name.
func TestGLTFFaults(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*layout)
		code   string
	}{
		"needs compression": {func(l *layout) { l.head = `"extensionsRequired":["KHR_draco_mesh_compression"],` }, Unsupported},
		"needs meshopt":     {func(l *layout) { l.head = `"extensionsRequired":["EXT_meshopt_compression"],` }, Unsupported},
		"whole numbers":     {func(l *layout) { l.accessors = strings.Replace(l.accessors, "5126", "5122", 1) }, Unsupported},
		"missing mesh":      {func(l *layout) { l.nodes = `{"mesh":3}` }, IndexRange},
		"missing child":     {func(l *layout) { l.nodes = `{"mesh":0,"children":[4]}` }, IndexRange},
		"missing scene":     {func(l *layout) { l.head = `"scene":2,` }, IndexRange},
		"missing material":  {func(l *layout) { l.primitive += `,"material":0` }, IndexRange},
		"negative index":    {func(l *layout) { l.nodes = `{"mesh":-1}` }, IndexRange},
		"vertex of none":    {func(l *layout) { l.bin[96] = 8 }, IndexRange},
		"own child":         {func(l *layout) { l.nodes = `{"mesh":0},{"children":[1]}` }, Cycle},
		"no quaternion":     {func(l *layout) { l.nodes = `{"mesh":0,"rotation":[0,0,0,0]}` }, Syntax},
		"perspective":       {func(l *layout) { l.nodes = `{"mesh":0,"matrix":[1,0,0,1,0,1,0,0,0,0,1,0,0,0,0,1]}` }, Syntax},
		"two numbers":       {func(l *layout) { l.nodes = `{"mesh":0,"scale":[1,1]}` }, Syntax},
		"huge number":       {func(l *layout) { l.nodes = `{"mesh":0,"scale":[1,1,1e999]}` }, OutOfRange},
		"not a number":      {func(l *layout) { copy(l.bin, floats(float32(math.NaN()))) }, NonFinite},
		"far out":           {func(l *layout) { l.nodes = `{"mesh":0,"scale":[1e6,1,1]}` }, OutOfRange},
		"35 corners":        {func(l *layout) { l.accessors = strings.Replace(l.accessors, "36", "35", 1) }, CountMismatch},
		"points alone":      {func(l *layout) { l.primitive = `"mode":0` }, EmptyMesh},
		"mode 9":            {func(l *layout) { l.primitive = `"mode":9` }, Syntax},
		"view past buffer":  {func(l *layout) { l.views = strings.Replace(l.views, "72", "73", 1) }, IndexRange},
		"offset of 2^63":    {func(l *layout) { l.views = strings.Replace(l.views, `:96,"byteL`, `:9223372036854775807,"byteL`, 1) }, IndexRange},
		"narrow stride":     {func(l *layout) { l.views = strings.Replace(l.views, "96}", `96,"byteStride":8}`, 1) }, Syntax},
		"no version":        {func(l *layout) { l.head = `"asset":{"version":""},` }, NotAMesh},
		"a sea of nodes":    {func(l *layout) { l.nodes += strings.Repeat(",{}", 10_000) }, TooLarge},
		"two to the 40": {func(l *layout) {
			l.nodes = `{"mesh":0}`
			for i := range 40 {
				l.nodes += fmt.Sprintf(`,{"children":[%d,%d]}`, i, i)
			}
		}, TooLarge},
		"65,536 triangles of no bytes": {func(l *layout) {
			l.primitive = `"mode":4`
			l.accessors = `{"componentType":5126,"count":196608,"type":"VEC3","sparse":{"count":1,"indices":{"bufferView":1,"componentType":5121},"values":{"bufferView":0}}}`
		}, TooLarge},
		"positions of no bytes": {func(l *layout) {
			l.accessors = strings.Replace(l.accessors, `"bufferView":0,`, ``, 1)
		}, Unsupported},
		"indices of no bytes": {func(l *layout) {
			l.accessors = strings.Replace(l.accessors, `"bufferView":1,`, ``, 1)
		}, Unsupported},
		"a later version": {func(l *layout) { l.head = `"asset":{"version":"2.1","minVersion":"2.1"},` }, Unsupported},
		"child as a root": {func(l *layout) { l.head, l.nodes = `"scenes":[{"nodes":[0,1]}],`, `{"children":[1]},{"mesh":0}` }, Syntax},
		"one root twice":  {func(l *layout) { l.head = `"scene":0,"scenes":[{"nodes":[0,0]}],` }, Syntax},
		"no positions": {func(l *layout) {
			l.primitive = `"indices":1}]},{"primitives":[{"attributes":{"NORMAL":0},"indices":1`
			l.nodes = `{"mesh":1}`
		}, EmptyMesh},
		"missing skin":     {func(l *layout) { l.nodes = `{"mesh":0,"skin":0}` }, IndexRange},
		"skin of no joint": {func(l *layout) { l.head, l.nodes = `"skins":[{}],`, `{"mesh":0,"skin":0}` }, Syntax},
		"missing joint":    {func(l *layout) { l.head, l.nodes = `"skins":[{"joints":[7]}],`, `{"mesh":0,"skin":0}` }, IndexRange},
		"bound by corners": {func(l *layout) {
			l.head, l.nodes = `"skins":[{"joints":[0],"inverseBindMatrices":0}],`, `{"mesh":0,"skin":0}`
		}, Syntax},
		"half an index":      {func(l *layout) { l.accessors = strings.Replace(l.accessors, "36", "36.5", 1) }, Syntax},
		"a text for a count": {func(l *layout) { l.accessors = strings.Replace(l.accessors, "36", `"36"`, 1) }, Syntax},
		"a count of 1e300":   {func(l *layout) { l.accessors = strings.Replace(l.accessors, "36", "1e300", 1) }, IndexRange},
		"nodes of null":      {func(l *layout) { l.nodes += strings.Repeat(",null", 100_000) }, Syntax},
		"nodes of arrays":    {func(l *layout) { l.nodes += strings.Repeat(",[]", 100_000) }, Syntax},
		"nodes of numbers":   {func(l *layout) { l.nodes += strings.Repeat(",0", 100_000) }, Syntax},
		"scenes of null":     {func(l *layout) { l.head = `"scenes":[null` + strings.Repeat(",null", 100_000) + `],` }, Syntax},
		// A node with a mesh holds 100,000 empty ones, and stands in 5,000 places.
		"empty children": {func(l *layout) {
			l.nodes = `{"mesh":0,"children":[1` + strings.Repeat(",1", 99_999) + `]},{},{"children":[0` + strings.Repeat(",0", 4_999) + `]}`
		}, TooLarge},
		// The same of primitives without a triangle.
		"empty primitives": {func(l *layout) {
			l.primitive += strings.Repeat(`},{"attributes":{},"mode":0`, 1500)
			l.nodes = `{"mesh":0},{"children":[0` + strings.Repeat(",0", 59) + `]}`
		}, TooLarge},
		"zeros without bytes": {func(l *layout) {
			l.primitive = `"mode":4`
			l.accessors = `{"componentType":5126,"count":2000000001,"type":"VEC3"}`
		}, TooLarge},
	} {
		t.Run(name, func(t *testing.T) {
			l := boxLayout()
			c.change(&l)
			data := glbOf(l.text(""), l.bin)
			_, taken, err := allocated(data, Options{Name: "a.glb"})
			var f *Fault
			require.ErrorAs(t, err, &f)
			assert.Equal(t, c.code, f.Code, f.Says)
			assert.LessOrEqual(t, taken, uint64(4*len(data)+1<<20))
		})
	}
}

// TestGLTFWarnings: taken, but with a word.
func TestGLTFWarnings(t *testing.T) {
	l := boxLayout()
	l.head, l.nodes = `"skins":[{"joints":[0]}],`, `{"mesh":0,"skin":0}`
	l.primitive += `,"targets":[{"POSITION":0}]},{"attributes":{"POSITION":0},"mode":1`
	data := glbOf(l.text(""), l.bin)
	got, err := Read(append(data, 1, 2, 3), Options{Name: "a.glb"})
	require.NoError(t, err)
	assert.Equal(t, []string{TrailingBytes, PartsSkipped, AtRest}, codes(got.Warnings))
	l = boxLayout()
	l.head = `"scenes":[{"nodes":[0]},{"nodes":[]}],`
	l.nodes = `{"mesh":0,"extensions":{"EXT_mesh_gpu_instancing":{"attributes":{"TRANSLATION":0}}}}`
	l.primitive += `},{"attributes":{"NORMAL":0}`
	got, err = l.read()
	require.NoError(t, err)
	assert.Equal(t, []string{PartsSkipped, PartsSkipped, PartsSkipped}, codes(got.Warnings))
}

// TestRestart: the greatest index of a type is no vertex, however many there are (glTF
// 2.0, 3.7.2.1: "indices accessor must not contain the maximum possible value").
func TestRestart(t *testing.T) {
	for component, c := range map[int]struct{ size, vertices int }{uint8Type: {1, 300}, uint16Type: {2, 65_600}} {
		l := layout{
			nodes: `{"mesh":0}`, primitive: `"indices":1`, bin: make([]byte, 12*c.vertices),
			accessors: fmt.Sprintf(`{"bufferView":0,"componentType":5126,"count":%d,"type":"VEC3"},{"bufferView":1,"componentType":%d,"count":3,"type":"SCALAR"}`, c.vertices, component),
			views:     fmt.Sprintf(`{"buffer":0,"byteLength":%d},{"buffer":0,"byteOffset":%[1]d,"byteLength":%d}`, 12*c.vertices, 3*c.size),
		}
		for last, code := range map[int]string{1<<(8*c.size) - 2: "", 1<<(8*c.size) - 1: IndexRange} {
			l := l
			l.bin = bytes.Clone(l.bin)
			for _, v := range []int{0, 1, last} {
				l.bin = append(l.bin, binary.LittleEndian.AppendUint32(nil, uint32(v))[:c.size]...)
			}
			_, err := l.read()
			var f *Fault
			if code == "" {
				require.NoError(t, err)
			} else if assert.ErrorAs(t, err, &f) {
				assert.Equal(t, code, f.Code, f.Says)
			}
		}
	}
}

// TestCopiesOfGLB: many copies of a part, sparse and with a nameless material, ask for no
// more memory than one.
func TestCopiesOfGLB(t *testing.T) {
	l := boxLayout()
	l.head = `"materials":[{}],`
	l.primitive += `,"material":0`
	l.accessors = strings.Replace(l.accessors, `"count":8,`, `"count":8,"sparse":{"count":1,"indices":{"bufferView":2,"componentType":5121},"values":{"bufferView":0}},`, 1)
	l.views += `,{"buffer":0,"byteOffset":168,"byteLength":1}`
	l.bin = append(l.bin, 0)
	l.nodes = `{"mesh":0}`
	for i := range 7 {
		l.nodes += fmt.Sprintf(`,{"children":[%d,%[1]d]}`, i)
	}
	data := glbOf(l.text(""), l.bin)
	got, taken, err := allocated(data, Options{Name: "a.glb"})
	require.NoError(t, err)
	assert.Equal(t, 12*128, got.Triangles)
	assert.LessOrEqual(t, taken, uint64(4*len(data)+1<<20))
	l.accessors = strings.Replace(l.accessors, `"count":36`, `"count":3`, 1)
	for i := range 7 {
		l.nodes += fmt.Sprintf(`,{"children":[%d,%[1]d]}`, i+7)
	}
	data = glbOf(l.text(""), l.bin)
	_, taken, err = allocated(data, Options{Name: "a.glb"})
	assert.ErrorContains(t, err, "memory")
	assert.LessOrEqual(t, taken, uint64(1<<20))
}

// TestGLTFZones: materials by name, and by number where they have none.
func TestGLTFZones(t *testing.T) {
	l := boxLayout()
	l.head = `"materials":[{},{"name":"gel"}],`
	l.primitive += `,"material":1},{"attributes":{"POSITION":0},"indices":1,"material":0},{"attributes":{"POSITION":0},"indices":1`
	got, err := l.read()
	require.NoError(t, err)
	assert.Equal(t, []mesh.Run{{Zone: "gel", First: 0}, {Zone: "material 0", First: 12}, {Zone: "", First: 24}}, got.Mesh.Runs)
	assert.Len(t, got.Mesh.Vertices, 8)
}

// TestCutGLB: no file that is cut short is read, and none is taken for a whole one.
func TestCutGLB(t *testing.T) {
	l := boxLayout()
	data := glbOf(l.text(""), l.bin)
	for n := 4; n < len(data); n++ {
		_, err := Read(data[:n], Options{Name: "a.glb"})
		var f *Fault
		require.ErrorAs(t, err, &f)
		require.Equal(t, Truncated, f.Code, f.Says)
	}
}

// writeGLB writes a mesh in metres: a primitive for each zone, with 8, 16 or 32-bit
// indices.
func writeGLB(m *mesh.Mesh, width int) []byte {
	var bin []byte
	for _, p := range m.Vertices {
		bin = append(bin, floats(float32(p[0]), float32(p[1]), float32(p[2]))...)
	}
	component := map[int]int{1: uint8Type, 2: uint16Type, 4: uint32Type}[width]
	views := []string{fmt.Sprintf(`{"buffer":0,"byteLength":%d}`, len(bin))}
	accessors := []string{fmt.Sprintf(`{"bufferView":0,"componentType":5126,"count":%d,"type":"VEC3"}`, len(m.Vertices))}
	runs := m.Runs
	if len(runs) == 0 {
		runs = []mesh.Run{{}}
	}
	var primitives, materials []string
	for i, r := range runs {
		end, start := len(m.Faces), len(bin)
		if i+1 < len(runs) {
			end = runs[i+1].First
		}
		for _, f := range m.Faces[r.First:end] {
			for _, v := range f {
				bin = append(bin, binary.LittleEndian.AppendUint32(nil, v)[:width]...)
			}
		}
		material := ""
		if r.Zone != "" {
			name, _ := json.Marshal(r.Zone)
			materials = append(materials, fmt.Sprintf(`{"name":%s}`, name))
			material = fmt.Sprintf(`,"material":%d`, i)
		}
		views = append(views, fmt.Sprintf(`{"buffer":0,"byteOffset":%d,"byteLength":%d}`, start, len(bin)-start))
		accessors = append(accessors, fmt.Sprintf(`{"bufferView":%d,"componentType":%d,"count":%d,"type":"SCALAR"}`, i+1, component, 3*(end-r.First)))
		primitives = append(primitives, fmt.Sprintf(`{"attributes":{"POSITION":0},"indices":%d%s}`, i+1, material))
	}
	list := func(items []string) string { return strings.Join(items, ",") }
	text := fmt.Sprintf(`{"asset":{"version":"2.0"},"nodes":[{"mesh":0}],"meshes":[{"primitives":[%s]}],"materials":[%s],"accessors":[%s],"bufferViews":[%s],"buffers":[{"byteLength":%d}]}`,
		list(primitives), list(materials), list(accessors), list(views), len(bin))
	return glbOf(text, bin)
}

// TestRoundTripGLB: what is written is what is read.
func TestRoundTripGLB(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := drawnMesh(rt)
		got, err := Read(writeGLB(m, rapid.SampledFrom([]int{1, 2, 4}).Draw(rt, "width")), Options{Name: "a.glb"})
		require.NoError(rt, err)
		require.Equal(rt, m, got.Mesh)
	})
}

// TestMemoryOfGLB: all that is allocated stays below four times the file and 1 MiB.
func TestMemoryOfGLB(t *testing.T) {
	for _, level := range []int{5, 7} {
		width := 2
		if level > 6 {
			width = 4
		}
		memoryOfGLB(t, writeGLB(meshtest.Icosphere(0.5, level), width))
	}
	memoryOfGLB(t, writeGLB(loose(100_000), 4))
	l := layout{nodes: `{"mesh":0}`, primitive: `"mode":4`, accessors: `{"bufferView":0,"componentType":5126,"count":300000,"type":"VEC3"}`}
	for _, p := range loose(100_000).Vertices {
		l.bin = append(l.bin, floats(float32(p[0]), float32(p[1]), float32(p[2]))...)
	}
	l.views = fmt.Sprintf(`{"buffer":0,"byteLength":%d}`, len(l.bin))
	memoryOfGLB(t, glbOf(l.text(""), l.bin))
	code := base64.StdEncoding.EncodeToString(l.bin)
	memoryOfGLB(t, []byte(l.text(`,"uri":"data:;base64,`+code+`"`)))
	memoryOfGLB(t, []byte(l.text(`,"uri":"data:;base64,`+strings.ReplaceAll(code, "/", `\/`)+`"`)))
}

func memoryOfGLB(t *testing.T, data []byte) {
	got, taken, err := allocated(data, Options{Name: "a.glb"})
	require.NoError(t, err)
	t.Logf("%d triangles: %d bytes, %d allocated: %.2f", got.Triangles, len(data), taken, float64(taken)/float64(len(data)))
	assert.LessOrEqual(t, taken, uint64(4*len(data)+1<<20))
}

// FuzzGLTF reads JSON and bytes as a GLB file, and JSON alone.
func FuzzGLTF(f *testing.F) {
	files, _ := filepath.Glob(badSet + "*.gl*")
	for _, name := range append(files, publicSet+"p20_vase.glb") {
		data, err := os.ReadFile(name)
		require.NoError(f, err)
		if text, bin, err := new(File).chunks(data); err == nil {
			f.Add(string(text), bin)
		} else {
			f.Add(string(data), []byte{})
		}
	}
	skinned := boxLayout()
	skinned.head, skinned.nodes = `"skins":[{"joints":[0],"inverseBindMatrices":2}],`, `{"mesh":0,"skin":0}`
	skinned.accessors += `,{"bufferView":2,"componentType":5126,"count":1,"type":"MAT4"}`
	skinned.views += `,{"buffer":0,"byteOffset":168,"byteLength":64}`
	skinned.bin = append(skinned.bin, floats(2, 0, 0, 0, 0, 2, 0, 0, 0, 0, 2, 0, 0, -2, 0, 1)...)
	f.Add(skinned.text(""), skinned.bin)
	for _, l := range layouts() {
		f.Add(l.text(""), l.bin)
		f.Add(l.text(`,"uri":"data:;base64,`+base64.StdEncoding.EncodeToString(l.bin)+`"`), []byte{})
	}
	f.Fuzz(func(t *testing.T, text string, bin []byte) {
		data := glbOf(text, bin)
		if len(bin) == 0 {
			data = []byte(text)
		}
		file, taken, err := allocated(data, Options{Name: "a.gltf"})
		require.LessOrEqual(t, taken, uint64(4*len(data)+1<<20))
		soundOrFault(t, file, err)
	})
}
