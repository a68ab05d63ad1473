package dashboards_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// bays are the bays of TestGoodDay, each for a day. Thirty make a month of one bay:
//
//	go test ./dashboards -run TestGoodDay -bays 30 -timeout 60m
var bays = flag.Int("bays", 3, "bays that TestGoodDay plays")

const goodDay = 24 * time.Hour

// span is a time of a day.
type span struct{ from, to time.Duration }

func (s span) has(at time.Duration) bool { return at >= s.from && at < s.to }

func at(hours float64, minutes ...float64) time.Duration {
	d := time.Duration(hours * float64(time.Hour))
	for _, m := range minutes {
		d += time.Duration(m * float64(time.Minute))
	}
	return d
}

// ordinary is a day at a bay where nothing is wrong: the pack comes back from its shift, charges, rests, is
// watered and goes to work, while the link, the broker and the Pi do what they do in any month. The same
// day begins at another hour in each bay.
type ordinary struct {
	shift                       time.Duration // where in its day a bay begins
	lost                        func(at time.Duration) bool
	away, checking, charging    span
	ready, visit, hold          span
	restart, reboot, brokerGone span
}

func ordinaryDay(bay int) *ordinary {
	random := rand.New(rand.NewPCG(19, uint64(bay)))
	bad := map[time.Duration]bool{}
	for at := time.Duration(0); at <= goodDay; at += scrape {
		bad[at] = random.Float64() < 0.02 // radio in a shed
	}
	o := &ordinary{
		shift: time.Duration(bay) * goodDay / time.Duration(*bays),
		away:  span{0, at(8)}, checking: span{at(8), at(8, 5)}, charging: span{at(8, 20), at(16)},
		ready: span{at(21), at(22, 25)}, visit: span{at(22), at(22, 25)}, hold: span{at(23), at(23, 40)},
	}
	switch bay % 3 { // an upgrade of the agent, a new kernel, a broker that is upgraded
	case 0:
		o.restart = span{at(13), at(13) + 45*time.Second}
	case 1:
		o.reboot = span{at(13), at(13) + 90*time.Second}
	case 2:
		o.brokerGone = span{at(10), at(10, 12)}
	}
	o.lost = func(at time.Duration) bool { return bad[at] || o.restart.has(o.of(at)) || o.reboot.has(o.of(at)) }
	return o
}

// of is the time of this bay's day.
func (o *ordinary) of(at time.Duration) time.Duration { return (at + o.shift) % goodDay }

// flag is 1 in some spans of the day.
func (o *ordinary) flag(spans ...span) func(at time.Duration) string {
	return func(at time.Duration) string {
		for _, s := range spans {
			if s.has(o.of(at)) {
				return "1"
			}
		}
		return "0"
	}
}

// rising is a counter that rises by so much a second in a span, and begins again after a restart.
func (o *ordinary) rising(rate float64, in span) func(at time.Duration) string {
	total := 0.0
	return func(at time.Duration) string {
		now := o.of(at)
		if now == o.restart.to || now == o.reboot.to {
			total = 0
		}
		if in.has(now) {
			total += rate * scrape.Seconds()
		}
		return fmt.Sprint(total)
	}
}

