package main

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
)

// object is a JSON object as encoding/json reads it: its members that are objects are of type map[string]any.
type object = map[string]any

const description = `Quotes for bespoke fibreglass work. The same calls stand behind gRPC. ` +
	`A member that is not described here is an error, as is a value outside its limits; every fault of a request is named at once.`

// merge makes one document of several that speak of the same service.
func merge(parts []object) (object, error) {
	paths, schemas := object{}, object{}
	tags := map[string]any{}
	for _, part := range parts {
		if err := mergePaths(paths, member(part, "paths")); err != nil {
			return nil, err
		}
		if err := mergeSame(schemas, member(part, "components", "schemas")); err != nil {
			return nil, err
		}
		for _, tag := range list(part, "tags") {
			tags[tag.(object)["name"].(string)] = tag
		}
	}
	return object{
		"openapi":    "3.1.0",
		"info":       object{"title": "Mouldwright", "version": "v1", "description": description},
		"servers":    []any{object{"url": "http://127.0.0.1:8080", "description": "Where the service listens unless it is told otherwise."}},
		"paths":      paths,
		"components": object{"schemas": schemas},
		"tags":       inOrder(tags),
	}, nil
}

// mergePaths adds the methods of each path; a method that stands twice is a fault.
func mergePaths(into, from object) error {
	for path, item := range from {
		if into[path] == nil {
			into[path] = object{}
		}
		for method, operation := range item.(object) {
			if into[path].(object)[method] != nil {
				return fmt.Errorf("%s %s stands in two documents", strings.ToUpper(method), path)
			}
			into[path].(object)[method] = operation
		}
	}
	return nil
}

// mergeSame adds members; one that stands twice must be the same both times.
func mergeSame(into, from object) error {
	for name, schema := range from {
		if had := into[name]; had != nil && !reflect.DeepEqual(had, schema) {
			return fmt.Errorf("schema %s differs between two documents", name)
		}
		into[name] = schema
	}
	return nil
}

func inOrder(byName map[string]any) []any {
	var all []any
	for _, name := range slices.Sorted(maps.Keys(byName)) {
		all = append(all, byName[name])
	}
	return all
}

// member walks down to a member object; an empty object where there is none.
func member(o object, path ...string) object {
	for _, name := range path {
		next, ok := o[name].(object)
		if !ok {
			return object{}
		}
		o = next
	}
	return o
}

// list returns a member that is a list; an empty one where there is none.
func list(o object, name string) []any {
	values, _ := o[name].([]any)
	return values
}
