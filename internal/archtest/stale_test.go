package archtest_test

import (
	"bytes"
	"context"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// TestGeneratedCodeIsFresh generates api/ anew and compares it byte for byte. The generator's own modules are many and take minutes
// to build, so outside CI the test does without where they have not been fetched yet.
func TestGeneratedCodeIsFresh(t *testing.T) {
	sources := contents(t, filepath.Join(top, "proto")) // read here, so that the go command runs the test again when one changes
	if len(sources) == 0 {
		t.Fatal("proto/ is empty")
	}
	if !generatorsFetched() && os.Getenv("MOULDWRIGHT_CI") == "" {
		t.Skip("the generators have not been fetched: run internal/tools/generate.sh once")
	}
	fresh := t.TempDir()
	script, err := filepath.Abs(filepath.Join(top, "internal", "tools", "generate.sh"))
	if err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("bash", script, fresh).CombinedOutput(); err != nil {
		t.Fatalf("internal/tools/generate.sh: %v\n%s", err, out)
	}
	want, got := contents(t, filepath.Join(fresh, "api")), contents(t, filepath.Join(top, "api"))
	for _, name := range slices.Sorted(maps.Keys(merged(want, got))) {
		if !bytes.Equal(got[name], want[name]) || (got[name] == nil) != (want[name] == nil) {
			t.Errorf("api/%s is not what the protos give: run internal/tools/generate.sh", name)
		}
	}
}

// generatorsFetched reports whether the generators can be built without asking for a module.
func generatorsFetched() bool {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	command := exec.CommandContext(ctx, "go", "list", "-deps", "-modfile=internal/tools/buf/go.mod", "github.com/bufbuild/buf/cmd/buf")
	command.Dir = top
	command.Env = append(os.Environ(), "GOPROXY=off")
	return command.Run() == nil
}

// contents reads every file below a directory.
func contents(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	err := fs.WalkDir(os.DirFS(dir), ".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		files[path], err = os.ReadFile(filepath.Join(dir, path))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func merged(a, b map[string][]byte) map[string][]byte {
	all := maps.Clone(a)
	maps.Copy(all, b)
	return all
}
