package desk_test

import (
	"math"
	"testing"

	"github.com/mouldwright/mouldwright/internal/desk/desktest"
	"github.com/mouldwright/mouldwright/internal/estimate"
)

// The steps to what one occurrence uses lead to what the engine took, for every
// basis that the demo method knows, single materials and mixes, one ply and many.
func TestStepsLeadToWhatIsUsed(t *testing.T) {
	book, _ := demoBook(t)
	seen := map[string]bool{}
	for seed := range uint64(200) {
		b, err := book.Brief(desktest.New(book, seed).Brief())
		if err != nil {
			t.Fatal(err)
		}
		work, err := estimate.Work(b, book.Edition)
		if err != nil {
			t.Fatal(err)
		}
		for i := range work.Labour {
			l := &work.Labour[i]
			for j := range l.Amounts {
				a := &l.Amounts[j]
				steps := l.Steps(a)
				if len(steps) == 0 {
					continue // the rate book says the amount itself
				}
				seen[l.Code] = true
				if got := steps.Result(); math.Abs(got-a.Net) > 1e-9*math.Max(1e-6, a.Net) {
					t.Fatalf("seed %d, %s, %s: steps give %v, the engine took %v (%s)", seed, l.Code, a.Material.Code, got, a.Net, steps.Words())
				}
			}
		}
	}
	if len(seen) < 40 {
		t.Errorf("only %d operations with steps were met", len(seen))
	}
}
