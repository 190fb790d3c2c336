package wire_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/httpbody"
	rpcstatus "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/structpb"
	"pgregory.net/rapid"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/wire"
)

const (
	nobody  = mouldwrightv1.Audience_AUDIENCE_UNSPECIFIED
	public  = mouldwrightv1.Audience_AUDIENCE_PUBLIC
	partner = mouldwrightv1.Audience_AUDIENCE_PARTNER
	studio  = mouldwrightv1.Audience_AUDIENCE_STUDIO
)

// By hand, from what the contract's comments say is the studio's own.
func TestMaskHidesWhatIsTheStudios(t *testing.T) {
	pounds := &mouldwrightv1.Money{CurrencyCode: "GBP", Amount: "70.00"}
	cost := &mouldwrightv1.Money{CurrencyCode: "GBP", Amount: "41.50"}
	whole := &mouldwrightv1.GetQuoteResponse{Quote: &mouldwrightv1.KeptQuote{
		Name: "quotes/Q-2027-0001", Partner: "partners/tamsin-row",
		History: []*mouldwrightv1.QuoteEntry{{Act: mouldwrightv1.QuoteAct_QUOTE_ACT_CREATE, ActorKind: "studio", Actor: "the office"}},
		Brief: &mouldwrightv1.Brief{Title: "Trail", PartnerTerms: &mouldwrightv1.PartnerTerms{
			DiscountPercent: "5", MarginPercent: "32",
		}},
		Quote: &mouldwrightv1.Quote{
			Net:      pounds,
			Lines:    []*mouldwrightv1.PriceLine{{Code: "hare", Amount: pounds, Parts: &mouldwrightv1.PriceParts{Cost: cost}}},
			Workings: &mouldwrightv1.Workings{Costs: []*mouldwrightv1.CostLine{{Item: "resin", UnitCost: cost}}},
		},
	}}
	seen := &mouldwrightv1.GetQuoteResponse{Quote: &mouldwrightv1.KeptQuote{
		Name: "quotes/Q-2027-0001", Partner: "partners/tamsin-row",
		History: []*mouldwrightv1.QuoteEntry{{Act: mouldwrightv1.QuoteAct_QUOTE_ACT_CREATE, ActorKind: "studio"}},
		Brief:   &mouldwrightv1.Brief{Title: "Trail", PartnerTerms: &mouldwrightv1.PartnerTerms{DiscountPercent: "5"}},
		Quote:   &mouldwrightv1.Quote{Net: pounds, Lines: []*mouldwrightv1.PriceLine{{Code: "hare", Amount: pounds}}},
	}}
	key := &mouldwrightv1.CreateKeyResponse{Text: "mwk_…", Key: &mouldwrightv1.Key{Name: "keys/aaaaaaaaaaaaaaaa"}}
	for _, r := range []struct {
		to         mouldwrightv1.Audience
		got, wants proto.Message
	}{
		{studio, whole, whole},
		{partner, whole, seen},
		{public, whole, &mouldwrightv1.GetQuoteResponse{}},
		{nobody, whole, &mouldwrightv1.GetQuoteResponse{}},
		{studio + 1, whole, &mouldwrightv1.GetQuoteResponse{}},
		{-1, whole, &mouldwrightv1.GetQuoteResponse{}},
		{partner, key, &mouldwrightv1.CreateKeyResponse{}},
		{public, pounds, pounds},
		{nobody, pounds, &mouldwrightv1.Money{}},
		{partner, &mouldwrightv1.RateBook{Studio: "Ash & Ember Fabrication"}, &mouldwrightv1.RateBook{}},
		{partner, (*mouldwrightv1.Quote)(nil), (*mouldwrightv1.Quote)(nil)},
		{partner, &mouldwrightv1.Quote{Lines: []*mouldwrightv1.PriceLine{nil}}, &mouldwrightv1.Quote{Lines: []*mouldwrightv1.PriceLine{nil}}},
	} {
		got := proto.Clone(r.got)
		require.NoError(t, wire.Mask(got, r.to))
		require.True(t, proto.Equal(r.wants, got), "%s sees %v, want %v", r.to, got, r.wants)
	}
}

