package archtest_test

import (
	"errors"
	"regexp/syntax"
	"slices"
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	"github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// The comments on everything in the contract are buf's to ask for (COMMENTS in buf.yaml). Here stands what it has no rule for.

// messages lists every message of the contract, nested ones too.
func messages() []protoreflect.MessageDescriptor {
	var all []protoreflect.MessageDescriptor
	var add func(protoreflect.MessageDescriptors)
	add = func(ms protoreflect.MessageDescriptors) {
		for i := range ms.Len() {
			all = append(all, ms.Get(i))
			add(ms.Get(i).Messages())
		}
	}
	contract(func(file protoreflect.FileDescriptor) { add(file.Messages()) })
	return all
}

// contract walks the files of the contract.
func contract(visit func(protoreflect.FileDescriptor)) {
	protoregistry.GlobalFiles.RangeFilesByPackage(mouldwrightv1.File_mouldwright_v1_common_proto.Package(), func(file protoreflect.FileDescriptor) bool {
		visit(file)
		return true
	})
}

func fields(ms []protoreflect.MessageDescriptor) []protoreflect.FieldDescriptor {
	var all []protoreflect.FieldDescriptor
	for _, m := range ms {
		for i := range m.Fields().Len() {
			all = append(all, m.Fields().Get(i))
		}
	}
	return all
}

// asked lists the messages that a request may hold: what a caller sends is bounded, what we answer need not be.
func asked() []protoreflect.MessageDescriptor {
	seen := map[protoreflect.FullName]protoreflect.MessageDescriptor{}
	var add func(protoreflect.MessageDescriptor)
	add = func(m protoreflect.MessageDescriptor) {
		if m == nil || seen[m.FullName()] != nil || m.ParentFile().Package() != "mouldwright.v1" {
			return
		}
		seen[m.FullName()] = m
		for i := range m.Fields().Len() {
			add(m.Fields().Get(i).Message())
		}
	}
	contract(func(file protoreflect.FileDescriptor) {
		for i := range file.Services().Len() {
			for j := range file.Services().Get(i).Methods().Len() {
				add(file.Services().Get(i).Methods().Get(j).Input())
			}
		}
	})
	var all []protoreflect.MessageDescriptor
	for _, m := range seen {
		all = append(all, m)
	}
	slices.SortFunc(all, func(a, b protoreflect.MessageDescriptor) int {
		return strings.Compare(string(a.FullName()), string(b.FullName()))
	})
	return all
}

func TestTheContractIsFound(t *testing.T) {
	if len(messages()) < 50 || len(asked()) < 20 {
		t.Fatalf("found %d messages, %d of them asked: these tests look at nothing", len(messages()), len(asked()))
	}
}

// AIP-141: a measured quantity says its unit in its name.
func TestMeasuredFieldsSayTheirUnit(t *testing.T) {
	units := []string{
		"_mm", "_m2", "_m3", "_m", "_kg", "_um", "_c", "_deg", "_percent", "_hours", "_g_m2", "_kg_m3", "_km", "_factor", "_ratio",
	}
	bare := map[protoreflect.FullName]string{
		"mouldwright.v1.Term.value":              "the unit is the field beside it",
		"mouldwright.v1.Pack.size":               "in the material's own unit",
		"mouldwright.v1.MaterialUse.amount":      "in the material's own unit, or by its basis",
		"mouldwright.v1.HoursPerUnit.low":        "the message's name says hours",
		"mouldwright.v1.HoursPerUnit.likely":     "the message's name says hours",
		"mouldwright.v1.HoursPerUnit.high":       "the message's name says hours",
		"mouldwright.v1.Operation.learning_rate": "a plain number",
		"mouldwright.v1.Stripe.turns":            "a count that need not be whole",
		"mouldwright.v1.Outline.mm_per_unit":     "millimetres for each of the drawing's own units",
		"mouldwright.v1.Lettering.mm_per_unit":   "millimetres for each of the drawing's own units",
		"mouldwright.v1.MixPart.parts":           "parts by volume, of a mix that is in litres",
		"mouldwright.v1.MeshForm.scale":          "a plain number",

		"mouldwright.v1.MeshTakeoff.scale":           "a plain number",
		"mouldwright.v1.MeasureMeshRequest.scale":    "a plain number",
		"mouldwright.v1.GetMeshPictureRequest.scale": "a plain number",
	}
	for _, field := range fields(messages()) {
		said := slices.ContainsFunc(units, func(unit string) bool { return strings.HasSuffix("_"+string(field.Name()), unit) })
		if field.Kind() == protoreflect.DoubleKind && !said && bare[field.FullName()] == "" {
			t.Errorf("%s: a double says its unit in its name, or here why not", field.FullName())
		}
	}
}

// A 64-bit integer is a string in JSON, and a float is a double with less of it.
func TestNumbersAreInt32OrDouble(t *testing.T) {
	numbers := []protoreflect.Kind{protoreflect.Int32Kind, protoreflect.DoubleKind}
	others := []protoreflect.Kind{
		protoreflect.StringKind, protoreflect.BoolKind, protoreflect.BytesKind, protoreflect.EnumKind, protoreflect.MessageKind,
	}
	for _, field := range fields(messages()) {
		if !slices.Contains(numbers, field.Kind()) && !slices.Contains(others, field.Kind()) {
			t.Errorf("%s is of type %s", field.FullName(), field.Kind())
		}
	}
}

// AIP-126: zero is never a choice.
func TestEnumsStartUnspecified(t *testing.T) {
	check := func(enums protoreflect.EnumDescriptors) {
		for i := range enums.Len() {
			first := enums.Get(i).Values().ByNumber(0)
			if first == nil || first.Index() != 0 || !strings.HasSuffix(string(first.Name()), "_UNSPECIFIED") {
				t.Errorf("%s does not start with _UNSPECIFIED = 0", enums.Get(i).FullName())
			}
		}
	}
	contract(func(file protoreflect.FileDescriptor) { check(file.Enums()) })
	for _, m := range messages() {
		check(m.Enums())
	}
}

// AIP-131 to AIP-136: each method has its own request and response, and a way in over HTTP; a stream of a caller's has none.
func TestEveryMethodHasItsOwnMessagesAndPath(t *testing.T) {
	contract(func(file protoreflect.FileDescriptor) {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				if !methods.Get(j).IsStreamingClient() && !proto.HasExtension(methods.Get(j).Options(), annotations.E_Http) {
					t.Errorf("%s has no google.api.http", methods.Get(j).FullName())
				}
			}
		}
	})
}

