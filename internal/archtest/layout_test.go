package archtest_test

import (
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// The top level is short, so that a newcomer sees the whole house at once.
func TestTopLevelHoldsOnlyWhatBelongs(t *testing.T) {
	allowed := []string{
		"api", "cmd", "internal", "proto", "testdata",
		"README.md", "DEVELOPERS.md", "LICENSE", "go.mod", "go.sum",
		"buf.yaml", "buf.gen.yaml", ".ci", ".gitignore", ".golangci.yml", ".git",
	}
	entries, err := os.ReadDir(top)
	if err != nil {
		t.Fatal(err)
	}
	for _, entry := range entries {
		if !slices.Contains(allowed, entry.Name()) && !ignored(t, entry.Name()) {
			t.Errorf("%s does not belong on the top level", entry.Name())
		}
	}
}

// ignored reports whether .gitignore leaves a name on the top level out.
func ignored(t *testing.T, name string) bool {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(top, ".gitignore"))
	if err != nil {
		t.Fatal(err)
	}
	for pattern := range strings.Lines(string(raw)) {
		if ok, _ := path.Match(strings.Trim(pattern, "/\n"), name); ok {
			return true
		}
	}
	return false
}
