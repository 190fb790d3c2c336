package archtest_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// How many lines functions may have: the longest, nine in ten of them, and half of them.
const (
	longest   = 60
	nineInTen = 30
	half      = 10
)

func TestFunctionsAreShort(t *testing.T) {
	var lengths []int
	for _, p := range packages(t) {
		if strings.HasPrefix(p.place(), "api/") { // generated
			continue
		}
		for _, name := range p.GoFiles {
			for function, lines := range functions(t, filepath.Join(p.Dir, name)) {
				lengths = append(lengths, lines)
				if lines > longest {
					t.Errorf("%s/%s: %s has %d lines, allowed are %d", p.place(), name, function, lines, longest)
				}
			}
		}
	}
	if len(lengths) == 0 {
		t.Fatal("no functions found")
	}
	slices.Sort(lengths)
	middle, most := lengths[len(lengths)/2], lengths[len(lengths)*9/10]
	t.Logf("%d functions; half have at most %d lines, nine in ten at most %d", len(lengths), middle, most)
	if middle > half || most > nineInTen {
		t.Errorf("half of the functions have at most %d lines, allowed are %d; nine in ten at most %d, allowed are %d", middle, half, most, nineInTen)
	}
}

// functions gives the lines of each function in a file, from "func" to its last brace.
func functions(t *testing.T, file string) map[string]int {
	t.Helper()
	files := token.NewFileSet()
	parsed, err := parser.ParseFile(files, file, nil, parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	lines := map[string]int{}
	for _, declaration := range parsed.Decls {
		if f, ok := declaration.(*ast.FuncDecl); ok {
			from, to := files.Position(f.Pos()), files.Position(f.End())
			lines[fmt.Sprintf("%s (line %d)", f.Name.Name, from.Line)] = to.Line - from.Line + 1
		}
	}
	return lines
}