func TestMaskRefusesForeignMessages(t *testing.T) {
	for _, m := range []proto.Message{
		&httpbody.HttpBody{Data: []byte("x")}, &rpcstatus.Status{Message: "x"}, &fieldmaskpb.FieldMask{Paths: []string{"x"}},
	} {
		for _, to := range []mouldwrightv1.Audience{nobody, public, partner, studio} {
			got := proto.Clone(m)
			err := wire.Mask(got, to)
			require.ErrorIs(t, err, wire.ErrForeign)
			require.ErrorContains(t, err, string(m.ProtoReflect().Descriptor().FullName()))
			require.True(t, proto.Equal(m, got), "it is left as it is")
		}
	}
}

// answers lists the messages that the contract's methods answer with, its own only.
func answers(t testing.TB) []protoreflect.MessageType {
	t.Helper()
	var all []protoreflect.MessageType
	protoregistry.GlobalFiles.RangeFilesByPackage("mouldwright.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			for j := range file.Services().Get(i).Methods().Len() {
				d := file.Services().Get(i).Methods().Get(j).Output()
				mt, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
				if err != nil {
					t.Fatal(err)
				}
				if d.ParentFile().Package() == "mouldwright.v1" {
					all = append(all, mt)
				}
			}
		}
		return true
	})
	if len(all) < 25 {
		t.Fatalf("found %d answers: this looks at nothing", len(all))
	}
	return all
}

// whole sets every field of m, of lists two items, of a choice the given one of its fields, and
// a field that the contract does not have.
func whole(t testing.TB, m protoreflect.Message, choice, depth int) {
	t.Helper()
	if depth == 0 {
		t.Fatalf("%s is deeper than this test goes", m.Descriptor().FullName())
	}
	m.SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 50_000, protowire.VarintType), 7))
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if one := f.ContainingOneof(); one != nil && one.Fields().Get(choice%one.Fields().Len()) != f {
			continue
		}
		switch {
		case f.IsList():
			l := m.Mutable(f).List()
			l.Append(something(t, f, l.NewElement(), choice, depth))
			l.Append(something(t, f, l.NewElement(), choice+1, depth))
		case f.IsMap():
			l := m.Mutable(f).Map()
			l.Set(protoreflect.ValueOfString("k").MapKey(), something(t, f.MapValue(), l.NewValue(), choice, depth))
		default:
			m.Set(f, something(t, f, m.NewField(f), choice, depth))
		}
	}
}

func something(t testing.TB, f protoreflect.FieldDescriptor, empty protoreflect.Value, choice, depth int) protoreflect.Value {
	t.Helper()
	switch f.Kind() {
	case protoreflect.MessageKind:
		whole(t, empty.Message(), choice, depth-1)
		return empty
	case protoreflect.StringKind:
		return protoreflect.ValueOfString("x")
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte("x"))
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(1.5)
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(3)
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(true)
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(1)
	default:
		t.Fatalf("%s: write a case for %s", f.FullName(), f.Kind())
		return empty
	}
}

// said reads the audience out of the bytes of a field's options, so as to rest on nothing that
// the Masker does: extension 50417 of google.protobuf.FieldOptions, a varint.
func said(t testing.TB, f protoreflect.FieldDescriptor) uint64 {
	t.Helper()
	raw, err := proto.Marshal(f.Options())
	if err != nil {
		t.Fatal(err)
	}
	for len(raw) > 0 {
		number, kind, n := protowire.ConsumeTag(raw)
		raw = raw[n:]
		if number == 50417 {
			v, _ := protowire.ConsumeVarint(raw)
			return v
		}
		raw = raw[protowire.ConsumeFieldValue(number, kind, raw):]
	}
	return 3
}

