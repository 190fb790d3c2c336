// Package wire turns wire messages into domain values and back. It is the only
// place that knows both. A half-filled message never becomes a domain value:
// whatever cannot be translated is a fault with the path of its field as the
// caller wrote it.
package wire

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// mostFaults bounds what one answer lists.
const mostFaults = 100

// moreFaults ends a list that was cut off at the bound.
func moreFaults() fault.Fault { return fault.Fault{Message: "more faults than are listed here"} }

// Unreadable reports whether a document is broken as a whole: a fault that
// Decode found has no path. It is the only one then, and what the document holds
// or misses cannot be judged.
func Unreadable(faults fault.List) bool {
	return slices.ContainsFunc(faults, func(f fault.Fault) bool { return f.Path == "" && f != moreFaults() })
}

// Decode reads a JSON document into m and returns everything in it that m has no
// place for: unknown fields, misspelt enum values, values of the wrong type,
// numbers that are not finite. What is sound is set, so that further checks can
// find their faults too. It takes what ProtoJSON takes, but nothing silently:
// enums are names only, a field may stand once, and a field mask has at most 100
// paths. A byte order mark before the document is passed over, as RFC 8259,
// section 8.1, allows. Of a document that is Unreadable it returns that fault
// alone. All lists of a document have at most 20,000 items together.
func Decode(doc []byte, m proto.Message) fault.List { return decode(doc, m, mostItems) }

// DecodeKept reads a document that this service wrote and keeps, as Decode does but with as
// many items in lists as it has: what was made of a sound request may have more than a
// request. Its error is no fault.List, since nothing that is wrong with it is the fault of
// whoever asks for it.
func DecodeKept(doc []byte, m proto.Message) error {
	if faults := decode(doc, m, len(doc)); len(faults) > 0 { // an item takes a byte at least
		return errors.New(faults.Error())
	}
	return nil
}

func decode(doc []byte, m proto.Message, most int) fault.List {
	doc = bytes.TrimPrefix(doc, []byte("\ufeff"))
	if broken := syntax(doc); broken != "" {
		return fault.List{{Message: broken}}
	}
	d := decoder{tokens: json.NewDecoder(bytes.NewReader(doc)), most: most}
	d.tokens.UseNumber()
	var root fault.Path
	if t := d.next(); t != json.Delim('{') {
		d.mistyped(root, t, "an object")
	} else {
		d.object(root, m.ProtoReflect())
	}
	switch {
	case d.stopped != "":
		return fault.List{{Message: d.stopped}}
	case d.full():
		d.faults = append(d.faults[:mostFaults], moreFaults())
	}
	return d.faults
}

// syntax says why a document is no JSON at all, and where; empty where it is.
func syntax(doc []byte) string {
	if !utf8.Valid(doc) {
		return "not valid UTF-8 at " + position(doc, invalidRune(doc))
	}
	if !json.Valid(doc) {
		return brokenAt(doc)
	}
	if at := halfPair(doc); at >= 0 {
		return "not valid JSON at " + position(doc, at) + ": half of a surrogate pair stands alone"
	}
	return ""
}

func invalidRune(doc []byte) int {
	at := 0
	for at < len(doc) {
		r, size := utf8.DecodeRune(doc[at:])
		if r == utf8.RuneError && size == 1 {
			break
		}
		at += size
	}
	return at
}

func brokenAt(doc []byte) string {
	var whole json.RawMessage
	err := json.Unmarshal(doc, &whole)
	var broken *json.SyntaxError
	if !errors.As(err, &broken) || strings.HasPrefix(err.Error(), "unexpected end") {
		return "not valid JSON: the document ends too early, at " + position(doc, len(doc))
	}
	return fmt.Sprintf("not valid JSON at %s: %v", position(doc, int(broken.Offset)-1), err)
}

// position is a place of the document as editors count: lines and the characters
// of a line, both from 1.
func position(doc []byte, at int) string {
	before := doc[:at]
	line := bytes.Count(before, []byte("\n"))
	column := utf8.RuneCount(before[bytes.LastIndexByte(before, '\n')+1:])
	return fmt.Sprintf("line %d, column %d", line+1, column+1)
}

