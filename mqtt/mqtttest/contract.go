// Package mqtttest checks messages against the published contract,
// mqtt/asyncapi.yaml.
package mqtttest

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// Contract is the AsyncAPI document.
type Contract struct {
	Doc     map[string]any // as JSON values, with references
	strict  map[string]*jsonschema.Schema
	address map[string]string // of each channel
}

// Load reads the contract and compiles its schemas. For checks they are stricter
// than in the contract: every published field must be described.
func Load() (*Contract, error) {
	text, err := os.ReadFile(filepath.Join(folder(), "asyncapi.yaml"))
	if err != nil {
		return nil, err
	}
	c := &Contract{strict: map[string]*jsonschema.Schema{}, address: map[string]string{}}
	asJSON, err := yaml.YAMLToJSON(text)
	if err != nil {
		return nil, fmt.Errorf("asyncapi.yaml: %w", err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(asJSON))
	if err != nil {
		return nil, fmt.Errorf("asyncapi.yaml: %w", err)
	}
	c.Doc, _ = doc.(map[string]any)
	for name, channel := range c.Section("channels") {
		c.address[name], _ = channel.(map[string]any)["address"].(string)
	}
	return c, c.compile()
}

// folder returns the contract's folder, for any test.
func folder() string {
	_, file, _, _ := runtime.Caller(0)
	return filepath.Dir(filepath.Dir(file))
}

// Section returns a part of the document, such as "components", "schemas".
func (c *Contract) Section(path ...string) map[string]any {
	at := c.Doc
	for _, name := range path {
		at, _ = at[name].(map[string]any)
	}
	return at
}

func (c *Contract) compile() error {
	for name := range c.Section("components", "schemas") {
		schema, err := c.Schema(name)
		if err != nil {
			return err
		}
		compiler := jsonschema.NewCompiler()
		compiler.AssertFormat()
		compiler.DefaultDraft(jsonschema.Draft7)
		if err := compiler.AddResource(name, closed(schema)); err != nil {
			return fmt.Errorf("schema %s: %w", name, err)
		}
		if c.strict[name], err = compiler.Compile(name); err != nil {
			return fmt.Errorf("schema %s: %w", name, err)
		}
	}
	return nil
}

// Schema returns a schema of the document with its references resolved.
func (c *Contract) Schema(name string) (map[string]any, error) {
	out, err := c.inline(c.Section("components", "schemas")[name], 0)
	schema, ok := out.(map[string]any)
	if err == nil && !ok {
		err = fmt.Errorf("schema %s: there is none", name)
	}
	return schema, err
}

// Resolve follows a reference such as "#/components/schemas/state".
func (c *Contract) Resolve(ref string) (any, error) {
	var at any = c.Doc
	for name := range strings.SplitSeq(strings.TrimPrefix(ref, "#/"), "/") {
		m, _ := at.(map[string]any)
		at = m[name]
	}
	if at == nil {
		return nil, fmt.Errorf("asyncapi.yaml: %s leads nowhere", ref)
	}
	return at, nil
}

func (c *Contract) inline(v any, depth int) (any, error) {
	if depth > 20 {
		return nil, errors.New("asyncapi.yaml: references form a circle")
	}
	switch v := v.(type) {
	case map[string]any:
		return c.inlineObject(v, depth+1)
	case []any:
		out := make([]any, len(v))
		for i := range v {
			var err error
			if out[i], err = c.inline(v[i], depth+1); err != nil {
				return nil, err
			}
		}
		return out, nil
	}
	return v, nil
}

func (c *Contract) inlineObject(v map[string]any, depth int) (any, error) {
	if ref, ok := v["$ref"].(string); ok {
		target, err := c.Resolve(ref)
		if err != nil {
			return nil, err
		}
		return c.inline(target, depth)
	}
	out := map[string]any{}
	for key, value := range v {
		in, err := c.inline(value, depth)
		if err != nil {
			return nil, err
		}
		out[key] = in
	}
	return out, nil
}

// closed makes every object accept only the properties that it describes.
func closed(v any) any {
	switch v := v.(type) {
	case map[string]any:
		out := map[string]any{}
		for key, value := range v {
			out[key] = closed(value)
		}
		if _, described := v["properties"]; described && v["type"] == "object" {
			out["additionalProperties"] = false
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i := range v {
			out[i] = closed(v[i])
		}
		return out
	}
	return v
}

// CheckSchema checks a payload against one schema.
func (c *Contract) CheckSchema(name string, payload []byte) error {
	schema := c.strict[name]
	if schema == nil {
		return fmt.Errorf("asyncapi.yaml has no schema %s", name)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(payload))
	if err != nil {
		return fmt.Errorf("%s: %w", payload, err)
	}
	if err := schema.Validate(v); err != nil {
		return fmt.Errorf("%w\nin %s\n(every published field must be in mqtt/asyncapi.yaml; after a change there: go test ./mqtt -run TestContract -update)", err, payload)
	}
	return nil
}

// Check finds the channel of a topic, checks the payload against its messages and
// returns the channel's name.
func (c *Contract) Check(topic string, payload []byte) (channel string, err error) {
	for name, address := range c.address {
		if fits(address, topic) {
			channel = name
		}
	}
	if channel == "" {
		return "", fmt.Errorf("asyncapi.yaml has no channel for topic %s", topic)
	}
	var errs []string
	for _, name := range c.Payloads(channel) {
		err := c.CheckSchema(name, payload)
		if err == nil {
			return channel, nil
		}
		errs = append(errs, err.Error())
	}
	return channel, fmt.Errorf("%s: %s", topic, strings.Join(errs, "\n"))
}

// Payloads returns the names of the schemas of a channel's messages.
func (c *Contract) Payloads(channel string) []string {
	var out []string
	for _, name := range slices.Sorted(maps.Keys(c.Section("channels", channel, "messages"))) {
		ref, _ := c.Section("components", "messages", name, "payload")["$ref"].(string)
		out = append(out, strings.TrimPrefix(ref, "#/components/schemas/"))
	}
	return out
}

func fits(address, topic string) bool {
	want, got := strings.Split(address, "/"), strings.Split(topic, "/")
	if len(want) != len(got) {
		return false
	}
	for i := range want {
		if !strings.HasPrefix(want[i], "{") && want[i] != got[i] || got[i] == "" {
			return false
		}
	}
	return true
}

// Known returns the known values of an open list, by the path of the property.
func (c *Contract) Known(path ...string) []string {
	list, _ := c.Section(append([]string{"components", "schemas"}, path...)...)["x-known-values"].([]any)
	out := make([]string, len(list))
	for i := range list {
		out[i], _ = list[i].(string)
	}
	return out
}

// Indented returns a JSON value formatted for people.
func Indented(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	err := e.Encode(v)
	return b.Bytes(), err
}
