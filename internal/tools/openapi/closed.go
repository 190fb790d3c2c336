package main

import "strings"

// closeRequests says of every object that a request body may hold that it has no
// other members than those described: the service refuses unknown ones.
func closeRequests(doc object) {
	schemas := member(doc, "components", "schemas")
	seen := map[string]bool{}
	for _, item := range member(doc, "paths") {
		for _, operation := range item.(object) {
			body := member(operation.(object), "requestBody", "content", "application/json", "schema")
			closeObject(body)
			closeReferred(body, schemas, seen)
		}
	}
}

// closeObject leaves schemas alone that describe no object, or only a part of one.
func closeObject(schema object) {
	if schema["type"] == "object" && schema["additionalProperties"] == nil {
		schema["additionalProperties"] = false
	}
}

// closeReferred closes the schemas that a part of a schema refers to, and those
// that these refer to.
func closeReferred(part any, schemas object, seen map[string]bool) {
	switch v := part.(type) {
	case []any:
		for _, inner := range v {
			closeReferred(inner, schemas, seen)
		}
	case object:
		if reference, ok := v["$ref"].(string); ok {
			closeNamed(strings.TrimPrefix(reference, "#/components/schemas/"), schemas, seen)
		}
		for _, inner := range v {
			closeReferred(inner, schemas, seen)
		}
	}
}

func closeNamed(name string, schemas object, seen map[string]bool) {
	if seen[name] {
		return
	}
	seen[name] = true
	schema := member(schemas, name)
	closeObject(schema)
	closeReferred(schema, schemas, seen)
}