// halfPair returns where an escaped half of a surrogate pair stands without its
// other half; -1 for nowhere. The JSON decoder would put another character there.
func halfPair(doc []byte) int {
	for i := 0; i < len(doc); i++ {
		if doc[i] != '\\' {
			continue
		}
		first := escaped(doc, i)
		if !utf16.IsSurrogate(first) {
			i++ // over what is escaped, which may be a backslash
			continue
		}
		if utf16.DecodeRune(first, escaped(doc, i+6)) == utf8.RuneError {
			return i
		}
		i += 11
	}
	return -1
}

// escaped reads \uXXXX at a place of the document; -1 where none stands.
func escaped(doc []byte, at int) rune {
	if at+6 > len(doc) || doc[at] != '\\' || doc[at+1] != 'u' {
		return -1
	}
	v, err := strconv.ParseUint(string(doc[at+2:at+6]), 16, 16)
	if err != nil {
		return -1
	}
	return rune(v)
}

type decoder struct {
	tokens  *json.Decoder
	faults  fault.List
	items   int    // of lists, read so far
	most    int    // items that are read
	stopped string // why the rest of the document is not read; empty while it is
}

// next returns the next token; nil once reading has stopped.
func (d *decoder) next() json.Token {
	if d.stopped != "" {
		return nil
	}
	t, err := d.tokens.Token()
	switch {
	case err != nil: // none that is known: the document was found to be JSON
		d.stopped = "not valid JSON: " + err.Error()
		return nil
	case t == nil:
		return jsonNull{}
	default:
		return t
	}
}

// jsonNull stands for a JSON null, so that nil can mean that there is no token.
type jsonNull struct{}

// mistyped reports a value of the wrong type and passes over it.
func (d *decoder) mistyped(p fault.Path, got json.Token, allowed string) {
	if got == nil {
		return // stopped: reported already
	}
	if !d.full() {
		d.faults.Add(p, "got %s, allowed: %s", describe(got), allowed)
	}
	d.rest(got)
}

// full reports whether there are more faults than are listed, so that finding
// words for another would be work for nothing.
func (d *decoder) full() bool { return len(d.faults) > mostFaults }

// rest passes over what is left of a value whose first token was read.
func (d *decoder) rest(first json.Token) {
	depth := 0
	for t := first; t != nil; t = d.next() {
		switch t {
		case json.Delim('{'), json.Delim('['):
			depth++
		case json.Delim('}'), json.Delim(']'):
			depth--
		}
		if depth == 0 {
			return
		}
	}
}

func describe(t json.Token) string {
	switch v := t.(type) {
	case json.Delim:
		if v == '{' {
			return "an object"
		}
		return "a list"
	case json.Number:
		return "the number " + clip(v.String())
	case string:
		return strconv.Quote(clip(v))
	case bool:
		return strconv.FormatBool(v)
	default:
		return "null"
	}
}

// clip keeps what a fault repeats of the input short.
func clip(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	cut := most
	for !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "…"
}

func (d *decoder) object(p fault.Path, m protoreflect.Message) {
	seen := map[protoreflect.Name]bool{}
	for {
		t := d.next()
		key, ok := t.(string)
		if !ok {
			return // the closing brace, or stopped
		}
		d.member(p, m, key, seen)
	}
}

func (d *decoder) member(at fault.Path, m protoreflect.Message, key string, seen map[protoreflect.Name]bool) {
	p := at.Field(clip(key))
	fields := m.Descriptor().Fields()
	f := fields.ByJSONName(key)
	if f == nil {
		f = fields.ByTextName(key)
	}
	switch {
	case f == nil:
		if !d.full() {
			d.faults.Add(p, "no such field here; %s", fault.Allowed(key, fieldNames(fields)))
		}
		d.rest(d.next())
	case seen[f.Name()]:
		if !d.full() {
			d.faults.Add(p, "stands more than once; a field may stand once")
		}
		d.rest(d.next())
	default:
		seen[f.Name()] = true
		d.field(p, m, f)
	}
}

func fieldNames(fields protoreflect.FieldDescriptors) []string {
	names := make([]string, fields.Len())
	for i := range names {
		names[i] = fields.Get(i).JSONName()
	}
	sort.Strings(names)
	return names
}

