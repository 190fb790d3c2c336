package meshtest

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"io"
	"math"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// WriteGLB writes a mesh as binary glTF 2.0 (Khronos specification): metres, y up,
// positions as float32, one primitive with a material for each run of faces.
func WriteGLB(w io.Writer, m *mesh.Mesh) error {
	places, low, high := positions(m)
	corners := new(bytes.Buffer)
	doc := glb{
		Asset: map[string]string{"version": "2.0"}, Nodes: []map[string]int{{"mesh": 0}}, Scenes: []map[string][]int{{"nodes": {0}}},
		Accessors: []accessor{{Component: 5126, Count: len(m.Vertices), Type: "VEC3", Min: low, Max: high}},
		Views:     []view{{Length: len(places), Target: 34962}},
	}
	var parts []primitive
	for i, run := range runs(m) {
		faces := m.Faces[run.First:end(m, i)]
		parts = append(parts, primitive{map[string]int{"POSITION": 0}, i + 1, i})
		doc.Materials = append(doc.Materials, map[string]string{"name": run.Zone})
		doc.Accessors = append(doc.Accessors, accessor{View: i + 1, Component: 5125, Count: 3 * len(faces), Type: "SCALAR"})
		doc.Views = append(doc.Views, view{Offset: len(places) + corners.Len(), Length: 12 * len(faces), Target: 34963})
		if err := binary.Write(corners, binary.LittleEndian, faces); err != nil {
			return err
		}
	}
	doc.Meshes = []map[string][]primitive{{"primitives": parts}}
	doc.Buffers = []map[string]int{{"byteLength": len(places) + corners.Len()}}
	text, err := json.Marshal(doc)
	if err != nil {
		return err
	}
	return chunks(w, text, append(places, corners.Bytes()...))
}

type glb struct {
	Asset     map[string]string        `json:"asset"`
	Scene     int                      `json:"scene"`
	Scenes    []map[string][]int       `json:"scenes"`
	Nodes     []map[string]int         `json:"nodes"`
	Meshes    []map[string][]primitive `json:"meshes"`
	Materials []map[string]string      `json:"materials"`
	Accessors []accessor               `json:"accessors"`
	Views     []view                   `json:"bufferViews"`
	Buffers   []map[string]int         `json:"buffers"`
}

type primitive struct {
	Attributes map[string]int `json:"attributes"`
	Indices    int            `json:"indices"`
	Material   int            `json:"material"`
}

type accessor struct {
	View      int       `json:"bufferView"`
	Component int       `json:"componentType"`
	Count     int       `json:"count"`
	Type      string    `json:"type"`
	Min       []float32 `json:"min,omitempty"`
	Max       []float32 `json:"max,omitempty"`
}

type view struct {
	Buffer int `json:"buffer"`
	Offset int `json:"byteOffset"`
	Length int `json:"byteLength"`
	Target int `json:"target"`
}

func runs(m *mesh.Mesh) []mesh.Run {
	if len(m.Runs) == 0 {
		return []mesh.Run{{Zone: "surface"}}
	}
	return m.Runs
}

func end(m *mesh.Mesh, run int) int {
	if run+1 < len(m.Runs) {
		return m.Runs[run+1].First
	}
	return len(m.Faces)
}

// positions writes the vertices with y up: what faces the front, -y, faces +z there.
func positions(m *mesh.Mesh) (places []byte, low, high []float32) {
	low, high = []float32{math.MaxFloat32, math.MaxFloat32, math.MaxFloat32}, []float32{-math.MaxFloat32, -math.MaxFloat32, -math.MaxFloat32}
	for _, p := range m.Vertices {
		for axis, v := range [3]float64{p[0], p[2], -p[1]} {
			f := float32(v)
			low[axis], high[axis] = min(low[axis], f), max(high[axis], f)
			places = binary.LittleEndian.AppendUint32(places, math.Float32bits(f))
		}
	}
	return places, low, high
}

// chunks writes the two chunks of a GLB container.
func chunks(w io.Writer, text, data []byte) error {
	for len(text)%4 != 0 {
		text = append(text, ' ')
	}
	const header, chunk = 12, 8
	out := []byte("glTF")
	out = binary.LittleEndian.AppendUint32(out, 2)
	out = binary.LittleEndian.AppendUint32(out, uint32(header+2*chunk+len(text)+len(data))) //nolint:gosec // small
	out = binary.LittleEndian.AppendUint32(out, uint32(len(text)))                          //nolint:gosec // small
	out = append(append(out, "JSON"...), text...)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(data))) //nolint:gosec // small
	out = append(append(out, "BIN\x00"...), data...)
	_, err := w.Write(out)
	return err
}
