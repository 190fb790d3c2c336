package archtest_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// The table in DEVELOPERS.md of the OWASP API Security Top 10 of 2023 names tests that there are.
func TestTheTableOfHarmsNamesTests(t *testing.T) {
	guide, err := os.ReadFile(filepath.Join(top, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	tests := declared(t)
	rows := regexp.MustCompile(`(?m)^\| API(\d+) .*$`).FindAllStringSubmatch(string(guide), -1)
	const risks = 10
	if len(rows) != risks {
		t.Errorf("the table has %d rows, and there are %d risks", len(rows), risks)
	}
	for _, row := range rows {
		named := regexp.MustCompile("`((?:Test|Fuzz)[A-Za-z0-9]+)`").FindAllStringSubmatch(row[0], -1)
		if len(named) == 0 {
			t.Errorf("API%s names no test", row[1])
		}
		for _, name := range named {
			if !slices.Contains(tests, name[1]) {
				t.Errorf("API%s: there is no %s", row[1], name[1])
			}
		}
	}
}

// declared lists the names of all tests.
func declared(t *testing.T) []string {
	t.Helper()
	var names []string
	eachFile(t, func(path string, file *ast.File) {
		for _, d := range file.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && strings.HasSuffix(path, "_test.go") {
				names = append(names, f.Name.Name)
			}
		}
	})
	return names
}

// The service fetches nothing: no code of it speaks to anyone by HTTP or opens a connection
// of its own. Its stores' drivers do, to the store.
func TestTheServiceCallsNobody(t *testing.T) {
	calling := []string{
		"http.Get", "http.Head", "http.Post", "http.PostForm", "http.NewRequest", "http.NewRequestWithContext", "http.DefaultClient", "http.DefaultTransport",
		"http.Client", "http.Transport", "net.Dial", "net.DialTimeout", "net.Dialer", "tls.Dial", "grpc.NewClient", "grpc.Dial", "exec.Command", "exec.CommandContext",
	}
	eachFile(t, func(path string, file *ast.File) {
		if strings.HasSuffix(path, "_test.go") || strings.Contains(path, "/tools/") || strings.Contains(path, "test/") || strings.HasPrefix(path, "api/") {
			return
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if s, ok := n.(*ast.SelectorExpr); ok {
				if of, ok := s.X.(*ast.Ident); ok && slices.Contains(calling, of.Name+"."+s.Sel.Name) {
					t.Errorf("%s uses %s.%s", path, of.Name, s.Sel.Name)
				}
			}
			return true
		})
	})
}

// eachFile reads every Go file of the module.
func eachFile(t *testing.T, do func(path string, file *ast.File)) {
	t.Helper()
	err := filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		under, err := filepath.Rel(top, path)
		do(filepath.ToSlash(under), file)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
