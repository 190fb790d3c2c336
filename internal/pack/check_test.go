package pack_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/pack"
)

const dosa = "Dosa, LNCS 4614 (2007) pp. 1-11; Johnson-type instance"

// kilograms are the packs of PCK-07: 1 kg at 12, 5 at 45, 25 at 165.
func kilograms() []pack.Pack { return []pack.Pack{{1, 12}, {5, 45}, {25, 165}} }

// repeated is n pieces of each length, from pairs of n and length.
func repeated(pairs ...int64) []int64 {
	var out []int64
	for i := 0; i < len(pairs); i += 2 {
		out = append(out, slices.Repeat([]int64{pairs[i+1]}, int(pairs[i]))...)
	}
	return out
}

// stock5600 is the cutting stock example of PCK-01, widths in mm.
func stock5600() []int64 {
	return repeated(22, 1380, 25, 1520, 12, 1560, 14, 1710, 18, 1820, 18, 1880, 20, 1930, 10, 2000, 12, 2050, 14, 2100, 16, 2140, 18, 2150, 20, 2200)
}

func bars(bar int64, pieces []int64) float64 {
	return float64(len(must(pack.FirstFitDecreasing(bar, pieces))))
}

func atLeast(bar int64, pieces []int64) float64 {
	return float64(must(pack.LowerBound(bar, pieces)))
}

func TestPackingCheckValues(t *testing.T) {
	const own, pengelly = "own dynamic program", "Pengelly factsheet (IATA factor)"
	johnson := repeated(6, 510, 6, 270, 6, 260, 12, 230)
	cost := func(need int64) float64 { return float64(must(pack.Cover(need, kilograms())).Cost) }
	checkRows(t, []row{
		{"PCK-01", "bound, bars of 5600", "Wikipedia Cutting stock (EPFL graphsearch copy)", "read; 73 PROVED", atLeast(5600, stock5600()), 73, 0},
		{"PCK-01", "first fit decreasing", "Wikipedia Cutting stock (EPFL graphsearch copy)", "FFD gives 82: computed", bars(5600, stock5600()), 82, 0},
		{"PCK-05", "the fewest bars for the tight instance", dosa, "bound read; instance checked", atLeast(1000, johnson), 9, 0},
		{"PCK-05", "first fit decreasing on it", dosa, "bound read; instance checked", bars(1000, johnson), 11, 0},
		{"PCK-07", "cheapest cover of 8", own, "computed", cost(8), 81, 0},
		{"PCK-07", "cheapest cover of 17", own, "computed", cost(17), 159, 0},
		{"PCK-07", "cheapest cover of 18", own, "computed", cost(18), 165, 0},
		{"PCK-07", "cheapest cover of 43", own, "computed", cost(43), 330, 0},
		{"PCK-09", "chargeable weight, 30x45x65 cm and 14 kg", pengelly, "read", must(pack.ChargeableWeight(0.30, 0.45, 0.65, 14, pack.AirDivisor)), 15, 0},
		{"PCK-10", "chargeable weight, 150x100x110 cm and 130 kg", "m-spedition", "read", must(pack.ChargeableWeight(1.5, 1, 1.1, 130, pack.AirDivisor)), 275, 0},
		{"PCK-11", "chargeable weight, 240x120x100 cm", "own with divisor 5000", "computed", must(pack.ChargeableWeight(2.4, 1.2, 1, 0, pack.CourierDivisor)), 576, 0},
		{"section 7", "three of 120x60x90 cm", pengelly, "read", 3 * must(pack.ChargeableWeight(1.2, 0.6, 0.9, 0, pack.AirDivisor)), 324, 0},
		{
			"WST-01", "waste that the gross-up of the rest finds again, t", "Recycling International on Composites UK report: 15 000 t of 150 000 t", "VERIFIED: inputs and result both printed",
			must(pack.GrossUp(135_000, 0.1)) - 135_000, 15_000, 1e-3,
		},
		{"WST-02", "gross-up, kg", "not 11.0 (that is a mark-up on need)", "arithmetic identity", must(pack.GrossUp(10, 0.10)), 11.11, 1e-3},
	})
}

// Section 7 of the estimating notes: greedy is wrong.
func TestCoverIsNotGreedy(t *testing.T) {
	sevens := []pack.Pack{{3, 500}, {7, 1000}}
	checkRows(t, []row{
		{"section 7", "one 5 beats four 1s", "own dynamic program", "computed", float64(must(pack.Cover(4, kilograms())).Cost), 45, 0},
		{"section 7", "8 from 3s and 7s", "own dynamic program", "computed", float64(must(pack.Cover(8, sevens)).Cost), 1500, 0},
		{"section 7", "9 from 3s and 7s", "own dynamic program", "computed", float64(must(pack.Cover(9, sevens)).Cost), 1500, 0},
	})
	if p := must(pack.Cover(8, sevens)); !slices.Equal(p.Counts, []int{1, 1}) {
		t.Errorf("7+3 is as cheap as 3+3+3 and fewer packs; got %v", p.Counts)
	}
}

