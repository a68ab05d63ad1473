// Package dashboards_test checks the Prometheus rules against the program's metrics, and that an
// alert has the words that its reader needs.
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

type rule struct {
	Record, Alert, Expr, For string
	Labels, Annotations      map[string]string
}

func readRules(t *testing.T) []rule {
	t.Helper()
	text, err := os.ReadFile("rules/bayward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Groups []struct{ Rules []rule }
	}
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	var rules []rule
	for _, group := range file.Groups {
		rules = append(rules, group.Rules...)
	}
	if len(rules) == 0 {
		t.Fatal("rules/bayward.yaml has no rules")
	}
	return rules
}

// evalOrder is a line for promtool, which else takes the groups of rules in any order: alerts read
// what the first two record.
const evalOrder = "group_eval_order: [bayward-records, bayward-critical, bayward-attention, bayward-weeks, bayward-month, bayward-upkeep]\n"

// watchdog is the alert that always fires, for a dead man's switch.
const watchdog = "BaywardWatchdog"

// TestAlertsNameTheAction: an alert without an action only alarms people.
func TestAlertsNameTheAction(t *testing.T) {
	for _, r := range readRules(t) {
		if r.Alert == "" {
			continue
		}
		if !slices.Contains([]string{"critical", "warning", "info"}, r.Labels["severity"]) && r.Alert != watchdog {
			t.Errorf("%s: severity %q is not critical, warning or info", r.Alert, r.Labels["severity"])
		}
		for _, key := range []string{"summary", "action", "caution", "link"} {
			page := r.Alert != "BaywardNoAgent" && r.Alert != watchdog // they are of no agent
			if r.Annotations[key] == "" && (key != "link" || page) {
				t.Errorf("%s: no %s", r.Alert, key)
			}
		}
		// The warnings in every safety notice of this program (common practice, no source).
		for _, word := range []string{"hydrogen", "acid", "eye protection", "local law", "not a certified safety device"} {
			if !strings.Contains(r.Annotations["caution"], word) {
				t.Errorf("%s: the caution does not mention %q", r.Alert, word)
			}
		}
	}
}

// TestEveryRuleIsTested: promtool runs the tests but does not notice a missing one.
func TestEveryRuleIsTested(t *testing.T) {
	var tests string
	for _, name := range testFiles(t) {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		tests += string(text)
	}
	for _, r := range readRules(t) {
		if r.Record != "" && !regexp.MustCompile(`expr: (round\()?`+r.Record+`[,\n]`).MatchString(tests) {
			t.Errorf("record %s has no test", r.Record)
		}
		fires := strings.Contains(tests, `alertname="`+r.Alert+`", alertstate="firing", severity=`) ||
			strings.Contains(tests, "alertname: "+r.Alert+"\n        exp_alerts:\n          - ")
		if r.Alert != "" && !fires {
			t.Errorf("alert %s has no test in which it fires", r.Alert)
		}
	}
}

// contract lists the metrics that rules may use: those that the program guarantees to others.
var contract = []string{
	"bayward_charge_permitted", "bayward_finding", "bayward_stage", "bayward_relay_closed",
	"bayward_reading_faults_total", "bayward_tick_duration_seconds_count", "bayward_tick_duration_seconds_bucket",
	"bayward_charge_coulombs_total", "bayward_gassing_coulombs_total", "bayward_water_lost_liters_total",
	"bayward_charges_full_total", "bayward_water_given_liters_total", "bayward_water_forecast_seconds", "bayward_level_reading_due_seconds", "bayward_certificate_expiry_timestamp_seconds",
	"bayward_mqtt_outbox_events", "bayward_mqtt_connected", "bayward_mqtt_events_proven",
}

// codes returns the names of all findings.
func codes() []string {
	var names []string
	for code := interlock.NoCode + 1; code < interlock.NumCodes; code++ {
		names = append(names, code.String())
	}
	return names
}

// TestRulesUseTheContract: a misspelt metric or code makes an alert that never fires.
func TestRulesUseTheContract(t *testing.T) {
	metric := regexp.MustCompile(`\bbayward_[a-z_]+`)
	recorded := regexp.MustCompile(`\b(bay|cell):bayward_[a-z_]+:[a-z0-9]+`)
	code := regexp.MustCompile(`\bcode=~?"([^"]+)"`)
	for _, r := range readRules(t) {
		expr := recorded.ReplaceAllString(r.Expr, "") // names of our own records
		for _, name := range metric.FindAllString(expr, -1) {
			if !slices.Contains(contract, name) {
				t.Errorf("%s%s: %s is not a metric of the contract", r.Alert, r.Record, name)
			}
		}
		for _, match := range code.FindAllStringSubmatch(r.Expr, -1) {
			for name := range strings.SplitSeq(match[1], "|") {
				if !slices.Contains(codes(), name) {
					t.Errorf("%s%s: %q is not the code of a finding", r.Alert, r.Record, name)
				}
			}
		}
	}
}
