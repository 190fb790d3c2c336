package archtest_test

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"

	"github.com/mouldwright/mouldwright/api/mouldwright/v1"
	door "github.com/mouldwright/mouldwright/internal/wire" // wire is a floor of the house here
)

// Who may call what and who sees what is decided in the contract. These tests ask the contract alone, by its options, and
// not the code that keeps to them.

// methods lists every RPC of the contract.
func methods() []protoreflect.MethodDescriptor {
	var all []protoreflect.MethodDescriptor
	contract(func(file protoreflect.FileDescriptor) {
		for i := range file.Services().Len() {
			of := file.Services().Get(i).Methods()
			for j := range of.Len() {
				all = append(all, of.Get(j))
			}
		}
	})
	return all
}

func access(m protoreflect.MethodDescriptor) *mouldwrightv1.Access {
	said, _ := proto.GetExtension(m.Options(), mouldwrightv1.E_Access).(*mouldwrightv1.Access)
	return said
}

// shown reports whether a field is for an audience. What says nothing, or Studio, is not for partners and the public.
func shown(f protoreflect.FieldDescriptor, to mouldwrightv1.Audience) bool {
	said, _ := proto.GetExtension(f.Options(), mouldwrightv1.E_Audience).(mouldwrightv1.Audience)
	return said != mouldwrightv1.Audience_AUDIENCE_UNSPECIFIED && said <= to
}

func TestEveryMethodSaysItsAccess(t *testing.T) {
	if len(methods()) < 30 {
		t.Fatalf("found %d methods: this looks at nothing", len(methods()))
	}
	for _, m := range methods() {
		said := access(m)
		caller, scope := said.GetCaller(), said.GetScope()
		if caller == 0 || mouldwrightv1.Audience_name[int32(caller)] == "" || scope == 0 || mouldwrightv1.Scope_name[int32(scope)] == "" {
			t.Errorf("%s says %q: it names its least caller and its scope", m.FullName(), said)
			continue
		}
		if c, s := door.AccessOf(m); c != caller || s != scope {
			t.Errorf("%s: the service takes it as %s, %s", m.FullName(), c, s)
		}
		if caller < mouldwrightv1.Audience_AUDIENCE_STUDIO && scope == mouldwrightv1.Scope_SCOPE_ADMIN {
			t.Errorf("%s: only the studio's keys hold admin", m.FullName())
		}
	}
}

// answered visits every message that may be in an answer of a method and that an audience gets to: each that a field for it holds.
func answered(m protoreflect.MethodDescriptor, to mouldwrightv1.Audience, visit func(protoreflect.MessageDescriptor)) {
	seen := map[protoreflect.FullName]bool{}
	var walk func(protoreflect.MessageDescriptor)
	walk = func(d protoreflect.MessageDescriptor) {
		if d == nil || seen[d.FullName()] {
			return
		}
		seen[d.FullName()] = true
		visit(d)
		for i := range d.Fields().Len() {
			if f := d.Fields().Get(i); to == mouldwrightv1.Audience_AUDIENCE_STUDIO || shown(f, to) {
				walk(f.Message())
			}
		}
	}
	walk(m.Output())
}

func ofContract(d protoreflect.MessageDescriptor) bool {
	return d.ParentFile().Package() == mouldwrightv1.File_mouldwright_v1_common_proto.Package()
}

// An answer of which its caller sees nothing was forgotten: a message for partners shows them something, down to the last.
func TestCallersSeeSomethingOfWhatTheyGet(t *testing.T) {
	looked := 0
	for _, m := range methods() {
		caller := access(m).GetCaller()
		if caller == mouldwrightv1.Audience_AUDIENCE_STUDIO {
			continue
		}
		answered(m, caller, func(d protoreflect.MessageDescriptor) {
			looked++
			all := fields([]protoreflect.MessageDescriptor{d})
			some := slices.ContainsFunc(all, func(f protoreflect.FieldDescriptor) bool { return shown(f, caller) })
			if ofContract(d) && len(all) > 0 && !some {
				t.Errorf("%s, in the answer of %s: no field of it is for %s", d.FullName(), m.FullName(), caller)
			}
		})
	}
	if looked < 100 {
		t.Errorf("only %d messages were looked at", looked)
	}
}

// What a mask cannot look into goes out on nobody's word: an answer is ours to the last message, or it is a body of bytes as a whole.
func TestAnswersHoldNothingForeign(t *testing.T) {
	for _, m := range methods() {
		if m.Output().FullName() == "google.api.HttpBody" {
			continue
		}
		answered(m, mouldwrightv1.Audience_AUDIENCE_STUDIO, func(d protoreflect.MessageDescriptor) {
			if !ofContract(d) && (d.ParentFile().Package() != "google.protobuf" || d.Name() == "Any") {
				t.Errorf("%s holds %s: nothing says who sees what of it", m.FullName(), d.FullName())
			}
			if d.ExtensionRanges().Len() > 0 {
				t.Errorf("%s may be extended by fields that no mask knows", d.FullName())
			}
		})
	}
}

// Messages that hold nothing but the studio's own.
func secretMessage(d protoreflect.MessageDescriptor) bool {
	secret := []protoreflect.Name{
		"Workings", "LabourLine", "SkillHours", "CostLine", "PriceParts", "PriceStep", "PurchaseLine", "PurchasePack", "RouteComparison", "CostAmount",
		"OpenQuoteChange", "Partner", "Key",
	}
	return slices.Contains(secret, d.Name()) || strings.HasPrefix(string(d.Name()), "RateBook") ||
		d.ParentFile() == mouldwrightv1.File_mouldwright_v1_rate_book_proto
}

