package mqtttest

import (
	"fmt"
	"maps"
	"slices"
)

// Unnamed returns what generators of clients cannot name or type in the schemas of a
// document: an object inside another without a title, and a published constant without
// a type. Each is given by its place.
func Unnamed(schemas map[string]any) []string {
	var found []string
	for _, name := range slices.Sorted(maps.Keys(schemas)) {
		if schema, ok := schemas[name].(map[string]any); ok {
			found = append(found, unnamed(schema, name, false)...)
		}
	}
	return found
}

func unnamed(schema map[string]any, at string, inside bool) (found []string) {
	properties, _ := schema["properties"].(map[string]any)
	if inside && properties != nil && schema["title"] == nil {
		found = append(found, at+": an object without a title")
	}
	for _, name := range slices.Sorted(maps.Keys(properties)) {
		property, ok := properties[name].(map[string]any)
		if !ok {
			continue // a field that is forbidden
		}
		if property["const"] != nil && property["type"] == nil {
			found = append(found, fmt.Sprintf("%s.%s: a constant without a type", at, name))
		}
		found = append(found, unnamed(property, at+"."+name, true)...)
	}
	if items, ok := schema["items"].(map[string]any); ok {
		found = append(found, unnamed(items, at+"[]", true)...)
	}
	return found
}