// seenBy makes a message of what an audience sees of m: it adds, where the Masker takes away.
func seenBy(t testing.TB, m protoreflect.Message, to uint64) protoreflect.Message {
	t.Helper()
	out := m.New()
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case m.Descriptor().ParentFile().Package() == "mouldwright.v1" && said(t, f) > to:
		case f.IsList() && f.Message() != nil:
			for i := range v.List().Len() {
				out.Mutable(f).List().Append(protoreflect.ValueOfMessage(seenBy(t, v.List().Get(i).Message(), to)))
			}
		case f.IsMap() && f.MapValue().Message() != nil:
			v.Map().Range(func(key protoreflect.MapKey, held protoreflect.Value) bool {
				out.Mutable(f).Map().Set(key, protoreflect.ValueOfMessage(seenBy(t, held.Message(), to)))
				return true
			})
		case !f.IsMap() && f.Message() != nil:
			out.Set(f, protoreflect.ValueOfMessage(seenBy(t, v.Message(), to)))
		default:
			out.Set(f, v)
		}
		return true
	})
	return out
}

// above walks a message and names every field that is set and above the audience, and every
// field that the contract does not have.
func above(t testing.TB, m protoreflect.Message, to uint64) []string {
	t.Helper()
	var found []string
	if len(m.GetUnknown()) > 0 {
		found = append(found, string(m.Descriptor().FullName())+" has fields that nobody knows")
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if m.Descriptor().ParentFile().Package() == "mouldwright.v1" && said(t, f) > to {
			found = append(found, string(f.FullName()))
		}
		switch {
		case f.IsMap():
			v.Map().Range(func(_ protoreflect.MapKey, held protoreflect.Value) bool {
				if f.MapValue().Message() != nil {
					found = append(found, above(t, held.Message(), to)...)
				}
				return true
			})
		case f.Message() == nil:
		case f.IsList():
			for i := range v.List().Len() {
				found = append(found, above(t, v.List().Get(i).Message(), to)...)
			}
		default:
			found = append(found, above(t, v.Message(), to)...)
		}
		return true
	})
	return found
}

// holdMask holds a Masker to what is written above, for every audience.
func holdMask(t testing.TB, k *wire.Masker, m proto.Message) {
	t.Helper()
	name := m.ProtoReflect().Descriptor().FullName()
	m = proto.Clone(m) // which makes 0 of -0, once
	masked := func(m proto.Message, to mouldwrightv1.Audience) proto.Message {
		out := proto.Clone(m)
		require.NoError(t, k.Mask(out, to))
		return out
	}
	same := func(a, b proto.Message, words string, to mouldwrightv1.Audience) {
		require.True(t, proto.Equal(a, b), "%s, %s, %s:\n%v\n%v", name, to, words, a, b)
	}
	same(m, masked(m, studio), "the studio sees all", studio)
	for _, to := range []mouldwrightv1.Audience{nobody, public, partner} {
		got := masked(m, to)
		require.Empty(t, above(t, got.ProtoReflect(), uint64(to)), "%s, %s", name, to)                    //nolint:gosec // from 0 to 2
		same(seenBy(t, m.ProtoReflect(), uint64(to)).Interface(), got, "all that is for it is there", to) //nolint:gosec // from 0 to 2
		same(got, masked(got, to), "what is masked stays so", to)                                         // idempotent
		same(got, masked(masked(m, to+1), to), "what it sees is in what the next audience sees", to)      // monotone
		same(got, masked(got, to+1), "nothing is for it that is not for the next audience", to)           // monotone
	}
}

func TestMaskOfEveryAnswer(t *testing.T) {
	k := wire.NewMasker()
	for _, mt := range answers(t) {
		t.Run(string(mt.Descriptor().Name()), func(t *testing.T) {
			for choice := range 16 { // so many that each of a choice has its turn, the twelve solids too
				m := mt.New()
				whole(t, m, choice, 16)
				holdMask(t, k, m.Interface())
			}
			rapid.Check(t, func(rt *rapid.T) {
				m := mt.New()
				fill(rt, m, 5)
				holdMask(t, k, m.Interface())
			})
		})
	}
}