func (d *decoder) field(p fault.Path, m protoreflect.Message, f protoreflect.FieldDescriptor) {
	t := d.next()
	switch {
	case t == jsonNull{}: // ProtoJSON: null is a field left out
	case d.taken(p, m, f):
		d.rest(t)
	case f.IsList():
		d.list(p, m.Mutable(f).List(), f, t)
	case isFieldMask(f.Message()):
		if paths, ok := d.paths(p, t); ok {
			setPaths(m.Mutable(f).Message(), paths)
		}
	case f.Message() != nil:
		if t != json.Delim('{') {
			d.mistyped(p, t, "an object")
			return
		}
		d.object(p, m.Mutable(f).Message())
	default:
		if v, ok := d.scalar(p, f, t); ok {
			m.Set(f, v)
		}
	}
}

// taken reports a second field of one choice.
func (d *decoder) taken(p fault.Path, m protoreflect.Message, f protoreflect.FieldDescriptor) bool {
	choice := f.ContainingOneof()
	if choice == nil || choice.IsSynthetic() {
		return false
	}
	if first := m.WhichOneof(choice); first != nil {
		d.faults.Add(p, "stands beside %s; allowed: one of the two", first.JSONName())
		return true
	}
	return false
}

func (d *decoder) list(at fault.Path, l protoreflect.List, f protoreflect.FieldDescriptor, t json.Token) {
	if t != json.Delim('[') {
		d.mistyped(at, t, "a list")
		return
	}
	for i := 0; ; i++ {
		t := d.next()
		if t == json.Delim(']') || t == nil {
			return
		}
		if d.items++; d.items > d.most {
			d.stopped = fmt.Sprintf("more than %d items in lists; allowed: %d in one document", d.most, d.most)
			return
		}
		d.item(at.At(i), l, f, t)
	}
}

// mostItems bounds the items of all lists of a caller's document together, so that a long
// one costs little before its lists are found to be too long: checking rules
// costs far more than reading. The largest brief that fits a request has fewer.
const mostItems = 20_000

// item reads one item of a list. An item that cannot be read keeps its place, so
// that the numbers in later paths stay right.
func (d *decoder) item(p fault.Path, l protoreflect.List, f protoreflect.FieldDescriptor, t json.Token) {
	if f.Message() == nil {
		v, ok := d.scalar(p, f, t)
		if !ok {
			v = l.NewElement()
		}
		l.Append(v)
		return
	}
	switch m := l.AppendMutable().Message(); {
	case isFieldMask(f.Message()):
		paths, _ := d.paths(p, t)
		setPaths(m, paths)
	case t != json.Delim('{'):
		d.mistyped(p, t, "an object")
	default:
		d.object(p, m)
	}
}

func (d *decoder) scalar(p fault.Path, f protoreflect.FieldDescriptor, t json.Token) (protoreflect.Value, bool) {
	switch f.Kind() {
	case protoreflect.StringKind:
		if s, ok := t.(string); ok {
			return protoreflect.ValueOfString(s), true
		}
		d.mistyped(p, t, textAllowed(f, t))
	case protoreflect.BytesKind:
		return d.bytes(p, t)
	case protoreflect.BoolKind:
		if b, ok := t.(bool); ok {
			return protoreflect.ValueOfBool(b), true
		}
		d.mistyped(p, t, "true or false")
	case protoreflect.EnumKind:
		return d.enum(p, f.Enum(), t)
	case protoreflect.Int32Kind:
		return d.integer(p, t)
	default: // the contract has no other number than double; a test holds it to that
		return d.double(p, t)
	}
	return protoreflect.Value{}, false
}

// Parameter reads the value of a field as it stands in a query: a text, a number or the
// name of a choice. A fault has the path ?name.
func Parameter(f protoreflect.FieldDescriptor, text string) (protoreflect.Value, fault.List) {
	var d decoder
	var root fault.Path
	var token json.Token = text
	if yes, err := strconv.ParseBool(text); err == nil && f.Kind() == protoreflect.BoolKind {
		token = yes
	}
	v, _ := d.scalar(root.Field("?"+f.JSONName()), f, token)
	return v, d.faults
}

