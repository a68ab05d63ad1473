package dashboards_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// cells is what a reader sees of one query of a board: the labels, and the word that the board maps the
// value to, or the value.
type cells struct {
	board, title string
	query        int
	rows         []string // "labels = word"
}

// yard is a place as its agents show it, and what the boards must say of it.
type place struct {
	name   string
	series []string
	chosen string // the bay chosen on the bay's board
	says   []cells
}

const (
	attention = "Which packs need attention, and why?"
	noAnswer  = "Which agents do not answer?"
	whyNot    = "Why not, or what is wrong?"
	mayCharge = "May it charge now?"
	blocking  = "What is blocking the charge?"
	covered   = "Do the plates stay covered?"
	blind     = "Which bays are blind, and on which sensor?"
	share     = "For how much of the time was each finding raised?"
)

func places() []place {
	shed := func(n int, up bool) []string {
		target := fmt.Sprintf(`job="bayward",site="quarry-road",agent="shed-%d",instance="shed-%d:8080"`, n, n)
		if !up {
			return []string{`up{` + target + `} 0`}
		}
		return []string{`up{` + target + `} 1`, `bayward_page_info{` + target + `,scheme="https"} 1`}
	}
	bay := func(n int, stage, permit, raised string, more ...string) (out []string) {
		target := fmt.Sprintf(`job="bayward",site="quarry-road",agent="shed-1",instance="shed-1:8080",bay="bay-%d"`, n)
		out = append(out, fmt.Sprintf(`bayward_bay_info{%s,pack="lift-%d"} 1`, target, n), `bayward_charge_permitted{`+target+`} `+permit)
		for _, s := range []string{"vacant", "waiting", "charging", "ready-to-water"} {
			out = append(out, fmt.Sprintf(`bayward_stage{%s,stage="%s"} %d`, target, s, map[bool]int{true: 1}[s == stage]))
		}
		for _, code := range []string{"plates-bare", "contactor-stuck", "level-unknown", "held", "agent-unready"} {
			out = append(out, fmt.Sprintf(`bayward_finding{%s,code="%s"} %d`, target, code, map[bool]int{true: 1}[strings.Contains(raised, code)]))
		}
		for _, m := range more {
			name, value, _ := strings.Cut(m, " ")
			out = append(out, name+`{`+target+`} `+value)
		}
		return out
	}
	const at = `agent="shed-1", bay="bay-%d", instance="shed-1:8080", %ssite="quarry-road"`
	row := func(n int, own, word string) string { return fmt.Sprintf(at, n, own) + " = " + word }
	here := `bay="bay-%d", instance="shed-1:8080", scheme="https" = %s`
	return []place{
		{name: "empty", says: []cells{{"yard", attention, 0, nil}, {"yard", noAnswer, 0, nil}, {"bay", whyNot, 0, nil}}},
		{name: "calm", series: slices.Concat(shed(1, true), bay(1, "charging", "1", "", "bayward_electrolyte_level_meters 0.008")), chosen: "bay-1", says: []cells{
			{"yard", attention, 0, nil}, {"yard", noAnswer, 0, nil}, {"bay", covered, 0, []string{`bay="bay-1" = 8`}}, {"bay", covered, 4, nil}, {"yard", share, 0, nil}, {"agent", noAnswer, 0, nil},
			{"bay", whyNot, 0, []string{fmt.Sprintf(here, 1, "nothing")}},
			{"bay", mayCharge, 0, []string{fmt.Sprintf(here, 1, "permitted")}},
			{"bay", "What is blocking the charge?", 0, []string{`code="no finding" = none raised`}},
		}},
		{name: "troubled", chosen: "bay-3", series: slices.Concat(shed(1, true), bay(1, "charging", "1", ""),
			bay(2, "ready-to-water", "1", "", "bayward_water_needed_liters 0.4", "bayward_water_forecast_seconds 864000"),
			bay(3, "waiting", "0", "contactor-stuck level-unknown", "bayward_hydrogen_ratio 0.012", "bayward_airflow_proven 0"), bay(4, "waiting", "0", "plates-bare", "bayward_water_forecast_seconds 0")), says: []cells{
			{"yard", attention, 0, []string{row(2, "", "ready-to-water"), row(3, "", "contactor-stuck"), row(4, "", "plates-bare")}},
			{"yard", attention, 1, []string{row(2, "", "ready-to-water"), row(3, "", "waiting"), row(4, "", "waiting")}},
			{"yard", attention, 2, []string{row(2, "", "permitted"), row(3, "", "blocked"), row(4, "", "blocked")}},
			{"yard", attention, 3, []string{row(2, "", "0.4")}}, // the others read "not known"
			{"yard", attention, 4, []string{row(2, "", "10"), row(4, "", "0")}},
			{"yard", attention, 6, []string{row(2, `pack="lift-2", `, "1"), row(3, `pack="lift-3", `, "1"), row(4, `pack="lift-4", `, "1")}},
			{"yard", attention, 7, []string{row(2, `scheme="https", `, "1"), row(3, `scheme="https", `, "0"), row(4, `scheme="https", `, "0")}},
			{"bay", whyNot, 0, []string{fmt.Sprintf(here, 3, "contactor-stuck")}},
			{"bay", mayCharge, 0, []string{fmt.Sprintf(here, 3, "blocked")}},
			{"bay", blocking, 0, []string{`code="contactor-stuck" = danger`, `code="level-unknown" = raised`}},
			{"bay", "How much hydrogen is in the air?", 0, []string{`bay="bay-3" = 0.012`}}, {"bay", "At which stage is the pack?", 3, []string{`bay="bay-3" = not proven`}},
			{"bay", covered, 0, nil}, {"bay", covered, 4, []string{`bay="bay-3" = 0`}}, // the red line of a level that is not known
			{"yard", "Why are charges blocked?", 0, []string{`code="contactor-stuck" = 1`, `code="level-unknown" = 1`, `code="plates-bare" = 1`}},
			// A finding that was raised all the time counts, although it never changed; each at one bay of four.
			{"yard", share, 0, []string{`code="contactor-stuck" = 0.25`, `code="level-unknown" = 0.25`, `code="plates-bare" = 0.25`}},
		}},
		// Packs at work are no trouble, and nothing of them is red: bay-1 has been vacant all the time, the pack of
		// bay-2 came back a minute ago, that of bay-3 is on hold by a person.
		{name: "at work", chosen: "bay-1", series: slices.Concat(shed(1, true), bay(1, "vacant", "0", "agent-unready"),
			[]string{`bayward_tick_duration_seconds_count{job="bayward",site="quarry-road",agent="shed-1",instance="shed-1:8080"} 0+15`,
				`bayward_reading_faults_total{job="bayward",site="quarry-road",agent="shed-1",instance="shed-1:8080",bay="bay-1",sensor="pack-voltage",fault="open"} 0+15`,
				`bayward_reading_faults_total{job="bayward",site="quarry-road",agent="shed-1",instance="shed-1:8080",bay="bay-2",sensor="pack-voltage",fault="open"} 0+15x35 540+0`,
				`bayward_reading_faults_total{job="bayward",site="quarry-road",agent="shed-1",instance="shed-1:8080",bay="bay-3",sensor="level",fault="open"} 0+15`},
			changing(bay(2, "waiting", "0", "agent-unready"), "1x35 0"), bay(3, "waiting", "0", "held")), says: []cells{
			{"yard", attention, 0, nil}, {"yard", "Bays that need attention", 0, []string{" = 0"}},
			{"bay", mayCharge, 0, []string{fmt.Sprintf(here, 1, "no pack")}},
			{"bay", "At which stage is the pack?", 1, []string{`bay="bay-1" = no pack`}},
			{"bay", blocking, 0, []string{`code="agent-unready" = passes`}},
			{"bay", covered, 4, nil},
			{"yard", "Why are charges blocked?", 0, []string{`code="agent-unready" = 1`, `code="held" = 1`}},
			{"yard", blind, 0, []string{`agent="shed-1", bay="bay-3", instance="shed-1:8080", sensor="level", site="quarry-road" = 1`}},
			{"agent", "Which sensors fail?", 0, []string{`agent="shed-1", bay="bay-3", fault="open", sensor="level", site="quarry-road" = 1`}},
		}},
		{name: "silent", series: slices.Concat(shed(1, true), bay(1, "charging", "1", ""), shed(2, false)), says: []cells{
			{"yard", attention, 0, nil},
			{"yard", noAnswer, 0, []string{`agent="shed-2", instance="shed-2:8080", site="quarry-road" = 1`}},
			{"agent", noAnswer, 0, []string{`agent="shed-2", instance="shed-2:8080", site="quarry-road" = 1`}},
		}},
	}
}

