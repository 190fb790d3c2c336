package cost

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/foam"
	"github.com/mouldwright/mouldwright/internal/pack"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Purchase is what to buy of one material for the whole job.
type Purchase struct {
	Material *ratebook.Material
	Used     unit.Quantity // with wastage, as the cost lines have it
	Bought   unit.Quantity
	LeftOver unit.Quantity
	Counts   []int // of each of the material's packs
	Cost     unit.Decimal
	Basis    string       // why these packs, in words
	charged  unit.Decimal // what the cost lines charge for it
}

// Purchases returns the shopping list: for each material that the lines use, in
// the rate book's order, the cheapest packs that cover it. Foam is bought in
// whole blocks, as many as its blanks are cut from if that is more.
func Purchases(lines []Line, e *ratebook.Edition) ([]Purchase, error) {
	sums, err := used(lines, e)
	if err != nil {
		return nil, err
	}
	out := make([]Purchase, 0, len(sums))
	for i := range e.Materials {
		p := &sums[i]
		if p.Used.IsZero() {
			continue
		}
		if err := p.buy(lines, e.Currency); err != nil {
			return nil, fmt.Errorf("buying %q: %w", p.Material.Code, err)
		}
		out = append(out, *p)
	}
	return out, nil
}

// used adds up what the lines use, with an entry for every material of the book.
func used(lines []Line, e *ratebook.Edition) ([]Purchase, error) {
	sums := make([]Purchase, len(e.Materials))
	for i := range e.Materials {
		m := &e.Materials[i]
		none, err := unit.Measure(0, m.Unit)
		if err != nil {
			return nil, err
		}
		sums[i] = Purchase{Material: m, Used: none}
	}
	for i := range lines {
		if lines[i].Kind != Material {
			continue
		}
		p := &sums[lines[i].Material.Place]
		sum, err := p.Used.Add(lines[i].Quantity)
		if err != nil {
			return nil, err
		}
		p.Used, p.charged = sum, p.charged.Add(lines[i].Cost)
	}
	return sums, nil
}

func (p *Purchase) buy(lines []Line, c unit.Currency) error {
	need := p.Used
	p.Basis = "the cheapest packs found that hold what is needed"
	if p.Material.Kind == ratebook.Foam {
		var err error
		if need, err = p.blocks(lines); err != nil {
			return err
		}
	}
	bought, err := pack.Cover(grains(need), packs(p.Material, c))
	if err != nil {
		return err
	}
	p.Counts = bought.Counts
	return p.add(c)
}

// add adds up what the packs hold and cost, exactly, from their printed sizes
// and prices.
func (p *Purchase) add(c unit.Currency) error {
	var size, price unit.Decimal
	for i, n := range p.Counts {
		count := unit.Count(n)
		size = size.Add(p.Material.Packs[i].Size.Decimal().Mul(count.Decimal()))
		price = price.Add(unit.Extend(count, p.Material.Packs[i].Price, c))
	}
	p.Cost = price
	var err error
	if p.Bought, err = unit.Measure(size.InexactFloat64(), p.Material.Unit); err != nil {
		return err
	}
	left := p.Bought.Decimal().Sub(p.Used.Decimal())
	p.LeftOver, err = unit.Measure(left.InexactFloat64(), p.Material.Unit)
	return err
}

// grains is a quantity as a whole number of its unit's last printed decimal.
func grains(q unit.Quantity) int64 {
	scale := math.Pow10(q.Unit().Decimals())
	return int64(math.Round(q.Float() * scale))
}

func packs(m *ratebook.Material, c unit.Currency) []pack.Pack {
	out := make([]pack.Pack, len(m.Packs))
	for i, p := range m.Packs {
		minor := p.Price.InexactFloat64() * math.Pow10(c.Digits)
		out[i] = pack.Pack{Size: grains(p.Size), Cost: int64(math.Round(minor))}
	}
	return out
}

// blocks returns the foam that whole blocks hold once the job's blanks are cut
// from them.
func (p *Purchase) blocks(lines []Line) (unit.Quantity, error) {
	all := batch{at: map[foam.Blank]int{}}
	for i := range lines {
		l := &lines[i]
		if l.Kind != Material || l.Material != p.Material || l.Amount.Basis != ratebook.FoamBlank {
			continue
		}
		for _, b := range l.Work.Piece.Blanks {
			all.add(b, l.Work.Count)
		}
	}
	block := p.Material.StockBlock
	if len(all.blanks) == 0 {
		return p.Used, nil
	}
	cut, err := foam.Cut(all.blanks, foam.Block{Width: block.Width, Depth: block.Depth, Height: block.Height})
	if err != nil {
		return p.Used, err
	}
	// One block is rounded before it is multiplied, as the pack that holds it is:
	// otherwise the last printed decimal of many blocks would buy one more.
	one, err := unit.Measure(block.Volume(), p.Material.Unit)
	if err != nil {
		return p.Used, err
	}
	held, err := unit.Measure(float64(cut.Blocks)*one.Float(), p.Material.Unit)
	if err != nil || held.Float() < p.Used.Float() {
		return p.Used, err
	}
	p.Basis = fmt.Sprintf("whole blocks: %d pieces are cut from %d, by straight cuts right through", cut.Pieces, cut.Blocks)
	return held, nil
}

// batch gathers blanks, like sizes together: pieces often share their solids.
type batch struct {
	blanks []foam.Blank
	at     map[foam.Blank]int // by size, with no count
}

func (b *batch) add(blank foam.Blank, times int) {
	size := blank
	size.Count = 0
	i, ok := b.at[size]
	if !ok {
		i = len(b.blanks)
		b.at[size] = i
		b.blanks = append(b.blanks, size)
	}
	b.blanks[i].Count += blank.Count * times
}

// LeftOvers returns a line for what each whole pack leaves over: its purchase
// less what the lines charge already. Materials kept in stock leave nothing.
func LeftOvers(purchases []Purchase) []Line {
	var lines []Line
	for i := range purchases {
		p := &purchases[i]
		rest := p.Cost.Sub(p.charged)
		if p.Material.KeptInStock || !rest.IsPos() {
			continue
		}
		lot, _ := unit.Whole(1, unit.Lot) // one is never out of range
		lines = append(lines, Line{Kind: LeftOver, Material: p.Material, Quantity: lot, UnitCost: rest, Cost: rest})
	}
	return lines
}
