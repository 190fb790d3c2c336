package wire

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/fault"
)

// Validator checks messages against the rules that stand in the contract.
type Validator struct{ rules protovalidate.Validator }

// NewValidator compiles the rules of every request once.
func NewValidator() (*Validator, error) {
	rules, err := protovalidate.New(protovalidate.WithMessages(
		&mouldwrightv1.MeasureBriefRequest{}, &mouldwrightv1.EstimateLabourRequest{}, &mouldwrightv1.ApplyMarginRequest{},
		&mouldwrightv1.PreviewQuoteRequest{}, &mouldwrightv1.GetRateBookRequest{}, &mouldwrightv1.CheckRateBookRequest{}, &mouldwrightv1.RateBook{},
		&mouldwrightv1.UploadMeshRequest{}, &mouldwrightv1.CreateMeshRequest{}, &mouldwrightv1.GetMeshRequest{}, &mouldwrightv1.ListMeshesRequest{},
		&mouldwrightv1.DeleteMeshRequest{}, &mouldwrightv1.MeasureMeshRequest{}, &mouldwrightv1.CompareMeshesRequest{}, &mouldwrightv1.GetMeshPictureRequest{},
	))
	if err != nil {
		return nil, fmt.Errorf("compiling the contract's rules: %w", err)
	}
	return &Validator{rules: rules}, nil
}

// Check returns every rule that m breaks, by the path of its field in JSON, and
// of several that one field breaks the first.
func (v *Validator) Check(m proto.Message) fault.List {
	err := v.rules.Validate(m)
	if err == nil {
		return nil
	}
	var broken *protovalidate.ValidationError
	if !errors.As(err, &broken) {
		return fault.List{{Message: err.Error()}}
	}
	var faults fault.List
	seen := map[string]bool{}
	for _, b := range broken.Violations {
		f := violation(m.ProtoReflect().Descriptor(), b)
		if seen[f.Path] {
			continue
		}
		if len(faults) == mostFaults {
			return append(faults, moreFaults())
		}
		seen[f.Path] = true
		faults = append(faults, f)
	}
	return faults
}

// violation says which rule of the contract a message of type d breaks where.
func violation(d protoreflect.MessageDescriptor, b *protovalidate.Violation) fault.Fault {
	path := b.Proto.GetField()
	f, choice := lookUp(d, path)
	if choice == nil {
		return fault.Fault{Path: jsonPath(path.GetElements()), Message: broke(f, b)}
	}
	// A choice has no name in JSON: what misses it is the message around it.
	around := path.GetElements()[:len(path.GetElements())-1]
	return fault.Fault{Path: jsonPath(around), Message: "missing, allowed: one of " + choices(choice)}
}

// lookUp returns the field that a path leads to, or the choice of fields.
func lookUp(d protoreflect.MessageDescriptor, path *validate.FieldPath) (f protoreflect.FieldDescriptor, choice protoreflect.OneofDescriptor) {
	for _, e := range path.GetElements() {
		name := protoreflect.Name(e.GetFieldName())
		if f = d.Fields().ByName(name); f == nil {
			return nil, d.Oneofs().ByName(name)
		}
		d = f.Message()
	}
	return f, nil
}

func choices(of protoreflect.OneofDescriptor) string {
	names := make([]string, of.Fields().Len())
	for i := range names {
		names[i] = of.Fields().Get(i).JSONName()
	}
	return strings.Join(names, ", ")
}

// broke says what was got in a field and what the rule allows.
func broke(f protoreflect.FieldDescriptor, b *protovalidate.Violation) string {
	rule, id := b.Proto.GetMessage(), b.Proto.GetRuleId()
	switch {
	case id == "required":
		return "missing, it is required"
	case strings.HasPrefix(rule, "only one of "):
		return "got more than one, allowed: " + strings.TrimSuffix(rule, " can be set")
	case !b.FieldValue.IsValid():
		return "missing, allowed: " + strings.TrimSuffix(rule, " must be set")
	}
	return brokenValue(f, b)
}

