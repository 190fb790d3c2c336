package shelf_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/meshfile"
	"github.com/mouldwright/mouldwright/internal/shelf"
)

// counted counts how often a folder is asked for a file.
type counted struct {
	fs.FS
	opened int
}

// Open counts.
func (c *counted) Open(name string) (fs.File, error) {
	c.opened++
	return c.FS.Open(name)
}

// barred is a folder that may not be read.
type barred struct{}

// Open says so.
func (barred) Open(name string) (fs.File, error) {
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrPermission}
}

func file(data []byte) *fstest.MapFile { return &fstest.MapFile{Data: data} }

// folder reads in millimetres, up to a megabyte.
func folder(dirs ...fs.FS) *shelf.Folder {
	return &shelf.Folder{Dirs: dirs, Unit: 0.001, Most: 1 << 20}
}

// absent holds that a name leads to no mesh, and to no complaint.
func absent(t *testing.T, f *shelf.Folder, name string) {
	t.Helper()
	if model, sum, err := f.Model(name); model != nil || sum != "" || err == nil || strings.Contains(err.Error(), "cannot be used") {
		t.Errorf("%q: %v with %q, %v", name, model, sum, err)
	}
}

func TestAMeshInAFolder(t *testing.T) {
	f := folder(fstest.MapFS{"corner.stl": file(tetrahedron())})
	model, sum, err := f.Model("meshes/corner")
	if err != nil {
		t.Fatal(err)
	}
	near(t, "height", model.Extent().Height, 0.1)
	// The sum is what the same file has that was uploaded: a price does not depend on the door.
	if want := shelf.Identify(tetrahedron(), shelf.Reading{FileName: "any.stl", Unit: 0.001}).Sum; sum != want {
		t.Errorf("got %s, want %s", sum, want)
	}
	absent(t, f, "meshes/none")
}

// The first folder that has the name has the mesh; in one folder glTF comes before STL.
func TestTheFirstOfSeveral(t *testing.T) {
	first := fstest.MapFS{"a.stl": file(tetrahedron())}
	second := fstest.MapFS{"a.glb": file(block(t)), "b.glb": file(block(t)), "b.stl": file(tetrahedron())}
	f := folder(fstest.MapFS{}, first, second)
	if model, _, err := f.Model("meshes/a"); err != nil || len(model.Skin().Faces) != 4 {
		t.Errorf("not the first folder's corner; %v", err)
	}
	if model, _, err := f.Model("meshes/b"); err != nil || len(model.Skin().Faces) != 12 {
		t.Errorf("not the glTF's block; %v", err)
	}
}

// The unit is for files that carry none: glTF is in metres, and has the sum that it
// has where nobody says a unit.
func TestAFilesOwnUnitHolds(t *testing.T) {
	f := &shelf.Folder{Dirs: []fs.FS{fstest.MapFS{"block.glb": file(block(t)), "corner.stl": file(tetrahedron())}}, Unit: 0.0254, Most: 1 << 20}
	model, sum, err := f.Model("meshes/block")
	if err != nil || model.Extent().Width < 0.29 || model.Extent().Width > 0.31 {
		t.Errorf("%v, %v", model, err)
	}
	if want := shelf.Identify(block(t), shelf.Reading{}).Sum; sum != want {
		t.Errorf("got %s, want %s", sum, want)
	}
	f.Unit = 0
	var bad *meshfile.Fault
	if model, _, err := f.Model("meshes/corner"); model != nil || !strings.Contains(fmt.Sprint(err), "corner.stl: ") || !errors.As(err, &bad) || bad.Code != meshfile.Unit {
		t.Errorf("an STL without a unit: %v, %v", model, err)
	}
}

// A mesh is read and studied once, whatever came of it.
func TestAFolderIsAskedOnce(t *testing.T) {
	dir := &counted{FS: fstest.MapFS{"corner.stl": file(tetrahedron()), "broken.stl": file([]byte("solid"))}}
	f := folder(dir)
	ask := func() (model *maquette.Maquette, said string) {
		model, _, _ = f.Model("meshes/corner")
		_, _, none := f.Model("meshes/none")
		_, _, broken := f.Model("meshes/broken")
		return model, fmt.Sprint(none, broken)
	}
	first, said := ask()
	opened := dir.opened
	if again, now := ask(); again != first || dir.opened != opened || now != said {
		t.Errorf("%d files became %d, %q became %q", opened, dir.opened, said, now)
	}
}

