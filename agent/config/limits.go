package config

import (
	"fmt"
	"time"

	"bayward/agent/bay"
)

// staleDefaultS is the age in seconds at which a good reading stops counting:
// ten ticks of a second, which bridges some damaged answers of a 1-wire sensor
// and is short beside what a level or a temperature does. The project's own.
const staleDefaultS = 10

// limitRow is what may be set for one limit. The bounds keep a configuration
// from undoing the protection: none may be set less careful than its ceiling.
type limitRow struct {
	key       string
	value     *float64
	low, high float64
	unit      string
}

// rows lists the limits with their bounds. Where a source is named it is that
// of the ceiling; the rest are the project's own and only hold off slips.
func (l *LimitsConfig) rows() []limitRow {
	return []limitRow{
		{"charge_max_c", l.ChargeMaxC, 20, 55, "°C"}, // 52 °C: NAVEDTRA 14113; 55 °C as the highest for a sensor that reads high
		{"charge_resume_c", l.ChargeResumeC, 0, 54, "°C"},
		{"watering_max_c", l.WateringMaxC, 10, 50, "°C"},
		{"near_ambient_k", l.NearAmbientK, 1, 20, "K"},
		{"fall_max_k_per_h", l.FallMaxKPerH, 0.5, 10, "K/h"},
		{"rest_min_minutes", l.RestMinMinutes, 10, 2880, "minutes"},
		{"hydrogen_max_pct", l.HydrogenMaxPct, 0.1, 2, "% by volume"}, // stop at 2 %: UFC 3-520-01; lower explosive limit 4 %
		{"hydrogen_resume_pct", l.HydrogenResumePct, 0.05, 1.9, "% by volume"},
		{"charge_max_hours", l.ChargeMaxHours, 1, 48, "h"},
		{"charge_max_factor", l.ChargeMaxFactor, 1.05, 2, "ampere-hours in over capacity"},
		{"settle_seconds", l.SettleSeconds, 5, 3600, "s"},
		{"off_min_seconds", l.OffMinSeconds, 5, 3600, "s"},
		{"gas_hold_up_mm", l.GasHoldUpMM, 0, 20, "mm"},
		{"stale_seconds", l.StaleSeconds, 2, 60, "s"},
	}
}

func (c *checker) limits(cfg *Config) {
	for _, row := range cfg.Limits.rows() {
		if row.value != nil {
			c.number("limits."+row.key, *row.value, row.low, row.high, row.unit)
		}
	}
	l := LimitsFrom(cfg.Limits)
	c.below("charge_resume_c", l.ChargeResumeC, "charge_max_c", l.ChargeMaxC)
	c.below("hydrogen_resume_pct", l.HydrogenResumePct, "hydrogen_max_pct", l.HydrogenMaxPct)
	for i, p := range cfg.Packs {
		key := "limits.charge_max_factor"
		if c.usable(key, fmt.Sprintf("packs[%d].charge_factor", i)) && l.ChargeMaxFactor <= p.ChargeFactor {
			c.reject(key, fmt.Sprintf("must be above the charge_factor %s of pack %s, or every charge would overrun", plain(p.ChargeFactor), p.Name))
		}
	}
}

// below holds a limit at which something resumes under the one at which it
// stops. Either may be a default, so the complaint names both.
func (c *checker) below(low string, lowV float64, high string, highV float64) {
	lowField, highField := "limits."+low, "limits."+high
	if lowV < highV || !c.usable(lowField, highField) {
		return
	}
	if c.present(lowField) {
		c.reject(lowField, fmt.Sprintf("must be below %s (%s)", high, plain(highV)))
		return
	}
	c.reject(highField, fmt.Sprintf("must be above %s, whose default is %s: set both", low, plain(lowV)))
}

// LimitsFrom lays what the file says over bay.DefaultLimits.
func LimitsFrom(l LimitsConfig) bay.Limits {
	out := bay.DefaultLimits()
	number := func(to *float64, from *float64) {
		if from != nil {
			*to = *from
		}
	}
	span := func(to *time.Duration, from *float64, unit time.Duration) {
		if from != nil {
			*to = time.Duration(*from * float64(unit))
		}
	}
	number(&out.ChargeMaxC, l.ChargeMaxC)
	number(&out.ChargeResumeC, l.ChargeResumeC)
	number(&out.WateringMaxC, l.WateringMaxC)
	number(&out.NearAmbientK, l.NearAmbientK)
	number(&out.FallMaxKPerH, l.FallMaxKPerH)
	span(&out.RestMin, l.RestMinMinutes, time.Minute)
	number(&out.HydrogenMaxPct, l.HydrogenMaxPct)
	number(&out.HydrogenResumePct, l.HydrogenResumePct)
	span(&out.ChargeMax, l.ChargeMaxHours, time.Hour)
	number(&out.ChargeMaxFactor, l.ChargeMaxFactor)
	span(&out.SettleFor, l.SettleSeconds, time.Second)
	span(&out.OffMin, l.OffMinSeconds, time.Second)
	number(&out.GasHoldUpMM, l.GasHoldUpMM)
	return out
}

// StaleAfter is the age at which a good reading stops counting.
func (l LimitsConfig) StaleAfter() time.Duration {
	s := float64(staleDefaultS)
	if l.StaleSeconds != nil {
		s = *l.StaleSeconds
	}
	return time.Duration(s * float64(time.Second))
}
