package web

import (
	"encoding/json"
	"fmt"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"

	"bayward/agent/order/ordertest"
	"bayward/agent/view"
	"bayward/agent/view/viewtest"
	"bayward/mqtt/mqtttest"
)

// TestOpenAPIState: a bay is described once, in mqtt/asyncapi.yaml. Its description
// in openapi.yaml is generated from there.
func TestOpenAPIState(t *testing.T) {
	contract, err := mqtttest.Load()
	require.NoError(t, err)
	schema, err := contract.Schema("state")
	require.NoError(t, err)
	required := schema["required"].([]any)
	for _, added := range []string{"time", "time_trusted"} { // only over MQTT
		required = slices.DeleteFunc(required, func(name any) bool { return name == added })
		delete(schema["properties"].(map[string]any), added)
	}
	schema["required"] = required
	var b strings.Builder
	object(&b, "    ", "Bay", reflect.TypeFor[view.View](), schema)
	ordertest.Made(t, "openapi.yaml", "# A bay is described as in mqtt/asyncapi.yaml", "Person:", b.String(), *update)
}

// object writes a schema as YAML, its fields in the order of the Go type.
func object(b *strings.Builder, indent, name string, typ reflect.Type, schema map[string]any) {
	line := func(format string, args ...any) { fmt.Fprintf(b, indent+format+"\n", args...) }
	line("%s:", name)
	if title, ok := schema["title"]; ok && schema["type"] == "object" {
		line("  title: %s", title)
	}
	if about, ok := schema["description"]; ok {
		line("  description: %s", flow(about))
	}
	if schema["type"] == "array" {
		line("  type: array")
		object(b, indent+"  ", "items", typ, schema["items"].(map[string]any))
		return
	}
	line("  type: object")
	line("  required: %s", flow(schema["required"]))
	line("  additionalProperties: false")
	line("  properties:")
	properties := schema["properties"].(map[string]any)
	for _, f := range viewtest.Fields(typ) {
		property, _ := properties[f.Name].(map[string]any) // package mqtt's tests report a missing one
		inner := f.Type
		for inner.Kind() == reflect.Pointer || inner.Kind() == reflect.Slice {
			inner = inner.Elem()
		}
		switch {
		case property == nil:
		case inner.Kind() == reflect.Struct:
			object(b, indent+"    ", f.Name, inner, property)
		default:
			line("    %s: %s", f.Name, flow(property))
		}
	}
}

// keywords are in the order in which a schema is read.
var keywords = []string{"type", "const", "enum", "format", "pattern", "minimum", "maximum", "minLength", "maxLength", "maxItems", "items", "description", "x-known-values"}

var plainText = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_-]*$`)

// flow writes a value on one line.
func flow(v any) string {
	var parts []string
	switch v := v.(type) {
	case map[string]any:
		for _, key := range keywords {
			if value, ok := v[key]; ok {
				parts = append(parts, key+": "+flow(value))
			}
		}
		if len(parts) != len(v) {
			panic(fmt.Sprintf("openapi.yaml: the test knows the keywords %v and not all of %v", keywords, v))
		}
		return "{ " + strings.Join(parts, ", ") + " }"
	case []any:
		for _, value := range v {
			parts = append(parts, flow(value))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case string:
		if !plainText.MatchString(v) {
			return ordertest.Quoted(v)
		}
	}
	return fmt.Sprint(v)
}

// TestOpenAPIFields: the file has every field of the interface's answers, with its
// description and unit, and no other.
func TestOpenAPIFields(t *testing.T) {
	text, err := os.ReadFile("openapi.yaml")
	require.NoError(t, err)
	asJSON, err := yaml.YAMLToJSON(text)
	require.NoError(t, err)
	var doc map[string]any
	require.NoError(t, json.Unmarshal(asJSON, &doc))
	resolve := func(ref string) map[string]any {
		at := doc
		for key := range strings.SplitSeq(strings.TrimPrefix(ref, "#/"), "/") {
			at, _ = at[key].(map[string]any)
		}
		require.NotNil(t, at, ref)
		return at
	}
	for name, typ := range map[string]reflect.Type{
		"Bays": reflect.TypeFor[baysBody](), "Bay": reflect.TypeFor[view.View](), "Done": reflect.TypeFor[doneBody](), "Problem": reflect.TypeFor[errorBody](),
	} {
		viewtest.Described(t, name, typ, resolve("#/components/schemas/"+name), resolve)
	}
}
