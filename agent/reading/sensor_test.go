package reading

import (
	"testing"
	"time"
)

func TestSensors(t *testing.T) {
	names := map[string]bool{}
	for s := NoSensor + 1; s < NumSensors; s++ {
		if names[s.String()] || s.String() == "" {
			t.Errorf("sensor %d: name %q", s, s)
		}
		names[s.String()] = true
		one := SensorsOf(s)
		for o := NoSensor + 1; o < NumSensors; o++ {
			if one.Has(o) != (o == s) {
				t.Errorf("the set of %s has %s: %v", s, o, one.Has(o))
			}
		}
		if one.Without(s) != 0 || Sensors(0).With(s, true) != one || Sensors(0).With(s, false) != 0 {
			t.Errorf("%s cannot be put in and taken out", s)
		}
	}
	for _, s := range []Sensor{NoSensor, NumSensors, 200} {
		if s.Every() != 0 {
			t.Errorf("%d has an interval", s)
		}
		if names[s.String()] {
			t.Errorf("%d has a sensor's name", s)
		}
	}
}

// TestDue: a good reading is used again until the interval is over, a faulty one never. No
// interval reaches the shortest time after which a reading can be configured to be stale
// (stale_seconds, 2 s) by more than that.
func TestDue(t *testing.T) {
	for s := NoSensor + 1; s < NumSensors; s++ {
		every := s.Every()
		if every < 0 || every > 2*time.Second {
			t.Errorf("%s is read every %s", s, every)
		}
		good := Good(1, time.Minute)
		if every > 0 && s.Due(good, time.Minute+every-1) || !s.Due(good, time.Minute+every) {
			t.Errorf("%s: not read every %s", s, every)
		}
		if !s.Due(Bad(Open, time.Minute), time.Minute) || !s.Due(Reading{}, 0) {
			t.Errorf("%s: a fault is not read again", s)
		}
	}
	if PackTemperature.Every() == 0 || PackVoltage.Every() != 0 {
		t.Error("no sensor with an interval, or none without: nothing was tested")
	}
}
