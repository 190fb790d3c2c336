package wire_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/wire"
)

const (
	maskAllowed  = `allowed: a string of field paths with commas between, such as "title,terms.discountPercent"`
	pathsAllowed = "allowed: paths of lowerCamelCase names with dots between, such as terms.discountPercent"
)

func maskDoc(mask string) []byte {
	return []byte(`{"partner": {"title": "T"}, "updateMask": ` + mask + `}`)
}

// The standard is ProtoJSON: "fooBar" for foo_bar and one string for all (protobuf.dev/programming-guides/json).
// Its Go implementation reads the same.
func TestDecodeReadsFieldMasks(t *testing.T) {
	hundred := strings.TrimSuffix(strings.Repeat("title,", 100), ",")
	for doc, want := range map[string][]string{
		`"title"`:                       {"title"},
		`"title,terms.discountPercent"`: {"title", "terms.discount_percent"},
		`"aBC.d1E2f"`:                   {"a_b_c.d1_e2f"},
		`"title,title"`:                 {"title", "title"},
		`""`:                            {},
		`" "`:                           {},
		`" title,closed\n"`:             {"title", "closed"},
		`"` + hundred + `"`:             strings.Split(hundred, ","),
		`null`:                          nil,
	} {
		var got, theirs mouldwrightv1.UpdatePartnerRequest
		require.Empty(t, wire.Decode(maskDoc(doc), &got), doc)
		require.NoError(t, protojson.Unmarshal(maskDoc(doc), &theirs))
		require.True(t, proto.Equal(&theirs, &got), "%s: got %v, want %v", doc, &got, &theirs)
		require.Equal(t, want != nil, got.GetUpdateMask() != nil, doc)
		require.ElementsMatch(t, want, got.GetUpdateMask().GetPaths(), doc)
	}
}

func TestDecodeNamesFaultsOfFieldMasks(t *testing.T) {
	for doc, want := range map[string]string{
		`"discount_percent"`:                   `got "discount_percent", ` + pathsAllowed,
		`"title,Terms"`:                        `got "Terms", ` + pathsAllowed,
		`"terms.Tax"`:                          `got "terms.Tax", ` + pathsAllowed,
		`"title, closed"`:                      `got " closed", ` + pathsAllowed,
		`"title,"`:                             `got "", ` + pathsAllowed,
		`",title"`:                             `got "", ` + pathsAllowed,
		`"terms..tax"`:                         `got "terms..tax", ` + pathsAllowed,
		`".tax"`:                               `got ".tax", ` + pathsAllowed,
		`"tax."`:                               `got "tax.", ` + pathsAllowed,
		`"1tax"`:                               `got "1tax", ` + pathsAllowed,
		`"terms.finishes[0]"`:                  `got "terms.finishes[0]", ` + pathsAllowed,
		`"*"`:                                  `got "*", ` + pathsAllowed,
		`"größe"`:                              `got "größe", ` + pathsAllowed,
		`"title\u0000"`:                        `got "title\x00", ` + pathsAllowed,
		`5`:                                    "got the number 5, " + maskAllowed,
		`["title"]`:                            "got a list, " + maskAllowed,
		`{"paths": ["title"]}`:                 "got an object, " + maskAllowed,
		`true`:                                 "got true, " + maskAllowed,
		`"x` + strings.Repeat(",x", 100) + `"`: "got 101 paths, allowed: at most 100",
		`"` + strings.Repeat("x", 100) + `_"`:  `got "` + strings.Repeat("x", 60) + `…", ` + pathsAllowed,
	} {
		var got mouldwrightv1.UpdatePartnerRequest
		require.Equal(t, fault.List{{Path: "updateMask", Message: want}}, wire.Decode(maskDoc(doc), &got), doc)
		require.Nil(t, got.UpdateMask, "a mask with a fault is no mask: %s", doc)
		require.Equal(t, "T", got.GetPartner().GetTitle(), "what is sound is set")
	}
}