// series are what an agent of this bay shows.
func (o *ordinary) series() map[string]func(at time.Duration) string {
	whole := span{0, goodDay}
	waiting, cooling := span{o.checking.to, o.charging.from}, span{o.charging.to, o.ready.from}
	rested := span{o.visit.to, goodDay}
	always := func(value string) func(time.Duration) string { return func(time.Duration) string { return value } }
	finding := func(code string, spans ...span) (string, func(time.Duration) string) {
		return fmt.Sprintf("bayward_finding{code=%q}", code), o.flag(spans...)
	}
	all := map[string]func(time.Duration) string{
		`bayward_stage{stage="vacant"}`: o.flag(o.away), `bayward_stage{stage="checking"}`: o.flag(o.checking),
		`bayward_stage{stage="waiting"}`: o.flag(waiting), `bayward_stage{stage="charging"}`: o.flag(o.charging),
		`bayward_stage{stage="cooling"}`: o.flag(cooling), `bayward_stage{stage="ready-to-water"}`: o.flag(span{o.ready.from, o.visit.from}),
		`bayward_stage{stage="watering"}`: o.flag(o.visit), `bayward_stage{stage="rested"}`: o.flag(rested),
		"bayward_charge_permitted": o.flag(span{o.checking.to, o.visit.from}, span{o.visit.to, o.hold.from}, span{o.hold.to, goodDay}),
		"bayward_relay_closed":     o.flag(o.charging),
		// What leaves with the pack gives no value while it is away; one tick in two hundred fails at any time.
		`bayward_reading_faults_total{sensor="level", fault="open"}`:               o.rising(1, o.away),
		`bayward_reading_faults_total{sensor="pack-temperature", fault="missing"}`: o.rising(1, o.away),
		`bayward_reading_faults_total{sensor="pack-current", fault="noisy"}`:       o.rising(0.005, whole),
		`bayward_reading_faults_total{sensor="hydrogen", fault="no-answer"}`:       o.rising(0.005, whole),
		"bayward_tick_duration_seconds_count":                                      o.rising(1, whole),
		`bayward_tick_duration_seconds_bucket{le="0.3"}`:                           o.rising(0.999, whole),
		`bayward_tick_duration_seconds_bucket{le="1"}`:                             o.rising(1, whole),
		`bayward_tick_duration_seconds_bucket{le="+Inf"}`:                          o.rising(1, whole),
		"bayward_mqtt_connected": func(at time.Duration) string {
			return map[bool]string{true: "0", false: "1"}[o.brokerGone.has(o.of(at))]
		},
		"bayward_mqtt_events_proven": always("1"),
		"bayward_mqtt_outbox_events": func(at time.Duration) string {
			return map[bool]string{true: "6", false: "0"}[o.brokerGone.has(o.of(at))]
		},
		"bayward_water_forecast_seconds":                           always("864000"), // ten days
		"bayward_level_reading_due_seconds":                        always("1728000"),
		`bayward_certificate_expiry_timestamp_seconds{use="page"}`: always("34300800"), // 397 days
		"process_start_time_seconds": func(at time.Duration) string {
			if now := o.of(at); now >= o.restart.to && o.restart.to > 0 || now >= o.reboot.to && o.reboot.to > 0 {
				return "5000"
			}
			return "1"
		},
	}
	for code, spans := range map[string][]span{
		"agent-unready": {{0, o.checking.to}, {o.restart.to, o.restart.to + at(0, 2)}, {o.reboot.to, o.reboot.to + at(0, 2)}},
		"visit-open":    {o.visit}, "held": {o.hold}, "pack-warm": {{at(15), at(15, 3)}}, "plates-bare": nil, "level-unknown": nil,
		"contactor-stuck": nil, "hydrogen-high": nil, "airflow-unproven": {{o.checking.from, o.checking.from + at(0, 4)}},
	} {
		name, of := finding(code, spans...)
		all[name] = of
	}
	return all
}

