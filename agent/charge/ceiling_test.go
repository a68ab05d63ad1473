package charge_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

// ceilings are two hours and any ampere-hours, or others.
func ceilings(maxFor time.Duration, maxAh float64) func(*charge.Config) {
	return func(c *charge.Config) { c.MaxFor, c.MaxAh = maxFor, maxAh }
}

// TestCeilingsAreMet by hours and ampere-hours of current, and passed by the next of them.
func TestCeilingsAreMet(t *testing.T) {
	h := newHands(ceilings(2*time.Hour, 1e6)).take(2.10, 20)
	h.pass(2*time.Hour, time.Minute)
	require.Zero(t, h.tr.Overrun())
	h.tick(time.Minute)
	require.Equal(t, charge.Overrun{Hours: true, Value: 7260 / 3600.0, Limit: 2}, h.tr.Overrun())

	h = newHands(ceilings(24*time.Hour, 40)).take(2.10, 36)
	h.pass(4000*time.Second, 100*time.Second)
	require.Zero(t, h.tr.Overrun())
	h.tick(100 * time.Second)
	require.Equal(t, charge.Overrun{AmpereHours: true, Value: 41, Limit: 40}, h.tr.Overrun())
}

// TestAnOverrunLastsAsTheCharge does, and the count goes on over a pause of less than 8 h:
// of a charger that trips the next second of current is too much.
func TestAnOverrunLastsAsTheCharge(t *testing.T) {
	for pause, want := range map[time.Duration]bool{8*time.Hour - time.Minute: true, 8 * time.Hour: false} {
		h := newHands(ceilings(2*time.Hour, 1e6)).take(2.10, 20)
		h.pass(3*time.Hour, time.Minute)
		h.a = 0
		h.pass(20*time.Minute, time.Minute)
		require.True(t, h.tr.Overrun().Hours, "the charge may go on")
		h.pass(20*time.Minute, time.Minute)
		require.Zero(t, h.tr.Overrun())
		h.pass(pause-40*time.Minute, time.Minute)
		h.a = 20
		h.tick(time.Minute)
		require.Equal(t, want, h.tr.Overrun().Hours, "%v without current", pause)
	}
	h := newHands(ceilings(12*time.Hour, 1e6)).provenFull().take(2.10, 20)
	h.pass(time.Hour, time.Minute)
	h.a = 0
	h.pass(9*time.Hour, time.Minute)
	h.a = 20
	h.pass(12*time.Hour, time.Minute)
	require.Zero(t, h.tr.Overrun(), "nor is it one after full any more")
}

// TestReleasedAndUnplugged: a release starts the count again, as of a pack that is not full.
// A pulled plug ends the short ceiling after full only.
func TestReleasedAndUnplugged(t *testing.T) {
	h := newHands(ceilings(10*time.Hour, 1e6)).provenFull().take(2.10, 20)
	h.pass(8*time.Hour, time.Minute)
	require.Zero(t, h.tr.Overrun())
	h.tick(time.Minute)
	require.Equal(t, charge.Overrun{Hours: true, AfterFull: true, Value: 8 + 1/60.0, Limit: 8}, h.tr.Overrun())
	h.tr.Released()
	h.pass(10*time.Hour, time.Minute)
	require.Zero(t, h.tr.Overrun())
	h.tick(time.Minute)
	require.True(t, h.tr.Overrun().Hours && !h.tr.Overrun().AfterFull)

	h = newHands(ceilings(10*time.Hour, 1e6)).provenFull().take(2.10, 20)
	h.pass(7*time.Hour, time.Minute)
	h.tr.Unplugged()
	h.pass(3*time.Hour, time.Minute)
	require.Zero(t, h.tr.Overrun())
	h.tick(time.Minute)
	require.True(t, h.tr.Overrun().Hours && !h.tr.Overrun().AfterFull, "the count went on")

	h = newHands(ceilings(5*time.Hour, 1e6)).provenFull().take(2.10, 20)
	h.pass(5*time.Hour+time.Minute, time.Minute)
	require.True(t, h.tr.Overrun().AfterFull, "full is no reason for more")
}

// TestAfterFull: a tail below C/100 does not count, nor do hours of a float of 2.18 to 2.33 V
// with at most C/40 that does not rise.
func TestAfterFull(t *testing.T) {
	for name, c := range map[string]struct {
		v, atC, first, a float64
		blind, want      bool
	}{
		"C/100":                        {2.40, 25, 10, 10, false, true},
		"less":                         {2.40, 25, 9.9, 9.9, false, false},
		"no current known":             {2.40, 25, 0, 0, true, true},
		"a float at C/40":              {2.30, 25, 25, 25, false, false},
		"more":                         {2.30, 25, 25.1, 25.1, false, true},
		"the lowest float":             {2.18, 25, 20, 20, false, false},
		"below":                        {2.17, 25, 20, 20, false, true},
		"the highest float":            {2.32, 25, 20, 20, false, false},
		"2.33 V":                       {2.33, 25, 20, 20, false, true},
		"hot":                          {2.30, 54, 20, 20, false, false},
		"so hot that it is a charge":   {2.30, 55.1, 20, 20, false, true},
		"a quarter more than it was":   {2.30, 25, 12, 17, false, false},
		"a rise is how a runaway goes": {2.30, 25, 12, 17.1, false, true},
		"a float, no current known":    {2.25, 25, 0, 0, true, false},
	} {
		change := func(cfg *charge.Config) { cfg.MaxFor, cfg.MaxAh, cfg.HasCurrent = 24*time.Hour, 1e6, !c.blind }
		h := newHands(change).provenFull()
		h.c = c.atC
		if h.take(c.v, c.first); c.blind {
			h.a = math.NaN()
		}
		h.pass(30*time.Minute, 5*time.Minute)
		for range 80 { // the lowest of three hours
			if !c.blind && h.a != c.a {
				h.a = c.a
			}
			h.pass(5*time.Minute, 5*time.Minute)
			if c.first != c.a {
				h.a = c.first
				h.pass(5*time.Minute, 5*time.Minute)
			}
		}
		if c.first != c.a {
			// Half of the hours were at each: those of the rise count.
			require.Equal(t, c.want, h.tr.Memory().CeilingS > 3*3600, name)
			continue
		}
		h.pass(8*time.Hour, 5*time.Minute)
		require.Equal(t, c.want, h.tr.Overrun().AfterFull, name)
	}
}