func TestTheStudiosMessagesShowNothing(t *testing.T) {
	looked := 0
	for _, d := range messages() {
		if !secretMessage(d) {
			continue
		}
		looked++
		for _, f := range fields([]protoreflect.MessageDescriptor{d}) {
			if shown(f, mouldwrightv1.Audience_AUDIENCE_PARTNER) {
				t.Errorf("%s is the studio's: it is not for partners", f.FullName())
			}
		}
	}
	if looked < 40 {
		t.Errorf("only %d messages were looked at: some have other names now", looked)
	}
	for _, name := range []protoreflect.Name{"Workings", "CostLine", "PriceParts", "PriceStep", "RateBook", "MarginTerms", "Policies"} {
		if !slices.ContainsFunc(messages(), func(d protoreflect.MessageDescriptor) bool { return d.Name() == name && secretMessage(d) }) {
			t.Errorf("%s has another name now: name it here too", name)
		}
	}
}

// Whatever message it is in: a field of such a name says what something costs the studio, or what it earns.
func TestWhatThingsCostIsNotForPartners(t *testing.T) {
	secret := []string{
		"cost", "costs", "margin", "markup", "overhead", "contingency", "parts", "workings", "labour", "skill", "skills", "hours", "wage",
		"minimum", "purchase", "purchases", "supplier", "wastage", "profit", "buffer", "secret", "digest",
	}
	hidden := 0
	for _, f := range fields(messages()) {
		words := strings.Split(string(f.Name()), "_")
		if !slices.ContainsFunc(words, func(word string) bool { return slices.Contains(secret, word) }) {
			continue
		}
		hidden++
		if shown(f, mouldwrightv1.Audience_AUDIENCE_PARTNER) {
			t.Errorf("%s is for partners: a field of that name is the studio's, or has another name", f.FullName())
		}
	}
	if hidden < 20 {
		t.Errorf("only %d fields have such names", hidden)
	}
}

// The same from the other side: of all that a partner gets to, these are the amounts of money. One that is added is thought about here.
func TestTheMoneyThatPartnersSee(t *testing.T) {
	want := []string{
		"KeptQuote.net", "OptionPrice.difference", "OptionPrice.net", "PriceLine.amount", "PriceLine.unit_price", "Quote.gross", "Quote.net",
		"StagePayment.amount", "Subtotal.amount", "TaxLine.net", "TaxLine.tax",
	}
	got := map[string]bool{}
	for _, m := range methods() {
		caller := access(m).GetCaller()
		if caller == mouldwrightv1.Audience_AUDIENCE_STUDIO {
			continue
		}
		answered(m, mouldwrightv1.Audience_AUDIENCE_PARTNER, func(d protoreflect.MessageDescriptor) {
			for _, f := range fields([]protoreflect.MessageDescriptor{d}) {
				if f.Message() != nil && f.Message().Name() == "Money" && shown(f, mouldwrightv1.Audience_AUDIENCE_PARTNER) {
					got[string(d.Name())+"."+string(f.Name())] = true
				}
			}
		})
	}
	for name := range got {
		if !slices.Contains(want, name) {
			t.Errorf("%s is money that partners see: say here that they are to", name)
		}
	}
	for _, name := range want {
		if !got[name] {
			t.Errorf("partners no longer see %s", name)
		}
	}
}

// A field that is added without a word on who sees it stays with the studio.
func TestAFieldThatSaysNothingIsHidden(t *testing.T) {
	field := func(name string, number int32) *descriptorpb.FieldDescriptorProto {
		return &descriptorpb.FieldDescriptorProto{
			Name: proto.String(name), Number: proto.Int32(number),
			Type: descriptorpb.FieldDescriptorProto_TYPE_STRING.Enum(), Label: descriptorpb.FieldDescriptorProto_LABEL_OPTIONAL.Enum(),
		}
	}
	open := field("open", 2)
	open.Options = &descriptorpb.FieldOptions{}
	proto.SetExtension(open.Options, mouldwrightv1.E_Audience, mouldwrightv1.Audience_AUDIENCE_PUBLIC)
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("mouldwright/v1/later.proto"), Package: proto.String("mouldwright.v1"), Syntax: proto.String("proto3"),
		Dependency: []string{"mouldwright/v1/audience.proto"},
		MessageType: []*descriptorpb.DescriptorProto{{
			Name: proto.String("Later"), Field: []*descriptorpb.FieldDescriptorProto{field("unsaid", 1), open},
		}},
	}, protoregistry.GlobalFiles)
	if err != nil {
		t.Fatal(err)
	}
	later := file.Messages().Get(0)
	unsaid := later.Fields().ByName("unsaid")
	for to, want := range map[mouldwrightv1.Audience]bool{
		mouldwrightv1.Audience_AUDIENCE_PUBLIC: false, mouldwrightv1.Audience_AUDIENCE_PARTNER: false, mouldwrightv1.Audience_AUDIENCE_STUDIO: true,
	} {
		m := dynamicpb.NewMessage(later)
		m.Set(unsaid, protoreflect.ValueOfString("x"))
		m.Set(later.Fields().ByName("open"), protoreflect.ValueOfString("y"))
		if err := door.Mask(m, to); err != nil {
			t.Fatal(err)
		}
		if m.Has(unsaid) != want || !m.Has(later.Fields().ByName("open")) {
			t.Errorf("%s sees %v", to, m)
		}
	}
}
