package records_test

import (
	"encoding/base64"
	"encoding/csv"
	"fmt"
	"mime"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/logbook"
	"bayward/agent/order"
	"bayward/agent/records"
	"bayward/agent/web"
)

// promised is the interface as described by the file.
type promised struct {
	doc      map[string]any
	compiler *jsonschema.Compiler
}

func readPromise(t *testing.T) promised {
	t.Helper()
	text, err := os.ReadFile("../web/openapi.yaml")
	require.NoError(t, err)
	raw, err := yaml.YAMLToJSON(text)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(string(raw)))
	require.NoError(t, err)
	p := promised{doc.(map[string]any), jsonschema.NewCompiler()}
	p.compiler.DefaultDraft(jsonschema.Draft2020)
	p.compiler.AssertFormat()
	require.NoError(t, p.compiler.AddResource("openapi.yaml", doc))
	return p
}

// at walks the file, following references to shared answers.
func (p promised) at(t *testing.T, keys ...string) (node any, pointer string) {
	t.Helper()
	node = p.doc
	for _, k := range keys {
		require.Contains(t, node, k, pointer)
		node, pointer = node.(map[string]any)[k], pointer+"/"+strings.NewReplacer("~", "~0", "/", "~1").Replace(k)
		object, _ := node.(map[string]any)
		if to, _ := object["$ref"].(string); strings.HasPrefix(to, "#/components/responses/") {
			node, pointer = p.at(t, strings.Split(to[2:], "/")...)
		}
	}
	return node, pointer
}

func (p promised) fits(t *testing.T, pointer, body string) {
	t.Helper()
	schema, err := p.compiler.Compile("openapi.yaml#" + pointer)
	require.NoError(t, err)
	value, err := jsonschema.UnmarshalJSON(strings.NewReader(body))
	require.NoError(t, err, body)
	require.NoError(t, schema.Validate(value))
}

// answer checks one answer against the file: its status, its media type, its body.
func (p promised) answer(t *testing.T, path, method string, w *httptest.ResponseRecorder) {
	t.Helper()
	if method != http.MethodGet { // only one method is described, and that others are rejected
		method = http.MethodGet
	}
	answer, pointer := p.at(t, "paths", path, strings.ToLower(method), "responses", fmt.Sprint(w.Code))
	content, _ := answer.(map[string]any)["content"].(map[string]any)
	if content == nil {
		require.NotEmpty(t, w.Header().Get("Location"))
		return
	}
	media, _, err := mime.ParseMediaType(w.Header().Get("Content-Type"))
	require.NoError(t, err)
	require.Contains(t, content, media, "%s: %d", path, w.Code)
	if media == "application/json" {
		p.fits(t, pointer+"/content/application~1json/schema", w.Body.String())
	}
}

// site is the whole interface over a record, as main assembles it.
func site(r *logbook.Reader, people ...web.Person) http.Handler {
	return web.New(web.Options{
		Site: "quarry-road", Agent: "shed-2", Units: "si", Pictures: func() []*bay.Picture { return nil }, People: people,
		Records: func(frame web.Frame) http.Handler {
			return records.Handler(records.ServeOptions{Reader: r, Frame: frame, Now: func() time.Time { return at(340).Wall }})
		},
	})
}

func ask(h http.Handler, method, address string, headers ...string) *httptest.ResponseRecorder {
	w, r := httptest.NewRecorder(), httptest.NewRequest(method, "http://localhost"+address, nil)
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	h.ServeHTTP(w, r)
	return w
}

const (
	csvPath  = "/api/v1/records.csv"
	jsonPath = "/api/v1/records.json"
	pagePath = "/records"
)

// TestRowsAreAsPromised: each table's rows fit its own schema, whose columns are
// the table's in their order, and so are those of CSV.
func TestRowsAreAsPromised(t *testing.T) {
	p := readPromise(t)
	_, r := kept(t, twoWeeks())
	h := site(r)
	for _, table := range records.Tables() {
		schema := "Rows" + strings.ToUpper(table.Name[:1]) + table.Name[1:]
		row, pointer := p.at(t, "components", "schemas", schema, "items")
		var names, listed []string
		for _, c := range table.Columns {
			names = append(names, c.Name)
		}
		for _, name := range row.(map[string]any)["required"].([]any) {
			listed = append(listed, name.(string))
		}
		require.Equal(t, names, listed, "components.schemas.%s.items.required", schema)
		require.Len(t, row.(map[string]any)["properties"], len(names))
		for name := range row.(map[string]any)["properties"].(map[string]any) {
			require.Contains(t, names, name, pointer)
		}

		w := ask(h, http.MethodGet, jsonPath+"?table="+table.Name)
		require.Equal(t, http.StatusOK, w.Code)
		require.NotEqual(t, "[]\n", w.Body.String(), "nothing was checked")
		p.answer(t, jsonPath, http.MethodGet, w)
		p.fits(t, "/components/schemas/"+schema, w.Body.String())

		w = ask(h, http.MethodGet, csvPath+"?table="+table.Name)
		p.answer(t, csvPath, http.MethodGet, w)
		header, err := csv.NewReader(w.Body).Read()
		require.NoError(t, err)
		require.Equal(t, names, header)
	}
}

