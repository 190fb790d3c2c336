package meshfile

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// The writers of these tests. They write what is in the mesh: coordinates that float32
// holds exactly.

func writeSTL(m *mesh.Mesh) []byte {
	out := append(bytes.Repeat([]byte{' '}, 80), binary.LittleEndian.AppendUint32(nil, uint32(len(m.Faces)))...)
	for i := range m.Faces {
		out = append(out, make([]byte, 12)...)
		for _, p := range m.Triangle(i) {
			for _, x := range p {
				out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(x)))
			}
		}
		out = append(out, 0, 0)
	}
	return out
}

func writeTextSTL(m *mesh.Mesh) []byte {
	var b bytes.Buffer
	runs := m.Runs
	if len(runs) == 0 {
		runs = []mesh.Run{{}}
	}
	for i, r := range runs {
		end := len(m.Faces)
		if i+1 < len(runs) {
			end = runs[i+1].First
		}
		fmt.Fprintf(&b, "solid %s\n", r.Zone)
		for f := r.First; f < end; f++ {
			b.WriteString("facet normal 0 0 0\nouter loop\n")
			for _, p := range m.Triangle(f) {
				fmt.Fprintf(&b, "vertex %v %v %v\n", float32(p[0]), float32(p[1]), float32(p[2]))
			}
			b.WriteString("endloop\nendfacet\n")
		}
		fmt.Fprintf(&b, "endsolid %s\n", r.Zone)
	}
	return b.Bytes()
}

// writeOBJ writes the vertices first, or each face right behind its own corners, which
// it then names backwards.
func writeOBJ(m *mesh.Mesh, backwards bool) []byte {
	var b bytes.Buffer
	vertex := func(p mesh.Point) {
		fmt.Fprintf(&b, "v %s %g %v\n", formattedAs(p[0], 'e', -1), float32(p[1]), float32(p[2]))
	}
	if !backwards {
		for _, p := range m.Vertices {
			vertex(p)
		}
	}
	run := 0
	for i, f := range m.Faces {
		for run < len(m.Runs) && m.Runs[run].First == i {
			fmt.Fprintf(&b, "usemtl %s\n", m.Runs[run].Zone)
			run++
		}
		if backwards {
			for _, p := range m.Triangle(i) {
				vertex(p)
			}
			b.WriteString("f -3//1 -2/1 \\\r\n -1/1/1 # corners\r\n")
			continue
		}
		fmt.Fprintf(&b, "f %d %d %d\n", f[0]+1, f[1]+1, f[2]+1)
	}
	return b.Bytes()
}

// plyKind is a way to write a PLY file.
type plyKind struct {
	format  string // ascii, binary_little_endian, binary_big_endian
	lengths string // the type of a list's length
	indices string
	list    string // vertex_index or vertex_indices
	real    string // float or double
	first   bool   // faces before vertices
}

// writePLY writes the faces with colours, which are their zones, and other tables and
// properties between them.
func writePLY(m *mesh.Mesh, k plyKind) []byte {
	var b bytes.Buffer
	vertex := fmt.Sprintf("element vertex %d\nproperty uchar quality\nproperty %[2]s x\nproperty %[2]s y\nproperty list uchar short more\nproperty %[2]s z\n", len(m.Vertices), k.real)
	face := fmt.Sprintf("element face %d\nproperty uchar red\nproperty uchar green\nproperty list %s %s %s\nproperty uchar blue\n", len(m.Faces), k.lengths, k.indices, k.list)
	other := "element edge 2\nproperty int a\nproperty list int double b\n"
	tables := []string{vertex, other, face}
	if k.first {
		tables = []string{face, other, vertex}
	}
	fmt.Fprintf(&b, "ply\nformat %s 1.0\ncomment made for tests\n%send_header\n", k.format, strings.Join(tables, ""))
	w := plyWriter{&b, k}
	for _, t := range tables {
		switch t {
		case vertex:
			w.vertices(m)
		case face:
			w.faces(m)
		default:
			w.row([]string{"int", "int", "double", "double"}, 1, 2, 0.5, 7)
			w.row([]string{"int", "int"}, 1, 0)
		}
	}
	return b.Bytes()
}

type plyWriter struct {
	*bytes.Buffer
	plyKind
}

func (w plyWriter) vertices(m *mesh.Mesh) {
	for _, p := range m.Vertices {
		w.row([]string{"uchar", w.real, w.real, "uchar", "short", w.real}, 3, p[0], p[1], 1, -4, p[2])
	}
}

func (w plyWriter) faces(m *mesh.Mesh) {
	run := -1
	for i, f := range m.Faces {
		for run+1 < len(m.Runs) && m.Runs[run+1].First == i {
			run++
		}
		var red, green, blue int
		if run >= 0 {
			_, _ = fmt.Sscanf(m.Runs[run].Zone, "#%02x%02x%02x", &red, &green, &blue)
		}
		w.row([]string{"uchar", "uchar", w.lengths, w.indices, w.indices, w.indices, "uchar"},
			float64(red), float64(green), 3, float64(f[0]), float64(f[1]), float64(f[2]), float64(blue))
	}
}

// row writes one record.
func (w plyWriter) row(kinds []string, values ...float64) {
	for i, kind := range kinds {
		if w.format == "ascii" {
			fmt.Fprintf(w, "%v ", values[i])
			continue
		}
		var order binary.AppendByteOrder = binary.LittleEndian
		if w.format == "binary_big_endian" {
			order = binary.BigEndian
		}
		w.Write(packed(order, kind, values[i]))
	}
	if w.format == "ascii" {
		w.WriteString("\n")
	}
}

func packed(order binary.AppendByteOrder, kind string, v float64) []byte {
	switch kind {
	case "float":
		return order.AppendUint32(nil, math.Float32bits(float32(v)))
	case "double":
		return order.AppendUint64(nil, math.Float64bits(v))
	case "char", "uchar", "int8", "uint8":
		return []byte{byte(int64(v))}
	case "short", "ushort", "int16", "uint16":
		return order.AppendUint16(nil, uint16(int64(v)))
	}
	return order.AppendUint32(nil, uint32(int64(v)))
}

func formatted(x float64) string { return formattedAs(x, 'g', -1) }

func formattedAs(x float64, verb byte, digits int) string {
	return strconv.FormatFloat(x, verb, digits, 64)
}

func parsed(text string) float64 { x, _ := strconv.ParseFloat(text, 64); return x }