// changing gives the series of a bay whose stage was vacant as said.
func changing(series []string, vacant string) []string {
	for i, s := range series {
		if at := strings.Index(s, `stage="vacant"} `); at >= 0 {
			series[i] = s[:at] + `stage="vacant"} ` + vacant
		}
	}
	return series
}

// wordsOf gives the queries of a panel, and which number its board shows as which word.
func wordsOf(t *testing.T, board, title string) (queries []string, numbers func(query int, word string) string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("grafana", board+".json"))
	if err != nil {
		t.Fatal(err)
	}
	type mapping struct {
		Type    string
		Options map[string]json.RawMessage
	}
	var file struct {
		Panels []struct {
			Title       string
			Targets     []struct{ Expr string }
			FieldConfig struct {
				Defaults  struct{ Mappings []mapping }
				Overrides []struct {
					Matcher    struct{ Options any }
					Properties []struct {
						ID    string
						Value json.RawMessage
					}
				}
			}
			Transformations []struct {
				Options struct{ RenameByName map[string]string }
			}
		}
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	for _, p := range file.Panels {
		if p.Title != title {
			continue
		}
		for _, q := range p.Targets {
			queries = append(queries, q.Expr)
		}
		return queries, func(query int, word string) string {
			mappings := p.FieldConfig.Defaults.Mappings
			for _, o := range p.FieldConfig.Overrides {
				for _, property := range o.Properties {
					column := ""
					if n := len(p.Transformations); n > 0 {
						column = p.Transformations[n-1].Options.RenameByName["Value #"+string(rune('A'+query))]
					}
					if property.ID == "mappings" && o.Matcher.Options == column {
						if err := json.Unmarshal(property.Value, &mappings); err != nil {
							t.Fatal(err)
						}
					}
				}
			}
			for _, m := range mappings {
				for number, option := range m.Options {
					var result struct{ Text string }
					if m.Type == "value" && json.Unmarshal(option, &result) == nil && result.Text == word {
						return number
					}
				}
			}
			return word
		}
	}
	t.Fatalf("%s has no panel %q", board, title)
	return nil, nil
}

