package dashboards_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// The plays of this file: every condition begins at begins and ends at ends, in one agent for each
// alert, and the way to Prometheus is bad in one of several ways.
const (
	scrape       = 15 * time.Second
	begins, ends = 10 * time.Minute, 250 * time.Minute
	lasts        = 265 * time.Minute
	// slack is how much later than promised an alert may fire: a "for" begins with a rule's own interval,
	// and with a scrape that came through.
	slack = 3 * time.Minute
)

// condition is what makes one alert fire, and when it is promised: the promise of its words, not of its
// rule. Series have the value on while it lasts, else off; with rate they rise by it each second.
type condition struct {
	within time.Duration
	series []played
	// own is set where the alert counts what comes in while the agent answers: after an outage it counts
	// from the beginning.
	own bool
}

type played struct {
	name    string
	off, on float64
	rate    bool
}

func finding(code string) played {
	return played{fmt.Sprintf("bayward_finding{code=%q}", code), 0, 1, false}
}

var conditions = map[string]condition{
	"BaywardClosedWithoutPermit": {within: 30 * time.Second, series: []played{{"bayward_relay_closed", 0, 1, false}, {"bayward_charge_permitted", 1, 0, false}}},
	"BaywardContactorStuck":      {series: []played{finding("contactor-stuck")}},
	"BaywardContactorOpen":       {within: 5 * time.Minute, series: []played{finding("contactor-open")}},
	"BaywardRunaway":             {series: []played{finding("runaway")}},
	"BaywardHydrogen":            {within: time.Minute, series: []played{finding("hydrogen-high")}},
	"BaywardGasUnknown":          {within: 10 * time.Minute, series: []played{finding("hydrogen-high"), {`bayward_reading_faults_total{sensor="hydrogen"}`, 0, 1, true}}},
	"BaywardPlatesBare":          {within: time.Minute, series: []played{finding("plates-bare")}},
	"BaywardOverfilled":          {within: time.Minute, series: []played{finding("overfilled")}},
	"BaywardLevelDoubted":        {within: time.Minute, series: []played{finding("level-doubted")}},
	"BaywardBlind":               {within: 10 * time.Minute, series: []played{finding("voltage-unknown")}},
	"BaywardChargeLatched":       {series: []played{finding("charge-overrun")}},
	"BaywardChargeBlocked":       {within: 2 * time.Hour, series: []played{{`bayward_stage{stage="waiting"}`, 0, 1, false}, {"bayward_charge_permitted", 1, 0, false}}},
	"BaywardHydrogenWarning":     {within: time.Minute, series: []played{finding("hydrogen-warning")}},
	"BaywardAirUnproven":         {within: 10 * time.Minute, series: []played{finding("airflow-unproven")}},
	"BaywardNeverReady":          {within: time.Hour, series: []played{finding("agent-unready")}},
	"BaywardPackWarm":            {within: 5 * time.Minute, series: []played{finding("pack-warm")}},
	"BaywardPackTemperature":     {within: time.Minute, series: []played{finding("pack-hot")}},
	"BaywardProbeFailing":        {within: 15 * time.Minute, series: []played{{`bayward_reading_faults_total{sensor="level"}`, 0, 1, true}}, own: true},
	"BaywardCellsMiscounted":     {series: []played{finding("cells-miscounted")}},
	"BaywardCurrentSensorOff":    {within: 15 * time.Minute, series: []played{{`bayward_reading_faults_total{sensor="pack-current", fault="zero-off"}`, 0, 1, true}}, own: true},
	"BaywardWaterBalance":        {series: []played{finding("water-balance")}},
	"BaywardWaterUnrecorded":     {within: time.Hour, series: []played{finding("water-unrecorded")}},
	"BaywardReadingsOff":         {series: []played{finding("readings-off")}},
	"BaywardWaterSoon":           {within: time.Hour, series: []played{{"bayward_water_forecast_seconds", 1e6, 1e5, false}}},
	"BaywardLevelReadingDue":     {within: time.Hour, series: []played{{"bayward_level_reading_due_seconds", 1e6, 1e5, false}}},
	"BaywardRecordFailing":       {within: 5 * time.Minute, series: []played{finding("record-failing")}},
	"BaywardOutboxGrowing":       {within: 30 * time.Minute, series: []played{{"bayward_mqtt_outbox_events", 0, 9, false}}, own: true},
	"BaywardBrokerRightMissing":  {within: 15 * time.Minute, series: []played{{"bayward_mqtt_events_proven", 1, 0, false}}, own: true},
	"BaywardBrokerAway":          {within: time.Hour, series: []played{{"bayward_mqtt_connected", 1, 0, false}}, own: true},
	"BaywardCertificateEnds":     {within: 5 * time.Minute, series: []played{{`bayward_certificate_expiry_timestamp_seconds{use="page"}`, 1e9, 1e6, false}}},
	"BaywardLoopStalled":         {within: 3 * time.Minute, series: []played{{"bayward_tick_duration_seconds_count", 1, 0, true}}, own: true},
}

