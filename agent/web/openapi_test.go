package web_test

import (
	"fmt"
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/web"
	"bayward/mqtt/mqtttest"
)

// described is the interface as described in its file.
type described struct {
	doc      map[string]any
	compiler *jsonschema.Compiler
}

func readOpenAPI(t *testing.T) described {
	t.Helper()
	data, err := os.ReadFile("openapi.yaml")
	require.NoError(t, err)
	raw, err := yaml.YAMLToJSON(data)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(string(raw)))
	require.NoError(t, err)
	d := described{doc.(map[string]any), jsonschema.NewCompiler()}
	d.compiler.DefaultDraft(jsonschema.Draft2020)
	require.NoError(t, d.compiler.AddResource("openapi.yaml", doc))
	return d
}

func (d described) schema(t *testing.T, pointer string) *jsonschema.Schema {
	t.Helper()
	s, err := d.compiler.Compile("openapi.yaml#" + pointer)
	require.NoError(t, err, pointer)
	return s
}

// at walks the document, following references.
func (d described) at(t *testing.T, keys ...string) (any, string) {
	t.Helper()
	var node any = d.doc
	pointer := ""
	for _, k := range keys {
		object, ok := node.(map[string]any)
		require.True(t, ok, "%s has no %s", pointer, k)
		require.Contains(t, object, k, pointer)
		node, pointer = object[k], pointer+"/"+strings.NewReplacer("~", "~0", "/", "~1").Replace(k)
		if object, ok := node.(map[string]any); ok && object["$ref"] != nil && strings.HasPrefix(fmt.Sprint(object["$ref"]), "#/components/responses/") {
			node, pointer = d.at(t, strings.Split(strings.TrimPrefix(fmt.Sprint(object["$ref"]), "#/"), "/")...)
		}
	}
	return node, pointer
}

var bayAddress = regexp.MustCompile(`/bays/[a-z0-9-]+`)

// check compares one exchange with the file.
func (d described) check(t *testing.T, b *bench, r request) {
	t.Helper()
	w := b.do(r)
	path := bayAddress.ReplaceAllString(r.path, "/bays/{bay}")
	method := strings.ToLower(r.method)
	body := text(t, w)
	_, pointer := d.at(t, "paths", path, method, "responses", fmt.Sprint(w.Code), "content", "application/json", "schema")
	value, err := jsonschema.UnmarshalJSON(strings.NewReader(body))
	require.NoError(t, err, body)
	require.NoError(t, d.schema(t, pointer).Validate(value), "%s %s: %s", r.method, r.path, body)
	if r.method != http.MethodPost {
		return
	}
	_, pointer = d.at(t, "paths", path, method, "requestBody", "content", "application/json", "schema")
	sent, err := jsonschema.UnmarshalJSON(strings.NewReader(r.body))
	if err != nil {
		return // not JSON
	}
	fits := d.schema(t, pointer).Validate(sent) == nil
	if w.Code == http.StatusOK || w.Code == http.StatusAccepted || w.Code == http.StatusConflict {
		require.True(t, fits, "taken, but not described: %s", r.body)
	}
	if w.Code == http.StatusBadRequest {
		require.False(t, fits, "described, but not taken: %s: %s", r.body, body)
	}
}

