package wire

import (
	"errors"
	"fmt"
	"sync"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// ErrForeign says that a message is not of this contract, so that nothing tells who may see
// what of it. Who sends it on has to know what it lets through.
var ErrForeign = errors.New("it is not a message of this contract")

// Mask takes out of m what the audience may not see, as a Masker does. For many messages
// keep a Masker.
func Mask(m proto.Message, to mouldwrightv1.Audience) error { return NewMasker().Mask(m, to) }

// Masker takes out of answers what those who get them may not see. It works out once for each
// type of message what is to go. It is safe for concurrent use, and not copied.
type Masker struct {
	// plans are, for each audience below the studio, protoreflect.MessageDescriptor to *maskPlan.
	plans [mouldwrightv1.Audience_AUDIENCE_STUDIO]sync.Map
}

// NewMasker returns a Masker that has not seen any type of message yet.
func NewMasker() *Masker { return new(Masker) }

// Mask clears, all the way down, every field of m that is for an audience above the one
// given, and whatever m holds that this program's contract has no field for. A field that
// does not say whom it is for is the studio's. The studio gets m as it is; an audience that is
// none of the contract's gets nothing.
//
// Google's value types, such as google.protobuf.FieldMask, are seen with the field that holds
// them. Any other message that is not of this contract is cleared wherever it stands, since
// it cannot be told what is in it, and is ErrForeign where it is m itself, for every audience;
// m is left as it is then, and must not be sent on unless it is known to be fit to be seen.
//
// Mask changes its argument: m must share no message with anything that is kept.
func (k *Masker) Mask(m proto.Message, to mouldwrightv1.Audience) error {
	top := m.ProtoReflect()
	switch {
	case !ours(top.Descriptor()):
		return fmt.Errorf("%s: %w", top.Descriptor().FullName(), ErrForeign)
	case to == mouldwrightv1.Audience_AUDIENCE_STUDIO:
		return nil
	case !isAudience(to):
		to = mouldwrightv1.Audience_AUDIENCE_UNSPECIFIED // which is below what any field asks
	}
	k.plan(top.Descriptor(), to).mask(top)
	return nil
}

func (k *Masker) plan(d protoreflect.MessageDescriptor, to mouldwrightv1.Audience) *maskPlan {
	if p, ok := k.plans[to].Load(d); ok {
		return p.(*maskPlan)
	}
	p, _ := k.plans[to].LoadOrStore(d, planMask(d, to, map[protoreflect.MessageDescriptor]*maskPlan{}))
	return p.(*maskPlan)
}

// maskPlan is what goes from the messages of one type for one audience.
type maskPlan struct {
	hidden []protoreflect.FieldDescriptor // to be cleared
	inner  []maskedField                  // that are seen and hold messages
}

// maskedField is a field with the plan for the messages in it.
type maskedField struct {
	field       protoreflect.FieldDescriptor
	list, byKey bool // what it is, asked once; neither is a message alone
	plan        *maskPlan
}

// planMask makes the plan for a type and all types that it may hold, those made already
// aside: a type may hold itself.
func planMask(d protoreflect.MessageDescriptor, to mouldwrightv1.Audience, made map[protoreflect.MessageDescriptor]*maskPlan) *maskPlan {
	if p, ok := made[d]; ok {
		return p
	}
	p := &maskPlan{}
	made[d] = p
	for i := range d.Fields().Len() {
		f := d.Fields().Get(i)
		switch held := heldBy(f); {
		case !sees(to, f):
			p.hidden = append(p.hidden, f)
		case held != nil:
			p.inner = append(p.inner, maskedField{field: f, list: f.IsList(), byKey: f.IsMap(), plan: planMask(held, to, made)})
		}
	}
	return p
}

// sees reports whether an audience sees a field, as far as its own message says.
func sees(to mouldwrightv1.Audience, f protoreflect.FieldDescriptor) bool {
	if held := heldBy(f); held != nil && !ours(held) && !isValueType(held) {
		return false
	}
	if !ours(f.ContainingMessage()) { // a part of a value
		return isAudience(to)
	}
	return audienceOf(f) <= to
}

// heldBy returns the type of the messages in a field, of a map those it leads to; nil for none.
func heldBy(f protoreflect.FieldDescriptor) protoreflect.MessageDescriptor {
	if f.IsMap() {
		return f.MapValue().Message()
	}
	return f.Message()
}

// ours reports whether a message is of this contract.
func ours(d protoreflect.MessageDescriptor) bool {
	return d.ParentFile().Package() == mouldwrightv1.File_mouldwright_v1_common_proto.Package()
}

// isValueType reports whether a message is one of Google's that is a value like a number or
// a text. Any is not: it may hold a message of any contract.
func isValueType(d protoreflect.MessageDescriptor) bool {
	return d.ParentFile().Package() == "google.protobuf" && d.Name() != "Any"
}

func (p *maskPlan) mask(m protoreflect.Message) {
	if !m.IsValid() {
		return // there is no message, which cannot be written to
	}
	for _, f := range p.hidden {
		m.Clear(f)
	}
	if len(m.GetUnknown()) > 0 {
		m.SetUnknown(nil)
	}
	for i := range p.inner {
		p.inner[i].mask(m)
	}
}

// mask masks what the field holds in m; of a field that is not set that is nothing.
func (f *maskedField) mask(m protoreflect.Message) {
	switch v := m.Get(f.field); {
	case f.list:
		l := v.List()
		for i := range l.Len() {
			f.plan.mask(l.Get(i).Message())
		}
	case f.byKey:
		v.Map().Range(func(_ protoreflect.MapKey, held protoreflect.Value) bool {
			f.plan.mask(held.Message())
			return true
		})
	default:
		f.plan.mask(v.Message())
	}
}
