package wire

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// InOrder puts lists of faults together: one for each path, of which the earliest
// list's stands, in the order in which the contract has the fields. That there
// are more than are listed comes last.
func InOrder(d protoreflect.MessageDescriptor, lists ...fault.List) fault.List {
	type placed struct {
		fault.Fault
		place []int
	}
	var all []placed
	seen := map[string]bool{}
	for _, list := range lists {
		for _, f := range list {
			if !seen[f.Path] {
				seen[f.Path] = true
				all = append(all, placed{f, placeOf(d, f)})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b placed) int { return slices.Compare(a.place, b.place) })
	var out fault.List
	for _, f := range all {
		out = append(out, f.Fault)
	}
	return out
}

func placeOf(d protoreflect.MessageDescriptor, f fault.Fault) []int {
	if f == moreFaults() {
		return []int{math.MaxInt, math.MaxInt}
	}
	return place(d, f.Path)
}

// place says where in a document of d's type a path leads: the number of each
// field and item on the way. What the contract does not know comes last.
func place(d protoreflect.MessageDescriptor, path string) []int {
	var at []int
	for path != "" {
		var step string
		step, path, _ = strings.Cut(path, ".")
		name, index, _ := strings.Cut(strings.TrimSuffix(step, "]"), "[")
		var f protoreflect.FieldDescriptor
		if d != nil {
			f = d.Fields().ByJSONName(name)
		}
		if f == nil {
			return append(at, math.MaxInt)
		}
		at = append(at, f.Index())
		if i, err := strconv.Atoi(index); err == nil {
			at = append(at, i)
		}
		d = f.Message()
	}
	return at
}
