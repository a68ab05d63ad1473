package ammeter_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/ammeter"
	"bayward/agent/reading"
)

// newExact is a pack of 250 Ah, whose bounds are numbers that a float has exactly: the zero
// at most 5 A, an event from 0.5 A, two windows the same within 0.25 A.
func newExact() *hands {
	h := newHands()
	c := config()
	c.CapacityAh = 250
	h.m = ammeter.New(c)
	return h
}

// ticks passes n ticks of a length.
func (h *hands) ticks(n int, d time.Duration) {
	for range n {
		h.pass(time.Second)
		h.in.Now += d - time.Second
	}
}

// untilZero passes until the zero is known, which ends a window.
func (h *hands) untilZero(t *testing.T) {
	t.Helper()
	for range 600 {
		h.pass(time.Second)
		if h.m.Status().ZeroKnown {
			return
		}
	}
	t.Fatal("no zero in ten minutes")
}

// TestZeroAtTheBound of 2 % of the capacity is one still, above and below.
func TestZeroAtTheBound(t *testing.T) {
	for _, a := range []float64{5, -5} {
		h := newExact()
		h.a = a
		h.pass(10 * time.Minute)
		require.Equal(t, reading.None, h.shown.Fault, "%v A", a)
		require.Equal(t, a, h.m.Status().ZeroA)
	}
	h := newExact()
	h.a, h.in.CellV.Value, h.in.Probe = -5, 0, false
	h.pass(10 * time.Minute)
	require.Equal(t, reading.None, h.shown.Fault, "without a pack")
}

// TestVoltagesOfAnOpenContactor: from 0.3 V a cell a pack is there, from 2.20 V something
// holds it.
func TestVoltagesOfAnOpenContactor(t *testing.T) {
	for name, c := range map[string]struct {
		v               float64
		probe, feedback bool
		want            bool
	}{
		"a pack":                   {2.1, true, true, true},
		"from 0.3 V":               {0.3, true, true, true},
		"less, and a probe":        {0.29, true, true, false},
		"2.19 V":                   {2.19, true, true, true},
		"2.20 V":                   {2.20, true, true, false},
		"no pack, no contact":      {0.29, false, false, true},
		"nor with leakage":         {-0.29, false, false, true},
		"0.3 V may be a pack":      {0.3, false, false, false},
		"and without contact none": {2.1, true, false, false},
	} {
		h := newHands()
		cfg := config()
		cfg.Feedback = c.feedback
		h.m = ammeter.New(cfg)
		h.in.CellV.Value, h.in.Probe, h.a = c.v, c.probe, 1
		h.pass(20 * time.Minute)
		require.Equal(t, c.want, h.m.Status().ZeroKnown, name)
	}
}

// TestWhereNoiseIsLearned: wherever no charger holds the voltage, of a current within the
// bound.
func TestWhereNoiseIsLearned(t *testing.T) {
	for name, c := range map[string]struct {
		v, a float64
		lost bool
		want bool
	}{
		"at rest, closed": {2.1, 0, false, true},
		"at 2.20 V":       {2.20, 0, false, false},
		"in a charge":     {2.4, 0, false, false},
		"no voltage":      {2.1, 0, true, false},
		"a load at 2 %":   {2.1, -5, false, true},
		"a larger one":    {2.1, -5.1, false, false},
	} {
		h := newExact()
		h.in.Open, h.in.Feedback.Value, h.a = false, 1, c.a
		if h.in.CellV.Value = c.v; c.lost {
			h.in.CellV.Fault = reading.Open
		}
		h.pass(5 * time.Minute)
		require.Equal(t, c.want, h.m.Status().NoiseKnown, name)
		require.Equal(t, c.want, h.m.Memory() != nil, name)
	}
}

// TestACurrentThatDiesAway in the first minute after opening is no part of the zero.
func TestACurrentThatDiesAway(t *testing.T) {
	h := newExact()
	h.a = 4
	h.ticks(8, 7*time.Second)
	h.a = 0
	h.ticks(60, 7*time.Second)
	require.True(t, h.m.Status().ZeroKnown)
	require.Zero(t, h.m.Status().ZeroA)
}