// TestQuestionsAreAsPromised: each parameter in the file is accepted, with each
// value that it lists and no other, and no parameter that it does not list.
func TestQuestionsAreAsPromised(t *testing.T) {
	p := readPromise(t)
	_, r := kept(t, twoWeeks())
	h := site(r)
	good := map[string]string{"pack": "lift-24v", "bay": "bay-1", "since": "8w", "until": "2026-03-09"}
	for _, path := range []string{csvPath, jsonPath, pagePath} {
		list, _ := p.at(t, "paths", path, "parameters")
		for _, one := range list.([]any) {
			name := one.(map[string]any)["name"].(string)
			values := []string{good[name]}
			if accepted, ok := one.(map[string]any)["schema"].(map[string]any)["enum"].([]any); ok {
				values = values[:0]
				for _, v := range accepted {
					values = append(values, v.(string))
				}
				w := ask(h, http.MethodGet, path+"?pack=lift-24v&"+name+"=else")
				require.Equal(t, http.StatusBadRequest, w.Code, "%s: %s", path, name)
				p.answer(t, path, http.MethodGet, w)
			}
			for _, v := range values {
				form := url.Values{"pack": {"lift-24v"}}
				form.Set(name, v)
				w := ask(h, http.MethodGet, path+"?"+form.Encode())
				require.Equal(t, http.StatusOK, w.Code, "%s?%s: %s", path, form.Encode(), w.Body)
				p.answer(t, path, http.MethodGet, w)
			}
		}
		w := ask(h, http.MethodGet, path+"?pack=lift-24v&color=red")
		require.Equal(t, http.StatusBadRequest, w.Code)
		p.answer(t, path, http.MethodGet, w)
	}
	table, _ := p.at(t, "paths", csvPath, "parameters")
	var listed []string
	for _, v := range table.([]any)[0].(map[string]any)["schema"].(map[string]any)["enum"].([]any) {
		listed = append(listed, v.(string))
	}
	require.Equal(t, records.TableNames(), listed)
}

// TestRefusalsAreAsPromised: a caller without access, a wrong request, a busy
// moment and an unreadable record are answered as the file describes.
func TestRefusalsAreAsPromised(t *testing.T) {
	p := readPromise(t)
	_, r := kept(t, twoWeeks())
	pin, err := web.HashPIN("not a secret")
	require.NoError(t, err)
	open, closed := site(r), site(r, web.Person{Name: "Ann", Right: order.MayLook, Hash: pin})
	for _, path := range []string{csvPath, jsonPath, pagePath} {
		for _, method := range []string{http.MethodPost, http.MethodPut, http.MethodDelete} {
			w := ask(open, method, path)
			require.Equal(t, http.StatusMethodNotAllowed, w.Code, "%s %s", method, path)
			p.answer(t, path, method, w)
		}
		w := ask(closed, http.MethodGet, path)
		require.Contains(t, []int{http.StatusUnauthorized, http.StatusSeeOther}, w.Code)
		p.answer(t, path, http.MethodGet, w)
		w = ask(open, http.MethodHead, path)
		require.Equal(t, http.StatusOK, w.Code)
	}
	name := "Basic " + base64.StdEncoding.EncodeToString([]byte("Ann:not a secret"))
	p.answer(t, csvPath, http.MethodGet, ask(closed, http.MethodGet, csvPath, "Authorization", name))
	w := ask(open, http.MethodGet, pagePath+"?pack=none")
	require.Equal(t, http.StatusNotFound, w.Code)
	p.answer(t, pagePath, http.MethodGet, w)

	require.NoError(t, r.Close())
	for _, address := range []string{csvPath, jsonPath, csvPath + "?table=packs", pagePath, pagePath + "?pack=lift-24v"} {
		w := ask(open, http.MethodGet, address)
		require.Equal(t, http.StatusServiceUnavailable, w.Code, address)
		require.Empty(t, w.Header().Get("Content-Disposition"))
		path, _, _ := strings.Cut(address, "?")
		p.answer(t, path, http.MethodGet, w)
	}
}

// TestRecordInTheReadersLanguage: the page's own choice of language and units holds
// for the record, too, unless the address names others.
func TestRecordInTheReadersLanguage(t *testing.T) {
	_, r := kept(t, twoWeeks())
	h := site(r)
	page := ask(h, http.MethodGet, pagePath+"?pack=lift-24v", "Cookie", "bayward-language=es; bayward-units=us").Body.String()
	mustSay(t, page, "Registro de la batería lift-24v")
	mustSay(t, page, ">97<") // 36.25 °C in °F
	mustSay(t, ask(h, http.MethodGet, pagePath, "Cookie", "bayward-language=es").Body.String(), "Una batería, para imprimir")
	mustSay(t, ask(h, http.MethodGet, pagePath+"?pack=lift-24v&language=en", "Cookie", "bayward-language=es").Body.String(), "Record of battery lift-24v")
}