// TestGoodDay: while nothing is wrong, no alert fires on any of the days, but the watchdog.
func TestGoodDay(t *testing.T) {
	promtool := program(t, "promtool")
	rules, err := filepath.Abs("rules/bayward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "rule_files: [%s]\nevaluation_interval: 1m\n%stests:\n  - interval: 15s\n    input_series:\n", rules, evalOrder)
	for bay := range *bays {
		o := ordinaryDay(bay)
		target := fmt.Sprintf(`job="bayward", instance="shed-%d"`, bay)
		fmt.Fprintf(&b, "      - { series: 'up{%s}', values: '%s' }\n", target, runs(goodDay, scrape, func(at time.Duration) string {
			return map[bool]string{true: "0", false: "1"}[o.lost(at)]
		}))
		for name, of := range o.series() {
			name, labels, _ := strings.Cut(strings.TrimSuffix(name, "}"), "{")
			if labels != "" {
				labels = ", " + labels
			}
			was := false
			fmt.Fprintf(&b, "      - { series: '%s{%s, bay=\"bay-1\"%s}', values: '%s' }\n", name, target, labels, runs(goodDay, scrape, func(at time.Duration) string {
				value, lost := of(at), o.lost(at)
				defer func() { was = lost }()
				switch {
				case lost && was:
					return "_"
				case lost:
					return "stale"
				}
				return value
			}))
		}
	}
	fmt.Fprintf(&b, `    promql_expr_test:
      - eval_time: 24h
        expr: count by (alertname) (max_over_time(ALERTS{alertstate="firing"}[1d]))
        exp_samples: [{ labels: '{alertname="%s"}', value: 1 }]
      - eval_time: 24h # what waits and does not fire: the play reaches the rules
        expr: count by (alertname) (max_over_time(ALERTS{alertstate="pending", alertname=~"BaywardAirUnproven|BaywardHoldForgotten|BaywardPackWarm"}[1d]))
        exp_samples:
          - { labels: '{alertname="BaywardAirUnproven"}', value: %d }
          - { labels: '{alertname="BaywardHoldForgotten"}', value: %d }
          - { labels: '{alertname="BaywardPackWarm"}', value: %d }
`, watchdog, *bays, *bays, *bays)
	promtest(t, promtool, b.String())
}

func promtest(t *testing.T, promtool, text string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "good_test.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	run(t, promtool, "test", "rules", path)
}

// TestGoodMonth: what looks back over weeks does not fire either, over a month of charges each night, one of
// them to equalize, and of water each week, not the same for each cell. Four weeks before it are played
// as well, for the rules to look back on.
func TestGoodMonth(t *testing.T) {
	promtool := program(t, "promtool")
	rules, err := filepath.Abs("rules/bayward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	const month = 58 * goodDay
	random := rand.New(rand.NewPCG(5, 3))
	var b strings.Builder
	fmt.Fprintf(&b, "rule_files: [%s]\nevaluation_interval: 6h\n%stests:\n  - interval: 6h\n    input_series:\n", rules, evalOrder)
	series := func(name string, of func(day, hour int) float64) {
		total := 0.0
		fmt.Fprintf(&b, "      - { series: '%s', values: '%s' }\n", name, runs(month, 6*time.Hour, func(at time.Duration) string {
			total += of(int(at/goodDay), int(at%goodDay/time.Hour))
			return fmt.Sprintf("%.6g", total)
		}))
	}
	bay := `job="bayward", instance="shed-1", bay="bay-1"`
	series(`up{job="bayward", instance="shed-1"}`, func(day, hour int) float64 { return map[bool]float64{true: 1}[day+hour == 0] })
	// 180 Ah taken out, 1.18 times that given by six in the morning; twice the gas on the day of equalizing.
	night := func(amount func(day int) float64) func(day, hour int) float64 {
		return func(day, hour int) float64 { return map[bool]float64{true: amount(day)}[hour == 6] }
	}
	gas := func(day int) float64 {
		return 180 * 3600 * 0.18 * (0.9 + 0.2*random.Float64() + map[bool]float64{true: 1}[day == 40])
	}
	kept := make([]float64, 60)
	for day := range kept {
		kept[day] = gas(day)
	}
	series("bayward_charge_coulombs_total{"+bay+"}", night(func(day int) float64 { return 180*3600 + kept[day] }))
	series("bayward_gassing_coulombs_total{"+bay+"}", night(func(day int) float64 { return kept[day] }))
	// 0.336 g of water for each ampere-hour of gas in each of 12 cells (Faraday's law).
	series("bayward_water_lost_liters_total{"+bay+"}", night(func(day int) float64 { return kept[day] / 3600 * 0.000336 * 12 }))
	series("bayward_charges_full_total{"+bay+"}", func(_, hour int) float64 { return map[bool]float64{true: 1}[hour == 6] })
	for cell := 1; cell <= 12; cell++ {
		of := 0.8 + 0.4*random.Float64()
		series(fmt.Sprintf("bayward_water_given_liters_total{%s, cell=\"%d\"}", bay, cell), func(day, hour int) float64 {
			return map[bool]float64{true: 0.08 * of * (0.8 + 0.4*random.Float64())}[hour == 12 && day%7 == 3]
		})
	}
	fmt.Fprintf(&b, `    promql_expr_test:
      - eval_time: %dh
        expr: count by (alertname) (max_over_time(ALERTS{alertstate="firing"}[30d]))
        exp_samples: [{ labels: '{alertname="%s"}', value: 1 }]
      - eval_time: %dh
        expr: bay:bayward_charge_factor:ratio7d > bool 1.15
        exp_samples: [{ labels: '{%s}', value: 1 }]
`, int(month/time.Hour), watchdog, int(month/time.Hour), bay)
	promtest(t, promtool, b.String())
}