// TestTicksOfTwoMinutes are followed, longer ones are gaps; a second tick with the same
// time is none.
func TestTicksOfTwoMinutes(t *testing.T) {
	for d, want := range map[time.Duration]bool{2 * time.Minute: true, 2*time.Minute + time.Second: false} {
		h := newExact()
		h.a = 1
		h.ticks(60, d)
		require.Equal(t, want, h.m.Status().ZeroKnown, d)
	}
	h := newExact()
	h.a = 1
	for range 600 {
		h.pass(time.Second)
		h.in.Now -= time.Second
		h.pass(time.Second)
	}
	require.True(t, h.m.Status().ZeroKnown, "each time twice")
}

// TestALostReading: after more than 15 minutes the sensor may be another one, whatever
// was known of it.
func TestALostReading(t *testing.T) {
	for name, live := range map[string]func(*hands){
		"zero": func(h *hands) { h.a = 1; h.untilZero(t) },
		"noise alone": func(h *hands) {
			h.in.Open = false
			h.pass(5 * time.Minute)
		},
	} {
		for gone, want := range map[time.Duration]bool{time.Second: true, 15 * time.Minute: true, 15*time.Minute + time.Second: false} {
			h := newExact()
			live(h)
			last := h.in.Now - time.Second
			h.in.Now, h.in.CurrentA = last+gone, reading.Bad(reading.Open, 0)
			_, moved := h.m.Step(&h.in)
			require.False(t, moved)
			require.Equal(t, want, h.m.Status().NoiseKnown, "%s, %v", name, gone)
		}
	}
	m := ammeter.New(ammeter.Config{CapacityAh: 250})
	shown, moved := m.Step(&ammeter.Inputs{CurrentA: reading.Good(3, 0)})
	require.False(t, moved, "no sensor is fitted")
	require.Equal(t, 3.0, shown.Value)
}

// TestBlocksMustAgree within 0.1 % of the capacity: more is a load that came or went.
func TestBlocksMustAgree(t *testing.T) {
	for apart, want := range map[float64]bool{0.25: true, 0.3: false} {
		h := newExact()
		for i := range 120 {
			h.a = float64(i%2) * apart
			h.pass(15 * time.Second)
		}
		require.Equal(t, want, h.m.Status().ZeroKnown, "%v A", apart)
	}
}

// TestNoisyZero: one better than none is taken in the first window, a better one only
// when the mean is good to half of what is the same, or after an hour.
func TestNoisyZero(t *testing.T) {
	h := newExact()
	h.noise = 4
	h.pass(8 * time.Minute)
	require.True(t, h.m.Status().ZeroKnown)

	h = newExact()
	h.noise = 4
	h.ticks(360, 10*time.Second)
	require.True(t, h.m.Status().ZeroKnown)
	h.a = 2.5
	h.ticks(5*360, 10*time.Second)
	require.InDelta(t, 2.5, h.m.Status().ZeroA, 0.8)
}

// TestZeroRises after three windows that agree within 0.25 A, and is an event from 0.5 A.
func TestZeroRises(t *testing.T) {
	const window = 5 * time.Minute
	h := newExact()
	h.untilZero(t)
	require.Equal(t, 1, h.moves)
	h.a = 0.5
	h.pass(2 * window)
	require.Zero(t, h.m.Status().ZeroA)
	h.pass(window)
	require.Equal(t, 0.5, h.m.Status().ZeroA)
	require.Equal(t, 2, h.moves)

	h = newExact()
	h.untilZero(t)
	for _, a := range []float64{0.75, 0.5, 0.75} {
		h.a = a
		h.pass(window)
	}
	require.Equal(t, 0.75, h.m.Status().ZeroA, "they agree")

	h = newExact()
	h.untilZero(t)
	h.a = 0.25
	h.pass(window)
	require.Equal(t, 0.25/8, h.m.Status().ZeroA, "the same is followed by an eighth")
}

