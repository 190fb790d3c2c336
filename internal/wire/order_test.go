package wire_test

import (
	"slices"
	"testing"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// faults makes a list of faults at paths; each says the path and the list's name.
func faults(list string, paths ...string) fault.List {
	var out fault.List
	for _, p := range paths {
		out = append(out, fault.Fault{Path: p, Message: list + " " + p})
	}
	return out
}

func TestInOrder(t *testing.T) {
	more := fault.Fault{Message: "more faults than are listed here"}
	for _, r := range []struct {
		name  string
		lists []fault.List
		want  fault.List
	}{
		{"nothing", nil, nil},
		{"empty lists", []fault.List{nil, {}}, nil},
		{"fields as the contract has them, not by name", []fault.List{faults("a", "tax", "pieces", "title")}, faults("a", "title", "pieces", "tax")},
		{"items by number", []fault.List{faults("a", "pieces[10].code", "pieces[9].code", "pieces[0].code")}, faults("a", "pieces[0].code", "pieces[9].code", "pieces[10].code")},
		{"a list before its items", []fault.List{faults("a", "pieces[0]", "pieces[0].code", "pieces")}, faults("a", "pieces", "pieces[0]", "pieces[0].code")},
		{"the document first", []fault.List{faults("a", "title", "")}, faults("a", "", "title")},
		{"the unknown last, where it stands", []fault.List{faults("a", "colour", "pieces[0].sise", "pieces[1].code", "pieces[0].code")}, faults("a", "pieces[0].code", "pieces[0].sise", "pieces[1].code", "colour")},
		{"of two on one path the earlier list's", []fault.List{faults("a", "title"), faults("b", "title", "client")}, append(faults("a", "title"), faults("b", "client")...)},
		{"unknown ones as they come", []fault.List{faults("a", "y", "x.z", "x")}, faults("a", "y", "x.z", "x")},
		{"that there are more, at the end and once", []fault.List{{more}, append(faults("b", "zzz", "title"), more)}, append(faults("b", "title", "zzz"), more)},
	} {
		t.Run(r.name, func(t *testing.T) {
			d := (&mouldwrightv1.Brief{}).ProtoReflect().Descriptor()
			if got := wire.InOrder(d, r.lists...); !slices.Equal(got, r.want) {
				t.Errorf("got %v, want %v", got, r.want)
			}
		})
	}
}
