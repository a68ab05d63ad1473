package mqtt

import (
	"bytes"
	"compress/gzip"
	"crypto/ed25519"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/charge"
	"bayward/agent/interlock"
	"bayward/agent/notify"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/view/viewtest"
	"bayward/agent/words"
	"bayward/mqtt/mqtttest"
)

func contract(t testing.TB) *mqtttest.Contract {
	t.Helper()
	c, err := mqtttest.Load()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestContractIsAsyncAPI checks the document against the published JSON Schema of
// AsyncAPI 3.0.0 documents.
func TestContractIsAsyncAPI(t *testing.T) {
	f, err := os.Open(filepath.Join("testdata", "asyncapi", "3.0.0.json.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	unpacked, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	schema, err := jsonschema.UnmarshalJSON(unpacked)
	if err != nil {
		t.Fatal(err)
	}
	compiler := jsonschema.NewCompiler()
	if err := compiler.AddResource("asyncapi", schema); err != nil {
		t.Fatal(err)
	}
	meta, err := compiler.Compile("asyncapi")
	if err != nil {
		t.Fatal(err)
	}
	c := contract(t)
	if err := meta.Validate(c.Doc); err != nil {
		t.Errorf("asyncapi.yaml: %v", err)
	}
	channels := c.Section("channels")
	channels["broken"] = map[string]any{"addresses": "x"}
	if meta.Validate(c.Doc) == nil {
		t.Error("the schema accepts an unknown field: the test is broken")
	}
}

func TestContractReferences(t *testing.T) {
	c := contract(t)
	n := 0
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			if ref, ok := v["$ref"].(string); ok {
				n++
				if _, err := c.Resolve(ref); err != nil {
					t.Error(err)
				}
			}
			for _, value := range v {
				walk(value)
			}
		case []any:
			for _, value := range v {
				walk(value)
			}
		}
	}
	walk(c.Doc)
	if n < 20 {
		t.Errorf("%d references found: the search is broken", n)
	}
}

// TestContractNames: what generated clients name things by: each object has a title, each operation a
// title and tags that the document declares.
func TestContractNames(t *testing.T) {
	c := contract(t)
	for _, fault := range mqtttest.Unnamed(c.Section("components", "schemas")) {
		t.Error(fault)
	}
	c.Section("components", "schemas", "state", "properties", "visit")["title"] = nil
	if len(mqtttest.Unnamed(c.Section("components", "schemas"))) != 1 {
		t.Error("an object without a title is not seen: the test is broken")
	}
	declared := fmt.Sprint(c.Section("info")["tags"])
	for name := range c.Section("operations") {
		operation := c.Section("operations", name)
		tags, _ := operation["tags"].([]any)
		if operation["title"] == nil || operation["summary"] == nil || len(tags) != 1 {
			t.Errorf("operation %s has no title, no summary or not one tag", name)
		}
		for _, tag := range tags {
			if !strings.Contains(declared, fmt.Sprintf("name:%v", tag.(map[string]any)["name"])) {
				t.Errorf("operation %s: the tag %v is not declared", name, tag)
			}
		}
	}
}

// TestContractExamples: each message has examples, and they match its schema.
func TestContractExamples(t *testing.T) {
	c := contract(t)
	for name := range c.Section("components", "messages") {
		examples, _ := c.Section("components", "messages", name)["examples"].([]any)
		if len(examples) == 0 {
			t.Errorf("%s has no example", name)
		}
		ref, _ := c.Section("components", "messages", name, "payload")["$ref"].(string)
		for _, e := range examples {
			payload, err := json.Marshal(e.(map[string]any)["payload"])
			if err != nil {
				t.Fatal(err)
			}
			if err := c.CheckSchema(strings.TrimPrefix(ref, "#/components/schemas/"), payload); err != nil {
				t.Errorf("example of %s: %v", name, err)
			}
		}
	}
}

// TestContractSignature: the example of a signed command is the order signed with
// the key of RFC 8032, section 7.1, test 1 (also RFC 8037, appendix A.1), and is
// accepted.
func TestContractSignature(t *testing.T) {
	seed, err := hex.DecodeString("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
	if err != nil {
		t.Fatal(err)
	}
	key := ed25519.NewKeyFromSeed(seed)
	inner := `{"v":1,"id":"r-1","to":"bayward/quarry-road/shed-2/bay-1/command","time":"2026-03-01T11:59:30Z","order":"release"}`
	want := signed(key, header("Ana Ruiz"), inner)
	c := contract(t)
	example := c.Section("components", "messages", "signedCommand")["examples"].([]any)[0].(map[string]any)["payload"].(map[string]any)
	if got := fmt.Sprintf(`{"v":1,"jws":"%v"}`, example["jws"]); got != want {
		t.Errorf("the example in asyncapi.yaml is\n%s\nwant\n%s", got, want)
	}
	o := newOffice(t)
	o.opt.People = []Person{{Name: "Ana Ruiz", Key: key.Public().(ed25519.PublicKey), Right: order.MayRelease}}
	if r := o.ask(want); r.Result != Done {
		t.Errorf("the example is not accepted: %+v", r)
	}
}

// TestContractFields: every published field is in the contract with a description
// and its unit, and the contract names no other.
func TestContractFields(t *testing.T) {
	c := contract(t)
	for name, typ := range map[string]reflect.Type{
		"status": reflect.TypeFor[statusBody](), "daily": reflect.TypeFor[dailyBody](), "state": reflect.TypeFor[stateBody](), "event": reflect.TypeFor[eventBody](),
		"notice": reflect.TypeFor[noticeBody](), "response": reflect.TypeFor[responseBody](),
	} {
		schema, err := c.Schema(name)
		if err != nil {
			t.Fatal(err)
		}
		viewtest.Described(t, name, typ, schema, nil)
	}
}

// TestContractKnownValues: every name that the program can publish is in the
// contract.
func TestContractKnownValues(t *testing.T) {
	c := contract(t)
	finding := []string{"state", "properties", "findings", "items", "properties"}
	fault := []string{"state", "properties", "faults", "items", "properties"}
	for _, x := range []struct {
		what  string
		path  []string
		names []string
	}{
		{"stages", []string{"state", "properties", "stage"}, names[bay.Stage](0)},
		{"findings", append(finding, "code"), names[interlock.Code](1)},
		{"severities", append(finding, "severity"), []string{interlock.Info.String(), interlock.Warning.String(), interlock.Danger.String()}},
		{"faults", append(fault, "fault"), slices.DeleteFunc(names[reading.Fault](0), func(s string) bool { return s == reading.None.String() })},
		{"sensors", append(fault, "sensor"), sensorNames()},
		{"events", []string{"event", "properties", "kind"}, names[bay.EventKind](1)},
		{"notices", []string{"notice", "properties", "kind"}, names[notify.Kind](0)},
		{"evidence", []string{"state", "properties", "full_evidence"}, names[charge.Evidence](1)},
		{"doubts", []string{"state", "properties", "full_doubt"}, names[charge.Doubt](1)},
		{"reasons to equalize", []string{"state", "properties", "equalize_due"}, names[charge.EqualizeReason](1)},
		{"verdicts on gravity", []string{"state", "properties", "gravity", "properties", "cells", "items", "properties", "verdict"}, names[charge.GravityVerdict](1)},
		{"reasons", []string{"response", "properties", "reason"}, reasonNames()},
		{"refusals", []string{"response", "properties", "faults", "items", "properties", "code"}, names[order.Code](1)},
	} {
		known := c.Known(x.path...)
		if *update {
			known = addKnown(t, known, x.names)
		}
		for _, name := range x.names {
			if !slices.Contains(known, name) {
				t.Errorf("%s: %q is missing in x-known-values of %s in asyncapi.yaml: go test ./mqtt -run TestContract -update",
					x.what, name, strings.Join(x.path, "."))
			}
		}
		if len(x.names) < 2 {
			t.Errorf("%s: only %v found: the search is broken", x.what, x.names)
		}
	}
	orders, _ := c.Section("components", "schemas", "order", "properties", "order")["enum"].([]any)
	for _, name := range append(orderNames(), askState) {
		if !slices.Contains(orders, any(name)) {
			t.Errorf("add the order %q to the schema order in asyncapi.yaml", name)
		}
	}
}

// addKnown appends new names to their list.
func addKnown(t *testing.T, known, names []string) []string {
	t.Helper()
	all := slices.Clone(known)
	for _, name := range names {
		if !slices.Contains(all, name) {
			all = append(all, name)
		}
	}
	line := func(list []string) string { return "x-known-values: [" + strings.Join(list, ", ") + "]" }
	text, err := os.ReadFile("asyncapi.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if strings.Count(string(text), line(known)) != 1 {
		t.Fatalf("asyncapi.yaml must have one line with %s", line(known))
	}
	if err := os.WriteFile("asyncapi.yaml", []byte(strings.Replace(string(text), line(known), line(all), 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	return all
}

// names returns the names of a kind from a value on, until one has no name.
func names[T interface {
	~uint8
	fmt.Stringer
}](from T) (out []string) {
	for k := from; k < 200; k++ {
		name := k.String()
		if name == "" || strings.HasSuffix(name, fmt.Sprintf("-%d", k)) || slices.Contains(out, name) {
			return out
		}
		out = append(out, name)
	}
	return out
}

func sensorNames() (out []string) {
	setup := baytest.Setup("b")
	setup.Fitted = bay.Optional
	pic, _ := bay.New(setup).Step(&bay.Readings{})
	for _, s := range pic.Sensors() {
		out = append(out, s.Name)
	}
	return out
}

func reasonNames() []string {
	var out []string
	for _, r := range []Reason{
		TooLarge, BadJSON, BadField, Retained, Stale, NotYet, ClockUnset, Repeated,
		Unsigned, BadSignature, NoRight, Busy, NoAnswer, Refused,
	} {
		out = append(out, string(r))
	}
	return out
}

// TestContractAndGoldens: the program's payloads match the contract.
func TestContractAndGoldens(t *testing.T) {
	c := contract(t)
	files, err := filepath.Glob("testdata/*.json")
	if err != nil || len(files) < 5 {
		t.Fatal(files, err)
	}
	for _, file := range files {
		payload, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		kind, _, _ := strings.Cut(strings.TrimSuffix(filepath.Base(file), ".json"), "-")
		if err := c.CheckSchema(kind, payload); err != nil {
			t.Errorf("%s: %v", file, err)
		}
	}
}

// TestContractWrittenOut: the files generated from the document are up to date.
func TestContractWrittenOut(t *testing.T) {
	c := contract(t)
	want := map[string][]byte{"PAYLOADS.md": page(t, c)}
	for name := range c.Section("components", "schemas") {
		schema, err := c.Schema(name)
		if err != nil {
			t.Fatal(err)
		}
		schema["$schema"] = "http://json-schema.org/draft-07/schema#"
		schema["title"] = words.Capital(name) // what generators call the type
		if schema["description"] == nil {
			schema["description"] = "bayward over MQTT, version 1: " + name + "."
		}
		if want["schemas/"+name+".json"], err = mqtttest.Indented(schema); err != nil {
			t.Fatal(err)
		}
	}
	for _, file := range slices.Sorted(maps.Keys(want)) {
		if *update {
			if err := os.WriteFile(file, want[file], 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if got, err := os.ReadFile(file); err != nil || !bytes.Equal(got, want[file]) {
			t.Errorf("%s is out of date with asyncapi.yaml (%v): go test ./mqtt -run TestContract -update", file, err)
		}
	}
	extra, err := filepath.Glob("schemas/*")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range extra {
		if want[file] == nil {
			t.Errorf("%s has no schema in asyncapi.yaml", file)
		}
	}
}
