package mqtt

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"bayward/mqtt/mqtttest"
)

// page returns the contract as a page for people.
func page(t *testing.T, c *mqtttest.Contract) []byte {
	t.Helper()
	var b strings.Builder
	info := c.Section("info")
	fmt.Fprintf(&b, "# Topics and payloads, version %v\n\n", info["version"])
	b.WriteString("Generated from [asyncapi.yaml](asyncapi.yaml) by `go test ./mqtt -run TestContract -update`; do not edit.\n\n")
	fmt.Fprintf(&b, "%v\n", info["description"])
	for _, name := range []string{"status", "state", "event", "notice", "command", "response"} {
		channel := c.Section("channels", name)
		fmt.Fprintf(&b, "## %v\n\nTopic `%v`. %v\n\n", channel["title"], channel["address"], channel["description"])
		messages := c.Section("channels", name, "messages")
		for _, m := range slices.Sorted(maps.Keys(messages)) {
			writeMessage(t, &b, c, m, len(messages) > 1)
		}
	}
	b.WriteString("## Order object\n\nAn open command is an order object; a signed command contains one.\n\n")
	writeFields(&b, c.Section("components", "schemas", "order"), "")
	return []byte(strings.TrimSpace(b.String()) + "\n")
}

func writeMessage(t *testing.T, b *strings.Builder, c *mqtttest.Contract, name string, titled bool) {
	t.Helper()
	m := c.Section("components", "messages", name)
	if titled {
		fmt.Fprintf(b, "### %v\n\n%v\n\n", m["title"], m["summary"])
	}
	if text, ok := m["description"].(string); ok {
		fmt.Fprintf(b, "%s\n\n", text)
	}
	ref, _ := m["payload"].(map[string]any)["$ref"].(string)
	schema := strings.TrimPrefix(ref, "#/components/schemas/")
	if fields := c.Section("components", "schemas", schema); fields["properties"] != nil {
		writeFields(b, fields, "")
	} else {
		b.WriteString("An [order object](#order-object) with `by`, and the order `hold` or `state`.\n\n")
	}
	for _, e := range m["examples"].([]any) {
		example := e.(map[string]any)
		text, err := encode(example["payload"])
		if err != nil {
			t.Fatal(err)
		}
		if summary, ok := example["summary"].(string); ok {
			fmt.Fprintf(b, "%s\n\n", summary)
		}
		fmt.Fprintf(b, "```json\n%s\n```\n\n", text)
	}
}

func writeFields(b *strings.Builder, schema map[string]any, under string) {
	if under == "" {
		b.WriteString("| field | type | present | meaning |\n| --- | --- | --- | --- |\n")
	}
	required, _ := schema["required"].([]any)
	fields, _ := schema["properties"].(map[string]any)
	for _, name := range slices.SortedFunc(maps.Keys(fields), byPresence(required)) {
		f := fields[name].(map[string]any)
		present := "optional"
		if slices.Contains(required, any(name)) {
			present = "always"
		}
		fmt.Fprintf(b, "| `%s%s` | %s | %s | %v%s |\n", under, name, kindOf(f), present, f["description"], values(f))
		if items, ok := f["items"].(map[string]any); ok && items["properties"] != nil {
			writeFields(b, items, under+name+"[].")
		}
		if f["properties"] != nil {
			writeFields(b, f, under+name+".")
		}
	}
	if under == "" {
		b.WriteString("\n")
	}
}

// byPresence puts the required fields first, in the order of their list.
func byPresence(required []any) func(a, b string) int {
	rank := func(name string) int {
		if i := slices.Index(required, any(name)); i >= 0 {
			return i
		}
		return len(required)
	}
	return func(a, b string) int {
		if d := rank(a) - rank(b); d != 0 {
			return d
		}
		return strings.Compare(a, b)
	}
}

func kindOf(f map[string]any) string {
	if value, ok := f["const"]; ok {
		return fmt.Sprint(value)
	}
	kind := fmt.Sprint(f["type"])
	if format, ok := f["format"]; ok {
		kind = fmt.Sprint(format)
	}
	if items, ok := f["items"].(map[string]any); ok {
		kind += " of " + kindOf(items)
	}
	low, hasLow := f["minimum"].(json.Number)
	high, hasHigh := f["maximum"].(json.Number)
	switch {
	case hasLow && hasHigh:
		kind += fmt.Sprintf(", %s to %s", low, high)
	case hasLow:
		kind += fmt.Sprintf(", %s or more", low)
	}
	return kind
}

func values(f map[string]any) string {
	text := ""
	if list, ok := f["enum"].([]any); ok {
		text = " One of " + quotedList(list) + "."
	}
	if list, ok := f["x-known-values"].([]any); ok {
		text = " Known so far: " + quotedList(list) + "."
	}
	return text
}

func quotedList(list []any) string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = fmt.Sprintf("`%v`", v)
	}
	return strings.Join(out, ", ")
}
