package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/grafana/grafana-foundation-sdk/go/cog/plugins"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// panel is what the tests check, read from the JSON as Grafana would.
type panel struct {
	Type, Title, Description string
	Repeat                   string
	Datasource               struct{ UID string }
	Targets                  []struct {
		Expr, RefID    string
		Datasource     struct{ UID string }
		Instant, Range bool
	}
	FieldConfig struct {
		Defaults struct {
			Unit, NoValue string
			Color         struct{ Mode string }
			Custom        struct{ SpanNulls any }
		}
	}
	Options struct{ Legend, Tooltip map[string]any }
	Panels  []panel
}

type boardFile struct {
	name, text              string
	SchemaVersion           int
	UID, Title, Description string
	Panels                  []panel
	Annotations, Templating struct{ List []item }
	Time                    struct{ From, To string }
	Refresh                 string
	Editable                bool
	Tags                    []string
	Links                   []any
	GraphTooltip            int
	Timezone                string
}

type item struct {
	Name, Type, Expr, AllValue string
	Query                      any
	Datasource                 struct{ UID string }
	Target                     struct{ Expr string }
}

func read(t *testing.T) []boardFile {
	t.Helper()
	var files []boardFile
	for _, b := range boards() {
		text, err := os.ReadFile(filepath.Join("..", "grafana", b.name+".json"))
		if err != nil {
			t.Fatal(err)
		}
		f := boardFile{name: b.name, text: string(text)}
		if err := json.Unmarshal(text, &f); err != nil {
			t.Fatalf("%s: %v", b.name, err)
		}
		files = append(files, f)
	}
	return files
}

// all returns the panels that show data.
func (f boardFile) all() []panel {
	var found []panel
	for _, p := range f.Panels {
		for _, q := range append([]panel{p}, p.Panels...) {
			if q.Type != "row" && q.Type != "text" {
				found = append(found, q)
			}
		}
	}
	return found
}

// TestCommittedBoards: the JSON in the repository is what the program writes, and there are no other
// files.
func TestCommittedBoards(t *testing.T) {
	for _, b := range boards() {
		want, err := render(b)
		if err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(filepath.Join("..", "grafana", b.name+".json"))
		if err != nil || string(got) != string(want) {
			t.Errorf("%s.json is out of date (%v): cd dashboards/tools && go run . ../grafana", b.name, err)
		}
	}
	files, _ := filepath.Glob("../grafana/*")
	if len(files) != len(boards()) {
		t.Errorf("dashboards/grafana contains %v, want %d boards", files, len(boards()))
	}
}

// TestSchema checks each board against the dashboard schema published with Grafana, in the form of
// the foundation SDK's types: no unknown field, no value outside its list.
func TestSchema(t *testing.T) {
	plugins.RegisterDefaultPlugins()
	for _, f := range read(t) {
		if err := strictly(f.text); err != "" {
			t.Errorf("%s: %s", f.name, err)
		}
		if f.SchemaVersion != schema {
			t.Errorf("%s: schema version %d, want %d", f.name, f.SchemaVersion, schema)
		}
		for _, spoilt := range []string{
			strings.Replace(f.text, `"refresh"`, `"refrehs"`, 1),
			strings.Replace(f.text, `"lineWidth": 1`, `"lineWidth": "thick"`, 1),
		} {
			if strictly(spoilt) == "" {
				t.Errorf("%s: the check accepts a misspelt key or a wrong value", f.name)
			}
		}
	}
}

// strictly returns the errors in a board. The SDK's error is never nil, only empty.
func strictly(text string) string {
	var d dashboard.Dashboard
	var found []string
	for _, err := range []error{d.UnmarshalJSONStrict([]byte(text)), d.Validate()} {
		if err != nil && err.Error() != "" {
			found = append(found, err.Error())
		}
	}
	return strings.Join(found, "; ")
}

func TestBoardHasAQuestion(t *testing.T) {
	for _, f := range read(t) {
		if !strings.HasSuffix(f.Description, "?") || !strings.HasPrefix(f.UID, "bayward-") {
			t.Errorf("%s: uid %q, question %q", f.name, f.UID, f.Description)
		}
		for _, v := range f.Templating.List {
			if v.Type == "query" && v.Datasource.UID != "${datasource}" {
				t.Errorf("%s: variable %s uses data source %q", f.name, v.Name, v.Datasource.UID)
			}
		}
	}
}

// TestPanelsExplainThemselves: a title, what the panel shows, units, and words for no data, which is
// never 0.
func TestPanelsExplainThemselves(t *testing.T) {
	// Grafana turns litres into millilitres and hours into days from value to value; a suffix stays, so that
	// the numbers of a panel can be compared.
	known := []string{"none", "celsius", "percentunit", "bytes", "decbytes"}
	for _, fixed := range []string{"V", "A", "Ah", "mm", "L", "ms", "min", "h", "d"} {
		known = append(known, "suffix: "+fixed)
	}
	for _, f := range read(t) {
		if len(f.all()) < 9 {
			t.Errorf("%s: %d panels: the search is broken", f.name, len(f.all()))
		}
		seen := map[string]bool{}
		for _, p := range f.all() {
			d, where := p.FieldConfig.Defaults, f.name+": "+p.Title
			if p.Title == "" || p.Description == "" || seen[p.Title] {
				t.Errorf("%s: title or description is missing, or the title is used twice", where)
			}
			seen[p.Title] = true
			if !slices.Contains(known, d.Unit) {
				t.Errorf("%s: unit %q", where, d.Unit)
			}
			if d.NoValue == "" || regexp.MustCompile(`^[0-9]*$`).MatchString(d.NoValue) {
				t.Errorf("%s: no data shows as %q", where, d.NoValue)
			}
			if p.Type == "timeseries" && d.Custom.SpanNulls != false {
				t.Errorf("%s: a gap is bridged", where)
			}
			if p.Type == "state-timeline" && d.Color.Mode != "fixed" {
				t.Errorf("%s: colour mode %q drops the words", where, d.Color.Mode)
			}
			if (p.Type == "timeseries" || p.Type == "state-timeline") && (p.Options.Legend["showLegend"] == nil || p.Options.Tooltip["mode"] == nil) {
				t.Errorf("%s: legend and tooltip are not set", where)
			}
		}
	}
}

// TestSourceIsChosen: a fixed data source is a blank panel in another Grafana.
func TestSourceIsChosen(t *testing.T) {
	for _, f := range read(t) {
		if len(f.Templating.List) == 0 || f.Templating.List[0].Name != "datasource" {
			t.Errorf("%s: the first variable is not the data source", f.name)
		}
		for _, p := range f.all() {
			for _, q := range p.Targets {
				if p.Datasource.UID != "${datasource}" || q.Datasource.UID != "${datasource}" {
					t.Errorf("%s: %s: fixed data source %q, %q", f.name, p.Title, p.Datasource.UID, q.Datasource.UID)
				}
			}
		}
		for _, a := range f.Annotations.List {
			if a.Datasource.UID != "${datasource}" {
				t.Errorf("%s: annotation %s: fixed data source", f.name, a.Name)
			}
			// A mark is drawn where the value is not 0, so a comparison without bool that lets a 0
			// through draws nothing.
			if regexp.MustCompile(`[=<>] *[0-9]`).MatchString(strings.ReplaceAll(a.Expr, "bool ", "bool")) {
				t.Errorf("%s: annotation %s compares without bool", f.name, a.Name)
			}
		}
	}
}
