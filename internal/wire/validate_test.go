package wire_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/wire"
)

func rules(t testing.TB) *wire.Validator {
	t.Helper()
	v, err := wire.NewValidator()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// soundBrief is as little as a brief may say.
func soundBrief() *mouldwrightv1.Brief {
	return &mouldwrightv1.Brief{Title: "Trail", Pieces: []*mouldwrightv1.Piece{{
		Code: "a", Name: "A", Quantity: 1,
		Form: &mouldwrightv1.Form{Solids: []*mouldwrightv1.Solid{{Shape: &mouldwrightv1.Solid_Sphere{Sphere: &mouldwrightv1.Sphere{DiameterMm: 500}}}}},
	}}}
}

func TestCheckSaysWhatWasGotAndWhatIsAllowed(t *testing.T) {
	const size = "greater than 0 and less than or equal to 20000"
	solid := func(b *mouldwrightv1.Brief) *mouldwrightv1.Solid { return b.Pieces[0].Form.Solids[0] }
	for _, r := range []struct {
		name  string
		spoil func(b *mouldwrightv1.Brief)
		want  fault.List
	}{
		{"nothing", func(*mouldwrightv1.Brief) {}, nil},
		{"empty string", func(b *mouldwrightv1.Brief) { b.Title = "" }, one("title", `missing; allowed: at least 1 character`)},
		{"long string", func(b *mouldwrightv1.Brief) { b.Title = strings.Repeat("é", 201) }, one("title", `got "`+strings.Repeat("é", 30)+`…", allowed: at most 200 characters`)},
		{"pattern", func(b *mouldwrightv1.Brief) { b.Pieces[0].Code = "Red Cap" }, one("pieces[0].code", `got "Red Cap", allowed: lower-case letters, digits and hyphens, beginning with a letter or digit, at most 40`)},
		{"name of two words", func(b *mouldwrightv1.Brief) { b.PreparedOn = "1.3.2027" }, one("preparedOn", `got "1.3.2027", allowed: a day as ISO 8601 writes it, such as 2027-03-01`)},
		{"pattern left out", func(b *mouldwrightv1.Brief) { b.Pieces[0].Code = "" }, one("pieces[0].code", "missing; allowed: lower-case letters, digits and hyphens, beginning with a letter or digit, at most 40")},
		{"decimal", func(b *mouldwrightv1.Brief) {
			b.PartnerTerms = &mouldwrightv1.PartnerTerms{DiscountPercent: "5 %"}
		}, one("partnerTerms.discountPercent", `got "5 %", allowed: a decimal number in quotation marks, such as "7.5", not negative, with at most 2 digits before the point and 4 after it`)},
		{"mesh", func(b *mouldwrightv1.Brief) {
			b.Pieces[0].Form = &mouldwrightv1.Form{Mesh: &mouldwrightv1.MeshForm{Mesh: "hare", Scale: 1}}
		}, one("pieces[0].form.mesh.mesh", `got "hare", allowed: meshes/ and a name, such as meshes/hare-1; a name is of lower-case letters, digits and hyphens, at most 80`)},
		{"empty list", func(b *mouldwrightv1.Brief) { b.Pieces = nil }, one("pieces", "missing, or empty; allowed: at least 1 item")},
		{"long list", func(b *mouldwrightv1.Brief) {
			for range 11 {
				b.Options = append(b.Options, &mouldwrightv1.Option{Code: "o", Name: "O"})
			}
		}, one("options", "got 11 items, allowed: no more than 10 items")},
		{"item of a list of strings", func(b *mouldwrightv1.Brief) {
			b.Options = []*mouldwrightv1.Option{{Code: "o", Name: "O", Without: []string{"a", ""}}}
		}, one("options[0].without[1]", `got "", allowed: at least 1 character`)},
		{"count too small", func(b *mouldwrightv1.Brief) { b.Pieces[0].Quantity = 0 }, one("pieces[0].quantity", "missing, or 0; allowed: greater than or equal to 1 and less than or equal to 10000")},
		{"count too big", func(b *mouldwrightv1.Brief) { b.Pieces[0].Quantity = 10001 }, one("pieces[0].quantity", "got 10001, allowed: greater than or equal to 1 and less than or equal to 10000")},
		{"optional count", func(b *mouldwrightv1.Brief) { solid(b).Count = proto.Int32(0) }, one("pieces[0].form.solids[0].count", "got 0, allowed: greater than or equal to 1 and less than or equal to 1000")},
		{"measure of nothing", func(b *mouldwrightv1.Brief) { solid(b).GetSphere().DiameterMm = 0 }, one("pieces[0].form.solids[0].sphere.diameterMm", "missing, or 0; allowed: "+size)},
		{"measure below nothing", func(b *mouldwrightv1.Brief) { solid(b).GetSphere().DiameterMm = -600.5 }, one("pieces[0].form.solids[0].sphere.diameterMm", "got -600.5, allowed: "+size)},
		{"no number, said once", func(b *mouldwrightv1.Brief) { solid(b).GetSphere().DiameterMm = math.NaN() }, one("pieces[0].form.solids[0].sphere.diameterMm", "got NaN, allowed: a finite number")},
		{"infinite, said once", func(b *mouldwrightv1.Brief) { b.Pieces[0].TextureFactor = proto.Float64(math.Inf(1)) }, one("pieces[0].textureFactor", "got +Inf, allowed: a finite number")},
		{"enum without a name", func(b *mouldwrightv1.Brief) { b.Pieces[0].Handing = 9 }, one("pieces[0].handing", "got 9; allowed: HANDING_SINGLE, HANDING_PAIR")},
		{"enum that says nothing", func(b *mouldwrightv1.Brief) {
			b.Pieces[0].Form = &mouldwrightv1.Form{Likeness: &mouldwrightv1.Likeness{LargestMm: 1}}
		}, one("pieces[0].form.likeness.kind", "missing; allowed: LIKENESS_KIND_BALL, LIKENESS_KIND_COLUMN, LIKENESS_KIND_DOME, LIKENESS_KIND_TUBE, LIKENESS_KIND_PANEL, LIKENESS_KIND_LETTERS, LIKENESS_KIND_HUMAN_FIGURE, LIKENESS_KIND_FOUR_LEGGED_ANIMAL, LIKENESS_KIND_BIRD, LIKENESS_KIND_FISH, LIKENESS_KIND_FREE_FORM")},
		{"missing message", func(b *mouldwrightv1.Brief) { b.Pieces[0].Form = nil }, one("pieces[0].form", "missing, it is required")},
		{"missing choice", func(b *mouldwrightv1.Brief) { solid(b).Shape = nil }, one("pieces[0].form.solids[0]", "missing, allowed: one of sphere, spheroid, ellipsoid, dome, cylinder, frustum, cone, box, prism, pyramid, ring, bentTube")},
		{"missing form", func(b *mouldwrightv1.Brief) { b.Pieces[0].Form = &mouldwrightv1.Form{} }, one("pieces[0].form", "missing, allowed: one of solids, outline, profile, sweep, mesh, measured, likeness")},
		{"two forms", func(b *mouldwrightv1.Brief) {
			b.Pieces[0].Form.Likeness = &mouldwrightv1.Likeness{Kind: 1, LargestMm: 1}
		}, one("pieces[0].form", "got more than one, allowed: only one of solids, outline, profile, sweep, mesh, measured, likeness")},
		{"two at once", func(b *mouldwrightv1.Brief) { b.Title, b.Pieces[0].Name = "", "" }, append(one("title", `missing; allowed: at least 1 character`), one("pieces[0].name", `missing; allowed: at least 1 character`)...)},
	} {
		t.Run(r.name, func(t *testing.T) {
			b := soundBrief()
			r.spoil(b)
			if got := rules(t).Check(b); !slices.Equal(got, r.want) {
				t.Errorf("got  %v\nwant %v", got, r.want)
			}
			under := r.want.Under("brief")
			if got := rules(t).Check(&mouldwrightv1.PreviewQuoteRequest{Brief: b}); !slices.Equal(got, under) {
				t.Errorf("in a request: got %v, want %v", got, under)
			}
		})
	}
}

func TestCheckWordsLists(t *testing.T) {
	got := rules(t).Check(&mouldwrightv1.Quantity{Value: "1", Unit: "ton"})
	if want := one("unit", `got "ton", allowed: one of [each, h, kg, L, m2, m, m3, km, pack, lot]`); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestCheckWordsPatterns(t *testing.T) {
	for _, r := range []struct {
		m    proto.Message
		want fault.List
	}{
		{&mouldwrightv1.Money{CurrencyCode: "Pound", Amount: "1"}, one("currencyCode", `got "Pound", allowed: three capitals of ISO 4217, such as GBP`)},
		{&mouldwrightv1.Money{CurrencyCode: "GBP", Amount: "1,50"}, one("amount", `got "1,50", allowed: a decimal number in quotation marks, such as "7.5", with at most 18 digits before the point and 9 after it`)},
		{
			&mouldwrightv1.GetRateBookRequest{Name: "demo 2"},
			one("name", `got "demo 2", allowed: rateBooks/ and a revision, such as rateBooks/current; a revision is of lower-case letters, digits, dots and hyphens, beginning with a letter or digit, at most 60`),
		},
	} {
		if got := rules(t).Check(r.m); !slices.Equal(got, r.want) {
			t.Errorf("got %v, want %v", got, r.want)
		}
	}
}

func TestCheckListsAHundredFaults(t *testing.T) {
	b := soundBrief()
	for range 150 {
		b.Pieces = append(b.Pieces, &mouldwrightv1.Piece{Code: "b", Name: "B", Quantity: 0, Form: b.Pieces[0].Form})
	}
	got := rules(t).Check(b)
	if len(got) != 101 || got[100] != (fault.Fault{Message: "more faults than are listed here"}) {
		t.Errorf("%d listed, the last %v", len(got), got[len(got)-1])
	}
	b.Pieces = b.Pieces[:101]
	if got := rules(t).Check(b); len(got) != 100 || got[99].Path != "pieces[100].quantity" {
		t.Errorf("%d listed, the last %v", len(got), got[len(got)-1])
	}
}

// breaker builds, for every rule that stands in the descriptors, a message that
// breaks just that rule. It starts from messages of the smallest sound values.
type breaker struct{ t *testing.T }

// least sets what a message needs, so that no other rule is broken.
func (b breaker) least(m protoreflect.Message) protoreflect.Message {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		choice := f.ContainingOneof()
		switch {
		case m.Descriptor().FullName() == form && f.Name() != "measured":
		case choice != nil && choice.IsSynthetic() && !fieldRules(f).GetRequired():
		case choice != nil && !choice.IsSynthetic() && choice.Fields().Get(0) != f:
		case f.IsList():
			for range fieldRules(f).GetRepeated().GetMinItems() {
				l := m.Mutable(f).List()
				l.Append(b.leastOf(f, itemRules(f), l.NewElement()))
			}
		case f.Message() == nil || fieldRules(f).GetRequired() || choice != nil || f.Name() == "measured":
			m.Set(f, b.leastOf(f, fieldRules(f), m.NewField(f)))
		}
	}
	return m
}

func (b breaker) leastOf(f protoreflect.FieldDescriptor, r *validate.FieldRules, empty protoreflect.Value) protoreflect.Value {
	switch f.Kind() {
	case protoreflect.MessageKind:
		b.least(empty.Message())
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(b.leastText(f, r.GetString()))
	case protoreflect.DoubleKind:
		low, _ := bounds(r)
		return protoreflect.ValueOfFloat64(low)
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(max(r.GetInt32().GetGte(), 0))
	case protoreflect.EnumKind:
		if len(r.GetEnum().GetNotIn()) > 0 {
			return protoreflect.ValueOfEnum(1)
		}
	}
	return empty
}

func (b breaker) leastText(f protoreflect.FieldDescriptor, r *validate.StringRules) string {
	switch {
	case len(r.GetIn()) > 0:
		return r.GetIn()[0]
	case r.GetPattern() != "":
		return b.matching(f, r.GetPattern())
	default:
		return strings.Repeat("x", int(r.GetMinLen()))
	}
}

// matching is a text that a pattern of the contract takes.
func (b breaker) matching(f protoreflect.FieldDescriptor, pattern string) string {
	if strings.HasPrefix(pattern, "^(") && strings.HasSuffix(pattern, ")?$") { // empty is allowed
		return ""
	}
	for begins, text := range map[string]string{
		"^[a-z0-9]": "a", "^[A-Z]{3}": "GBP", "^[0-9]": "1", "^-?[0-9]": "1", "^meshes/": "meshes/a", "^rateBooks/": "rateBooks/a",
	} {
		if strings.HasPrefix(pattern, begins) {
			return text
		}
	}
	b.t.Fatalf("%s: write a text that %s takes", f.FullName(), pattern)
	return ""
}

func fieldRules(f protoreflect.FieldDescriptor) *validate.FieldRules {
	r, _ := proto.GetExtension(f.Options(), validate.E_Field).(*validate.FieldRules)
	return r
}

func itemRules(f protoreflect.FieldDescriptor) *validate.FieldRules {
	return fieldRules(f).GetRepeated().GetItems()
}

// bounds returns a number that double rules take and one just beyond their upper limit.
func bounds(r *validate.FieldRules) (low, beyond float64) {
	d := r.GetDouble()
	low = d.GetGte()
	if d.HasGt() {
		low = d.GetGt() + (d.GetLte()-d.GetGt())/2
	}
	return low, math.Nextafter(d.GetLte(), math.Inf(1))
}

// breaks lists values of a field that break its rules, by the rule's name.
func (b breaker) breaks(f protoreflect.FieldDescriptor, r *validate.FieldRules) map[string]protoreflect.Value {
	out := map[string]protoreflect.Value{}
	switch f.Kind() {
	case protoreflect.DoubleKind:
		b.doubles(f, r, out)
	case protoreflect.Int32Kind:
		n := r.GetInt32()
		if !n.HasGte() || !n.HasLte() {
			b.t.Errorf("%s has no bounds that this test knows", f.FullName())
		}
		out["gte"], out["lte"] = protoreflect.ValueOfInt32(n.GetGte()-1), protoreflect.ValueOfInt32(n.GetLte()+1)
	case protoreflect.EnumKind:
		if !r.GetEnum().GetDefinedOnly() {
			b.t.Errorf("%s takes any number", f.FullName())
		}
		out["defined_only"], out["below nothing"] = protoreflect.ValueOfEnum(99), protoreflect.ValueOfEnum(-1)
		for _, n := range r.GetEnum().GetNotIn() {
			out["not_in"] = protoreflect.ValueOfEnum(protoreflect.EnumNumber(n))
		}
	case protoreflect.StringKind:
		b.texts(f, r.GetString(), out)
	default:
	}
	return out
}

func (b breaker) doubles(f protoreflect.FieldDescriptor, r *validate.FieldRules, out map[string]protoreflect.Value) {
	d := r.GetDouble()
	if !d.GetFinite() || !d.HasLte() || !d.HasGt() && !d.HasGte() {
		b.t.Errorf("%s has no bounds that this test knows", f.FullName())
	}
	_, beyond := bounds(r)
	out["lte"] = protoreflect.ValueOfFloat64(beyond)
	out["NaN"], out["Inf"], out["-Inf"] = protoreflect.ValueOfFloat64(math.NaN()), protoreflect.ValueOfFloat64(math.Inf(1)), protoreflect.ValueOfFloat64(math.Inf(-1))
	if d.HasGt() {
		out["gt"] = protoreflect.ValueOfFloat64(d.GetGt())
	} else {
		out["gte"] = protoreflect.ValueOfFloat64(math.Nextafter(d.GetGte(), math.Inf(-1)))
	}
}

func (b breaker) texts(f protoreflect.FieldDescriptor, r *validate.StringRules, out map[string]protoreflect.Value) {
	switch {
	case r.GetPattern() != "":
		out["pattern"] = protoreflect.ValueOfString("?")
		out["line break"] = protoreflect.ValueOfString(b.matching(f, r.GetPattern()) + "\n")
		out["long"] = protoreflect.ValueOfString(strings.Repeat("a", 200))
	case len(r.GetIn()) > 0:
		out["in"] = protoreflect.ValueOfString("?")
	case r.HasMaxLen():
		out["max_len"] = protoreflect.ValueOfString(strings.Repeat("é", int(r.GetMaxLen())+1))
		if r.GetMinLen() > 0 {
			out["min_len"] = protoreflect.ValueOfString(strings.Repeat("x", int(r.GetMinLen())-1))
		}
	default:
		b.t.Errorf("%s is of any length", f.FullName())
	}
}

// visitRules walks every message that a request can hold and calls back with
// the request, a message in it ready to be spoilt, and the path of that message.
func (b breaker) visitRules(request protoreflect.MessageType, visit func(request proto.Message, m protoreflect.Message, path string)) {
	done := map[protoreflect.FullName]bool{}
	var walk func(steps []protoreflect.FieldDescriptor)
	walk = func(steps []protoreflect.FieldDescriptor) {
		d := request.Descriptor()
		if len(steps) > 0 {
			d = steps[len(steps)-1].Message()
		}
		if done[d.FullName()] {
			return
		}
		done[d.FullName()] = true
		top := b.least(request.New())
		m, path := b.reach(top, steps)
		visit(top.Interface(), m, path)
		for i := range d.Fields().Len() {
			if f := d.Fields().Get(i); f.Message() != nil && !fieldIgnored(f) {
				walk(append(slices.Clone(steps), f))
			}
		}
	}
	walk(nil)
}

func fieldIgnored(f protoreflect.FieldDescriptor) bool {
	return fieldRules(f).GetIgnore() == validate.Ignore_IGNORE_ALWAYS
}

// reach makes sure that every message on the way is there.
func (b breaker) reach(m protoreflect.Message, steps []protoreflect.FieldDescriptor) (protoreflect.Message, string) {
	path := ""
	for _, f := range steps {
		path = strings.TrimPrefix(path+"."+f.JSONName(), ".")
		if m.Descriptor().FullName() == form {
			m.Clear(m.Descriptor().Fields().ByName("measured"))
		}
		switch {
		case !f.IsList():
			if !m.Has(f) {
				m.Set(f, b.leastOf(f, nil, m.NewField(f)))
			}
			m = m.Mutable(f).Message()
		default:
			l := m.Mutable(f).List()
			if l.Len() == 0 {
				l.Append(b.leastOf(f, nil, l.NewElement()))
			}
			path += "[0]"
			m = l.Get(0).Message()
		}
	}
	return m, path
}

// Each rule of the contract is broken alone, and the one fault lies at the path
// of its field as JSON has it. A field that is added tomorrow is held to it too.
func TestEveryRuleIsKeptAtItsPath(t *testing.T) {
	v := rules(t)
	b := breaker{t}
	broken := 0
	for _, request := range []proto.Message{
		&mouldwrightv1.PreviewQuoteRequest{}, &mouldwrightv1.MeasureBriefRequest{}, &mouldwrightv1.EstimateLabourRequest{},
		&mouldwrightv1.ApplyMarginRequest{}, &mouldwrightv1.GetRateBookRequest{}, &mouldwrightv1.RateBook{},
	} {
		b.visitRules(request.ProtoReflect().Type(), func(top proto.Message, m protoreflect.Message, path string) {
			if faults := v.Check(top); len(faults) > 0 {
				t.Fatalf("%s at %q is not sound to begin with: %v", request.ProtoReflect().Descriptor().Name(), path, faults)
			}
			for i := range m.Descriptor().Fields().Len() {
				f := m.Descriptor().Fields().Get(i)
				at := strings.TrimPrefix(path+"."+f.JSONName(), ".")
				for rule, spoil := range b.spoilers(m, f) {
					kept := proto.Clone(m.Interface()).ProtoReflect()
					where := spoil()
					b.expect(v.Check(top), at+where, rule)
					restore(m, kept)
					broken++
				}
			}
		})
	}
	if broken < 1000 {
		t.Errorf("only %d rules were broken: this looks at too little", broken)
	}
}

func restore(m, kept protoreflect.Message) {
	proto.Reset(m.Interface())
	proto.Merge(m.Interface(), kept.Interface())
}

func (b breaker) expect(faults fault.List, path, rule string) {
	b.t.Helper()
	if len(faults) != 1 || faults[0].Path != path {
		b.t.Errorf("%s, %s: got %v", path, rule, faults)
		return
	}
	message := faults[0].Message
	if strings.Contains(message, "a match of") {
		b.t.Errorf("%s: %q: put the pattern in words", path, message)
	}
	if !strings.HasPrefix(message, "missing") && (!strings.HasPrefix(message, "got ") || !strings.Contains(message, "allowed: ")) {
		b.t.Errorf("%s, %s: %q does not say what was got and what is allowed", path, rule, message)
	}
}

// spoilers lists what breaks the rules of a field of m; each returns what it adds
// to the field's path.
func (b breaker) spoilers(m protoreflect.Message, f protoreflect.FieldDescriptor) map[string]func() string {
	out := map[string]func() string{}
	r := fieldRules(f)
	if r.GetRequired() {
		out["required"] = func() string { m.Clear(f); return "" }
	}
	switch {
	case m.Descriptor().FullName() == form || fieldIgnored(f):
	case f.IsList():
		b.lists(m, f, out)
	case f.Message() != nil:
	default:
		for rule, v := range b.breaks(f, r) {
			if f.Kind() != protoreflect.BoolKind {
				out[rule] = func() string { m.Set(f, v); return "" }
			}
		}
	}
	return out
}

func (b breaker) lists(m protoreflect.Message, f protoreflect.FieldDescriptor, out map[string]func() string) {
	r := fieldRules(f).GetRepeated()
	if !r.HasMaxItems() {
		b.t.Errorf("%s is of any length", f.FullName())
	}
	list := func(n uint64) {
		l := m.Mutable(f).List()
		l.Truncate(0)
		for range n {
			l.Append(b.leastOf(f, itemRules(f), l.NewElement()))
		}
	}
	out["max_items"] = func() string { list(r.GetMaxItems() + 1); return "" }
	if r.GetMinItems() > 0 {
		out["min_items"] = func() string { list(r.GetMinItems() - 1); return "" }
	}
	if f.Message() != nil {
		return
	}
	for rule, v := range b.breaks(f, itemRules(f)) {
		out["items: "+rule] = func() string {
			list(max(2, r.GetMinItems()))
			m.Mutable(f).List().Set(1, v)
			return fmt.Sprintf("[%d]", 1)
		}
	}
}
