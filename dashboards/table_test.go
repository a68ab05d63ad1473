package dashboards_test

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
)

// route is a route of Alertmanager, with its matchers on one label each.
type route struct {
	Matchers       []string
	RepeatInterval string `yaml:"repeat_interval"`
	Routes         []route
}

// length reads a duration as Prometheus and Alertmanager write it: of one unit.
func length(t *testing.T, text string) time.Duration {
	t.Helper()
	unit := map[byte]time.Duration{'s': time.Second, 'm': time.Minute, 'h': time.Hour, 'd': 24 * time.Hour}
	n, err := strconv.Atoi(text[:len(text)-1])
	if err != nil || unit[text[len(text)-1]] == 0 {
		t.Fatalf("%q is not a number and one of s, m, h, d", text)
	}
	return time.Duration(n) * unit[text[len(text)-1]]
}

// repeats gives how often Alertmanager sends an alert again while it fires.
func repeats(t *testing.T, r *rule) time.Duration {
	t.Helper()
	text, err := os.ReadFile("../deploy/stack.d/alertmanager.yml")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Route route }
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	for _, way := range file.Route.Routes { // the first that matches
		if slices.ContainsFunc(way.Matchers, func(m string) bool {
			return m == fmt.Sprintf("alertname=%q", r.Alert) || m == fmt.Sprintf("severity=%q", r.Labels["severity"])
		}) {
			return length(t, way.RepeatInterval)
		}
	}
	return length(t, file.Route.RepeatInterval)
}

// inTime is within which time each severity asks a person to act.
var inTime = map[string]time.Duration{"critical": time.Hour, "warning": 8 * time.Hour, "info": 7 * 24 * time.Hour}

// pages gives how many messages one fault is that lasts for so long: the first, and one each interval.
func pages(lasts, every time.Duration) int { return int((lasts + every - 1) / every) }

var alertRow = regexp.MustCompile("(?m)^\\| `(Bayward[A-Za-z]+)` \\|[^|]*\\| ([^|]+) \\|.*\n")

// TestAlertTable: the table of alerts in README.md is that of the rules and of Alertmanager's routes. Only
// the column of meanings is written by hand.
func TestAlertTable(t *testing.T) {
	text, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	meanings, old := map[string]string{}, ""
	for _, row := range alertRow.FindAllStringSubmatch(string(text), -1) {
		if meanings[row[1]] != "" {
			t.Errorf("README.md lists %s twice", row[1])
		}
		meanings[row[1]] = row[2]
		old += row[0]
	}
	var b strings.Builder
	for _, severity := range []string{"critical", "warning", "info", "none"} {
		for _, r := range readRules(t) {
			if r.Alert == "" || r.Labels["severity"] != severity {
				continue
			}
			every := repeats(t, &r)
			cost := fmt.Sprintf("%d, %d", pages(inTime[severity], every), pages(30*24*time.Hour, every))
			if r.Alert == watchdog {
				cost = "none: it goes to a machine every " + strings.TrimSuffix(every.String(), "0s")
			}
			if meanings[r.Alert] == "" {
				t.Errorf("README.md does not say what %s means", r.Alert)
			}
			fmt.Fprintf(&b, "| `%s` | %s | %s | %s |\n", r.Alert, severity, meanings[r.Alert], cost)
			delete(meanings, r.Alert)
		}
	}
	for name := range meanings {
		t.Errorf("README.md lists %s, which is no alert", name)
	}
	switch {
	case b.String() == old:
	case *update && strings.Contains(string(text), old):
		if err := os.WriteFile("README.md", []byte(strings.Replace(string(text), old, b.String(), 1)), 0o644); err != nil {
			t.Fatal(err)
		}
	default:
		t.Error("the table of alerts in README.md is not that of the rules: go test ./dashboards -run TestAlertTable -update")
	}
}
