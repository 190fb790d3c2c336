package archtest_test

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/mouldwright/mouldwright/api/openapi"
)

// document is what these tests read of the OpenAPI document (OpenAPI Specification 3.1.0, section 4.8.1).
type document struct {
	OpenAPI string `json:"openapi"`
	Info    struct{ Title, Version string }
	Servers []struct{ URL string }
	Paths   map[string]map[string]struct {
		OperationID string `json:"operationId"`
	}
	Components struct {
		Schemas map[string]schema
	}
}

type schema struct {
	Properties map[string]map[string]any
	Required   []string
	OneOf      []any `json:"oneOf"`
	Further    any   `json:"additionalProperties"`
}

func read(t *testing.T) document {
	t.Helper()
	var d document
	if err := json.Unmarshal(openapi.Document, &d); err != nil {
		t.Fatal(err)
	}
	return d
}

func TestTheDocumentHasEveryMethod(t *testing.T) {
	d := read(t)
	if d.OpenAPI != "3.1.0" || d.Info.Title != "Mouldwright" || d.Info.Version != "v1" {
		t.Errorf("got OpenAPI %q, title %q, version %q", d.OpenAPI, d.Info.Title, d.Info.Version)
	}
	described := map[string]bool{}
	for _, methods := range d.Paths {
		for _, operation := range methods {
			described[operation.OperationID] = true
		}
	}
	contract(func(file protoreflect.FileDescriptor) {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				if id := string(service.Name() + "_" + service.Methods().Get(j).Name()); !described[id] && !service.Methods().Get(j).IsStreamingClient() {
					t.Errorf("%s is not described", id)
				}
			}
		}
	})
}

func TestTheDocumentPointsNowhereOutside(t *testing.T) {
	d := read(t)
	for _, reference := range regexp.MustCompile(`"\$ref": "([^"]*)"`).FindAllSubmatch(openapi.Document, -1) {
		name, local := strings.CutPrefix(string(reference[1]), "#/components/schemas/")
		if _, ok := d.Components.Schemas[name]; !local || !ok {
			t.Errorf("%s leads nowhere", reference[1])
		}
	}
}

// Every field that the contract bounds has a keyword that says so: the limits did not get lost on the way.
func TestTheDocumentShowsLimits(t *testing.T) {
	keywords := map[protoreflect.Kind][]string{
		protoreflect.DoubleKind: {"maximum", "exclusiveMaximum"},
		protoreflect.Int32Kind:  {"maximum", "exclusiveMaximum"},
		protoreflect.StringKind: {"maxLength", "pattern", "enum"},
	}
	schemas := read(t).Components.Schemas
	for _, field := range fields(asked()) {
		property := schemas[string(field.Parent().FullName())].Properties[field.JSONName()]
		if property == nil { // a request has no schema of its own
			continue
		}
		if field.IsList() {
			if property["maxItems"] == nil {
				t.Errorf("%s: no maxItems", field.FullName())
			}
			property, _ = property["items"].(map[string]any)
		}
		if wanted := keywords[field.Kind()]; wanted != nil && !hasAny(property, wanted) {
			t.Errorf("%s: got %v, want one of %v", field.FullName(), property, wanted)
		}
	}
	if got := schemas["mouldwright.v1.Piece"].Properties["quantity"]; got["minimum"] != 1.0 || got["maximum"] != 10000.0 {
		t.Errorf("quantity: got %v, want 1 to 10000", got)
	}
	if got := schemas["mouldwright.v1.Form"].OneOf; len(got) != 7 {
		t.Errorf("a form is one of %d shapes, want 7", len(got))
	}
}

// The service refuses members that it does not know (a price may hang on a misspelt one), so the document allows none.
func TestTheDocumentClosesWhatIsAsked(t *testing.T) {
	d := read(t)
	closed := 0
	for _, m := range asked() {
		schema, ok := d.Components.Schemas[string(m.FullName())]
		if !ok { // a request has no schema of its own
			continue
		}
		closed++
		if schema.Further != false {
			t.Errorf("%s: got additionalProperties %v, want false", m.FullName(), schema.Further)
		}
	}
	if closed < 50 {
		t.Errorf("only %d schemas were looked at", closed)
	}
	if len(d.Servers) != 1 || d.Servers[0].URL != "http://127.0.0.1:8080" {
		t.Errorf("got servers %v", d.Servers)
	}
}

func hasAny(property map[string]any, keywords []string) bool {
	for _, keyword := range keywords {
		if property[keyword] != nil {
			return true
		}
	}
	return false
}
