package wire

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"sync"
	"sync/atomic"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Encode writes m as ProtoJSON, compact and always with the same bytes: names in
// lowerCamel, enums by name, fields that are not set left out. Its only errors are
// a string that is not UTF-8, and a field mask with a path that is none or cannot be
// told from another in lowerCamel. For many messages keep an Encoder.
func Encode(m proto.Message) ([]byte, error) { return new(Encoder).Encode(m) }

// Encoder is Encode for a program that writes many messages: it works out once
// how each type of message is written. The zero value is ready, and safe for
// concurrent use.
type Encoder struct {
	plans sync.Map  // protoreflect.MessageDescriptor to *plan
	free  sync.Pool // of *encoding, for their room
}

// Encode writes m as the function of the same name does.
func (e *Encoder) Encode(m proto.Message) ([]byte, error) {
	w, ok := e.free.Get().(*encoding)
	if !ok {
		w = newEncoding(&e.plans)
	}
	w.out, w.err = w.out[:0], nil
	w.message(nil, m.ProtoReflect())
	doc, err := bytes.Clone(w.out), w.err
	if cap(w.out) <= mostKept {
		clear(w.values[:cap(w.values)]) // so as not to keep the message
		e.free.Put(w)
	}
	if err != nil {
		return nil, err
	}
	return doc, nil
}

// mostKept bounds the room that is kept for the next document, in bytes.
const mostKept = 1 << 20

// plan is how the messages of one type are written.
type plan struct {
	foreign bool // has what the contract has not: left to protojson
	fields  []fieldPlan
}

type fieldPlan struct {
	field protoreflect.FieldDescriptor
	key   string // with its quotes and colon
	list  bool
	kind  protoreflect.Kind
	enum  map[protoreflect.EnumNumber]string // names in quotes
	inner atomic.Pointer[plan]               // of its messages, once one was written
}

func newPlan(d protoreflect.MessageDescriptor) *plan {
	p := &plan{foreign: d.ParentFile().Package() == "google.protobuf", fields: make([]fieldPlan, d.Fields().Len())}
	for i := range p.fields {
		f := d.Fields().Get(i)
		p.foreign = p.foreign || !planned(f)
		own := &p.fields[i]
		own.field, own.key, own.list, own.kind = f, strconv.Quote(f.JSONName())+":", f.IsList(), f.Kind()
		own.enum = enumNames(f.Enum())
	}
	return p
}

// planned reports whether a field is of the kinds that the contract has.
func planned(f protoreflect.FieldDescriptor) bool {
	switch f.Kind() {
	case protoreflect.StringKind, protoreflect.BoolKind, protoreflect.EnumKind, protoreflect.Int32Kind,
		protoreflect.DoubleKind, protoreflect.BytesKind, protoreflect.MessageKind:
		return !f.IsMap()
	default:
		return false
	}
}

func enumNames(d protoreflect.EnumDescriptor) map[protoreflect.EnumNumber]string {
	if d == nil {
		return nil
	}
	names := make(map[protoreflect.EnumNumber]string, d.Values().Len())
	for i := range d.Values().Len() {
		v := d.Values().Get(i)
		if _, aliased := names[v.Number()]; !aliased {
			names[v.Number()] = strconv.Quote(string(v.Name()))
		}
	}
	return names
}

// encoding is one document on its way out. After its first error it writes
// on, but the document is not given out.
type encoding struct {
	plans *sync.Map
	out   []byte
	err   error

	values []protoreflect.Value // set fields of the messages that are open, innermost last
	base   int                  // where the innermost message's begin
	take   func(protoreflect.FieldDescriptor, protoreflect.Value) bool
}

func newEncoding(plans *sync.Map) *encoding {
	w := &encoding{plans: plans}
	// Made once: a function made for each message would be most of the garbage.
	w.take = func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		w.values[w.base+f.Index()] = v
		return true
	}
	return w
}

func (w *encoding) plan(d protoreflect.MessageDescriptor) *plan {
	if p, ok := w.plans.Load(d); ok {
		return p.(*plan)
	}
	p, _ := w.plans.LoadOrStore(d, newPlan(d))
	return p.(*plan)
}

// planOf returns the plan for a message in field f; f is nil for the outermost.
func (w *encoding) planOf(f *fieldPlan, m protoreflect.Message) *plan {
	if f == nil {
		return w.plan(m.Descriptor())
	}
	p := f.inner.Load()
	if p == nil {
		p = w.plan(f.field.Message())
		f.inner.Store(p)
	}
	return p
}

func (w *encoding) fail(err error) {
	if w.err == nil {
		w.err = err
	}
}

func (w *encoding) message(of *fieldPlan, m protoreflect.Message) {
	p := w.planOf(of, m)
	if p.foreign {
		w.foreign(m)
		return
	}
	outer, own := w.base, len(w.values)
	w.values = append(w.values, make([]protoreflect.Value, len(p.fields))...)
	w.base = own
	m.Range(w.take) // one walk is quicker than asking field by field, but its order is nobody's promise
	w.fields(p, own)
	w.values, w.base = w.values[:own], outer
}

