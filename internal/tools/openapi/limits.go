package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// addLimits adds to every schema and parameter the limits that the contract sets on its field.
func addLimits(doc object, contract *protoregistry.Files) error {
	var errs []error
	schemas := member(doc, "components", "schemas")
	contract.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		errs = append(errs, limitSchemas(schemas, file.Messages()))
		errs = append(errs, limitOperations(member(doc, "paths"), file.Services()))
		return true
	})
	return errors.Join(errs...)
}

// limitSchemas limits the schemas that carry the name of a message.
func limitSchemas(schemas object, messages protoreflect.MessageDescriptors) error {
	var errs []error
	for i := range messages.Len() {
		m := messages.Get(i)
		if schema, ok := schemas[string(m.FullName())].(object); ok {
			errs = append(errs, limitMessage(schema, m))
		}
		errs = append(errs, limitSchemas(schemas, m.Messages()))
	}
	return errors.Join(errs...)
}

// limitOperations limits the bodies and parameters of the operations that belong to a service's methods.
func limitOperations(paths object, services protoreflect.ServiceDescriptors) error {
	methods := map[string]protoreflect.MethodDescriptor{}
	for i := range services.Len() {
		for j := range services.Get(i).Methods().Len() {
			method := services.Get(i).Methods().Get(j)
			methods[fmt.Sprintf("%s_%s", services.Get(i).Name(), method.Name())] = method
		}
	}
	var errs []error
	for path, item := range paths {
		for _, operation := range item.(object) {
			if method := methods[operationName(operation.(object))]; method != nil {
				errs = append(errs, limitOperation(path, operation.(object), method.Input()))
			}
		}
	}
	return errors.Join(errs...)
}

// operationName is Service_Method; a method's further bindings have a number after that.
func operationName(operation object) string {
	id, _ := operation["operationId"].(string)
	parts := strings.Split(id, "_")
	return strings.Join(parts[:min(2, len(parts))], "_")
}

// limitOperation limits the request of one operation. Its body has no schema of its own where it is the whole request.
func limitOperation(path string, operation object, input protoreflect.MessageDescriptor) error {
	body := member(operation, "requestBody", "content", "application/json", "schema")
	errs := []error{limitMessage(body, input)}
	for _, p := range list(operation, "parameters") {
		parameter := p.(object)
		name := parameter["name"].(string)
		field := fieldAt(input, name)
		if field == nil {
			continue
		}
		schema := member(parameter, "schema")
		errs = append(errs, limitField(schema, field))
		if parameter["in"] == "path" {
			withoutPrefix(parameter, path, name)
		}
	}
	return errors.Join(errs...)
}

// fieldAt finds the field that a parameter's dotted name leads to.
func fieldAt(m protoreflect.MessageDescriptor, name string) protoreflect.FieldDescriptor {
	var field protoreflect.FieldDescriptor
	for part := range strings.SplitSeq(name, ".") {
		if m == nil {
			return nil
		}
		if field = m.Fields().ByJSONName(part); field == nil {
			return nil
		}
		m = field.Message()
	}
	return field
}

// withoutPrefix takes from a resource name's pattern and description what the path itself already says: a caller types only
// the rest.
func withoutPrefix(parameter object, path, name string) {
	schema := member(parameter, "schema")
	pattern, ok := schema["pattern"].(string)
	before, _, found := strings.Cut(path, "{"+name+"}")
	if !ok || !found {
		return
	}
	for prefix := strings.TrimPrefix(before, "/"); prefix != ""; _, prefix, _ = strings.Cut(prefix, "/") {
		if rest, cut := strings.CutPrefix(pattern, "^"+prefix); cut {
			schema["pattern"] = "^" + rest
			if said, ok := parameter["description"].(string); ok {
				parameter["description"] = strings.ReplaceAll(said, prefix, "") + " The " + prefix + " before it in the path is part of the name."
			}
			return
		}
	}
}

// limitMessage limits the properties of an object schema that describes a message.
func limitMessage(schema object, m protoreflect.MessageDescriptor) error {
	properties := member(schema, "properties")
	var errs []error
	for i := range m.Fields().Len() {
		field := m.Fields().Get(i)
		property, ok := properties[field.JSONName()].(object)
		if !ok {
			continue
		}
		errs = append(errs, limitField(property, field))
		if rulesOf(field).GetRequired() {
			require(schema, field.JSONName())
		}
	}
	requireOneofs(schema, m)
	return errors.Join(append(errs, choose(schema, m))...)
}

func rulesOf(field protoreflect.FieldDescriptor) *validate.FieldRules {
	rules, _ := proto.GetExtension(field.Options(), validate.E_Field).(*validate.FieldRules)
	return rules
}

// require adds a member to those that must be there.
func require(schema object, name string) {
	if names := list(schema, "required"); !slices.Contains(names, any(name)) {
		schema["required"] = append(names, name)
	}
}