// notPlayed are alerts about the link itself, which have their own tests, or about weeks, which no lost
// scrape changes.
var notPlayed = []string{
	"BaywardAgentSilent", "BaywardNoAgent", "BaywardAgentRestarts", "BaywardLinkPoor", watchdog,
	"BaywardThirstyCell", "BaywardOvercharge", "BaywardChargeDrift", "BaywardTicksLate",
	"BaywardHoldForgotten", // twelve hours: in bayward_test.yaml, with a scrape lost each hour
}

// link is a way in which scrapes fail: whether the one at a time does, and whether the agent has
// restarted in it.
type link struct {
	lost     func(at time.Duration) bool
	restarts func(at time.Duration) bool
	held     time.Duration // how long it is silent in one piece at noon
}

// noon is a time at which every condition has lasted for long.
const noon = 150 * time.Minute

func links() map[string]link {
	never := func(time.Duration) bool { return false }
	random := rand.New(rand.NewPCG(7, 11))
	bad := map[time.Duration]bool{}
	for at := time.Duration(0); at <= lasts; at += scrape {
		bad[at] = random.Float64() < 0.2
	}
	outage := func(gone time.Duration) func(time.Duration) bool {
		return func(at time.Duration) bool { return at >= noon && at < noon+gone }
	}
	loop := func(at time.Duration) bool { return at%(115*time.Second) >= 100*time.Second }
	return map[string]link{
		"clean":              {never, never, 0},
		"one in five lost":   {func(at time.Duration) bool { return bad[at] }, never, 0},
		"an hour's outage":   {outage(time.Hour), never, time.Hour},
		"the agent restarts": {outage(45 * time.Second), func(at time.Duration) bool { return at == noon+45*time.Second }, 45 * time.Second},
		"the Pi reboots":     {outage(3 * time.Minute), func(at time.Duration) bool { return at == noon+3*time.Minute }, 3 * time.Minute},
		"a crash loop":       {loop, func(at time.Duration) bool { return at > scrape && loop(at-scrape) && !loop(at) }, 0},
	}
}

// TestAlertsOutlastTheLink: each condition is found in time, over every link, and is not resolved
// before it is over.
func TestAlertsOutlastTheLink(t *testing.T) {
	for _, r := range readRules(t) {
		if _, ok := conditions[r.Alert]; r.Alert != "" && ok == slices.Contains(notPlayed, r.Alert) {
			t.Errorf("%s has no condition in loss_test.go, or is among those that are not played", r.Alert)
		}
	}
	promtool := program(t, "promtool")
	for name, l := range links() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			run(t, promtool, "test", "rules", play(t, l))
		})
	}
}

