package archtest_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

const module = "github.com/mouldwright/mouldwright"

// top is the repository's top directory, as seen from this package.
var top = filepath.Join("..", "..")

// listed is what the go command says of one package.
type listed struct {
	ImportPath string
	Dir        string
	GoFiles    []string
	Imports    []string
}

// place is the package's path below the module: "internal/unit".
func (p listed) place() string { return place(p.ImportPath) }

func place(importPath string) string {
	return strings.TrimPrefix(strings.TrimPrefix(importPath, module), "/")
}

func own(importPath string) bool {
	return importPath == module || strings.HasPrefix(importPath, module+"/")
}

// packages lists the module's packages.
func packages(t *testing.T) []listed {
	t.Helper()
	command := exec.Command("go", "list", "-e", "-json=ImportPath,Dir,GoFiles,Imports", "./...")
	command.Dir = top
	command.Stderr = os.Stderr
	out, err := command.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []listed
	for decoder := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		if err := decoder.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatalf("go list: %v", err)
		}
		all = append(all, p)
	}
}
