package shelf

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"

	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/maquette"
)

// Folder is mesh files in folders: meshes/hare is the file hare.glb, or with another
// of the extensions, in the first folder that has one. It serves one caller.
type Folder struct {
	Dirs  []fs.FS
	Where string  // the Dirs in words; empty for "the folder"
	Unit  float64 // m in one unit of files that do not say; 0 where there are none
	Most  int64   // bytes of a file
	found map[string]found
}

// found is what a name led to.
type found struct {
	item *Item
	err  error
}

// extensions are those of the files that are looked for, in this order.
func extensions() []string { return []string{"glb", "gltf", "3mf", "ply", "obj", "stl"} }

// Model reads and studies the mesh of a name, once. What is no mesh's name is no
// file's either: it could lead out of the folders. The error says why there is none,
// as brief.Meshes has it.
func (f *Folder) Model(name string) (model *maquette.Maquette, sum string, err error) {
	if !IsName(name) {
		return nil, "", errNoName
	}
	got, ok := f.found[name]
	if !ok {
		got.item, got.err = f.read(strings.TrimPrefix(name, Prefix))
		if f.found == nil {
			f.found = map[string]found{}
		}
		f.found[name] = got
	}
	if got.err != nil {
		return nil, "", got.err
	}
	return got.item.Model, got.item.Sum, nil
}

var errNoName = errors.New("which is no mesh's name; allowed: meshes/ and a name, such as meshes/hare-1")

func (f *Folder) read(id string) (*Item, error) {
	for _, dir := range f.Dirs {
		for _, ext := range extensions() {
			name := id + "." + ext
			doc, err := f.open(dir, name)
			if errors.Is(err, fs.ErrNotExist) {
				continue
			}
			if err != nil {
				return nil, unusable(name, err)
			}
			item := Identify(doc, Reading{ID: id, FileName: name, Unit: f.unit(name)})
			if err := item.Study(); err != nil {
				return nil, unusable(name, err)
			}
			return item, nil
		}
	}
	return nil, f.none(id)
}

func unusable(name string, err error) error {
	return fmt.Errorf("whose file cannot be used: %s: %w", name, err)
}

// none says which files would do, and which name there is that is like the one asked for.
func (f *Folder) none(id string) error {
	hint := ""
	if near, ok := fault.Nearest(id, f.ids()); ok {
		hint = fmt.Sprintf("did you mean %q? ", Prefix+near)
	}
	first, rest := id+"."+extensions()[0], extensions()[1:]
	last := len(rest) - 1
	return fmt.Errorf("of which there is no file; %sallowed: %s, .%s or .%s in %s",
		hint, first, strings.Join(rest[:last], ", ."), rest[last], cmp.Or(f.Where, "the folder"))
}

// ids are the names of the meshes in the folders. A folder that cannot be listed has none.
func (f *Folder) ids() []string {
	var ids []string
	for _, dir := range f.Dirs {
		files, _ := fs.ReadDir(dir, ".") // only for a hint
		for _, file := range files {
			id, ext, _ := strings.Cut(file.Name(), ".")
			if slices.Contains(extensions(), ext) && IsName(Prefix+id) {
				ids = append(ids, id)
			}
		}
	}
	return ids
}

// unit is only for formats that carry none.
func (f *Folder) unit(name string) float64 {
	if Unitless(name) {
		return f.Unit
	}
	return 0
}

// Unitless reports whether files of a name carry no unit, by its extension.
func Unitless(name string) bool {
	switch strings.ToLower(path.Ext(name)) {
	case ".stl", ".obj", ".ply":
		return true
	default:
		return false
	}
}

func (f *Folder) open(dir fs.FS, name string) ([]byte, error) {
	file, err := dir.Open(name)
	if err != nil {
		return nil, err
	}
	defer func() { _ = file.Close() }() // read only: nothing can be lost
	doc, err := io.ReadAll(io.LimitReader(file, f.Most+1))
	if err == nil && int64(len(doc)) > f.Most {
		err = fmt.Errorf("%s is larger than the %d bytes that are read", name, f.Most)
	}
	return doc, err
}