// A quote as it is priced, with its workings: no name of what is the studio's is left in what a partner gets.
func TestMaskOfARichQuote(t *testing.T) {
	q := &mouldwrightv1.PreviewQuoteResponse{Quote: richQuote(t)}
	holdMask(t, wire.NewMasker(), q)
	require.NotNil(t, q.GetQuote().GetWorkings())
	require.NoError(t, wire.Mask(q, partner))
	doc, err := wire.Encode(q)
	require.NoError(t, err)
	for _, name := range []string{"workings", "overhead", "contingency", "margin", "unitCost", "skill", "cost", "parts", "hours"} {
		require.NotContains(t, string(doc), `"`+name+`":`)
	}
	require.Contains(t, string(doc), `"unitPrice":`)
}

// newer is a file of the contract as it may be one day: fields of every shape, with an audience and without.
func newer(t testing.TB) protoreflect.FileDescriptor {
	t.Helper()
	const label, many = descriptorpb.FieldDescriptorProto_LABEL_OPTIONAL, descriptorpb.FieldDescriptorProto_LABEL_REPEATED
	text, message := descriptorpb.FieldDescriptorProto_TYPE_STRING, descriptorpb.FieldDescriptorProto_TYPE_MESSAGE
	field := func(name string, number int32, to int32, l descriptorpb.FieldDescriptorProto_Label, of string) *descriptorpb.FieldDescriptorProto {
		f := &descriptorpb.FieldDescriptorProto{Name: proto.String(name), Number: proto.Int32(number), Label: l.Enum(), Type: text.Enum()}
		if of != "" {
			f.Type, f.TypeName = message.Enum(), proto.String(of)
		}
		if to >= 0 {
			f.Options = &descriptorpb.FieldOptions{}
			proto.SetExtension(f.Options, mouldwrightv1.E_Audience, mouldwrightv1.Audience(to))
		}
		return f
	}
	choice := func(f *descriptorpb.FieldDescriptorProto) *descriptorpb.FieldDescriptorProto {
		f.OneofIndex = proto.Int32(0)
		return f
	}
	const self = ".mouldwright.v1.Newer"
	entry := &descriptorpb.DescriptorProto{
		Name: proto.String("ByNameEntry"), Options: &descriptorpb.MessageOptions{MapEntry: proto.Bool(true)},
		Field: []*descriptorpb.FieldDescriptorProto{field("key", 1, -1, label, ""), field("value", 2, -1, label, self)},
	}
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("mouldwright/v1/newer.proto"), Package: proto.String("mouldwright.v1"), Syntax: proto.String("proto3"),
		Dependency: []string{
			"mouldwright/v1/audience.proto", "google/protobuf/struct.proto", "google/protobuf/any.proto", "google/rpc/status.proto",
		},
		MessageType: []*descriptorpb.DescriptorProto{{
			Name: proto.String("Newer"), NestedType: []*descriptorpb.DescriptorProto{entry},
			OneofDecl: []*descriptorpb.OneofDescriptorProto{{Name: proto.String("choice")}},
			Field: []*descriptorpb.FieldDescriptorProto{
				field("plain", 1, -1, label, ""), field("unsaid", 2, 0, label, ""), field("beyond", 3, 9, label, ""),
				field("open", 4, 1, label, ""), field("ours", 5, 2, label, ""),
				field("child", 6, 1, label, self), field("children", 7, 1, many, self), field("by_name", 8, 1, many, self+".ByNameEntry"),
				field("value", 9, 1, label, ".google.protobuf.Struct"), field("any", 10, 1, label, ".google.protobuf.Any"),
				field("status", 11, 1, label, ".google.rpc.Status"), field("statuses", 12, 1, many, ".google.rpc.Status"),
				choice(field("shown", 13, 1, label, self)), choice(field("hidden", 14, 3, label, self)),
			},
		}},
	}, protoregistry.GlobalFiles)
	require.NoError(t, err)
	return file
}

