package ammeter_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/ammeter"
	"bayward/agent/reading"
)

// hands steps a meter by hand: a pack of 200 Ah at rest with its contactor open.
type hands struct {
	m     *ammeter.Meter
	in    ammeter.Inputs
	a     float64
	noise float64
	rng   *rand.Rand
	shown reading.Reading
	moves int
	low   float64 // of what was shown
	high  float64
}

func newHands() *hands {
	h := &hands{m: ammeter.New(config()), rng: rand.New(rand.NewPCG(1, 2))}
	h.in = ammeter.Inputs{CellV: reading.Good(2.1, 0), Feedback: reading.Good(0, 0), Open: true, Probe: true}
	return h
}

func config() ammeter.Config {
	return ammeter.Config{CapacityAh: 200, Fitted: true, Feedback: true, Sensor: "one"}
}

func (h *hands) pass(span time.Duration) {
	h.low, h.high = math.Inf(1), math.Inf(-1)
	for end := h.in.Now + span; h.in.Now < end; h.in.Now += time.Second {
		h.in.CurrentA = reading.Good(h.a+h.noise*h.rng.NormFloat64(), h.in.Now)
		shown, moved := h.m.Step(&h.in)
		if h.shown = shown; moved {
			h.moves++
		}
		h.low, h.high = min(h.low, h.shown.Value), max(h.high, h.shown.Value)
	}
}

// TestZeroIsTakenOff within the settle time and a window, and is one event.
func TestZeroIsTakenOff(t *testing.T) {
	h := newHands()
	h.a = 1.5
	h.pass(5 * time.Minute)
	require.Equal(t, 1.5, h.shown.Value)
	h.pass(2 * time.Minute)
	require.InDelta(t, 0, h.shown.Value, 1e-9)
	require.Equal(t, 1.5, h.m.Status().ZeroA)
	h.a += 0.3
	h.pass(4 * time.Hour)
	require.Equal(t, 1, h.moves, "less than 0.2 % of the capacity is no event")
	h.a += 0.6
	h.pass(time.Hour)
	require.Equal(t, 2, h.moves)
	require.InDelta(t, 2.4, h.m.Status().ZeroA, 0.01)
}

// TestOnlyWhatIsProvenOpen: a current that may be one is never taken off.
func TestOnlyWhatIsProvenOpen(t *testing.T) {
	for name, change := range map[string]func(*ammeter.Inputs){
		"closed is ordered":          func(in *ammeter.Inputs) { in.Open = false },
		"the contact shows closed":   func(in *ammeter.Inputs) { in.Feedback.Value = 1 },
		"the contact is not read":    func(in *ammeter.Inputs) { in.Feedback.Fault = reading.Open },
		"a charger holds the cells":  func(in *ammeter.Inputs) { in.CellV.Value = 2.25 },
		"the voltage is not known":   func(in *ammeter.Inputs) { in.CellV.Fault = reading.Open },
		"a sense lead is broken":     func(in *ammeter.Inputs) { in.CellV.Value, in.Feedback.Value = 0, 1 },
		"no contact, pack in place":  nil,
		"no contact, sense lead off": nil,
	} {
		h := newHands()
		switch name {
		case "no contact, pack in place":
			h.m = ammeter.New(ammeter.Config{CapacityAh: 200, Fitted: true})
		case "no contact, sense lead off":
			h.m = ammeter.New(ammeter.Config{CapacityAh: 200, Fitted: true})
			h.in.CellV.Value = 0
		default:
			change(&h.in)
		}
		h.a = 2
		h.pass(3 * time.Hour)
		require.Equal(t, 2.0, h.shown.Value, name)
		require.False(t, h.m.Status().ZeroKnown, name)
	}
}

// TestAwayWithoutContact: with no pack nothing can flow.
func TestAwayWithoutContact(t *testing.T) {
	h := newHands()
	h.m = ammeter.New(ammeter.Config{CapacityAh: 200, Fitted: true})
	h.in.CellV.Value, h.in.Probe, h.a = 0, false, -2
	h.pass(10 * time.Minute)
	require.Equal(t, 0.0, h.shown.Value)
}

// TestAParkedLoadIsNone of the zero: a lamp of 2 A on the battery over a night is still
// shown, and so is the true zero after it.
func TestAParkedLoadIsNone(t *testing.T) {
	h := newHands()
	h.a = 0.5
	h.pass(time.Hour)
	h.a = 0.5 - 2
	h.pass(14 * time.Hour)
	require.InDelta(t, -2, h.shown.Value, 0.01)
	h.a = 0.5
	h.pass(time.Minute)
	require.InDelta(t, 0, h.shown.Value, 0.01)

	// A load that was there first gives way to what is higher, after three windows.
	h = newHands()
	h.a = -2
	h.pass(time.Hour)
	require.InDelta(t, 0, h.shown.Value, 0.01)
	h.a = 0
	h.pass(30 * time.Minute)
	require.InDelta(t, 0, h.shown.Value, 0.01)
}

// TestTheZeroFalls when it is lower in three openings.
func TestTheZeroFalls(t *testing.T) {
	h := newHands()
	h.pass(time.Hour)
	h.a = -1
	for range 3 {
		require.InDelta(t, -1, func() float64 { h.pass(time.Minute); return h.shown.Value }(), 0.01)
		h.in.Open = false
		h.pass(time.Minute)
		h.in.Open = true
		h.pass(30 * time.Minute)
	}
	require.InDelta(t, 0, h.shown.Value, 0.01)
}