// requireOneofs takes away the generator's "none of them" where one member of a oneof must be set.
func requireOneofs(schema object, m protoreflect.MessageDescriptor) {
	for i := range m.Oneofs().Len() {
		group := m.Oneofs().Get(i)
		rules, _ := proto.GetExtension(group.Options(), validate.E_Oneof).(*validate.OneofRules)
		if !rules.GetRequired() {
			continue
		}
		first := group.Fields().Get(0).JSONName()
		for _, holder := range append(list(schema, "allOf"), schema) {
			withoutNone(holder.(object), first)
		}
	}
}

func withoutNone(holder object, first string) {
	if choices := list(holder, "oneOf"); choices != nil {
		holder["oneOf"] = slices.DeleteFunc(choices, func(choice any) bool {
			none := list(member(choice.(object), "not"), "anyOf")
			return none != nil && list(none[0].(object), "required")[0] == first
		})
	}
}

// choose says which fields exclude each other where the contract says it by rule and not by a oneof of the language.
func choose(schema object, m protoreflect.MessageDescriptor) error {
	rules, _ := proto.GetExtension(m.Options(), validate.E_Message).(*validate.MessageRules)
	if len(rules.GetOneof()) == 0 || len(member(schema, "properties")) == 0 {
		return nil
	}
	if schema["oneOf"] != nil || len(rules.GetOneof()) > 1 || !rules.GetOneof()[0].GetRequired() {
		return fmt.Errorf("%s: more than one choice of fields, or one that may stay open, cannot be written yet", m.FullName())
	}
	var choices []any
	for _, name := range rules.GetOneof()[0].GetFields() {
		field := m.Fields().ByName(protoreflect.Name(name))
		choices = append(choices, object{"required": []any{field.JSONName()}})
	}
	schema["oneOf"] = choices
	return nil
}

// limitField limits the schema of one field.
func limitField(schema object, field protoreflect.FieldDescriptor) error {
	rules := rulesOf(field)
	if rules == nil || rules.GetIgnore() == validate.Ignore_IGNORE_ALWAYS {
		return nil
	}
	if rules.GetIgnore() == validate.Ignore_IGNORE_IF_ZERO_VALUE {
		return fmt.Errorf("%s: limits that leave zero alone cannot be written in a schema; use optional", field.FullName())
	}
	if err := limit(schema, rules, field.Enum()); err != nil {
		return fmt.Errorf("%s: %w", field.FullName(), err)
	}
	return nil
}

// limit writes each rule as the keyword that says the same. A rule with no keyword is a fault, so that none is lost unseen.
func limit(schema object, rules *validate.FieldRules, enum protoreflect.EnumDescriptor) error {
	typed := rules.ProtoReflect()
	of := typed.WhichOneof(typed.Descriptor().Oneofs().ByName("type"))
	if of == nil {
		return nil
	}
	var errs []error
	typed.Get(of).Message().Range(func(rule protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		errs = append(errs, limitBy(schema, rule, value, enum))
		return true
	})
	return errors.Join(errs...)
}

func limitBy(schema object, rule protoreflect.FieldDescriptor, value protoreflect.Value, enum protoreflect.EnumDescriptor) error {
	switch name := string(rule.Name()); name {
	case "defined_only", "finite": // the lists of an enum say the one; JSON has no other numbers than finite ones
	case "items":
		items, _ := value.Message().Interface().(*validate.FieldRules)
		return limit(member(schema, "items"), items, enum)
	case "in":
		schema["enum"] = values(value.List(), enum)
	case "not_in":
		schema["not"] = object{"enum": values(value.List(), enum)}
	default:
		keyword := keywords()[name]
		if keyword == "" {
			return fmt.Errorf("rule %s has no keyword", rule.FullName())
		}
		schema[keyword] = plain(value, enum)
	}
	return nil
}

// keywords are the keywords of JSON Schema (draft 2020-12, validation vocabulary) for the rules that are used.
func keywords() map[string]string {
	return map[string]string{
		"gt": "exclusiveMinimum", "gte": "minimum", "lt": "exclusiveMaximum", "lte": "maximum", "const": "const",
		"min_len": "minLength", "max_len": "maxLength", "pattern": "pattern",
		"min_items": "minItems", "max_items": "maxItems", "unique": "uniqueItems",
	}
}

func values(from protoreflect.List, enum protoreflect.EnumDescriptor) []any {
	var all []any
	for i := range from.Len() {
		all = append(all, plain(from.Get(i), enum))
	}
	return all
}

// plain is a rule's value as JSON writes it: the numbers of an enum as their names, whole numbers without a point.
func plain(value protoreflect.Value, enum protoreflect.EnumDescriptor) any {
	switch v := value.Interface().(type) {
	case int32:
		if enum != nil {
			return string(enum.Values().ByNumber(protoreflect.EnumNumber(v)).Name())
		}
	case float64:
		if v == math.Trunc(v) && math.Abs(v) < 1<<53 {
			return int64(v)
		}
	}
	return value.Interface()
}