type instance struct {
	bar    int64
	pieces []int64
}

// published reads a set of bin packing instances in OR-Library's form: the number of
// them; then for each a name, "capacity items best-known" and the items.
func published(t *testing.T, name string) map[string]instance {
	t.Helper()
	path := filepath.Join("..", "..", "..", "shared", "data", "binpack", name)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Skip("the published instances are not beside the checkout")
	}
	in, n := strings.NewReader(string(text)), 0
	read := func(v ...any) {
		if _, err := fmt.Fscan(in, v...); err != nil {
			t.Fatal(err)
		}
	}
	out := map[string]instance{}
	read(&n)
	for range n {
		var id string
		var bar int64
		var items, best int
		read(&id, &bar, &items, &best)
		pieces := make([]int64, items)
		for i := range pieces {
			read(&pieces[i])
		}
		out[id] = instance{bar, pieces}
	}
	return out
}

// PCK-02, PCK-04 and the two lists of section 7: OR-Library binpack1 (Falkenauer); the
// optima are proved, and beat the file's own for u120_08 and u120_19.
func TestPublishedBinPacking(t *testing.T) {
	optimum := []int{48, 49, 46, 49, 50, 48, 48, 49, 50, 46, 52, 49, 48, 49, 50, 48, 52, 52, 49, 49}
	ffd := []int{49, 49, 47, 50, 50, 49, 49, 50, 51, 47, 52, 50, 49, 49, 50, 49, 52, 53, 50, 50}
	sets := published(t, "binpack1.txt")
	for i := range optimum {
		id := fmt.Sprintf("u120_%02d", i)
		s, ok := sets[id]
		if !ok {
			t.Fatalf("no instance %s", id)
		}
		if got := int(bars(s.bar, s.pieces)); got != ffd[i] {
			t.Errorf("%s: first fit decreasing takes %d, published %d", id, got, ffd[i])
		}
		if got := int(atLeast(s.bar, s.pieces)); got > optimum[i] || got < optimum[i]-1 {
			t.Errorf("%s: bound %d, optimum %d", id, got, optimum[i])
		}
	}
	checkRows(t, []row{
		{"PCK-02", "L2 bound of u120_00", "OR-Library binpack1 (Falkenauer)", "read; PROVED", atLeast(150, sets["u120_00"].pieces), 48, 0},
		{"PCK-04", "L2 bound of u120_19", "OR-Library/BPPLIB (lists 50)", "read; PROVED", atLeast(150, sets["u120_19"].pieces), 49, 0},
	})
}

func TestPublishedCuttingStock(t *testing.T) {
	s := published(t, "cs5600.txt")["cs5600"]
	if !slices.Equal(s.pieces, stock5600()) || s.bar != 5600 {
		t.Error("the file's demand is not the one of PCK-01")
	}
}

func TestWhatIsRefused(t *testing.T) {
	one := kilograms()
	for _, c := range []struct {
		name string
		err  error
	}{
		{"a negative need", second(pack.Cover(-1, one))},
		{"a need above 1e9", second(pack.Cover(1_000_000_001, one))},
		{"no packs", second(pack.Cover(1, nil))},
		{"a pack of nothing", second(pack.Cover(1, []pack.Pack{{0, 1}}))},
		{"a pack that pays", second(pack.Cover(1, []pack.Pack{{1, -1}}))},
		{"65 kinds of pack", second(pack.Cover(1, slices.Repeat(one[:1], 65)))},
		{"a piece longer than the bar", second(pack.FirstFitDecreasing(10, []int64{11}))},
		{"a piece of nothing", second(pack.LowerBound(10, []int64{0}))},
		{"a bar of nothing", second(pack.FirstFitDecreasing(0, nil))},
		{"all wasted", second(pack.GrossUp(1, 1))},
		{"negative waste", second(pack.GrossUp(1, -0.1))},
		{"a need that is no number", second(pack.GrossUp(math.NaN(), 0))},
		{"a flat crate", second(pack.ChargeableWeight(1, 1, 0, 1, 6000))},
		{"no divisor", second(pack.ChargeableWeight(1, 1, 1, 1, 0))},
	} {
		if c.err == nil {
			t.Errorf("%s was taken", c.name)
		}
	}
}

func TestFaultSaysWhatIsAllowed(t *testing.T) {
	_, err := pack.GrossUp(1, 1)
	if want := "waste, share of what is bought: got 1, allowed 0 to 0.95"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %q", err, want)
	}
}

func second[T any](_ T, err error) error { return err }
