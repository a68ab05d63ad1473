package main

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/promql/parser"
)

// filled stands in for Grafana, which replaces the variables with their values before it queries.
var filled = strings.NewReplacer("$__rate_interval", "4m", "$__range", "7d", "$site", ".*", "$agent", ".*", "$bay", ".*", "$pack", ".*")

// expressions returns every query of the boards and of the rules, by its place.
func expressions(t *testing.T) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, f := range read(t) {
		for _, p := range f.all() {
			for _, q := range p.Targets {
				all[f.name+": "+p.Title+" "+q.RefID] = filled.Replace(q.Expr)
			}
		}
		for _, a := range f.Annotations.List {
			all[f.name+": annotation "+a.Name] = filled.Replace(a.Expr)
			if a.Target.Expr != a.Expr {
				t.Errorf("%s: annotation %s has two different expressions", f.name, a.Name)
			}
		}
	}
	boardQueries := len(all)
	for _, r := range rules(t) {
		all["rule "+r.Record+r.Alert] = r.Expr
	}
	if boardQueries < 40 || len(all) < boardQueries+20 {
		t.Fatalf("%d queries, %d with rules: the search is broken", boardQueries, len(all))
	}
	return all
}

type rule struct{ Record, Alert, Expr string }

func rules(t *testing.T) []rule {
	t.Helper()
	text, err := os.ReadFile("../rules/bayward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Groups []struct{ Rules []rule } }
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	var all []rule
	for _, g := range file.Groups {
		all = append(all, g.Rules...)
	}
	return all
}

// metrics maps each metric of the agent's golden page to its labels. A test of agent/metrics keeps
// that page equal to the program's output.
func metrics(t *testing.T) map[string][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "agent", "metrics", "testdata", "metrics.txt"))
	if err != nil {
		t.Fatal(err)
	}
	known := map[string][]string{
		"up": nil, "process_resident_memory_bytes": nil, "process_start_time_seconds": nil, // made by Prometheus and by every Go program
		"bayward_disk_written_bytes_total": nil, // from the kernel, so not on a golden page
	}
	label, metric := regexp.MustCompile(`([a-z]+)="`), regexp.MustCompile(`\bbayward_[a-z_]+`)
	for _, m := range regexp.MustCompile(`(?m)^([a-z_]+)(?:\{(.*)\})? \S+$`).FindAllStringSubmatch(string(text), -1) {
		for _, l := range label.FindAllStringSubmatch(m[2], -1) {
			if !slices.Contains(known[m[1]], l[1]) {
				known[m[1]] = append(known[m[1]], l[1])
			}
		}
		if known[m[1]] == nil {
			known[m[1]] = []string{}
		}
	}
	for _, r := range rules(t) {
		if r.Record != "" {
			known[r.Record] = append(known[r.Record], "bay", "cell")
			for _, name := range metric.FindAllString(r.Expr, -1) { // a record has at most the labels of what it is made of
				known[r.Record] = append(known[r.Record], known[name]...)
			}
		}
	}
	if len(known) < 25 {
		t.Fatalf("%d metrics: the search is broken", len(known))
	}
	return known
}

// onTargets are the labels that the scrape configuration adds.
var onTargets = []string{"__name__", "job", "instance", "site", "agent"}

// TestQueries: Prometheus's own parser accepts each query, and its metrics and labels exist. A
// misspelt one would give an empty panel, which looks as if all were well.
func TestQueries(t *testing.T) {
	known := metrics(t)
	p := parser.NewParser(parser.Options{})
	for where, text := range expressions(t) {
		expr, err := p.ParseExpr(text)
		if err != nil {
			t.Errorf("%s: %v\n%s", where, err, text)
			continue
		}
		parser.Inspect(expr, func(n parser.Node, _ []parser.Node) error {
			selector, ok := n.(*parser.VectorSelector)
			if !ok {
				return nil
			}
			allowed, ok := known[selector.Name]
			if !ok {
				t.Errorf("%s: there is no metric %s", where, selector.Name)
			}
			for _, m := range selector.LabelMatchers {
				if !slices.Contains(onTargets, m.Name) && !slices.Contains(allowed, m.Name) {
					t.Errorf("%s: %s has no label %s", where, selector.Name, m.Name)
				}
				if m.Name == "instance" && m.Type == labels.MatchEqual {
					t.Errorf("%s: fixed instance %q", where, m.Value)
				}
			}
			return nil
		})
	}
}

// TestSelectorsFollowTheBoard: a query without a variable shows bays that were not chosen.
func TestSelectorsFollowTheBoard(t *testing.T) {
	selector := regexp.MustCompile(`\b(?:up|bayward_[a-z_]+|process_[a-z_]+|bay:[a-z_:0-9]+)(\{[^}]*\})?`)
	for _, f := range read(t) {
		for _, p := range f.all() {
			for _, q := range p.Targets {
				for _, m := range selector.FindAllString(q.Expr, -1) {
					joined := strings.HasPrefix(m, `bayward_bay_info{pack=`) || m == `bayward_stage{stage="vacant"}` // on the labels of the other side
					if !joined && !strings.Contains(m, `site=~"$site",agent=~"$agent"`) {
						t.Errorf("%s: %s: %s does not follow site and agent", f.name, p.Title, m)
					}
				}
			}
		}
	}
}

// TestReasonsAreComplete: a finding without a number would not be named on the boards.
func TestReasonsAreComplete(t *testing.T) {
	text, err := os.ReadFile("../../agent/metrics/testdata/metrics.txt")
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{"ready-to-water": true}
	for _, m := range regexp.MustCompile(`bayward_finding\{.*code="([a-z-]+)"`).FindAllStringSubmatch(string(text), -1) {
		found[m[1]] = true
	}
	for i, r := range reasons() {
		if r.value != i+1 || !found[r.text] {
			t.Errorf("reason %q has the number %d at place %d, or there is none", r.text, r.value, i+1)
		}
		delete(found, r.text)
	}
	if len(found) > 0 {
		t.Errorf("findings without a number: %v", found)
	}
}

// TestStagesAreComplete: a stage without a number would show as unknown.
func TestStagesAreComplete(t *testing.T) {
	text, err := os.ReadFile("../../agent/metrics/testdata/metrics.txt")
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for _, m := range regexp.MustCompile(`bayward_stage\{.*stage="([a-z-]+)"`).FindAllStringSubmatch(string(text), -1) {
		found[m[1]] = true
	}
	for i, s := range stages() {
		if s.value != i {
			t.Errorf("stage %s has the number %d at place %d", s.text, s.value, i)
		}
		if i > 0 && !found[s.text] {
			t.Errorf("there is no stage %q", s.text)
		}
		delete(found, s.text)
	}
	if len(found) > 0 {
		t.Errorf("stages without a number: %v", found)
	}
}