// TestZeroFallsAfterTwelveWindows in three openings, and not before.
func TestZeroFallsAfterTwelveWindows(t *testing.T) {
	h := newExact()
	h.untilZero(t)
	h.a = -1
	for i := range 3 {
		require.Zero(t, h.m.Status().ZeroA, i)
		h.in.Open = false
		h.pass(time.Minute)
		h.in.Open = true
		h.pass(20*time.Minute + 40*time.Second) // four windows, the first with the minute to settle
	}
	require.Equal(t, -1.0, h.m.Status().ZeroA)
}

// TestZeroWithoutAPack is believed at once, where it is not the same.
func TestZeroWithoutAPack(t *testing.T) {
	for a, want := range map[float64]float64{0.2: 0.2 / 8, 0.25: 0.25 / 8, 1: 1} {
		h := newExact()
		h.in.CellV.Value, h.in.Probe = 0, false
		h.untilZero(t)
		h.a = a
		h.pass(5 * time.Minute)
		require.InDelta(t, want, h.m.Status().ZeroA, 1e-9, "%v A", a)
	}
}

// TestALoadThatStays: within 0.5 % of the capacity it is the same one.
func TestALoadThatStays(t *testing.T) {
	for then, want := range map[float64]reading.Fault{-7.25: reading.ZeroOff, -7.5: reading.None} {
		h := newExact()
		h.a = -6
		h.pass(2 * time.Hour)
		h.a = then
		h.pass(3 * time.Hour)
		require.Equal(t, want, h.shown.Fault, "%v A", then)
	}
}

// TestNothingIsLate: of a quiet sensor every reading counts as it is, and of a noisy one
// the first after an order does.
func TestNothingIsLate(t *testing.T) {
	h := newExact()
	h.pass(10 * time.Minute)
	h.a = 30
	h.pass(time.Second)
	require.Equal(t, 30.0, h.shown.Value)

	h = newExact()
	h.noise = 2
	h.pass(30 * time.Minute)
	h.in.Open, h.a = false, 30
	h.pass(time.Second)
	require.InDelta(t, 30, h.shown.Value, 8)
	h.pass(10 * time.Minute)
	h.in.CellV.Value, h.in.Probe, h.a = 0, false, 0
	h.pass(time.Second)
	require.InDelta(t, 0, h.shown.Value, 8)
}

// TestMemoryBringsBack what is known, and no more: after a gap of unknown length not when
// the zero was measured, and an event is not told again.
func TestMemoryBringsBack(t *testing.T) {
	h := newExact()
	h.a = 1
	h.untilZero(t)
	m := memory(t, h)
	for _, proven := range []bool{true, false} {
		again := newExact()
		again.m.Restore(m, 0, time.Minute, proven)
		s := again.m.Status()
		require.True(t, s.ZeroKnown && s.NoiseKnown)
		require.Equal(t, proven, s.ZeroAtKnown)
		again.a = 1
		again.pass(10 * time.Minute)
		require.Zero(t, again.moves)
	}
	m.ZeroAgoS, m.ToldA = nil, nil
	again := newExact()
	again.m.Restore(m, 0, 0, true)
	require.False(t, again.m.Status().ZeroAtKnown)
	again.pass(time.Second)
	require.Equal(t, 1, again.moves, "it was never told")

	for name, c := range map[string]struct {
		m    ammeter.Memory
		want bool
	}{
		"the most":        {ammeter.Memory{ZeroA: new(1e5), ZeroAgoS: new(1e9)}, true},
		"a larger zero":   {ammeter.Memory{ZeroA: new(math.Nextafter(1e5, 2e5))}, false},
		"an older memory": {ammeter.Memory{ZeroAgoS: new(1.1e9)}, false},
	} {
		require.Equal(t, c.want, c.m.Valid(), name)
	}
}
