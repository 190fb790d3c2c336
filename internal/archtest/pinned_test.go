package archtest_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// required is a module, as "go list -m -json" says of it.
type required struct{ Path, Version, GoMod string }

// SQLite is a program in C that was translated, together with the C library that it was
// translated for: its authors ask for that library's very version ("Fragile modernc.org/libc
// dependency" in the package's documentation), and another module asks for a later one.
func TestSQLiteHasTheLibraryItWasMadeFor(t *testing.T) {
	sqlite, libc := inUse(t, "modernc.org/sqlite"), inUse(t, "modernc.org/libc")
	wants, err := os.ReadFile(sqlite.GoMod)
	if err != nil {
		t.Fatal(err)
	}
	if line := "modernc.org/libc " + libc.Version + "\n"; !strings.Contains(string(wants), line) {
		t.Errorf("%s %s does not ask for %s of version %s: exclude that version in go.mod", sqlite.Path, sqlite.Version, libc.Path, libc.Version)
	}
}

func inUse(t *testing.T, path string) required {
	t.Helper()
	out, err := exec.Command("go", "list", "-m", "-json", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	var m required
	if err := json.Unmarshal(out, &m); err != nil {
		t.Fatal(err)
	}
	return m
}
