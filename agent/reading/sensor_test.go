package reading

import "testing"

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
		if names[s.String()] {
			t.Errorf("%d has a sensor's name", s)
		}
	}
}