// play writes the file for promtool.
func play(t *testing.T, l link) string {
	t.Helper()
	rules, err := filepath.Abs("rules/bayward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "rule_files: [%s]\nevaluation_interval: 30s\n", rules)
	b.WriteString(evalOrder)
	b.WriteString("tests:\n  - interval: 15s\n    input_series:\n")
	for _, alert := range slices.Sorted(maps.Keys(conditions)) {
		target := fmt.Sprintf(`job="bayward", instance=%q`, alert)
		fmt.Fprintf(&b, "      - { series: 'up{%s}', values: '%s' }\n", target, upOver(l))
		for _, p := range conditions[alert].series {
			name, labels, _ := strings.Cut(strings.TrimSuffix(p.name, "}"), "{")
			if labels != "" {
				labels = ", " + labels
			}
			fmt.Fprintf(&b, "      - { series: '%s{%s, bay=\"bay-1\"%s}', values: '%s' }\n", name, target, labels, p.over(l))
		}
	}
	b.WriteString("    promql_expr_test:\n")
	for _, at := range checks(l) {
		var each, want []string
		for _, alert := range slices.Sorted(maps.Keys(conditions)) {
			c := conditions[alert]
			if c.own && l.held > 0 && at >= noon {
				continue
			}
			each = append(each, fmt.Sprintf(`ALERTS{alertname=%q, alertstate="firing", instance=%q}`, alert, alert))
			if at >= begins+c.within && at < ends {
				want = append(want, fmt.Sprintf("{ labels: '{alertname=%q}', value: 1 }", alert))
			}
		}
		fmt.Fprintf(&b, "      - eval_time: %ds\n        expr: 'max by (alertname) (%s)'\n        exp_samples: [%s]\n",
			int(at.Seconds()), strings.Join(each, " or "), strings.Join(want, ", "))
	}
	path := filepath.Join(t.TempDir(), "loss_test.yaml")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// checks gives the times at which the alerts are looked at: where no alert has just become due.
func checks(l link) []time.Duration {
	times := []time.Duration{begins - time.Minute, ends + 10*time.Minute}
	for at := noon - 5*time.Minute; at < ends; at += 15 * time.Minute {
		times = append(times, at)
	}
	for _, c := range conditions {
		times = append(times, begins+c.within+slack)
	}
	if l.held > 0 {
		times = append(times, noon+l.held/2, noon+l.held+scrape)
	}
	times = slices.DeleteFunc(times, func(at time.Duration) bool {
		for _, c := range conditions {
			if due := begins + c.within; at >= due && at < due+slack {
				return true
			}
		}
		return false
	})
	slices.Sort(times)
	return slices.Compact(times)
}

// upOver gives whether each scrape succeeds.
func upOver(l link) string {
	return values(func(at time.Duration) string {
		if l.lost(at) {
			return "0"
		}
		return "1"
	})
}

// over gives the samples of a series. Prometheus marks a series stale when a scrape fails.
func (p *played) over(l link) string {
	total, was := 0.0, false
	return values(func(at time.Duration) string {
		value := p.off
		if at >= begins && at < ends {
			value = p.on
		}
		if l.restarts(at) {
			total = 0
		}
		if p.rate {
			total += value * scrape.Seconds()
			value = total
		}
		lost := l.lost(at)
		defer func() { was = lost }()
		switch {
		case lost && was:
			return "_"
		case lost:
			return "stale"
		}
		return fmt.Sprint(value)
	})
}

func values(of func(at time.Duration) string) string { return runs(lasts, scrape, of) }

// runs gives the samples up to an end in promtool's notation.
func runs(until, step time.Duration, of func(at time.Duration) string) string {
	var out []string
	last, n := "", 0
	for at := time.Duration(0); at <= until+step; at += step {
		value := "end"
		if at <= until {
			value = of(at)
		}
		if value == last && value != "stale" {
			n++
			continue
		}
		switch {
		case last == "_":
			out = append(out, fmt.Sprintf("_x%d", n))
		case last == "stale":
			out = append(out, last)
		case last != "":
			out = append(out, fmt.Sprintf("%sx%d", last, n-1))
		}
		last, n = value, 1
	}
	return strings.Join(out, " ")
}