// TestAPackThatTakesCharge at C/100 or more below the gassing voltage was used since it was
// full: the short ceiling ends, though nothing was seen of the use.
func TestAPackThatTakesCharge(t *testing.T) {
	for name, c := range map[string]struct {
		v, a  float64
		blind bool
		want  bool
	}{
		"C/100 at 2.32 V": {2.32, 10, false, true},
		"at 2.33 V":       {2.33, 10, false, false},
		"less":            {2.32, 9.9, false, false},
		"voltage alone":   {2.25, 0, true, true},
	} {
		h := newHands(ceilings(12*time.Hour, 1e6), func(cfg *charge.Config) { cfg.HasCurrent = !c.blind }).provenFull()
		h.tick(16 * time.Minute)
		if h.take(c.v, c.a); c.blind {
			h.a = math.NaN()
		}
		h.pass(30*time.Minute, 5*time.Minute)
		require.False(t, h.tr.Status().Full)
		if h.v = 2.40; !c.blind {
			h.a = 20
		}
		h.pass(9*time.Hour, 5*time.Minute)
		require.Equal(t, !c.want, h.tr.Overrun().AfterFull, name)
		if c.want {
			h.pass(3*time.Hour, 5*time.Minute)
			require.True(t, h.tr.Overrun().Hours && !h.tr.Overrun().AfterFull, name)
		}
	}
	h := newHands(ceilings(12*time.Hour, 1e6)).provenFull().take(2.20, 30)
	h.pass(8*time.Hour+5*time.Minute, 5*time.Minute)
	require.True(t, h.tr.Overrun().AfterFull, "while it counts as full it stays")
}

// TestCountOfAmpereHours: a current up to C/500 may be the offset of a sensor and is not
// counted, but stated as what may be missing.
func TestCountOfAmpereHours(t *testing.T) {
	for a, want := range map[float64]struct{ in, out, plus float64 }{
		2: {0, 0, 2}, 2.5: {2.5, 0, 0}, -2: {0, 0, 2}, -2.5: {0, 2.5, 0.025}, 0: {0, 0, 2},
	} {
		h := newHands()
		h.a = a
		h.tick(0)
		s := h.pass(time.Hour, 15*time.Minute)
		require.InDelta(t, want.in, s.TotalInAh, 1e-9, "%v A", a)
		require.InDelta(t, want.out, s.OutAh, 1e-9, "%v A", a)
		require.InDelta(t, want.out, s.TotalOutAh, 1e-9, "%v A", a)
		require.InDelta(t, want.plus, s.OutPlusAh, 1e-9, "%v A", a)
	}
}

// TestNothingIsCountedAcross a reading that was lost, or a gap.
func TestNothingIsCountedAcross(t *testing.T) {
	h := newHands().take(2.10, 40)
	h.tick(0)
	h.pass(time.Hour, 15*time.Minute)
	h.a = math.NaN()
	h.tick(15 * time.Minute)
	h.a = 40
	h.tick(15 * time.Minute)
	require.InDelta(t, 40, h.tr.Status().TotalInAh, 1e-9)
	h.tick(16 * time.Minute)
	require.InDelta(t, 40, h.tr.Status().TotalInAh, 1e-9)
	h.tick(15 * time.Minute)
	require.InDelta(t, 50, h.tr.Status().TotalInAh, 1e-9)

	gas := func(lost bool) float64 {
		h := newHands()
		h.v = 2.25
		h.tick(0)
		h.pass(time.Hour, 15*time.Minute)
		if lost {
			h.v = math.NaN()
			h.tick(15 * time.Minute)
			h.v = 2.25
			h.tick(15 * time.Minute)
			h.tick(16 * time.Minute)
		}
		return h.tr.Status().TotalGassingAh
	}
	require.Positive(t, gas(false))
	require.Equal(t, gas(false), gas(true))
}

// TestGasOfAnOffset: a current too small for a charge may be a sensor's offset; the gas of
// the cell is that by the law, full or not.
func TestGasOfAnOffset(t *testing.T) {
	gas := func(full bool, a float64) float64 {
		h := newHands()
		if full {
			h.provenFull()
		}
		h.take(2.20, a)
		h.tick(0)
		return h.pass(time.Hour, 15*time.Minute).TotalGassingAh
	}
	require.Equal(t, gas(false, 0), gas(true, 9))
	require.Greater(t, gas(true, 20), 17.0, "but all of a charge splits water once it is full")
}
