package shelf

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"

	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/meshfile"
)

// Up is which axis of a file points up.
type Up int

// The axes.
const (
	FormatsOwn Up = iota // y for glTF, z for the others
	X
	Y
	Z
)

// Reading is how a file is to be read.
type Reading struct {
	ID       string // to keep it under; empty for one made from the content
	Title    string
	FileName string
	Unit     float64 // m in one file unit; 0 for the file's own
	Up       Up
}

// Item is one mesh. Once it is studied it never changes.
type Item struct {
	Name    string // "meshes/…"
	Reading Reading
	// FileSum is the SHA-256 of the file; Sum that of the file and of all that its
	// measures depend on besides, so that equal sums mean equal measures.
	FileSum, Sum string
	File         []byte // nil where it is not at hand
	Size         int64  // bytes of the file
	Format       meshfile.Format
	Model        *maquette.Maquette // nil until it is studied
}

// Identify names a file as it would be kept, before it is read.
func Identify(file []byte, r Reading) *Item {
	of := sha256.Sum256(file)
	whole := sha256.Sum256(fmt.Appendf(of[:], " %v %v %s", r.Unit, r.Up, extension(file, r)))
	item := &Item{Reading: r, File: file, Size: int64(len(file)), FileSum: hex.EncodeToString(of[:]), Sum: hex.EncodeToString(whole[:])}
	item.Name = Prefix + r.ID
	if r.ID == "" {
		item.Name = NameOf(item.Sum)
	}
	return item
}

// NameOf is the name that a mesh of such a Sum has where nobody gives it another.
func NameOf(sum string) string {
	const digits = 32 // 128 bits: no two files meet by chance
	return Prefix + sum[:min(digits, len(sum))]
}

// extension is what the measures depend on of a file's name: the format that it
// settles.
func extension(file []byte, r Reading) meshfile.Format {
	format, err := meshfile.Detect(file, r.FileName)
	if err != nil {
		return ""
	}
	return format
}

// Room is what an item takes where it is kept, in bytes: its file, or a binary STL of its
// triangles where that is more. A file that has one part placed many times is short, and
// its model is not.
func (i *Item) Room() int64 {
	const stl = 50 // bytes of a triangle
	size := i.Size
	if i.Model != nil {
		size = max(size, int64(stl*i.Model.Faces()))
	}
	return size
}

// MostTriangles bounds the mesh of one file.
const MostTriangles = 2_000_000

// Study reads the item's file and studies the model. Its error is a
// *meshfile.Fault, or says why the mesh cannot be measured.
func (i *Item) Study() error {
	file, err := meshfile.Read(i.File, i.options(MostTriangles))
	return i.study(file, err)
}

// StudyFrom does the same for a file of some size that r gives from its beginning, of
// which the item keeps nothing. Nothing but its size bounds how many triangles it has.
func (i *Item) StudyFrom(r io.Reader, size int64) error {
	file, err := meshfile.ReadFrom(r, size, i.options(0))
	return i.study(file, err)
}

func (i *Item) options(most int) meshfile.Options {
	return meshfile.Options{Name: i.Reading.FileName, Unit: i.Reading.Unit, MostTriangles: most}
}

func (i *Item) study(file *meshfile.File, err error) error {
	if err != nil {
		return err
	}
	i.Format, i.Reading.Unit = file.Format, file.Unit
	up := i.Reading.Up
	if up == FormatsOwn && file.YUp {
		up = Y
	}
	stand(file.Mesh, up)
	i.Model, err = maquette.Study(file.Mesh, file.Warnings...)
	return err
}

// stand turns a mesh so that its upward axis is z: the axes change places in a
// circle, which keeps left and right, and the front stays a side.
func stand(m *mesh.Mesh, up Up) {
	for i, p := range m.Vertices {
		switch up {
		case X:
			m.Vertices[i] = mesh.Point{p[1], p[2], p[0]}
		case Y:
			// glTF looks from +z on a model that faces it: front is -y here.
			m.Vertices[i] = mesh.Point{p[0], -p[2] + 0, p[1]}
		case Z, FormatsOwn:
		}
	}
}