// What is there and cannot be used is not passed over for the next folder's: that
// would be another mesh.
func TestWhatIsThereAndCannotBeUsed(t *testing.T) {
	next := fstest.MapFS{"a.stl": file(tetrahedron())}
	for name, row := range map[string]struct {
		dir  fs.FS
		says string
	}{
		"no mesh":               {fstest.MapFS{"a.stl": file([]byte("solid nothing"))}, "a.stl"},
		"empty":                 {fstest.MapFS{"a.obj": file(nil)}, "a.obj"},
		"a folder by that name": {fstest.MapFS{"a.glb/inside.txt": file(nil)}, "a.glb"},
		"not to be read":        {barred{}, "a.glb"},
		"too large":             {fstest.MapFS{"a.stl": file(make([]byte, 1<<20+1))}, "1048576 bytes"},
	} {
		f := folder(row.dir, next)
		model, sum, err := f.Model("meshes/a")
		if model != nil || sum != "" || err == nil || !strings.Contains(err.Error(), row.says) || !strings.Contains(err.Error(), "cannot be used") {
			t.Errorf("%s: %v, %v", name, model, err)
		}
	}
}

// A name that leads to no file is told which files would do, where they were looked for,
// and which name there is that is like it.
func TestWhichFilesWouldDo(t *testing.T) {
	f := folder(fstest.MapFS{"hare.stl": file(tetrahedron()), "hoar.txt": file(nil), "Haer.stl": file(nil), "notes": file(nil)})
	f.Where = "/briefs, /meshes"
	for name, want := range map[string]string{
		"meshes/haer":   `of which there is no file; did you mean "meshes/hare"? allowed: haer.glb, .gltf, .3mf, .ply, .obj or .stl in /briefs, /meshes`,
		"meshes/gander": `of which there is no file; allowed: gander.glb, .gltf, .3mf, .ply, .obj or .stl in /briefs, /meshes`,
		"../secret":     "which is no mesh's name; allowed: meshes/ and a name, such as meshes/hare-1",
	} {
		if _, _, err := f.Model(name); fmt.Sprint(err) != want {
			t.Errorf("%s: got %v, want %s", name, err, want)
		}
	}
}

func TestWhichFilesCarryNoUnit(t *testing.T) {
	for name, want := range map[string]bool{"a.stl": true, "A.STL": true, "a.obj": true, "b/a.ply": true, "a.glb": false, "a.gltf": false, "a.3mf": false, "a": false, "stl": false} {
		if got := shelf.Unitless(name); got != want {
			t.Errorf("%s: got %v", name, got)
		}
	}
}

// A file of exactly as many bytes as are read is read.
func TestALargestFile(t *testing.T) {
	doc := tetrahedron()
	f := &shelf.Folder{Dirs: []fs.FS{fstest.MapFS{"a.stl": file(doc)}}, Unit: 1, Most: int64(len(doc))}
	if _, _, err := f.Model("meshes/a"); err != nil {
		t.Error(err)
	}
	f = &shelf.Folder{Dirs: []fs.FS{fstest.MapFS{"a.stl": file(doc)}}, Unit: 1, Most: int64(len(doc)) - 1}
	if model, _, err := f.Model("meshes/a"); model != nil || err == nil {
		t.Error("a byte more is read")
	}
}

// Only a mesh's name leads to a file, and only to one of its own folder: to nothing
// outside, further in, or hidden. In memory and on disk.
func TestOddNames(t *testing.T) {
	root := t.TempDir()
	inside := filepath.Join(root, "meshes")
	held := fstest.MapFS{}
	for _, name := range []string{"secret.stl", "meshes/hare.stl", "meshes/.stl", "meshes/further/in.stl"} {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(root, name)), 0o750); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(root, name), tetrahedron(), 0o600); err != nil {
			t.Fatal(err)
		}
		held[strings.TrimPrefix(name, "meshes/")] = file(tetrahedron())
	}
	for where, dir := range map[string]fs.FS{"in memory": held, "on disk": os.DirFS(inside)} {
		f := folder(dir)
		for _, name := range []string{
			"", "hare", "meshes", "meshes/", "meshes//hare", "meshes/../secret", "meshes/..", "meshes/.", "meshes/./hare", "meshes/further/in", "meshes/further/../hare",
			"meshes/" + root + "/secret", "meshes/hare.stl", "meshes/hare/", "meshes/hare\x00", "meshes/\xff", `meshes/..\secret`, "Meshes/hare", "meshes/Hare", "meshes/meshes/hare",
			"meshes/" + strings.Repeat("h", 81), "meshes/" + strings.Repeat("h", 10_000),
		} {
			absent(t, f, name)
		}
		if _, _, err := f.Model("meshes/hare"); err != nil {
			t.Errorf("%s: %v", where, err)
		}
	}
}

// A folder that is not there has no meshes.
func TestAFolderThatIsNotThere(t *testing.T) {
	absent(t, folder(os.DirFS(filepath.Join(t.TempDir(), "none"))), "meshes/hare")
	absent(t, folder(), "meshes/hare")
}

// Why a file cannot be read is not lost on the way.
func TestAReasonIsKept(t *testing.T) {
	f := folder(barred{})
	if _, _, err := f.Model("meshes/a"); !errors.Is(err, fs.ErrPermission) {
		t.Error(err)
	}
}