func TestWhatIsAskedIsBounded(t *testing.T) {
	for _, field := range fields(asked()) {
		rules, _ := proto.GetExtension(field.Options(), validate.E_Field).(*validate.FieldRules)
		if field.IsMap() {
			if rules.GetMap().GetMaxPairs() == 0 {
				t.Errorf("%s: a map has max_pairs", field.FullName())
			}
			continue
		}
		if field.IsList() {
			if rules.GetRepeated().GetMaxItems() == 0 {
				t.Errorf("%s: a repeated field has max_items", field.FullName())
			}
			rules = rules.GetRepeated().GetItems()
		}
		if missing := unbounded(field.Kind(), rules); missing != "" {
			t.Errorf("%s: %s", field.FullName(), missing)
		}
	}
}

// unbounded says what keeps a value of the kind from being bounded by its rules; empty where it is.
func unbounded(kind protoreflect.Kind, rules *validate.FieldRules) string {
	switch kind {
	case protoreflect.DoubleKind:
		if d := rules.GetDouble(); !d.GetFinite() || !d.HasGreaterThan() || !d.HasLessThan() {
			return "a double is finite and has a least and a greatest value"
		}
	case protoreflect.Int32Kind:
		if n := rules.GetInt32(); !n.HasGreaterThan() || !n.HasLessThan() {
			return "a whole number has a least and a greatest value"
		}
	case protoreflect.EnumKind:
		if !rules.GetEnum().GetDefinedOnly() {
			return "an enum is defined_only"
		}
	case protoreflect.StringKind:
		if s := rules.GetString(); s.GetMaxLen() == 0 && s.GetMaxBytes() == 0 && len(s.GetIn()) == 0 && !finitePattern(s.GetPattern()) {
			return "a string has max_len, a list, or a pattern that ends"
		}
	case protoreflect.BytesKind:
		if rules.GetBytes().GetMaxLen() == 0 {
			return "bytes have max_len"
		}
	}
	return ""
}