func (w *encoding) fields(p *plan, own int) {
	w.out = append(w.out, '{')
	between := false
	for i := range p.fields {
		v := w.values[own+i]
		if !v.IsValid() {
			continue
		}
		if between {
			w.out = append(w.out, ',')
		}
		between = true
		w.out = append(w.out, p.fields[i].key...)
		w.field(&p.fields[i], v)
	}
	w.out = append(w.out, '}')
}

// foreign leaves a message to protojson, whose spaces differ from build to build
// on purpose and are taken out.
func (w *encoding) foreign(m protoreflect.Message) {
	doc, err := protojson.Marshal(m.Interface())
	if err != nil {
		w.fail(err)
		return
	}
	var compact bytes.Buffer
	if err := json.Compact(&compact, doc); err != nil {
		w.fail(err)
		return
	}
	w.out = append(w.out, compact.Bytes()...)
}

func (w *encoding) field(f *fieldPlan, v protoreflect.Value) {
	if !f.list {
		w.value(f, v)
		return
	}
	w.out = append(w.out, '[')
	l := v.List()
	for i := range l.Len() {
		if i > 0 {
			w.out = append(w.out, ',')
		}
		w.value(f, l.Get(i))
	}
	w.out = append(w.out, ']')
}

func (w *encoding) value(f *fieldPlan, v protoreflect.Value) {
	switch f.kind {
	case protoreflect.MessageKind:
		w.message(f, v.Message())
	case protoreflect.StringKind:
		w.text(f, v.String())
	case protoreflect.BytesKind:
		w.out = append(base64.StdEncoding.AppendEncode(append(w.out, '"'), v.Bytes()), '"')
	case protoreflect.DoubleKind:
		w.double(v.Float())
	case protoreflect.Int32Kind:
		w.out = strconv.AppendInt(w.out, v.Int(), 10)
	case protoreflect.BoolKind:
		w.out = strconv.AppendBool(w.out, v.Bool())
	default: // an enum: planned lets no other kind in
		w.enum(f, v.Enum())
	}
}

// enum writes a value without a name as its number, as ProtoJSON does.
func (w *encoding) enum(f *fieldPlan, n protoreflect.EnumNumber) {
	if name, ok := f.enum[n]; ok {
		w.out = append(w.out, name...)
		return
	}
	w.out = strconv.AppendInt(w.out, int64(n), 10)
}

// double writes a number the way ECMAScript does, which JSON's readers expect:
// the shortest decimal that reads back as the same number. What is not finite
// is a string in ProtoJSON.
func (w *encoding) double(v float64) {
	switch size := math.Abs(v); {
	case math.IsNaN(v):
		w.out = append(w.out, `"NaN"`...)
	case math.IsInf(v, 1):
		w.out = append(w.out, `"Infinity"`...)
	case math.IsInf(v, -1):
		w.out = append(w.out, `"-Infinity"`...)
	case size != 0 && (size < 1e-6 || size >= 1e21):
		w.out = shortExponent(strconv.AppendFloat(w.out, v, 'e', -1, 64))
	default:
		w.out = strconv.AppendFloat(w.out, v, 'f', -1, 64)
	}
}

// shortExponent takes the zero out of an exponent such as e-09.
func shortExponent(out []byte) []byte {
	n := len(out)
	if out[n-2] == '0' && out[n-4] == 'e' {
		out[n-2] = out[n-1]
		return out[:n-1]
	}
	return out
}

// text writes a string in quotes. Only what JSON cannot hold as it is, is
// escaped: quote, backslash and control characters.
func (w *encoding) text(f *fieldPlan, s string) {
	if !utf8.ValidString(s) {
		w.fail(fmt.Errorf("%s is not valid UTF-8", f.field.FullName()))
		return
	}
	w.out = append(w.out, '"')
	from := 0
	for i := range len(s) {
		if c := s[i]; c < ' ' || c == '"' || c == '\\' {
			w.out = append(w.out, s[from:i]...)
			w.out = appendEscaped(w.out, c)
			from = i + 1
		}
	}
	w.out = append(append(w.out, s[from:]...), '"')
}

func appendEscaped(out []byte, c byte) []byte {
	const hex = "0123456789abcdef"
	switch c {
	case '"', '\\':
		return append(out, '\\', c)
	case '\b':
		return append(out, '\\', 'b')
	case '\f':
		return append(out, '\\', 'f')
	case '\n':
		return append(out, '\\', 'n')
	case '\r':
		return append(out, '\\', 'r')
	case '\t':
		return append(out, '\\', 't')
	default:
		return append(out, '\\', 'u', '0', '0', hex[c>>4], hex[c&0xf])
	}
}
