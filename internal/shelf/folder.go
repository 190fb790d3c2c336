package shelf

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"

	"github.com/mouldwright/mouldwright/internal/maquette"
)

// Folder is mesh files in folders: meshes/hare is the file hare.glb, or with another
// of the extensions, in the first folder that has one. It serves one caller.
type Folder struct {
	Dirs  []fs.FS
	Unit  float64 // m in one unit of files that do not say; 0 where there are none
	Most  int64   // bytes of a file
	items map[string]*Item
	errs  []error
}

// Err returns why files that are there could not be used.
func (f *Folder) Err() error { return errors.Join(f.errs...) }

// Model reads and studies the mesh of a name, once. What is no mesh's name is no
// file's either: it could lead out of the folders.
func (f *Folder) Model(name string) (model *maquette.Maquette, sum string) {
	if !IsName(name) {
		return nil, ""
	}
	item, ok := f.items[name]
	if !ok {
		var err error
		if item, err = f.read(strings.TrimPrefix(name, Prefix)); err != nil {
			f.errs = append(f.errs, err)
		}
		if f.items == nil {
			f.items = map[string]*Item{}
		}
		f.items[name] = item
	}
	if item == nil {
		return nil, ""
	}
	return item.Model, item.Sum
}

// read returns nil where no folder has a file of the name.
func (f *Folder) read(id string) (*Item, error) {
	for _, dir := range f.Dirs {
		for _, ext := range []string{"glb", "gltf", "3mf", "ply", "obj", "stl"} {
			name := id + "." + ext
			doc, err := f.open(dir, name)
			if errors.Is(err, fs.ErrNotExist) {
				continue
			}
			if err != nil {
				return nil, err
			}
			item := Identify(doc, Reading{ID: id, FileName: name, Unit: f.unit(ext)})
			if err := item.Study(); err != nil {
				return nil, fmt.Errorf("%s: %w", name, err)
			}
			return item, nil
		}
	}
	return nil, nil //nolint:nilnil // nothing is there, and nothing is wrong
}

// unit is only for formats that carry none.
func (f *Folder) unit(ext string) float64 {
	switch ext {
	case "stl", "obj", "ply":
		return f.Unit
	default:
		return 0
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
