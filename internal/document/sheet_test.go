package document_test

import (
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/document"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

func sheetOf(t *testing.T, q *maquette.Maquette, a maquette.Ask) string {
	t.Helper()
	s, err := q.At(a)
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := document.MeshSheet(&out, "Box", &s); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// A box of 0.2 x 0.1 x 0.3 m: its figures at five times its size are elementary. Numbers
// are written without exponents, however great or small, and not rounded to four figures.
func TestASheetOfABox(t *testing.T) {
	q, err := maquette.Study(meshtest.Box(0.2, 0.1, 0.3), mesh.Warning{Code: "c", Says: "the file is odd"})
	if err != nil {
		t.Fatal(err)
	}
	has := func(text string, all ...string) {
		t.Helper()
		for _, want := range all {
			if !strings.Contains(text, want) {
				t.Errorf("no %q in\n%s", want, text)
			}
		}
	}
	has(sheetOf(t, q, maquette.Ask{Scale: 5, Layer: 0.6, ThinLimit: 0.0063}),
		"at 5 times", "5.500 m2", "0.7500 m3", "1000 x 500 x 1500", "Foam in 3 layers", "of 600 mm, against 0.7500 m3",
		"Thinner than 6.3 mm", "its own mirror", "with 2 degrees of draft", "- the file is odd", "piece 1 is pulled ", " m2 as drawn")
	has(sheetOf(t, q, maquette.Ask{Scale: 10_000, Layer: 1234.5}), "at 10000 times", "of 1234500 mm")
	has(sheetOf(t, q, maquette.Ask{Scale: 0.000125}), "at 0.000125 times")
}
