package wire_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/wrapperspb"
	"pgregory.net/rapid"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// messageTypes lists every message type of the contract.
func messageTypes(t testing.TB) []protoreflect.MessageType {
	t.Helper()
	var types []protoreflect.MessageType
	protoregistry.GlobalTypes.RangeMessages(func(m protoreflect.MessageType) bool {
		if m.Descriptor().ParentFile().Package() == "mouldwright.v1" {
			types = append(types, m)
		}
		return true
	})
	if len(types) < 50 {
		t.Fatalf("found %d message types: this looks at nothing", len(types))
	}
	return types
}

// sameAsProtoJSON holds Encode to protojson: the same JSON value, and no byte of space.
func sameAsProtoJSON(t rapid.TB, e *wire.Encoder, m proto.Message) {
	t.Helper()
	want, err := protojson.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	got, err := e.Encode(m)
	if err != nil {
		t.Fatal(err)
	}
	var tight bytes.Buffer
	if err := json.Compact(&tight, want); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(value(t, got), value(t, want)) || len(got) > tight.Len() {
		t.Fatalf("%s\n got %s\nwant %s", m.ProtoReflect().Descriptor().FullName(), got, tight.Bytes())
	}
}

// value reads numbers as they are written, so that 1.0 is not 1 and no digit is lost.
func value(t rapid.TB, doc []byte) any {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(doc))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		t.Fatalf("%v in %s", err, doc)
	}
	return v
}

// fill sets some fields of m to anything that they can hold.
func fill(t *rapid.T, m protoreflect.Message, depth int) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if depth == 0 && f.Message() != nil || !rapid.Bool().Draw(t, string(f.Name())) {
			continue
		}
		if !f.IsList() {
			m.Set(f, anything(t, f, m.NewField(f), depth))
			continue
		}
		list := m.Mutable(f).List()
		for range rapid.IntRange(0, 3).Draw(t, "items") {
			list.Append(anything(t, f, list.NewElement(), depth))
		}
	}
}

// maskPath is a path of fields named as the protobuf style guide has it, a letter after each underscore.
const maskPath = `[a-z][a-z0-9]{0,5}(_[a-z][a-z0-9]{0,5}){0,2}([.][a-z][a-z0-9]{0,5}(_[a-z][a-z0-9]{0,5}){0,2}){0,2}`

func anything(t *rapid.T, f protoreflect.FieldDescriptor, empty protoreflect.Value, depth int) protoreflect.Value {
	switch f.Kind() {
	case protoreflect.MessageKind:
		if mask, ok := empty.Message().Interface().(*fieldmaskpb.FieldMask); ok { // other paths have no JSON
			mask.Paths = rapid.SliceOfN(rapid.StringMatching(maskPath), 0, 4).Draw(t, "paths")
			return empty
		}
		fill(t, empty.Message(), depth-1)
		return empty
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(rapid.String().Draw(t, "text"))
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes(rapid.SliceOfN(rapid.Byte(), 0, 20).Draw(t, "bytes"))
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(rapid.OneOf(rapid.Float64(), rapid.SampledFrom(awkward())).Draw(t, "number"))
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(rapid.Int32().Draw(t, "count"))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(rapid.Bool().Draw(t, "yes"))
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(protoreflect.EnumNumber(rapid.Int32Range(-1, 20).Draw(t, "enum")))
	default:
		t.Fatalf("%s: write a case for %s", f.FullName(), f.Kind())
		return empty
	}
}

// awkward lists numbers around which ways of writing numbers change.
func awkward() []float64 {
	return []float64{
		0, math.Copysign(0, -1), 1e-6, 9.99e-7, 1e-7, -1e-9, 1e-10, 1e20, 1e21, 1.5e21, 1e100, -1e-100, 0.1, 1.0 / 3,
		math.MaxFloat64, math.SmallestNonzeroFloat64, math.NaN(), math.Inf(1), math.Inf(-1), 1 << 53,
	}
}

// The standard is ProtoJSON (protobuf.dev/programming-guides/json) as its Go implementation writes it.
func TestEncodeWritesProtoJSON(t *testing.T) {
	var e wire.Encoder
	for _, mt := range messageTypes(t) {
		t.Run(string(mt.Descriptor().Name()), func(t *testing.T) {
			sameAsProtoJSON(t, &e, mt.New().Interface())
			rapid.Check(t, func(t *rapid.T) {
				m := mt.New()
				fill(t, m, 3)
				sameAsProtoJSON(t, &e, m.Interface())
			})
		})
	}
}

func TestEncodeWritesTheSameBytesEachTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := &mouldwrightv1.Brief{}
		fill(t, m.ProtoReflect(), 4)
		first, err := wire.Encode(m)
		if err != nil {
			t.Fatal(err)
		}
		again, err := wire.Encode(m)
		if err != nil || !bytes.Equal(first, again) {
			t.Fatalf("%v\n%s\n%s", err, first, again)
		}
	})
}

func TestEncodeRefusesWhatIsNotUTF8(t *testing.T) {
	doc, err := wire.Encode(&mouldwrightv1.Brief{Pieces: []*mouldwrightv1.Piece{{Name: "a\xff"}, {Name: "b"}}})
	if err == nil || doc != nil || !strings.Contains(err.Error(), "mouldwright.v1.Piece.name") {
		t.Fatalf("got %s, %v", doc, err)
	}
}

// What is not the contract's own: an error with its details, and Google's well-known types.
func TestEncodeLeavesForeignMessagesToProtoJSON(t *testing.T) {
	st, err := status.New(codes.InvalidArgument, "one fault").WithDetails(
		&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: "brief.title", Description: "got \"\""}}},
		&errdetails.ErrorInfo{Reason: "BRIEF_INVALID", Domain: "mouldwright", Metadata: map[string]string{"b": "2", "a": "1"}},
	)
	if err != nil {
		t.Fatal(err)
	}
	nested, err := structpb.NewStruct(map[string]any{"a": []any{1.5, "x", nil}})
	if err != nil {
		t.Fatal(err)
	}
	var e wire.Encoder
	for _, m := range []proto.Message{st.Proto(), nested, durationpb.New(1500), wrapperspb.Int64(1 << 60)} {
		sameAsProtoJSON(t, &e, m)
	}
}

func FuzzEncode(f *testing.F) {
	for _, m := range []proto.Message{
		&mouldwrightv1.Brief{Title: "a\"\\\n\u2028<&>\x7f", Pieces: []*mouldwrightv1.Piece{{Quantity: 3}}},
		&mouldwrightv1.Brief{Options: []*mouldwrightv1.Option{{Code: "x", Rush: proto.String("")}}},
	} {
		raw, err := proto.Marshal(m)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(raw)
	}
	var e wire.Encoder
	f.Fuzz(func(t *testing.T, raw []byte) {
		var m mouldwrightv1.Brief
		if proto.Unmarshal(raw, &m) == nil {
			sameAsProtoJSON(t, &e, &m)
		}
	})
}

// BenchmarkEncode writes a quote of 40 lines, and gives protojson's time for the same as a multiple.
func BenchmarkEncode(b *testing.B) {
	q := quoteOf(40)
	const turns = 2000
	start := time.Now()
	for range turns {
		if _, err := protojson.Marshal(q); err != nil {
			b.Fatal(err)
		}
	}
	theirs := float64(time.Since(start).Nanoseconds()) / turns
	var e wire.Encoder
	var size int
	b.ReportAllocs()
	for b.Loop() {
		doc, err := e.Encode(q)
		if err != nil {
			b.Fatal(err)
		}
		size = len(doc)
	}
	b.ReportMetric(theirs/(float64(b.Elapsed().Nanoseconds())/float64(b.N)), "x-protojson")
	b.ReportMetric(float64(size), "B/doc")
}

func quoteOf(lines int) *mouldwrightv1.PreviewQuoteResponse {
	money := func(amount string) *mouldwrightv1.Money {
		return &mouldwrightv1.Money{CurrencyCode: "GBP", Amount: amount}
	}
	q := &mouldwrightv1.Quote{Title: "Forty lines", Net: money("12345.60")}
	for range lines {
		q.Lines = append(q.Lines, &mouldwrightv1.PriceLine{
			Piece: "cap", Stage: mouldwrightv1.Stage_STAGE_CAST, Description: "Red cap: laminate, 3 layers of mat",
			Quantity: &mouldwrightv1.Quantity{Value: "6", Unit: "each"}, UnitPrice: money("123.4500"), Amount: money("740.70"), Tax: "standard",
			Derivation: &mouldwrightv1.Derivation{Words: "6 casts = 6", Steps: []*mouldwrightv1.Step{{
				Operator: mouldwrightv1.Operator_OPERATOR_SUM, Terms: []*mouldwrightv1.Term{{Label: "casts", Value: 6}}, Result: &mouldwrightv1.Term{Label: "casts", Value: 6},
			}}},
		})
	}
	return &mouldwrightv1.PreviewQuoteResponse{Quote: q}
}

func ExampleEncode() {
	doc, err := wire.Encode(&mouldwrightv1.Size{WidthMm: 900, DepthMm: 900, HeightMm: 412.5})
	fmt.Println(string(doc), err)
	// Output: {"widthMm":900,"depthMm":900,"heightMm":412.5} <nil>
}