// lists is a message with a list of masks, which the contract has none of yet.
func lists(t testing.TB) *dynamicpb.Message {
	t.Helper()
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("mouldwright/v1/masks.proto"), Package: proto.String("mouldwright.v1"), Syntax: proto.String("proto3"),
		Dependency: []string{"google/protobuf/field_mask.proto"},
		MessageType: []*descriptorpb.DescriptorProto{{
			Name: proto.String("Masks"),
			Field: []*descriptorpb.FieldDescriptorProto{{
				Name: proto.String("masks"), Number: proto.Int32(1), TypeName: proto.String(".google.protobuf.FieldMask"),
				Type: descriptorpb.FieldDescriptorProto_TYPE_MESSAGE.Enum(), Label: descriptorpb.FieldDescriptorProto_LABEL_REPEATED.Enum(),
			}},
		}},
	}, protoregistry.GlobalFiles)
	require.NoError(t, err)
	return dynamicpb.NewMessage(file.Messages().Get(0))
}

func TestDecodeReadsListsOfFieldMasks(t *testing.T) {
	const doc = `{"masks":["title,terms.discountPercent","","closed"]}`
	got := lists(t)
	theirs := dynamicpb.NewMessage(got.Descriptor())
	require.Empty(t, wire.Decode([]byte(doc), got))
	require.NoError(t, protojson.Unmarshal([]byte(doc), theirs))
	require.True(t, proto.Equal(theirs, got))
	written, err := wire.Encode(got)
	require.NoError(t, err)
	require.Equal(t, doc, string(written))
	require.Equal(t, fault.List{
		{Path: "masks[1]", Message: `got "Title", ` + pathsAllowed}, {Path: "masks[2]", Message: "got an object, " + maskAllowed},
	}, wire.Decode([]byte(`{"masks": ["title", "Title", {"paths": []}, "closed"]}`), lists(t)))
}

func TestEncodeWritesFieldMasks(t *testing.T) {
	for paths, want := range map[string]string{
		"title,terms.discount_percent": `{"updateMask":"title,terms.discountPercent"}`, "": `{"updateMask":""}`,
	} {
		mask := &fieldmaskpb.FieldMask{}
		if paths != "" {
			mask.Paths = strings.Split(paths, ",")
		}
		got, err := wire.Encode(&mouldwrightv1.UpdatePartnerRequest{UpdateMask: mask})
		require.NoError(t, err)
		require.Equal(t, want, string(got))
	}
	for _, path := range []string{"", "fooBar", "a__b", "a_1", "a b", "a,b", "_"} {
		_, err := wire.Encode(&mouldwrightv1.UpdatePartnerRequest{UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{path}}})
		require.Error(t, err, "%q has no lowerCamelCase that leads back to it", path)
	}
}

// FuzzFieldMask holds masks to ProtoJSON: what is taken is read alike, and is written as it stood.
func FuzzFieldMask(f *testing.F) {
	for _, text := range []string{"", "title", "title,terms.discountPercent", "a_b", "A", "a..b", " a ", "a,", "aB1c.d", "é", "a\x00"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		doc, err := protojson.Marshal(&mouldwrightv1.UpdatePartnerRequest{RequestId: text}) // the text, escaped
		if err != nil {
			return
		}
		doc = []byte(strings.Replace(string(doc), "requestId", "updateMask", 1))
		var got, theirs mouldwrightv1.UpdatePartnerRequest
		if faults := wire.Decode(doc, &got); len(faults) > 0 {
			return
		}
		if err := protojson.Unmarshal(doc, &theirs); err != nil || !proto.Equal(&got, &theirs) {
			t.Fatalf("%s: got %v, want %v (%v)", doc, &got, &theirs, err)
		}
		if len(got.GetUpdateMask().GetPaths()) > 100 {
			t.Fatalf("%d paths", len(got.GetUpdateMask().GetPaths()))
		}
		again, err := wire.Encode(&got)
		if err != nil {
			t.Fatalf("%s was read and cannot be written: %v", doc, err)
		}
		if text = strings.TrimSpace(text); got.UpdateMask != nil && string(again) != `{"updateMask":"`+text+`"}` {
			t.Fatalf("%s was written as %s", doc, again)
		}
	})
}
