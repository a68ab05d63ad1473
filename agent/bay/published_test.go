package bay_test

import (
	"fmt"
	"strings"
	"testing"

	"bayward/agent/bay"
	"bayward/agent/referencetest"
)

// TestLimitsAgainstPublished compares the defaults with the published limits that
// bear on them. UFGS 16262N interrupts a charge of stationary cells at 110 °F, which
// the default does not follow: the sources for others give 125 °F or more, but for a
// very high rate. The watering limit keeps to it.
func TestLimitsAgainstPublished(t *testing.T) {
	l := bay.DefaultLimits()
	for _, c := range []struct {
		table, item, unit string
		holds             func(published float64) bool
		rows              int
	}{
		{"charging_limits", "max_electrolyte_temp_interrupt", "°F", func(f float64) bool { return l.WateringMaxC <= celsius(f) }, 1},
		{"charging_limits", "max_electrolyte_temp", "°F", func(f float64) bool { return l.ChargeMaxC <= celsius(f) }, 3},
		{"charging_limits", "reduce_rate_temp", "°F", func(f float64) bool { return l.ChargeMaxC <= celsius(f) }, 2},
		// 38 °C is the source's 100 °F, rounded.
		{"charging_limits", "resume_temp", "°F", func(f float64) bool { return l.ChargeResumeC <= celsius(f)+0.25 }, 1},
		{"hydrogen_limits", "absolute_limit", "%", func(pct float64) bool { return l.HydrogenMaxPct < pct }, 1},
		{"hydrogen_limits", "LFL", "%", func(pct float64) bool { return l.HydrogenMaxPct <= pct/2 }, 2},
		{"hydrogen_limits", "no_open_light_after_charge", "min", func(m float64) bool { return l.RestMin.Minutes() >= m }, 1},
		{"hydrogen_limits", "fan_run_on", "min", func(m float64) bool { return l.RestMin.Minutes() >= m }, 2},
	} {
		seen := 0
		for _, row := range referencetest.Table(t, "reference/"+c.table+".csv") {
			if row["item"] != c.item || strings.Contains(row["conditions"], "very high rate") {
				continue
			}
			seen++
			t.Run(fmt.Sprintf("%s%s: %s %s %s", row.Kind(t), row["source"], c.item, row["value"], c.unit), func(t *testing.T) {
				if v := row.Num(t, "value"); !c.holds(v) {
					t.Errorf("the default does not keep to %g %s (%s)", v, c.unit, row["conditions"])
				}
			})
		}
		if seen != c.rows {
			t.Errorf("%s: %d rows, want %d", c.item, seen, c.rows)
		}
	}
}

func celsius(f float64) float64 { return (f - 32) / 1.8 }
