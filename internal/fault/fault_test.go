package fault_test

import (
	"fmt"
	"testing"

	"github.com/mouldwright/mouldwright/internal/fault"
)

func ExamplePath() {
	var root fault.Path
	piece := root.Item("pieces", 2)
	fmt.Println(piece.Field("finish"))
	fmt.Println(root.Field("rush"))
	// Output:
	// pieces[2].finish
	// rush
}

func ExampleList() {
	var root fault.Path
	var faults fault.List
	faults.Add(root.Field("rush"), "got %q, allowed: fast, faster", "now")
	fmt.Println(faults.Under("brief").Err())
	// Output: brief.rush: got "now", allowed: fast, faster
}

func TestAnEmptyListIsNoError(t *testing.T) {
	var faults fault.List
	if err := faults.Err(); err != nil {
		t.Errorf("got %v, want nil", err)
	}
}

func TestUnderKeepsIndexes(t *testing.T) {
	l := fault.List{{Path: "[3].code", Message: "m"}, {Path: "", Message: "m"}}.Under("skills")
	if l[0].Path != "skills[3].code" || l[1].Path != "skills" {
		t.Errorf("got %q and %q", l[0].Path, l[1].Path)
	}
}