// brokenValue is broke for a value that is there, or that protobuf cannot tell
// from one that is not.
func brokenValue(f protoreflect.FieldDescriptor, b *protovalidate.Violation) string {
	id, rule := b.Proto.GetRuleId(), allowed(f, b.Proto)
	got := shown(f, b.FieldValue)
	switch {
	case got == "":
		return b.Proto.GetMessage()
	case unsaid(f, b.FieldValue):
		return missing(f) + "; " + rule
	case strings.HasPrefix(id, "enum."):
		return "got " + got + "; " + rule
	}
	return "got " + got + ", " + rule
}

// unsaid reports whether a field that has to be said is left out, or as good as.
func unsaid(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
	behaviours, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	if f.HasPresence() || !slices.Contains(behaviours, annotations.FieldBehavior_REQUIRED) {
		return false
	}
	if l, ok := v.Interface().(protoreflect.List); ok {
		return l.Len() == 0
	}
	return !f.IsList() && v.Equal(f.Default())
}

// missing says what cannot be told apart in a field without presence.
func missing(f protoreflect.FieldDescriptor) string {
	switch {
	case f.IsList():
		return "missing, or empty"
	case f.Kind() == protoreflect.DoubleKind, f.Kind() == protoreflect.Int32Kind:
		return "missing, or 0"
	default:
		return "missing"
	}
}

// allowed turns a rule's sentence, "must be greater than 0", into what is
// allowed, "allowed: greater than 0".
func allowed(f protoreflect.FieldDescriptor, v *validate.Violation) string {
	rule := strings.TrimPrefix(v.GetMessage(), "value ")
	switch id := v.GetRuleId(); {
	case strings.HasPrefix(id, "enum."):
		return fault.Allowed("", enumChoices(f.Enum()))
	case strings.HasSuffix(id, ".finite"):
		return "allowed: a finite number"
	case id == "string.pattern":
		return "allowed: " + patternWords(patternOf(f))
	}
	for _, lead := range []string{"must be ", "must contain ", "must have ", "must "} {
		if rest, ok := strings.CutPrefix(rule, lead); ok {
			return "allowed: " + plural().Replace(rest)
		}
	}
	return "allowed: " + rule
}

// patternOf is the pattern of a text, or of the texts in a list.
func patternOf(f protoreflect.FieldDescriptor) string {
	if f.IsList() {
		return rulesOf(f).GetRepeated().GetItems().GetString().GetPattern()
	}
	return rulesOf(f).GetString().GetPattern()
}

// plural puts right what the rules' sentences leave open.
func plural() *strings.Replacer {
	return strings.NewReplacer(" 1 item(s)", " 1 item", "item(s)", "items", " 1 characters", " 1 character", " 1 bytes", " 1 byte",
		"in list [, ", "empty or one of [", "in list ", "one of ")
}

func shown(f protoreflect.FieldDescriptor, v protoreflect.Value) string {
	switch x := v.Interface().(type) {
	case string:
		return strconv.Quote(clip(x))
	case float64, int32, bool:
		return fmt.Sprint(x)
	case protoreflect.List:
		if x.Len() == 1 {
			return "1 item"
		}
		return fmt.Sprintf("%d items", x.Len())
	case protoreflect.EnumNumber:
		if known := f.Enum().Values().ByNumber(x); known != nil {
			return string(known.Name())
		}
		return fmt.Sprint(int32(x))
	default:
		return ""
	}
}

// jsonPath writes a field path as the caller of the JSON door writes it.
func jsonPath(elements []*validate.FieldPathElement) string {
	var b strings.Builder
	for _, e := range elements {
		if b.Len() > 0 {
			b.WriteByte('.')
		}
		b.WriteString(lowerCamel(e.GetFieldName()))
		if i, ok := e.GetSubscript().(*validate.FieldPathElement_Index); ok {
			fmt.Fprintf(&b, "[%d]", i.Index)
		}
	}
	return b.String()
}

// lowerCamel is ProtoJSON's own way from a field's name to its JSON name.
func lowerCamel(name string) string {
	var b strings.Builder
	up := false
	for i := range len(name) {
		c := name[i]
		switch {
		case c == '_':
			up = true
			continue
		case up && c >= 'a' && c <= 'z':
			c -= 'a' - 'A'
		}
		up = false
		b.WriteByte(c)
	}
	return b.String()
}
