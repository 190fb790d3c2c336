package document_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/document"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// go test ./internal/document -update writes the golden files anew. Read the diff.
var update = flag.Bool("update", false, "write the golden files anew")

// columns is how wide a line of text may be where its words allow it.
const columns = 100

// priced is the quote of one of the demo studio's briefs.
func priced(t testing.TB, name string) *quote.Quote {
	t.Helper()
	rules, err := wire.NewValidator()
	if err != nil {
		t.Fatal(err)
	}
	book, faults := desk.OpenBook(demo.Document(), rules)
	if book == nil {
		t.Fatal(faults)
	}
	book.Meshes = (&shelf.Folder{Dirs: []fs.FS{os.DirFS(filepath.Join("..", "..", "testdata", "meshes"))}, Most: 1 << 20}).Model
	doc, err := os.ReadFile(filepath.Join("..", "..", "testdata", "briefs", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	pb, err := book.ReadBrief(doc, rules)
	if err != nil {
		t.Fatal(err)
	}
	q, err := book.Price(pb)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func written(t testing.TB, q *quote.Quote, workings bool) string {
	t.Helper()
	var text strings.Builder
	if err := document.Text(&text, q, workings); err != nil {
		t.Fatal(err)
	}
	return text.String()
}

// golden holds what was written to the file of that name.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "golden", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got == string(want) {
		return
	}
	mine, theirs := strings.Split(got, "\n"), strings.Split(string(want), "\n")
	for i := range min(len(mine), len(theirs)) {
		if mine[i] != theirs[i] {
			t.Fatalf("%s, line %d:\n got %s\nwant %s\n(go test ./internal/document -update writes it anew)", name, i+1, mine[i], theirs[i])
		}
	}
	t.Fatalf("%s: got %d lines, want %d (go test ./internal/document -update writes it anew)", name, len(mine), len(theirs))
}

func TestGoldenText(t *testing.T) {
	for _, c := range []struct {
		brief, file string
		workings    bool
	}{
		{"toadstool-trail", "toadstool-trail.txt", false},
		{"toadstool-trail", "toadstool-trail-workings.txt", true},
		{"toadstools-for-a-partner", "toadstools-for-a-partner.txt", false},
		{"gate-snails", "gate-snails.txt", false},
		{"one-off-hare", "one-off-hare.txt", false},
		{"wall-pairs", "wall-pairs.txt", false},
		{"letters-and-tails", "letters-and-tails.txt", false},
		{"hare-from-maquette", "hare-from-maquette.txt", false},
	} {
		t.Run(c.file, func(t *testing.T) { golden(t, c.file, written(t, priced(t, c.brief), c.workings)) })
	}
}

// The quote as the contract has it, indented so that a diff can be read. It is the
// same on processors with fused multiply-add, to the last digit.
func TestGoldenJSON(t *testing.T) {
	for _, name := range []string{"gate-snails", "one-off-hare"} {
		t.Run(name, func(t *testing.T) {
			doc, err := wire.Encode(wire.Quote(priced(t, name), true))
			if err != nil {
				t.Fatal(err)
			}
			var indented bytes.Buffer
			if err := json.Indent(&indented, doc, "", " "); err != nil {
				t.Fatal(err)
			}
			indented.WriteByte('\n')
			golden(t, name+".json", indented.String())
		})
	}
}

// No line is wider than the page, save where one word is; and none ends in a space.
func TestLinesKeepToThePage(t *testing.T) {
	for _, name := range []string{"toadstool-trail", "gate-snails", "one-off-hare", "wall-pairs", "letters-and-tails", "hare-from-maquette"} {
		for i, line := range strings.Split(written(t, priced(t, name), true), "\n") {
			if utf8.RuneCountInString(line) > columns && len(strings.Fields(line)) > 1 {
				t.Errorf("%s, line %d has %d columns: %s", name, i+1, utf8.RuneCountInString(line), line)
			}
			if strings.TrimRight(line, " \t") != line {
				t.Errorf("%s, line %d ends in a space: %q", name, i+1, line)
			}
		}
	}
}

// A quote is written the same each time, by whoever prices the brief anew.
func TestTextIsDeterministic(t *testing.T) {
	first := written(t, priced(t, "toadstool-trail"), true)
	for range 3 {
		if written(t, priced(t, "toadstool-trail"), true) != first {
			t.Fatal("the same brief was written in two ways")
		}
	}
}

// With workings comes all that stands without, less the last line that offers them.
func TestWorkingsOnlyAdd(t *testing.T) {
	q := priced(t, "toadstool-trail")
	brief, full := written(t, q, false), written(t, q, true)
	if i := strings.LastIndex(strings.TrimSpace(brief), "\n\n"); i < 0 || !strings.HasPrefix(full, brief[:i]) {
		t.Error("the text with workings begins otherwise")
	}
}