// finitePattern reports whether a pattern is about the whole text and repeats nothing without end.
func finitePattern(pattern string) bool {
	parsed, err := syntax.Parse(pattern, syntax.Perl)
	if err != nil || parsed.Op != syntax.OpConcat {
		return false
	}
	first, last := parsed.Sub[0], parsed.Sub[len(parsed.Sub)-1]
	return first.Op == syntax.OpBeginText && last.Op == syntax.OpEndText && ends(parsed)
}

func ends(part *syntax.Regexp) bool {
	if part.Op == syntax.OpStar || part.Op == syntax.OpPlus || part.Op == syntax.OpRepeat && part.Max < 0 {
		return false
	}
	return !slices.ContainsFunc(part.Sub, func(sub *syntax.Regexp) bool { return !ends(sub) })
}

// AIP-203: what must be there is marked so, and what is marked so must be there. An empty message shows which fields the rules miss.
func TestRequiredFieldsAreMarkedAndEnforced(t *testing.T) {
	validator, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range asked() {
		missed := violated(t, validator, m)
		for i := range m.Fields().Len() {
			field := m.Fields().Get(i)
			behaviours, _ := proto.GetExtension(field.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
			marked := slices.Contains(behaviours, annotations.FieldBehavior_REQUIRED)
			if marked != missed[field.Name()] && !unchecked(field) {
				t.Errorf("%s: marked REQUIRED %t, refused when left out %t", field.FullName(), marked, missed[field.Name()])
			}
		}
	}
}

// violated lists the fields that the rules miss in an empty message.
func violated(t *testing.T, validator protovalidate.Validator, m protoreflect.MessageDescriptor) map[protoreflect.Name]bool {
	t.Helper()
	missed := map[protoreflect.Name]bool{}
	err := validator.Validate(dynamicpb.NewMessage(m))
	if err == nil {
		return missed
	}
	invalid, ok := errors.AsType[*protovalidate.ValidationError](err)
	if !ok {
		t.Fatalf("%s: %v", m.FullName(), err)
	}
	for _, violation := range invalid.Violations {
		if elements := violation.Proto.GetField().GetElements(); len(elements) > 0 {
			missed[protoreflect.Name(elements[0].GetFieldName())] = true
		}
	}
	return missed
}

// unchecked reports whether the service looks at a field itself, to answer with its faults.
func unchecked(field protoreflect.FieldDescriptor) bool {
	rules, _ := proto.GetExtension(field.Options(), validate.E_Field).(*validate.FieldRules)
	return rules.GetIgnore() == validate.Ignore_IGNORE_ALWAYS
}

// A caller who asks what is wrong with a rate book is told, and not refused.
func TestAFaultyRateBookMayBeChecked(t *testing.T) {
	request := &mouldwrightv1.CheckRateBookRequest{RateBook: &mouldwrightv1.RateBook{Revision: "Not A Revision"}}
	if err := protovalidate.Validate(request); err != nil {
		t.Errorf("got %v, want no error", err)
	}
	if err := protovalidate.Validate(request.GetRateBook()); err == nil {
		t.Error("the rate book has rules of its own, and none was missed")
	}
}
