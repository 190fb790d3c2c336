// Package meshfile reads meshes from the files that scanners and sculpting programs
// write: STL, OBJ, PLY, 3MF and glTF. In flow the bytes of a file and, where the
// format carries none, the length of one file unit; out flows mesh.Mesh in metres,
// or a Fault that says what is wrong, where, and what is allowed.
//
// A file is read whole or not at all. Nothing is allocated for what a header claims,
// only for bytes that are there.
package meshfile

import (
	"bytes"
	"fmt"
	"math"
	"path"
	"strings"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// Format is a file format for meshes.
type Format string

// The formats that are read.
const (
	STL  Format = "stl"
	OBJ  Format = "obj"
	PLY  Format = "ply"
	TMF  Format = "3mf"
	GLTF Format = "gltf"
	GLB  Format = "glb"
)

// The codes of a Fault.
const (
	Truncated     = "truncated"             // the file ends before what it announces
	CountMismatch = "count_mismatch"        // the announced count is not what is there
	NonFinite     = "non_finite"            // a coordinate is not a number
	OutOfRange    = "out_of_range"          // a coordinate is further out than MostReach
	Syntax        = "syntax"                // not what the format allows here
	DecimalComma  = "decimal_comma"         // 0,5 where the format wants 0.5
	EmptyFile     = "empty_file"            // no bytes to speak of
	EmptyMesh     = "empty_mesh"            // sound, but without a face
	NotAMesh      = "not_a_mesh"            // another kind of file
	IndexRange    = "index_range"           // points at something that is not there
	Cycle         = "cycle"                 // a part that holds itself
	TooLarge      = "too_large"             // more than may be read at once
	Unit          = "unit"                  // no unit, or two that differ
	ExternalFile  = "external_file"         // needs a file that was not sent
	Unsupported   = "unsupported_extension" // needs something that is not read
)

// The codes of the warnings that the readers give.
const (
	TrailingBytes   = "trailing_bytes"
	MissingEndsolid = "missing_endsolid"
	Degenerate      = "degenerate"
)

// MostReach is how far from the origin a coordinate may lie, m: 1e7 mm (common
// practice, no source: no casting is ten kilometres long).
const MostReach = 1e4

// The units that are taken: from a nanometre to a thousand kilometres.
const (
	leastUnit = 1e-9
	mostUnit  = 1e6
)

// Fault is why a file was not read. It is an error.
type Fault struct {
	// Code is one of the codes above.
	Code string
	// Line is the line it stands on, from 1; 0 where the file has no lines.
	Line int
	// Offset is the byte it stands at, from 0.
	Offset int64
	// Says is the fault in words: what was got and what is allowed.
	Says string
}

// Error says what is wrong and where.
func (f *Fault) Error() string {
	if f.Line > 0 {
		return fmt.Sprintf("line %d: %s", f.Line, f.Says)
	}
	return f.Says
}

func faultf(code string, format string, args ...any) *Fault {
	return &Fault{Code: code, Says: fmt.Sprintf(format, args...)}
}

// File is what was read.
type File struct {
	// Mesh is the surface, in metres.
	Mesh *mesh.Mesh
	// Format is what the file was found to be.
	Format Format
	// Unit is the length of one file unit that was used, m.
	Unit float64
	// YUp says that up is y by the format's own rule (glTF).
	YUp bool
	// Warnings are what the caller should know of the file itself.
	Warnings []mesh.Warning
	// Triangles counts the faces of the file once polygons are cut up.
	Triangles int
}

func (f *File) warn(code, format string, args ...any) {
	f.Warnings = append(f.Warnings, mesh.Warning{Code: code, Says: fmt.Sprintf(format, args...)})
}

// Options say what the file itself does not.
type Options struct {
	// Name is the name of the file; its extension alone is used, where the content
	// does not tell the format.
	Name string
	// Unit is the length of one file unit, m; 0 where the caller gave none. STL, OBJ
	// and PLY carry no unit and need one; for 3MF and glTF the file's own holds.
	Unit float64
	// MostTriangles is how many triangles are taken; 0 is no limit but the file's size
	// and, where the mesh is kept, what can be measured.
	MostTriangles int
}

// mostFaces is how many faces a mesh may have to be measured; three vertices for each are
// still below 2^32.
const mostFaces = 1 << 30

// mostTriangles is how many triangles a file of n bytes may hold once polygons are cut
// up and copies are made: no more memory is asked for than the file can answer for.
func (o Options) mostTriangles(n int64) int {
	most := int(min(65_536+n/4, mostFaces))
	if o.MostTriangles > 0 {
		most = min(most, o.MostTriangles)
	}
	return most
}

// unitless returns the unit to use for a format that carries none.
func (o Options) unitless(format Format) (float64, error) {
	switch {
	case o.Unit == 0:
		return 0, faultf(Unit, "%s files carry no unit: say how long one file unit is", strings.ToUpper(string(format)))
	case !(o.Unit >= leastUnit && o.Unit <= mostUnit):
		return 0, faultf(Unit, "one file unit is %g m; allowed is from %g to %g m", o.Unit, leastUnit, mostUnit)
	}
	return o.Unit, nil
}

// carried returns the unit to use for a format that carries its own.
func (o Options) carried(format Format, own float64) (float64, error) {
	if o.Unit != 0 && !(math.Abs(o.Unit-own) <= 1e-9*own) {
		return 0, faultf(Unit, "one file unit was given as %g m, but the %s file says %g m", o.Unit, format, own)
	}
	return own, nil
}

// placed returns a point in metres from coordinates in file units, and whether every
// one is finite and within MostReach.
func placed(x, y, z, unit float64) (mesh.Point, bool) {
	p := mesh.Point{x*unit + 0, y*unit + 0, z*unit + 0} // minus zero is where zero is
	return p, math.Abs(p[0]) <= MostReach && math.Abs(p[1]) <= MostReach && math.Abs(p[2]) <= MostReach
}

// misplaced is the fault of coordinates that placed did not allow.
func misplaced(x, y, z, unit float64) *Fault {
	for _, v := range [3]float64{x, y, z} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return faultf(NonFinite, "a coordinate is %g; allowed are numbers", v)
		}
	}
	return faultf(OutOfRange, "a vertex lies at (%g, %g, %g), of %g m each; allowed is up to %g m from the origin along each axis",
		x, y, z, unit, float64(MostReach))
}

