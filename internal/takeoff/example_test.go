package takeoff_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/takeoff"
)

// A handed pair of eleven casts, where two moulds of each hand share the pulls.
func ExamplePiece_Moulds() {
	p := takeoff.Piece{Piece: &brief.Piece{Quantity: 11, Pair: true}, Pulls: []int{6, 5}}
	fmt.Println(p.Patterns(), "patterns,", p.Moulds(), "moulds,", p.Casts(), "casts")
	// Output: 2 patterns, 4 moulds, 22 casts
}
