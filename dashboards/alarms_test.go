package dashboards_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// alarm is an alert that fired at some time in the recorded days.
type alarm struct{ name, severity, agent, bay, more string }

// expected lists the faults built into the demo, and their consequences; nothing else may fire.
var expected = []alarm{
	// The attended yard: bay-3 starts with a broken probe, which the technician repairs after 90
	// minutes, and its unregulated charger continues for hours after the pack is full, which warms it,
	// makes gas enough that unread levels are doubted, and latches the charge.
	{"BaywardBlind", "warning", "shed-2", "bay-3", ""},
	{"BaywardProbeFailing", "warning", "shed-2", "bay-3", `, sensor="level"`},
	{"BaywardLevelDoubted", "warning", "shed-2", "bay-3", ""},
	{"BaywardChargeLatched", "warning", "shed-2", "bay-3", ""},
	{"BaywardOvercharge", "warning", "shed-2", "bay-3", ""},
	{"BaywardPackWarm", "info", "shed-2", "bay-3", ""},
	{"BaywardLevelReadingDue", "info", "shed-2", "bay-3", ""},
	// Nobody has read the levels of its cells before: readings are asked for in bay-2 and bay-4, and
	// bay-1, which began with bare plates, waits for them.
	{"BaywardLevelDoubted", "warning", "shed-2", "bay-1", ""},
	{"BaywardLevelReadingDue", "info", "shed-2", "bay-2", ""},
	// A reading round interrupts a charge, and a simulated charger begins again on a pack that was full:
	// it returns more than the pack took.
	{"BaywardOvercharge", "warning", "shed-2", "bay-1", ""},
	{"BaywardOvercharge", "warning", "shed-2", "bay-4", ""},
	// In both yards the lowest cells of bay-1 and bay-4 begin close to the lowest level for charging.
	{"BaywardWaterSoon", "info", "shed-2", "bay-1", ""},
	{"BaywardWaterSoon", "info", "shed-2", "bay-4", ""},
	{"BaywardWaterSoon", "info", "shed-3", "bay-1", ""},
	{"BaywardWaterSoon", "info", "shed-3", "bay-4", ""},
	// The neglected yard: the plates of bay-1 are not covered and the probe of bay-3 is not repaired, so
	// both wait for a charge that is blocked.
	{"BaywardPlatesBare", "warning", "shed-3", "bay-1", ""},
	{"BaywardLevelDoubted", "warning", "shed-3", "bay-1", ""},
	{"BaywardChargeBlocked", "warning", "shed-3", "bay-1", ""},
	{"BaywardBlind", "warning", "shed-3", "bay-3", ""},
	{"BaywardProbeFailing", "warning", "shed-3", "bay-3", `, sensor="level"`},
	{"BaywardChargeBlocked", "warning", "shed-3", "bay-3", ""},
}

// firing writes the check that of the alerts that a selector chooses those expected have
// fired, and no others.
func firing(b *strings.Builder, minutes int, selector string, chosen func(*alarm) bool) {
	fmt.Fprintf(b, "      - eval_time: %dm\n", minutes)
	fmt.Fprintf(b, "        expr: max by (alertname, severity, agent, bay, sensor, cell) (max_over_time(ALERTS{alertstate=\"firing\", %s}[3d]))\n", selector)
	b.WriteString("        exp_samples:\n")
	for i := range expected {
		if a := &expected[i]; chosen(a) {
			fmt.Fprintf(b, "          - { labels: '{alertname=\"%s\", severity=\"%s\", agent=\"%s\", bay=\"%s\"%s}', value: 1 }\n", a.name, a.severity, a.agent, a.bay, a.more)
		}
	}
}

// alarms runs the rules over the recorded days minute by minute, in the rule engine of promtool,
// which is Prometheus's own.
func alarms(t *testing.T, promtool string, records ...record) {
	const minutes = end / 60
	var b strings.Builder
	rules, err := filepath.Abs("rules/bayward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintf(&b, "rule_files: [%s]\nevaluation_interval: 1m\n", rules)
	b.WriteString(evalOrder)
	b.WriteString("tests:\n  - interval: 1m\n    input_series:\n")
	for _, r := range records {
		for _, name := range r.names() {
			if usedByRules(name) {
				fmt.Fprintf(&b, "      - { series: '%s', values: '%s' }\n", name, grid(r[name], minutes))
			}
		}
	}
	b.WriteString("    promql_expr_test:\n")
	for _, agent := range []string{"shed-2", "shed-3"} { // promtool cuts long answers off
		for _, severity := range []string{"warning", "info"} {
			firing(&b, minutes, fmt.Sprintf("agent=\"%s\", severity=\"%s\"", agent, severity), func(a *alarm) bool { return a.agent == agent && a.severity == severity })
		}
	}
	firing(&b, minutes, `severity!~"warning|info|none"`, func(*alarm) bool { return false })
	firing(&b, minutes, `agent!~"shed-[23]", severity!="none"`, func(*alarm) bool { return false })
	path := filepath.Join(t.TempDir(), "days_test.yaml")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	run(t, promtool, "test", "rules", path)
}

// usedByRules leaves out how long ticks took, which depends on the machine that runs the tests. The
// rule for late ticks has its own tests.
func usedByRules(series string) bool {
	name, _, _ := strings.Cut(series, "{")
	if name == "bayward_tick_duration_seconds_bucket" {
		return false
	}
	return name == "up" || name == "process_start_time_seconds" || slices.Contains(contract, name)
}

// grid writes a series minute by minute: the newest value of each minute, with runs of the same value
// shortened and missing values marked.
func grid(points []point, minutes int64) string {
	var out []string
	last, n, next := "", 0, 0
	flush := func() {
		switch {
		case n == 0:
		case last == "_":
			out = append(out, fmt.Sprintf("_x%d", n))
		default:
			out = append(out, fmt.Sprintf("%s+0x%d", last, n-1))
		}
	}
	for minute := range minutes + 1 {
		value := "_"
		for ; next < len(points) && points[next].at <= minute*60; next++ {
			if points[next].at > (minute-1)*60 {
				value = points[next].value
			}
		}
		if value != last {
			flush()
			last, n = value, 0
		}
		n++
	}
	flush()
	return strings.Join(out, " ")
}