// TestBeyondTheBound: 4 A are a fiftieth of the capacity. A machine at work is no fault,
// and neither is a lamp for an hour.
func TestBeyondTheBound(t *testing.T) {
	for name, c := range map[string]struct {
		live func(*hands)
		want reading.Fault
	}{
		"more than it":       {func(h *hands) { h.a = 4.1; h.pass(10 * time.Minute) }, reading.ZeroOff},
		"just within":        {func(h *hands) { h.a = 3.9; h.pass(10 * time.Minute) }, reading.None},
		"a lamp for an hour": {func(h *hands) { h.a = -5; h.pass(time.Hour) }, reading.None},
		"always the same":    {func(h *hands) { h.a = -5; h.pass(5 * time.Hour) }, reading.ZeroOff},
		"without a pack": {func(h *hands) {
			h.a, h.in.CellV.Value, h.in.Probe = -5, 0, false
			h.pass(10 * time.Minute)
		}, reading.ZeroOff},
		"a machine at work": {func(h *hands) {
			for i := range 60 {
				h.a = -5 - float64(i%7)
				h.pass(10 * time.Minute)
			}
		}, reading.None},
		"noise":        {func(h *hands) { h.noise = 5; h.pass(2 * time.Hour) }, reading.Noisy},
		"noise within": {func(h *hands) { h.noise = 3; h.pass(2 * time.Hour) }, reading.None},
	} {
		h := newHands()
		c.live(h)
		want := c.want
		require.Equal(t, want, h.shown.Fault, name)
		if want == reading.None {
			continue
		}
		again := ammeter.New(config())
		again.Restore(memory(t, h), 0, 0, false)
		require.Equal(t, want, again.Status().Fault, "%s: a restart", name)
		h.a, h.noise, h.in.CellV.Value, h.in.Probe = 0, 0, 2.1, true
		h.pass(10 * time.Minute)
		require.Equal(t, reading.None, h.shown.Fault, "%s: repaired", name)
	}
}

// TestNoiseNeitherHidesNorMakes a current: with noise of 1 % of the capacity nothing is
// shown as less than 0.4 %, and a finishing current of 1 % as more; a charge and its end
// go through in two readings.
func TestNoiseNeitherHidesNorMakes(t *testing.T) {
	h := newHands()
	h.noise = 2
	h.pass(30 * time.Minute)
	h.pass(4 * time.Hour)
	require.Less(t, h.high, 0.8)
	require.Greater(t, h.low, -0.8)
	h.in.Open, h.in.CellV.Value, h.a = false, 2.4, 2
	h.pass(10 * time.Minute)
	h.pass(4 * time.Hour)
	require.Less(t, h.high, 2.8)
	require.Greater(t, h.low, 0.8)
	h.a = 30
	h.pass(3 * time.Second)
	require.InDelta(t, 30, h.shown.Value, 6)
	h.pass(10 * time.Minute)
	h.a = 0
	h.pass(3 * time.Second)
	require.InDelta(t, 0, h.shown.Value, 6)
}

func memory(t *testing.T, h *hands) *ammeter.Memory {
	t.Helper()
	text, err := json.Marshal(h.m.Memory())
	require.NoError(t, err)
	var m ammeter.Memory
	require.NoError(t, json.Unmarshal(text, &m))
	require.True(t, m.Valid())
	return &m
}

// TestZeroOutlivesARestart, unless the sensor is another one, was away or was looked at.
func TestZeroOutlivesARestart(t *testing.T) {
	h := newHands()
	h.a, h.noise = 1, 0.5
	h.pass(time.Hour)
	m := memory(t, h)
	again := ammeter.New(config())
	again.Restore(m, time.Hour, time.Minute, true)
	require.Equal(t, h.m.Status().ZeroA, again.Status().ZeroA)
	require.Equal(t, h.m.Status().NoiseA, again.Status().NoiseA)
	require.True(t, again.Status().ZeroAtKnown)

	c := config()
	c.Sensor = "two"
	other := ammeter.New(c)
	other.Restore(m, time.Hour, time.Minute, true)
	require.False(t, other.Status().ZeroKnown)
	other.Restore(nil, 0, 0, false)
	require.Nil(t, other.Memory())

	again.Reset()
	require.False(t, again.Status().ZeroKnown)
	for range 2 {
		h.in.CurrentA = reading.Bad(reading.Open, h.in.Now)
		h.m.Step(&h.in)
		h.in.Now += 16 * time.Minute
	}
	require.False(t, h.m.Status().ZeroKnown, "gone for so long that it may be another")
}

// TestMemoryIsJudged: a memory that cannot have been saved is refused.
func TestMemoryIsJudged(t *testing.T) {
	for name, m := range map[string]*ammeter.Memory{
		"noise below nothing": {NoiseA: new(-1.0)}, "measured later": {ZeroAgoS: new(-1.0)}, "no such fault": {Fault: "open"},
		"no number": {ZeroA: new(math.NaN())}, "a count below nothing": {Low: -1}, "far too large": {RefA: 1e6},
	} {
		require.False(t, m.Valid(), name)
	}
	require.True(t, (*ammeter.Memory)(nil).Valid())
}
