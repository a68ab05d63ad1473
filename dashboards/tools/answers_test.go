package main

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// shown is what a table or a figure does with its answers, read from the JSON as Grafana would.
type shown struct {
	Type, Title string
	Targets     []struct{ Expr string }
	FieldConfig struct {
		Defaults struct {
			NoValue  string
			Mappings []struct {
				Type    string
				Options json.RawMessage
			}
		}
		Overrides []struct {
			Matcher    struct{ Options any }
			Properties []struct {
				ID    string
				Value any
			}
		}
	}
	Options struct {
		SortBy []struct {
			DisplayName string
			Desc        bool
		}
	}
	Transformations []struct {
		ID      string
		Options struct {
			IndexByName  map[string]int
			RenameByName map[string]string
		}
	}
}

// property is the last override of a column.
func (p *shown) property(column, id string) (value any) {
	for _, o := range p.FieldConfig.Overrides {
		for _, property := range o.Properties {
			if o.Matcher.Options == column && property.ID == id {
				value = property.Value
			}
		}
	}
	return value
}

func (f boardFile) shown(t *testing.T, kind string) (found []shown) {
	t.Helper()
	var board struct{ Panels []shown }
	if err := json.Unmarshal([]byte(f.text), &board); err != nil {
		t.Fatal(err)
	}
	for _, p := range board.Panels {
		if p.Type == kind {
			found = append(found, p)
		}
	}
	return found
}

// TestTablesAnswerFirst: a table begins with its answer and sorts the worst to the top; a value that is
// missing in one field is called so, and the words for an empty table are not written there.
func TestTablesAnswerFirst(t *testing.T) {
	smallestIsWorst := []string{"Which packs run dry first?"}
	tables := 0
	for _, f := range read(t) {
		for _, p := range f.shown(t, "table") {
			tables++
			organize := p.Transformations[len(p.Transformations)-1].Options
			at := organize.IndexByName
			for _, later := range []string{"agent", "site", "instance", "scheme"} {
				if at["bay"] != 0 || at["Value"] > at[later] || at["Value #A"] > at[later] || at[later] == 0 {
					t.Errorf("%s: %s: %s stands before the answer", f.name, p.Title, later)
				}
			}
			if p.property("scheme", "custom.hidden") != true {
				t.Errorf("%s: %s: a reader sees the scheme of links", f.name, p.Title)
			}
			for _, column := range organize.RenameByName {
				if p.property(column, "custom.hidden") != true && p.property(column, "noValue") != notKnown {
					t.Errorf("%s: %s: an empty field in %q reads %v", f.name, p.Title, column, p.property(column, "noValue"))
				}
			}
			by := p.Options.SortBy[0]
			if slices.Contains(smallestIsWorst, p.Title) == by.Desc {
				t.Errorf("%s: %s: sorted by %s, largest first %v", f.name, p.Title, by.DisplayName, by.Desc)
			}
			if !strings.Contains(fmt.Sprint(organize.RenameByName), ":"+by.DisplayName) {
				t.Errorf("%s: %s: there is no column %q to sort by", f.name, p.Title, by.DisplayName)
			}
		}
	}
	if tables < 7 {
		t.Errorf("%d tables: the search is broken", tables)
	}
}

// TestNoDataIsNotGreen: Grafana writes the words for no data in the colour of the lowest threshold, so a
// figure maps what is missing to the same words in orange.
func TestNoDataIsNotGreen(t *testing.T) {
	for _, f := range read(t) {
		for _, p := range f.shown(t, "stat") {
			found := false
			for _, m := range p.FieldConfig.Defaults.Mappings {
				if m.Type == "special" {
					var o struct {
						Match  string
						Result struct{ Text, Color string }
					}
					if err := json.Unmarshal(m.Options, &o); err != nil {
						t.Fatal(err)
					}
					found = o.Match == "null+nan" && o.Result.Color == "orange" && o.Result.Text == p.FieldConfig.Defaults.NoValue
				}
			}
			if !found {
				t.Errorf("%s: %s: no data is shown in the colour of all well", f.name, p.Title)
			}
		}
	}
}

// TestLinksBetweenBoards: a board opens another for the same Prometheus. The bay's board gets its bay from
// the table only, and gives none to the yard, which would hide the rest of it.
func TestLinksBetweenBoards(t *testing.T) {
	for _, f := range read(t) {
		var board struct {
			Links []struct {
				URL         string
				Type        string
				KeepTime    bool
				IncludeVars bool
			}
		}
		if err := json.Unmarshal([]byte(f.text), &board); err != nil {
			t.Fatal(err)
		}
		if len(board.Links) != len(boards())-1 {
			t.Errorf("%s: %d links, want one to each other board", f.name, len(board.Links))
		}
		for _, l := range board.Links {
			if l.Type != "link" || !l.KeepTime || l.IncludeVars || !strings.Contains(l.URL, "var-datasource=${datasource}") || strings.Contains(l.URL, "bay}") || strings.Contains(l.URL, "${agent") {
				t.Errorf("%s: link %+v", f.name, l)
			}
			if strings.Contains(l.URL, "bayward-bay?") && strings.Contains(l.URL, "site") {
				t.Errorf("%s: %s carries a site to a board that does not know all sites", f.name, l.URL)
			}
		}
		if strings.Contains(f.text, `"enable": true`) {
			t.Errorf("%s: marks are on, and are drawn over the curves of other bays", f.name)
		}
	}
}

// TestTablesJoin: rows of several queries join on the labels that all keep; only a hidden column may bring a
// label of its own.
func TestTablesJoin(t *testing.T) {
	outer := regexp.MustCompile(`^(?:topk\(\d+, )?\(?(?:sum|max|min) by \(([a-z, ]+)\)`)
	for _, f := range read(t) {
		for _, p := range f.shown(t, "table") {
			for i, q := range p.Targets {
				kept := outer.FindStringSubmatch(q.Expr)
				if len(p.Targets) == 1 || kept == nil {
					continue
				}
				name := p.Transformations[len(p.Transformations)-1].Options.RenameByName["Value #"+string(rune('A'+i))]
				if kept[1] != "site, agent, instance, bay" && p.property(name, "custom.hidden") != true {
					t.Errorf("%s: %s: column %q keeps %s", f.name, p.Title, name, kept[1])
				}
			}
		}
	}
}
