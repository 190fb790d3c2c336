package quote_test

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
)

// slabs are casts of one block, 1 x 1 x 0.5 m, 14.4 kg each in bare gelcoat, with
// nothing left for the studio to assume.
func slabs(code string, casts int) brief.Piece {
	parting := 3.0
	return brief.Piece{
		Code: code, Name: "Slab " + code, Quantity: casts, Texture: 1, Exposure: ratebook.Outdoor, Body: ratebook.Closed, Route: brief.Moulded,
		Form: brief.Form{Solids: []brief.Solid{{Kind: "box", Shape: geometry.Block{Width: 1, Depth: 1, Height: 0.5}, Count: 1}}},
		Size: &geometry.Extent{Width: 1, Depth: 1, Height: 0.5}, Laminate: "thin", Finish: "bare", Mould: brief.Mould{Pieces: 2, Parting: &parting},
	}
}

func spots(name string, count int) brief.Zone {
	return brief.Zone{Name: name, Finish: "flake", Count: count, Shape: brief.ZoneShape{Spot: &geometry.Spot{Diameter: 0.2}}}
}

// job is a brief of such pieces, delivered at once over 30 km.
func job(pieces ...brief.Piece) *brief.Brief {
	return &brief.Brief{Title: "Slabs", Client: "Fernhollow Arboretum", Pieces: pieces, Delivery: &brief.Delivery{Distance: 30, Consignments: 1, Place: "the gate"}}
}

func price(t *testing.T, book *ratebook.Book, b *brief.Brief) *quote.Quote {
	t.Helper()
	q, err := estimate.Price(b, ratebooktest.Open(t, book))
	if err != nil {
		t.Fatal(err)
	}
	return q
}
