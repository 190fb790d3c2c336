package estimate_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// demoBrief is one of the demo studio's briefs, and its book.
func demoBrief(t *testing.T, name string) (*brief.Brief, *desk.Book) {
	t.Helper()
	rules, err := wire.NewValidator()
	if err != nil {
		t.Fatal(err)
	}
	book, faults := desk.OpenBook(demo.Document(), rules)
	if book == nil {
		t.Fatal(faults)
	}
	doc, err := os.ReadFile(filepath.Join("..", "..", "testdata", "briefs", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	pb, err := book.ReadBrief(doc, rules)
	if err != nil {
		t.Fatal(err)
	}
	b, err := book.Brief(pb)
	if err != nil {
		t.Fatal(err)
	}
	return b, book
}

func piece(t *testing.T, q *quote.Quote, code string) *quote.Piece {
	t.Helper()
	for i := range q.Pieces {
		if q.Pieces[i].Code == code {
			return &q.Pieces[i]
		}
	}
	t.Fatalf("no piece %q", code)
	return nil
}

// Twenty casts with six or seven hand-finished areas each are 120 to 140 areas: common
// practice, no source.
func TestHandFinishedAreas(t *testing.T) {
	b, book := demoBrief(t, "wall-pairs")
	seven, err := estimate.Price(b, book.Edition)
	if err != nil {
		t.Fatal(err)
	}
	six, err := estimate.Price(b.With(&b.Options[0]), book.Edition)
	if err != nil {
		t.Fatal(err)
	}
	for q, want := range map[*quote.Quote]int{seven: 140, six: 120} {
		p := piece(t, q, "ladybird")
		if p.Casts() != 20 || p.Zones[0].Total != want {
			t.Errorf("common practice, no source: %d casts have %d areas, want 20 with %d", p.Casts(), p.Zones[0].Total, want)
		}
		done := 0
		for i := range q.Workings.Labour {
			if l := &q.Workings.Labour[i]; l.Piece == &p.Piece && l.Zone != nil && l.Count != want {
				t.Errorf("%s is done %d times, want %d", l.Name, l.Count, want)
			} else if l.Piece == &p.Piece && l.Zone != nil {
				done++
			}
		}
		if done == 0 {
			t.Error("no operation falls on the areas")
		}
	}
}

// Two sizes of a handed wall piece are four patterns and four moulds: common practice,
// no source.
func TestTwoSizesOfAHandedPiece(t *testing.T) {
	b, book := demoBrief(t, "wall-pairs")
	q, err := estimate.Price(b, book.Edition)
	if err != nil {
		t.Fatal(err)
	}
	patterns, moulds := 0, 0
	for _, code := range []string{"lizard-large", "lizard-small"} {
		p := piece(t, q, code)
		patterns, moulds = patterns+p.Patterns(), moulds+p.Moulds()
	}
	if patterns != 4 || moulds != 4 {
		t.Errorf("common practice, no source: %d patterns and %d moulds, want 4 and 4", patterns, moulds)
	}
}