// sample fills a Newer, with a level of others inside.
func sample(t testing.TB, d protoreflect.MessageDescriptor, chosen protoreflect.Name, depth int) *dynamicpb.Message {
	t.Helper()
	m := dynamicpb.NewMessage(d)
	m.SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 900, protowire.VarintType), 7))
	of := func(name protoreflect.Name) protoreflect.FieldDescriptor { return d.Fields().ByName(name) }
	for _, name := range []protoreflect.Name{"plain", "unsaid", "beyond", "open", "ours"} {
		m.Set(of(name), protoreflect.ValueOfString(string(name)))
	}
	value, err := structpb.NewStruct(map[string]any{"a": []any{1.5, "x"}})
	require.NoError(t, err)
	raw, err := proto.Marshal(value)
	require.NoError(t, err)
	require.NoError(t, proto.Unmarshal(raw, m.Mutable(of("value")).Message().Interface()))
	m.Mutable(of("any"))
	m.Mutable(of("status"))
	m.Mutable(of("statuses")).List().AppendMutable()
	if depth == 0 {
		return m
	}
	inner := func() protoreflect.Value { return protoreflect.ValueOfMessage(sample(t, d, chosen, depth-1)) } // each its own
	m.Set(of("child"), inner())
	m.Mutable(of("children")).List().Append(inner())
	m.Mutable(of("by_name")).Map().Set(protoreflect.ValueOfString("a").MapKey(), inner())
	m.Set(of(chosen), inner())
	return m
}

// A field that is added tomorrow without a word on who sees it stays hidden, and so does a message from
// elsewhere that could hold anything.
func TestMaskHidesWhatNobodyHasDecidedOn(t *testing.T) {
	d := newer(t).Messages().Get(0)
	k := wire.NewMasker()
	for _, r := range []struct {
		to   mouldwrightv1.Audience
		want []string
	}{
		{nobody, nil},
		{public, []string{"by_name", "child", "children", "open", "shown", "value"}},
		{partner, []string{"by_name", "child", "children", "open", "ours", "shown", "value"}},
	} {
		for chosen, drop := range map[protoreflect.Name]string{"shown": "", "hidden": "shown"} {
			m := sample(t, d, chosen, 2)
			require.NoError(t, k.Mask(m, r.to))
			want := slices.DeleteFunc(slices.Clone(r.want), func(name string) bool { return name == drop })
			require.Equal(t, want, namesOf(m), "%s", r.to)
			if want == nil {
				continue
			}
			require.Empty(t, above(t, m, uint64(r.to))) //nolint:gosec // 1 or 2
			child := m.Get(d.Fields().ByName("by_name")).Map().Get(protoreflect.ValueOfString("a").MapKey()).Message()
			require.Equal(t, want, namesOf(child), "the same in the depth")
		}
	}
}

// namesOf are the fields that are set, sorted.
func namesOf(m protoreflect.Message) []string {
	var names []string
	m.Range(func(f protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
		names = append(names, string(f.Name()))
		return true
	})
	slices.Sort(names)
	return names
}

func TestMaskerServesManyAtOnce(t *testing.T) {
	k := wire.NewMasker()
	q := &mouldwrightv1.PreviewQuoteResponse{Quote: richQuote(t)}
	want := proto.CloneOf(q)
	require.NoError(t, wire.Mask(want, partner))
	var all sync.WaitGroup
	faults := make([]error, 8)
	for i := range faults {
		all.Go(func() {
			got := proto.CloneOf(q)
			if err := k.Mask(got, partner); err != nil || !proto.Equal(got, want) {
				faults[i] = errors.Join(err, errors.New("it is not what one alone gets"))
			}
		})
	}
	all.Wait()
	require.NoError(t, errors.Join(faults...))
}