// TestTrafficIsAsDescribed: every answer of a whole round, good and bad, matches the
// file.
func TestTrafficIsAsDescribed(t *testing.T) {
	d := readOpenAPI(t)
	asJSON := map[string]string{"Content-Type": "application/json"}
	post := func(path, body string) request {
		return request{method: "POST", path: path, body: body, header: asJSON}
	}
	const visit, hold = "/api/v1/bays/bay-1/visit", "/api/v1/bays/bay-1/hold"
	b := newBench(nil, "bay-1", "bay-2")
	for _, r := range []request{
		{method: "GET", path: "/api/v1/bays"}, {method: "GET", path: "/api/v1/bays/bay-1"}, {method: "GET", path: "/api/v1/bays/bay-9"},
		post(hold, `{"action":"hold","by":"A"}`), post(hold, `{"action":"unhold","by":"A","id":"x"}`), post(hold, `{"action":"unhold","by":"A","id":"x"}`),
		post(hold, `{"action":"release","by":"A"}`), post(hold, `{"action":"open","by":"A"}`), post(hold, `{"action":"hold","by":"A","ml":1}`),
		post(visit, `{"action":"fill","by":"A","cell":1,"ml":1}`), post(visit, `{"action":"open","by":"A. Person"}`), {method: "GET", path: "/api/v1/bays/bay-1"},
		post(visit, `{"action":"open","by":"A"}`), post(visit, `{"action":"fill","by":"A","cell":1,"ml":110.5}`), post(visit, `{"action":"fill","by":"A","cell":49,"ml":1}`),
		post(visit, `{"action":"fill","by":"A","cell":1,"ml":2001}`), post(visit, `{"action":"fill","by":"A","cell":1.5,"ml":1}`), post(visit, `{"action":"fill","by":"A","ml":1}`),
		post(visit, `{"action":"level","by":"A","cell":2,"level_mm":-3}`), post(visit, `{"action":"level","by":"A","cell":2,"level_mm":-201}`),
		post(visit, `{"action":"quality","by":"A","us_per_cm":4.2}`), post(visit, `{"action":"quality","by":"A","us_per_cm":-1}`), post(visit, `{"action":"quality","by":"A"}`),
		post(visit, `{"action":"gravity","by":"A","cell":2,"gravity":1.27,"at_c":30}`), post(visit, `{"action":"gravity","by":"A","cell":2,"gravity":0.9,"at_c":30}`),
		post(visit, `{"action":"open","by":"A","ml":5}`), post(visit, `{"action":"open","by":"A","force":true}`), post(visit, `{"action":"open","by":"`+strings.Repeat("x", 61)+`"}`),
		post(visit, `{"action":"close","by":"A"}`), post(visit, `{"action":"close","by":"A"}`), post(visit, "nonsense"), post(visit, `{"a":"`+strings.Repeat("x", 5000)+`"}`),
		{method: "POST", path: visit, body: "{}"}, {method: "POST", path: visit, body: "{}", header: map[string]string{"Content-Type": "application/json", "Sec-Fetch-Site": "cross-site"}},
		{method: "GET", path: "/api/v1/bays"},
	} {
		d.check(t, b, r)
	}
	b.change("bay-1", func(p *bay.Picture) {
		ready(p)
		for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
			raise(p, c, interlock.Evidence{Value: 1, Limit: 2})
		}
	})
	d.check(t, b, request{method: "GET", path: "/api/v1/bays/bay-1"})
	const pack = "/api/v1/bays/bay-1/pack"
	choice := newChoice(t, nil)
	for _, r := range []request{
		{method: "GET", path: "/api/v1/bays/bay-1"}, post(pack, `{"action":"name","pack":"lift-x","by":"A"}`), post(pack, `{"action":"name","by":"A"}`),
		post(pack, `{"action":"name","pack":"lift-a","by":"A"}`), post(pack, `{"action":"forget","pack":"lift-a","by":"A"}`),
	} {
		d.check(t, choice, r)
	}
	choice.seat(t)
	d.check(t, choice, request{method: "GET", path: "/api/v1/bays/bay-1"})
	d.check(t, choice, post(pack, `{"action":"forget","by":"A"}`))
	stuck := newBench(nil, "bay-1")
	stuck.unrecorded()
	d.check(t, stuck, post(hold, `{"action":"hold","by":"A"}`))
	strangers := newBench(func(o *web.Options) { o.Writable = false }, "bay-1")
	d.check(t, strangers, post(visit, `{"action":"open","by":"A"}`))
}

// TestOpenAPINames: generated clients name their methods and types by the file: each operation has an id of
// its own and a tag that is declared, each object a title.
func TestOpenAPINames(t *testing.T) {
	doc := readOpenAPI(t).doc
	require.Empty(t, mqtttest.Unnamed(doc["components"].(map[string]any)["schemas"].(map[string]any)))
	declared, seen := fmt.Sprint(doc["tags"]), map[any]bool{}
	for path, item := range doc["paths"].(map[string]any) {
		for _, method := range []string{"get", "post"} {
			operation, ok := item.(map[string]any)[method].(map[string]any)
			if !ok {
				continue
			}
			id, tags := operation["operationId"], operation["tags"]
			require.NotNil(t, id, "%s %s has no operationId", method, path)
			require.False(t, seen[id], "two operations are named %s", id)
			seen[id] = true
			require.Len(t, tags, 1, path)
			require.Contains(t, declared, fmt.Sprintf("name:%v", tags.([]any)[0]), path)
		}
	}
	require.Greater(t, len(seen), 9, "the search is broken")
}

// TestEveryAddressIsDescribed: every address in the file is served, and so is the
// file itself.
func TestEveryAddressIsDescribed(t *testing.T) {
	d := readOpenAPI(t)
	b := newBench(func(o *web.Options) {
		o.Metrics = http.HandlerFunc(func(http.ResponseWriter, *http.Request) {})
		o.Records = func(web.Frame) http.Handler { return o.Metrics }
	}, "bay-1")
	paths, _ := d.at(t, "paths")
	for path := range paths.(map[string]any) {
		if path == "/live" { // never ends
			continue
		}
		w := b.get(strings.Replace(path, "{bay}", "bay-1", 1))
		require.NotEqual(t, http.StatusNotFound, w.Code, path)
	}
	file := b.get("/openapi.yaml")
	require.Equal(t, 200, file.Code)
	require.Contains(t, text(t, file), "openapi: 3.1.0")
}
