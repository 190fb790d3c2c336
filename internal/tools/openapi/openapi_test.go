package main

import (
	"reflect"
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
)

func TestMergeRefusesTwoOfOneName(t *testing.T) {
	get := func(summary string) object {
		return object{"paths": object{"/v1/x": object{"get": object{"summary": summary}}}}
	}
	if _, err := merge([]object{get("a"), get("b")}); err == nil || !strings.Contains(err.Error(), "GET /v1/x") {
		t.Errorf("the same method twice: got %v", err)
	}
	named := func(kind string) object {
		return object{"components": object{"schemas": object{"X": object{"type": kind}}}}
	}
	if _, err := merge([]object{named("object"), named("string")}); err == nil || !strings.Contains(err.Error(), "schema X") {
		t.Errorf("two schemas of one name: got %v", err)
	}
	if _, err := merge([]object{named("object"), named("object")}); err != nil {
		t.Errorf("the same schema twice: got %v", err)
	}
}

// Keywords: JSON Schema draft 2020-12, validation vocabulary, sections 6.1 to 6.4.
func TestLimitsBecomeKeywords(t *testing.T) {
	items := &validate.FieldRules{Type: &validate.FieldRules_String_{String_: &validate.StringRules{MaxLen: proto.Uint64(60)}}}
	tests := []struct {
		name  string
		rules *validate.FieldRules
		want  object
	}{
		{
			"above 0, at most 2.5",
			&validate.FieldRules{Type: &validate.FieldRules_Double{Double: &validate.DoubleRules{
				GreaterThan: &validate.DoubleRules_Gt{Gt: 0}, LessThan: &validate.DoubleRules_Lte{Lte: 2.5}, Finite: proto.Bool(true),
			}}},
			object{"exclusiveMinimum": int64(0), "maximum": 2.5},
		},
		{
			"1 to 9 pieces of text, each at most 60 long",
			&validate.FieldRules{Type: &validate.FieldRules_Repeated{Repeated: &validate.RepeatedRules{
				MinItems: proto.Uint64(1), MaxItems: proto.Uint64(9), Items: items,
			}}},
			object{"minItems": uint64(1), "maxItems": uint64(9), "items": object{"maxLength": uint64(60)}},
		},
		{
			"one of a list",
			&validate.FieldRules{Type: &validate.FieldRules_String_{String_: &validate.StringRules{In: []string{"kg", "L"}}}},
			object{"enum": []any{"kg", "L"}},
		},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got := object{}
			if test.want["items"] != nil {
				got["items"] = object{}
			}
			if err := limit(got, test.rules, nil); err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(got, test.want) {
				t.Errorf("got %v, want %v", got, test.want)
			}
		})
	}
}

func TestARuleWithNoKeywordIsAFault(t *testing.T) {
	rules := &validate.FieldRules{Type: &validate.FieldRules_String_{String_: &validate.StringRules{Prefix: proto.String("a")}}}
	if err := limit(object{}, rules, nil); err == nil || !strings.Contains(err.Error(), "prefix") {
		t.Errorf("got %v", err)
	}
}

func TestAPathParameterKeepsOnlyWhatIsTyped(t *testing.T) {
	const said = "Name, rateBooks/{revision}."
	tests := []struct{ pattern, want, says string }{
		{"^rateBooks/[a-z]{1,9}$", "^[a-z]{1,9}$", "Name, {revision}. The rateBooks/ before it in the path is part of the name."},
		{"^[a-z]{1,9}$", "^[a-z]{1,9}$", said},
	}
	for _, test := range tests {
		parameter := object{"description": said, "schema": object{"pattern": test.pattern}}
		withoutPrefix(parameter, "/v1/rateBooks/{name}", "name")
		if got := parameter["schema"].(object)["pattern"]; got != test.want || parameter["description"] != test.says {
			t.Errorf("%s: got %s, %q, want %s, %q", test.pattern, got, parameter["description"], test.want, test.says)
		}
	}
}

// JSON Schema draft 2020-12, core vocabulary, section 10.3.2.3: additionalProperties looks at the properties beside it only.
func TestRequestsAreClosed(t *testing.T) {
	refer := func(name string) object { return object{"$ref": "#/components/schemas/" + name} }
	named := func(properties object) object { return object{"type": "object", "properties": properties} }
	doc := object{
		"paths": object{"/v1/x": object{"post": object{
			"requestBody": object{"content": object{"application/json": object{"schema": named(object{"a": refer("A")})}}},
			"responses":   refer("Answer"),
		}}},
		"components": object{"schemas": object{
			"A":      named(object{"b": object{"type": "array", "items": refer("B")}, "again": refer("A")}),
			"B":      object{"type": "object", "oneOf": []any{named(object{"c": refer("C")})}, "properties": object{"c": refer("C")}},
			"C":      object{"type": "string"},
			"Answer": named(object{}),
		}},
	}
	closeRequests(doc)
	schemas := member(doc, "components", "schemas")
	for name, want := range map[string]any{"A": false, "B": false, "C": nil, "Answer": nil} {
		if got := member(schemas, name)["additionalProperties"]; got != want {
			t.Errorf("%s: got %v, want %v", name, got, want)
		}
	}
	body := member(doc, "paths", "/v1/x", "post", "requestBody", "content", "application/json", "schema")
	if body["additionalProperties"] != false {
		t.Error("the body itself is open")
	}
	part := list(member(schemas, "B"), "oneOf")[0].(object)
	if part["additionalProperties"] != nil {
		t.Error("a part of an object was closed to the object's other members")
	}
}
