package alive_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/alive"
	"bayward/agent/reading"
)

// TestFanSeenOff: only the airflow switch itself, read and showing no air, is a sight of
// the fan at rest; it is stored with the bay.
func TestFanSeenOff(t *testing.T) {
	bad := reading.Bad(reading.NoAnswer, time.Second)
	on, off := reading.Good(1, time.Second), reading.Good(0, time.Second)
	for name, c := range map[string]struct {
		air, feedback, complete reading.Reading
		want                    bool
	}{
		"air":                  {on, on, on, false},
		"other contacts open":  {on, off, off, false},
		"nothing but a fault":  {bad, off, off, false},
		"no air":               {off, on, on, true},
		"no air, others fault": {off, bad, bad, true},
	} {
		t.Run(name, func(t *testing.T) {
			w := alive.New(alive.Config{CapacityAh: 225})
			require.False(t, w.FanSeenOff(), "before anything was read")
			w.Step(&alive.Inputs{Now: time.Second, Airflow: c.air, Feedback: c.feedback, Complete: c.complete})
			require.Equal(t, c.want, w.FanSeenOff())
			w.Step(&alive.Inputs{Now: 2 * time.Second, Airflow: on, Feedback: off, Complete: off})
			require.Equal(t, c.want, w.FanSeenOff(), "for good")
			again := alive.New(alive.Config{CapacityAh: 225})
			again.Restore(w.OfBay(), 0, 0, false)
			require.Equal(t, c.want, again.FanSeenOff(), "over a restart of unknown length")
		})
	}
}

// TestMemoryIsOneThatWasSaved: an age that no clock can have, a sensor or a doubt that
// does not exist, and what is no number are refused.
func TestMemoryIsOneThatWasSaved(t *testing.T) {
	with := func(name string, s alive.SensorMemory) *alive.Memory {
		return &alive.Memory{Sensors: map[string]alive.SensorMemory{name: s}}
	}
	const years31 = 1e9 // s
	for name, c := range map[string]struct {
		m    *alive.Memory
		want bool
	}{
		"none":             {nil, true},
		"empty":            {&alive.Memory{}, true},
		"just now":         {with("airflow", alive.SensorMemory{ProvenAgoS: new(0.0)}), true},
		"31 years":         {with("airflow", alive.SensorMemory{ProvenAgoS: new(float64(years31))}), true},
		"more":             {with("airflow", alive.SensorMemory{ProvenAgoS: new(years31 + 1.0)}), false},
		"in the future":    {with("airflow", alive.SensorMemory{ProvenAgoS: new(-1.0)}), false},
		"no number":        {with("airflow", alive.SensorMemory{ProvenAgoS: new(math.NaN())}), false},
		"showed no number": {with("airflow", alive.SensorMemory{At: math.Inf(1)}), false},
		"no such sensor":   {with("barometer", alive.SensorMemory{}), false},
		"a doubt":          {with("airflow", alive.SensorMemory{Doubt: reading.NotMoving.String()}), true},
		"not a doubt":      {with("airflow", alive.SensorMemory{Doubt: reading.Open.String()}), false},
		"no such doubt":    {with("airflow", alive.SensorMemory{Doubt: "tired"}), false},
	} {
		require.Equal(t, c.want, c.m.Valid(), name)
	}
}
