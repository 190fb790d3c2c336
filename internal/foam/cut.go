package foam

import (
	"errors"
	"math"
	"slices"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Cutting is what blanks take from stock.
type Cutting struct {
	Blocks   int     // whole blocks to buy
	AtLeast  int     // no cutting can need fewer: the blanks' volume over a block's
	Pieces   int     // pieces cut; more than the blanks when blanks are bonded up
	BondArea float64 // glued joints, m2
	Net      float64 // volume of the blanks, m3
	Bought   float64 // volume of the blocks, m3
	Offcut   float64 // 1 - Net/Bought, 0 to below 1; 0 when nothing is bought
}

// most is how many pieces one cutting may hold; kinds how many sizes of blank.
const (
	most  = 1_000_000_000
	kinds = 10_000
)

// Cut is the whole blocks that blanks are cut from, by straight cuts right through.
//
// Blanks bigger than a block are bonded up as [Bond] says. The pieces, largest first,
// then go into the smallest space left that holds them, in the way round that holds
// most, and what is left of the space is cut into at most three. Equal pieces
// are placed by arithmetic, not one by one, so counts cost nothing. The answer is a
// cutting that can be made, never below AtLeast, and not always the fewest possible:
// finding that is not practical for boxes.
//
// Source: our own first-fit-decreasing for guillotine cuts; the bound is an identity.
func Cut(blanks []Blank, block Block) (Cutting, error) {
	if err := checkCut(blanks, block); err != nil {
		return Cutting{}, err
	}
	out, lots, err := pieces(blanks, block.box())
	if err != nil {
		return Cutting{}, err
	}
	b := bench{block: block.box()}
	b.cutAll(lots)
	out.Blocks = int(b.blocks)
	one := float64(b.block.volume()) * cubicGrain
	out.AtLeast = int(math.Ceil(out.Net / one * (1 - 1e-12)))
	out.Bought = float64(float64(b.blocks) * one)
	if out.Blocks > 0 {
		out.Offcut = max(0, 1-out.Net/out.Bought)
	}
	return out, nil
}

// cubicGrain is a cube of one grain, m3.
const cubicGrain = grain * grain * grain

// pieces is the lots to be cut, and what is known without cutting them.
func pieces(blanks []Blank, block box) (Cutting, []lot, error) {
	var out Cutting
	var lots []lot
	count := 0.0
	for _, blank := range blanks {
		n := float64(blank.Count)
		g := gridFor(blank.box(), block)
		count += float64(n * float64(g.pieces()))
		out.BondArea += float64(n * g.area())
		out.Net += float64(n * float64(blank.box().volume()) * cubicGrain)
		if blank.Count > 0 && count <= most {
			lots = append(lots, g.lots(int64(blank.Count))...)
		}
	}
	out.Pieces = int(min(count, most))
	return out, merged(lots), fault.Unless(count <= most, "pieces to cut", count, "up to 1e9")
}

// merged is the lots largest first, those of one size made into one.
func merged(lots []lot) []lot {
	for i := range lots {
		lots[i].box = lots[i].sorted()
	}
	slices.SortStableFunc(lots, func(a, b lot) int { return b.compare(a.box) })
	var out []lot
	for _, l := range lots {
		if n := len(out); n > 0 && out[n-1].box == l.box {
			out[n-1].count += l.count
			continue
		}
		out = append(out, l)
	}
	return out
}

func checkCut(blanks []Blank, block Block) error {
	err := errors.Join(block.Check(), fault.Unless(len(blanks) <= kinds, "sizes of blank", float64(len(blanks)), "up to 10000"))
	for _, b := range blanks {
		err = errors.Join(err, b.Check())
	}
	return err
}
