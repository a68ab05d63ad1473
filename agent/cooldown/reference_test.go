package cooldown_test

import (
	"fmt"
	"math"
	"path"
	"testing"
	"time"

	"bayward/agent/cooldown"
	"bayward/agent/reading"
	"bayward/agent/referencetest"
)

// rows reads a table of testdata.
func rows(t *testing.T, elem ...string) []referencetest.Row {
	t.Helper()
	return referencetest.Table(t, path.Join(elem...))
}

func num(t *testing.T, row referencetest.Row, col string) float64 {
	t.Helper()
	return row.Num(t, col)
}

// newton is the law worked by hand.
func newton(startC, airC, tauH, h float64) float64 {
	return airC + (startC-airC)*math.Exp(-h/tauH)
}

// cool runs a rule over an exact cooling and returns its status after h hours.
func cool(cfg cooldown.Config, startC, airC, tauH, h float64) cooldown.Status {
	rule := cooldown.New(cfg)
	for i := 0; float64(i)/60 <= h; i++ {
		now := time.Duration(i) * time.Minute
		rule.Step(&cooldown.Inputs{
			Now: now, Full: true, Resting: true,
			PackC: reading.Good(newton(startC, airC, tauH, float64(i)/60), now), AmbientC: reading.Good(airC, now),
		})
	}
	return *rule.Status()
}

// only returns limits with the watering temperature as the only rule.
func only(maxC float64) cooldown.Config {
	return cooldown.Config{WateringMaxC: maxC, NearAmbientK: 1e3, FallMaxKPerH: 1e3, RestMin: time.Minute, HasAmbient: true}
}

// TestCoolingChecks compares the estimate with Newton's law worked by hand, all
// rows of testdata/reference/cooling_checks.csv (CALC). A time and a temperature
// are checked a third of the way in; tolerance 4 % of what is left, and the five
// minutes for which the rule must hold. A time constant is checked after the row's
// own time, of which the first 20 minutes teach nothing: 10 %. The rule assumes the
// law that made the rows: they test its estimate, not the law.
func TestCoolingChecks(t *testing.T) {
	for i, row := range rows(t, "reference", "cooling_checks.csv") {
		start, air, answer := num(t, row, "start_C"), num(t, row, "ambient_C"), num(t, row, "answer")
		t.Run(fmt.Sprintf("%sNewton's law of cooling, row %d %s", row.Kind(t), i+1, row["question"]), func(t *testing.T) {
			switch row["question"] {
			case "time_to_target":
				reaches(t, start, air, num(t, row, "target_or_second_reading_C"), num(t, row, "tau_h"), answer)
			case "temperature_after":
				reaches(t, start, air, answer, num(t, row, "tau_h"), num(t, row, "elapsed_h"))
			case "time_constant_from_two_readings":
				h := num(t, row, "elapsed_h")
				if second := num(t, row, "target_or_second_reading_C"); math.Abs(newton(start, air, answer, h)-second) > 0.01 {
					t.Fatalf("the row does not agree with itself")
				}
				s := cool(only(0), start, air, answer, h)
				if !s.TauKnown || math.Abs(s.TauH-answer) > 0.1*answer {
					t.Errorf("time constant %.3f h (known: %v), want %.3f", s.TauH, s.TauKnown, answer)
				}
			default:
				t.Fatalf("unknown question %q", row["question"])
			}
		})
	}
}

func reaches(t *testing.T, startC, airC, targetC, tauH, wantH float64) {
	t.Helper()
	at := math.Floor(wantH/3*12) / 12
	s := cool(only(targetC), startC, airC, tauH, at)
	left := wantH - at
	if !s.ReadyKnown || math.Abs(s.ReadyIn.Hours()-left) > 0.04*left+0.09 {
		t.Errorf("after %.2f h: ready in %v (known: %v), want %.3f h", at, s.ReadyIn, s.ReadyKnown, left)
	}
	if s.ReadyEarly.Hours() > left || s.ReadyLate.Hours() < left {
		t.Errorf("after %.2f h: range %v to %v misses %.3f h", at, s.ReadyEarly, s.ReadyLate, left)
	}
}