// Read reads a mesh from the bytes of a file. The error is a *Fault.
func Read(data []byte, o Options) (*File, error) {
	format, err := Detect(data, o.Name)
	if err != nil {
		return nil, err
	}
	file, err := read(format, data, o)
	return finished(file, format, err)
}

// finished says what a file was found to be, once it is read.
func finished(file *File, format Format, err error) (*File, error) {
	if err != nil {
		return nil, err
	}
	if len(file.Mesh.Faces) == 0 {
		return nil, faultf(EmptyMesh, "the %s file holds no triangle", format)
	}
	file.Format, file.Triangles = format, len(file.Mesh.Faces)
	return file, nil
}

func read(format Format, data []byte, o Options) (*File, error) {
	switch format {
	case OBJ:
		return readOBJ(data, o)
	case PLY:
		return readPLY(data, o)
	case TMF:
		return read3MF(data, o)
	case GLTF, GLB:
		return readGLTF(data, o)
	default:
		return readSTL(data, o)
	}
}

// Detect returns the format of a file: by its content, and by the extension of its
// name where the content cannot say. The error is a *Fault.
func Detect(data []byte, name string) (Format, error) {
	return detect(data, int64(len(data)), name)
}

// detect is Detect of a file of some size, of which the beginning is at hand.
func detect(data []byte, size int64, name string) (Format, error) {
	ext := strings.ToLower(strings.TrimPrefix(path.Ext(name), "."))
	text := bytes.TrimLeft(bytes.TrimPrefix(data[:min(len(data), 1024)], []byte("\xef\xbb\xbf")), " \t\r\n")
	switch {
	case lengthSaysSTL(data, size):
		return STL, nil
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return zipped(ext)
	case bytes.HasPrefix(data, []byte("glTF")):
		return GLB, nil
	case isPLY(data):
		return PLY, nil
	case len(data) < 15:
		return "", faultf(EmptyFile, "the file has %d bytes: too few for a single triangle", len(data))
	case bytes.HasPrefix(text, []byte("<")):
		return "", faultf(NotAMesh, "this is a web page or XML text, not a mesh")
	case bytes.HasPrefix(text, []byte("{")):
		return GLTF, nil
	case len(text) >= 5 && bytes.EqualFold(text[:5], []byte("solid")):
		return STL, nil
	}
	return named(ext)
}

// zipped is the format of a zip: 3MF is one, and nothing else that is read.
func zipped(ext string) (Format, error) {
	if ext == "3mf" || ext == "" {
		return TMF, nil
	}
	return "", faultf(NotAMesh, "this is a zip file, not a mesh: unpack it and send what is inside")
}

// named is the format that the name alone tells.
func named(ext string) (Format, error) {
	switch Format(ext) {
	case STL, OBJ, PLY, TMF, GLTF, GLB:
		return Format(ext), nil
	}
	return "", faultf(NotAMesh, "the name ends in %q and the content is not known; read are stl, obj, ply, 3mf, gltf and glb", ext)
}

func isPLY(data []byte) bool {
	return len(data) > 4 && string(data[:3]) == "ply" && (data[3] == '\n' || data[3] == '\r' || data[3] == ' ')
}