// The contract's own words for the methods, and the defaults for what says nothing.
func TestAccessOf(t *testing.T) {
	method := func(full string) protoreflect.MethodDescriptor {
		d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(full))
		require.NoError(t, err)
		return d.(protoreflect.MethodDescriptor)
	}
	for full, want := range map[string]string{
		"mouldwright.v1.QuoteService.PreviewQuote":    "PARTNER READ",
		"mouldwright.v1.QuoteService.AcceptQuote":     "PARTNER WRITE",
		"mouldwright.v1.QuoteService.IssueQuote":      "STUDIO WRITE",
		"mouldwright.v1.TakeoffService.UploadMesh":    "PARTNER WRITE",
		"mouldwright.v1.RateBookService.GetRateBook":  "STUDIO READ",
		"mouldwright.v1.AccessService.ListKeys":       "STUDIO ADMIN",
		"mouldwright.v1.QuoteService.RecomputeQuote":  "STUDIO READ",
		"mouldwright.v1.MarginService.ApplyMargin":    "STUDIO READ",
		"mouldwright.v1.LabourService.EstimateLabour": "STUDIO READ",
	} {
		caller, scope := wire.AccessOf(method(full))
		got := strings.TrimPrefix(caller.String(), "AUDIENCE_") + " " + strings.TrimPrefix(scope.String(), "SCOPE_")
		require.Equal(t, want, got, full)
	}
}

// What is left out, and what a newer contract may say, asks the most.
func TestAccessOfWhatSaysNothing(t *testing.T) {
	access := func(caller mouldwrightv1.Audience, scope mouldwrightv1.Scope) *descriptorpb.MethodOptions {
		options := &descriptorpb.MethodOptions{}
		proto.SetExtension(options, mouldwrightv1.E_Access, &mouldwrightv1.Access{Caller: caller, Scope: scope})
		return options
	}
	for _, r := range []struct {
		options *descriptorpb.MethodOptions
		caller  mouldwrightv1.Audience
		scope   mouldwrightv1.Scope
	}{
		{nil, studio, mouldwrightv1.Scope_SCOPE_ADMIN},
		{&descriptorpb.MethodOptions{}, studio, mouldwrightv1.Scope_SCOPE_ADMIN},
		{access(0, 0), studio, mouldwrightv1.Scope_SCOPE_ADMIN},
		{access(partner, 0), partner, mouldwrightv1.Scope_SCOPE_ADMIN},
		{access(0, mouldwrightv1.Scope_SCOPE_READ), studio, mouldwrightv1.Scope_SCOPE_READ},
		{access(public, mouldwrightv1.Scope_SCOPE_WRITE), public, mouldwrightv1.Scope_SCOPE_WRITE},
		{access(-1, -1), studio, mouldwrightv1.Scope_SCOPE_ADMIN},
		{access(9, 9), studio, mouldwrightv1.Scope_SCOPE_ADMIN},
	} {
		caller, scope := wire.AccessOf(methodWith(t, r.options))
		require.Equal(t, fmt.Sprint(r.caller, r.scope), fmt.Sprint(caller, scope), "%v", r.options)
	}
}

func methodWith(t testing.TB, options *descriptorpb.MethodOptions) protoreflect.MethodDescriptor {
	t.Helper()
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("mouldwright/v1/newer_service.proto"), Package: proto.String("mouldwright.v1"), Syntax: proto.String("proto3"),
		Dependency: []string{"mouldwright/v1/common.proto"},
		Service: []*descriptorpb.ServiceDescriptorProto{{
			Name: proto.String("NewerService"),
			Method: []*descriptorpb.MethodDescriptorProto{{
				Name: proto.String("Do"), InputType: proto.String(".mouldwright.v1.Money"), OutputType: proto.String(".mouldwright.v1.Money"), Options: options,
			}},
		}},
	}, protoregistry.GlobalFiles)
	require.NoError(t, err)
	return file.Services().Get(0).Methods().Get(0)
}

// BenchmarkMask masks a quote without its workings, as a partner gets it: there is nothing to clear after the
// first time. Beside it stands what writing the quote as JSON takes.
func BenchmarkMask(b *testing.B) {
	m := &mouldwrightv1.PreviewQuoteResponse{Quote: richQuote(b)}
	require.NoError(b, wire.Mask(m, partner))
	k, e := wire.NewMasker(), new(wire.Encoder)
	for name, work := range map[string]func() error{
		"partner": func() error { return k.Mask(m, partner) },
		"studio":  func() error { return k.Mask(m, studio) },
		"encode":  func() error { _, err := e.Encode(m); return err },
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := work(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
