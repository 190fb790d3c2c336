package wire_test

import (
	"os"
	"path/filepath"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// richBrief uses all that a brief can say and that is reckoned: a pair, both
// routes, zones, fixings, delivery, rush, a partner's terms and options.
func richBrief(t testing.TB) *mouldwrightv1.Brief {
	t.Helper()
	var b mouldwrightv1.Brief
	doc, err := os.ReadFile(filepath.Join("..", "..", "testdata", "briefs", "gate-snails.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := wire.Decode(doc, &b).Err(); err != nil {
		t.Fatal(err)
	}
	b.Rush, b.Tax = "fast", "reduced"
	b.PartnerTerms = &mouldwrightv1.PartnerTerms{DiscountPercent: "5"}
	chosen := proto.CloneOf(b.Pieces[0])
	chosen.Code, chosen.Route, chosen.Quantity, chosen.Handing = "snail-of-choice", mouldwrightv1.Route_ROUTE_CHOOSE, 1, mouldwrightv1.Handing_HANDING_SINGLE
	b.Pieces = append(b.Pieces, chosen)
	return &b
}

func richQuote(t testing.TB) *mouldwrightv1.Quote {
	t.Helper()
	book, faults := desk.OpenBook(demo.Document(), rules(t))
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	small := &mouldwrightv1.Brief{Title: "One ball", Pieces: []*mouldwrightv1.Piece{{
		Code: "ball", Name: "Ball", Quantity: 1, Finish: "bare-gelcoat",
		Form: &mouldwrightv1.Form{Solids: []*mouldwrightv1.Solid{{Shape: &mouldwrightv1.Solid_Sphere{Sphere: &mouldwrightv1.Sphere{DiameterMm: 120}}}}},
	}}}
	all := &mouldwrightv1.Quote{}
	for _, b := range []*mouldwrightv1.Brief{richBrief(t), small} {
		q, err := book.Price(b)
		if err != nil {
			t.Fatal(err)
		}
		proto.Merge(all, wire.Quote(q, true))
	}
	return all
}

// No field of a quote is forgotten on the way out: between them, two briefs set
// them all. A field that is added to the contract and left unset shows here.
func TestNoFieldOfAQuoteIsForgotten(t *testing.T) {
	q := richQuote(t)
	set := map[protoreflect.FullName]bool{}
	gather(q.ProtoReflect(), set)
	var unset []protoreflect.FullName
	every(q.ProtoReflect().Descriptor(), map[protoreflect.FullName]bool{}, func(f protoreflect.FieldDescriptor) {
		if !set[f.FullName()] {
			unset = append(unset, f.FullName())
		}
	})
	if len(unset) > 0 { // none has a reason to be
		t.Errorf("never set: %v", unset)
	}
}

func gather(m protoreflect.Message, set map[protoreflect.FullName]bool) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		set[f.FullName()] = true
		switch {
		case f.Message() == nil:
		case f.IsList():
			for i := range v.List().Len() {
				gather(v.List().Get(i).Message(), set)
			}
		default:
			gather(v.Message(), set)
		}
		return true
	})
}

// every calls back with each field that a message of type d can hold.
func every(d protoreflect.MessageDescriptor, done map[protoreflect.FullName]bool, visit func(protoreflect.FieldDescriptor)) {
	if done[d.FullName()] {
		return
	}
	done[d.FullName()] = true
	for i := range d.Fields().Len() {
		f := d.Fields().Get(i)
		visit(f)
		if f.Message() != nil {
			every(f.Message(), done, visit)
		}
	}
}

// What goes out keeps the contract's own rules: amounts and units in their
// patterns, every enum with a name.
func TestQuotesKeepTheContract(t *testing.T) {
	q := richQuote(t)
	if faults := rules(t).Check(q); len(faults) > 0 {
		t.Error(faults)
	}
	doc, err := wire.Encode(q)
	if err != nil {
		t.Fatal(err)
	}
	var back mouldwrightv1.Quote
	if faults := wire.Decode(doc, &back); len(faults) > 0 {
		t.Error(faults)
	}
	if !proto.Equal(q, &back) {
		t.Error("a quote is not what it was after it went out and came in")
	}
}

func TestFingerprints(t *testing.T) {
	sum := func(b *mouldwrightv1.Brief, book string) string {
		text, err := wire.Fingerprint(b, book, 1)
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	b := richBrief(t)
	first := sum(b, "one")
	if len(first) != 64 || first != sum(proto.CloneOf(b), "one") {
		t.Errorf("the same brief and book: got %s", first)
	}
	if first == sum(b, "two") {
		t.Error("another book has the same fingerprint")
	}
	leaves(b.ProtoReflect(), "", func(l leaf) {
		if l.field.Kind() == protoreflect.StringKind {
			l.set(protoreflect.ValueOfString(l.value.String() + "0"))
		} else {
			l.set(other(l.field, l.value))
		}
		if sum(b, "one") == first {
			t.Errorf("%s: another value, the same fingerprint", l.path)
		}
		l.set(l.value)
	})
}