// textAllowed says what is allowed in place of a token that is no string.
func textAllowed(f protoreflect.FieldDescriptor, t json.Token) string {
	if _, ok := t.(json.Number); ok && decimalPattern(rulesOf(f).GetString().GetPattern()) != nil {
		return aDecimal
	}
	return "a string"
}

func (d *decoder) enum(p fault.Path, e protoreflect.EnumDescriptor, t json.Token) (protoreflect.Value, bool) {
	name, ok := t.(string)
	if v := e.Values().ByName(protoreflect.Name(name)); ok && v != nil {
		return protoreflect.ValueOfEnum(v.Number()), true
	}
	if t != nil {
		if !d.full() {
			d.faults.Add(p, "got %s; %s", describe(t), fault.Allowed(name, enumChoices(e)))
		}
		d.rest(t)
	}
	return protoreflect.Value{}, false
}

// enumChoices lists the values of an enum that say something.
func enumChoices(e protoreflect.EnumDescriptor) []string {
	names := make([]string, 0, e.Values().Len())
	for i := range e.Values().Len() {
		if v := e.Values().Get(i); v.Number() != 0 {
			names = append(names, string(v.Name()))
		}
	}
	return names
}

// number returns a number as it is written; like ProtoJSON it takes one in quotes.
func number(t json.Token) (text string, ok bool) {
	switch v := t.(type) {
	case json.Number:
		return v.String(), true
	case string:
		begins := v != "" && (v[0] == '-' || v[0] >= '0' && v[0] <= '9')
		return v, begins && json.Valid([]byte(v))
	default:
		return "", false
	}
}

func (d *decoder) double(p fault.Path, t json.Token) (protoreflect.Value, bool) {
	text, ok := number(t)
	v, err := strconv.ParseFloat(text, 64)
	if !ok || err != nil {
		d.mistyped(p, t, "a finite number")
		return protoreflect.Value{}, false
	}
	return protoreflect.ValueOfFloat64(v), true
}

func (d *decoder) integer(p fault.Path, t json.Token) (protoreflect.Value, bool) {
	text, ok := number(t)
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case !ok || err != nil || !whole(text):
		d.mistyped(p, t, "a whole number")
		return protoreflect.Value{}, false
	case v < math.MinInt32 || v > math.MaxInt32:
		d.mistyped(p, t, fmt.Sprintf("a whole number from %d to %d", math.MinInt32, math.MaxInt32))
		return protoreflect.Value{}, false
	}
	return protoreflect.ValueOfInt32(int32(v)), true
}

// whole reports whether a number as it is written has no fraction: 12, 12.0 and
// 1.2e1 have none. The nearest float64 would not tell: that of 1e-400 is 0.
func whole(text string) bool {
	mantissa, power, scientific := strings.Cut(strings.ToLower(text), "e")
	shift := 0
	if scientific {
		var err error
		if shift, err = strconv.Atoi(power); err != nil || shift > 10 {
			return false // too big for any count; ProtoJSON gives up there too
		}
	}
	before, after, _ := strings.Cut(mantissa, ".")
	after = strings.TrimRight(after, "0")
	if after != "" {
		return shift >= len(after)
	}
	zeros := len(before) - len(strings.TrimRight(before, "0"))
	return shift >= -zeros
}

// bytes reads base64, with the standard alphabet or the one for URLs, padded or not,
// as ProtoJSON allows.
func (d *decoder) bytes(p fault.Path, t json.Token) (protoreflect.Value, bool) {
	text, ok := t.(string)
	if !ok {
		d.mistyped(p, t, "base64 text")
		return protoreflect.Value{}, false
	}
	alphabet := base64.StdEncoding
	if strings.ContainsAny(text, "-_") {
		alphabet = base64.URLEncoding
	}
	if len(text)%4 != 0 {
		alphabet = alphabet.WithPadding(base64.NoPadding)
	}
	raw, err := alphabet.DecodeString(text)
	if err != nil {
		d.faults.Add(p, "got text that is not base64: %v; allowed: base64", err)
		return protoreflect.Value{}, false
	}
	return protoreflect.ValueOfBytes(raw), true
}
