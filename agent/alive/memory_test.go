package alive_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/alive"
	"bayward/agent/reading"
)

// stored sends a memory through its JSON.
func stored(t *testing.T, m *alive.Memory) *alive.Memory {
	t.Helper()
	text, err := json.Marshal(m)
	require.NoError(t, err)
	var back alive.Memory
	require.NoError(t, json.Unmarshal(text, &back))
	require.True(t, back.Valid())
	return &back
}

// TestMemoryGoesWithItsOwner: where sensors stay in the pack, what is known of them is in
// the pack's memory and nothing else is; in a bay for one pack the bay's has everything.
func TestMemoryGoesWithItsOwner(t *testing.T) {
	cfg := bigPack()
	one := newBench(cfg)
	require.Nil(t, one.w.OfPack())
	require.Empty(t, one.w.OfBay().Sensors, "nothing is known yet")
	require.NotNil(t, one.w.OfBay().Pack)
	require.NotNil(t, one.w.OfBay().Bay)

	cfg.OfPack = reading.SensorsOf(reading.ElectrolyteLevel)
	b := newLevel(cfg)
	b.in.Feedback = reading.Good(1, 0)
	b.step(1)
	b.in.Feedback.Value = 0
	b.visit(100, b.in.Level, b.in.Level)
	ofBay, ofPack := b.w.OfBay(), b.w.OfPack()
	require.Nil(t, ofBay.Pack)
	require.Contains(t, ofBay.Sensors, reading.ContactorFeedback.String())
	require.NotContains(t, ofBay.Sensors, reading.ElectrolyteLevel.String())
	require.NotNil(t, ofPack.Pack)
	require.Contains(t, ofPack.Sensors, reading.ElectrolyteLevel.String())
	require.NotContains(t, ofPack.Sensors, reading.ContactorFeedback.String())

	other := newLevel(cfg)
	other.w.Restore(stored(t, ofPack), 0, 0, true)
	require.True(t, other.doubts(reading.ElectrolyteLevel), "in another bay")
	b.w.Pack(cfg)
	require.False(t, b.doubts(reading.ElectrolyteLevel), "another pack is in place")
	require.True(t, b.proven(reading.ContactorFeedback))
}

// TestProofOutlivesAProvenGap only, and grows older with it.
func TestProofOutlivesAProvenGap(t *testing.T) {
	b := newBench(bigPack())
	b.show(1, 0, 0)
	b.show(1, 0.5, 0)
	b.show(6, 0.5, 0)
	at, ok := b.w.Proof(reading.PackVoltage)
	require.True(t, ok)
	m := stored(t, b.w.OfBay())
	for proven, want := range map[bool]bool{true: true, false: false} {
		again := alive.New(bigPack())
		again.Restore(m, time.Minute, time.Hour, proven)
		got, ok := again.Proof(reading.PackVoltage)
		require.Equal(t, want, ok)
		if ok { // an hour older, on a clock that has begun again
			require.Equal(t, time.Minute-time.Hour-(b.in.Now-b.tick-at), got)
		}
	}
}

// TestDoubtOutlivesAnyGap, with what ends it: the thermometer of the pack still has to
// move against the air. A charge that is being judged goes on too.
func TestDoubtOutlivesAnyGap(t *testing.T) {
	for _, proven := range []bool{true, false} {
		b := newWarm(25, 20)
		b.charge(enoughAh)
		again := newBench(bigPack())
		again.w.Restore(stored(t, b.w.OfBay()), b.in.Now, time.Hour, proven)
		require.True(t, again.doubts(reading.PackTemperature))
		again.in.Now = b.in.Now
		again.in.PackC.Value, again.in.AmbientC.Value = 27, 21
		again.step(1)
		require.True(t, again.doubts(reading.PackTemperature), "moved, and half of it with the air")
		again.in.AmbientC.Value = 20
		again.step(1)
		require.False(t, again.doubts(reading.PackTemperature))
	}
	b := newWarm(25, 20)
	b.charge(enoughAh / 2)
	again := newBench(bigPack())
	again.w.Restore(stored(t, b.w.OfBay()), b.in.Now, 0, true)
	again.in.Now, again.in.TotalInAh = b.in.Now, b.in.TotalInAh
	again.step(1)
	again.charge(enoughAh / 2)
	require.True(t, again.doubts(reading.PackTemperature), "the first half was before the restart")
}

// TestNoSensorBeyondTheLast is in a memory.
func TestNoSensorBeyondTheLast(t *testing.T) {
	for _, s := range []reading.Sensor{reading.NoSensor, reading.NumSensors} {
		m := alive.Memory{Sensors: map[string]alive.SensorMemory{s.String(): {}}}
		require.False(t, m.Valid(), s)
	}
}