// TestBoardsSay what a reader of an empty, a calm, a troubled and a silent yard must see, by the boards' own
// queries in Prometheus's engine and their own words.
func TestBoardsSay(t *testing.T) {
	promtool := program(t, "promtool")
	var b strings.Builder
	b.WriteString("rule_files: []\nevaluation_interval: 15s\ntests:\n")
	for _, p := range places() {
		fmt.Fprintf(&b, "  - name: %s\n    interval: 15s\n    input_series:\n      - { series: 'nothing', values: '1x40' }\n", p.name)
		for _, s := range p.series {
			at := strings.Index(s, "} ") + 1
			fmt.Fprintf(&b, "      - { series: '%s', values: '%sx40' }\n", s[:at], s[at+1:])
		}
		b.WriteString("    promql_expr_test:\n")
		fill := strings.NewReplacer("$site", ".*", "$agent", ".*", "$pack", ".*", "$bay", p.chosen, "$__rate_interval", "1m", "$__range", "10m")
		for _, c := range p.says {
			queries, number := wordsOf(t, c.board, c.title)
			fill := fill
			if c.board != "bay" {
				fill = strings.NewReplacer("$site", ".*", "$agent", ".*", "$pack", ".*", "$bay", ".*", "$__rate_interval", "1m", "$__range", "10m")
			}
			fmt.Fprintf(&b, "      - eval_time: 10m\n        expr: |-\n          %s\n        exp_samples:\n", fill.Replace(queries[c.query]))
			for _, row := range c.rows {
				labels, word, _ := strings.Cut(row, " = ")
				fmt.Fprintf(&b, "          - { labels: '{%s}', value: %s }\n", labels, number(c.query, word))
			}
		}
	}
	promtest(t, promtool, b.String())
}
