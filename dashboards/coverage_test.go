package dashboards_test

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"

	"bayward/agent/interlock"
)

// silent lists findings that block or are dangerous and have no alert of their own, with the reason.
var silent = map[interlock.Code]string{
	interlock.CloseDelay: "a countdown of a minute after a person has removed a lock",
}

// scenario is one test for promtool: series in, and what fires.
type scenario struct {
	Name    string
	Series  []struct{ Series, Values string } `yaml:"input_series"`
	Queries []struct {
		Samples []struct{ Labels string } `yaml:"exp_samples"`
	} `yaml:"promql_expr_test"`
	Alerts []struct {
		Name   string `yaml:"alertname"`
		Firing []struct {
			Labels map[string]string `yaml:"exp_labels"`
		} `yaml:"exp_alerts"`
	} `yaml:"alert_rule_test"`
}

func readScenarios(t *testing.T) (all []scenario) {
	t.Helper()
	for _, name := range testFiles(t) {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var file struct{ Tests []scenario }
		if err := yaml.Unmarshal(text, &file); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		all = append(all, file.Tests...)
	}
	return all
}

var labelled = regexp.MustCompile(`(\w+)="([^"]*)"`)

func labelsOf(series string) map[string]string {
	labels := map[string]string{}
	for _, match := range labelled.FindAllStringSubmatch(series, -1) {
		labels[match[1]] = match[2]
	}
	return labels
}

// raised gives the bays at which the scenario raises a finding.
func (s *scenario) raised(code string) (bays []string) {
	for _, in := range s.Series {
		if labels := labelsOf(in.Series); strings.HasPrefix(in.Series, "bayward_finding{") && labels["code"] == code &&
			regexp.MustCompile(`(^| )1(x| |$)`).MatchString(in.Values) {
			bays = append(bays, labels["bay"])
		}
	}
	return bays
}

// fires reports whether the alert fires for the bay, or for the whole agent.
func (s *scenario) fires(alert, bay string) bool {
	for _, query := range s.Queries {
		for _, sample := range query.Samples {
			if l := labelsOf(sample.Labels); l["alertname"] == alert && l["alertstate"] == "firing" && (l["bay"] == bay || l["bay"] == "") {
				return true
			}
		}
	}
	for _, a := range s.Alerts {
		for _, firing := range a.Firing {
			if a.Name == alert && (firing.Labels["bay"] == bay || firing.Labels["bay"] == "") {
				return true
			}
		}
	}
	return false
}

// alertsFor gives the rules that fire on a finding, not those that it silences.
func alertsFor(rules []rule, code string) (alerts []rule) {
	for _, r := range rules {
		on, _, _ := strings.Cut(r.Expr, "unless")
		for _, match := range regexp.MustCompile(`\bcode=~?"([^"]+)"`).FindAllStringSubmatch(on, -1) {
			if r.Alert != "" && slices.Contains(strings.Split(match[1], "|"), code) {
				alerts = append(alerts, r)
			}
		}
	}
	return alerts
}

// TestEveryFindingRaisesAnAlert: a finding that blocks, or that is a danger, has an alert that fires on
// it, and a test in rules/*_test.yaml in which it does. For a danger the alert is more than information.
func TestEveryFindingRaisesAnAlert(t *testing.T) {
	rules, scenarios := readRules(t), readScenarios(t)
	for code := interlock.NoCode + 1; code < interlock.NumCodes; code++ {
		row := interlock.Table[code]
		alerts := alertsFor(rules, row.Name)
		if why := silent[code]; why != "" {
			if len(alerts) > 0 {
				t.Errorf("%s has an alert, %s: take it off the list of those without", row.Name, alerts[0].Alert)
			}
			continue
		}
		if !row.Blocks && row.Severity != interlock.Danger {
			continue
		}
		if len(alerts) == 0 {
			t.Errorf("%s has no alert in rules/bayward.yaml", row.Name)
			continue
		}
		if !slices.ContainsFunc(alerts, func(r rule) bool { return firesOn(scenarios, r.Alert, row.Name) }) {
			t.Errorf("%s has no test in rules/bayward_test.yaml in which it makes %s fire", row.Name, alerts[0].Alert)
		}
		loud := func(r rule) bool { return r.Labels["severity"] != "info" }
		if row.Severity == interlock.Danger && !slices.ContainsFunc(alerts, loud) {
			t.Errorf("%s is a danger, and its alert %s only information", row.Name, alerts[0].Alert)
		}
	}
}

func firesOn(scenarios []scenario, alert, code string) bool {
	for i := range scenarios {
		for _, bay := range scenarios[i].raised(code) {
			if scenarios[i].fires(alert, bay) {
				return true
			}
		}
	}
	return false
}
