package charge_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

// TestAnEqualizeCharge is three hours of C/100 or more after the pack was proven full, by
// more than the ampere-hours. Then the spread must be read again.
func TestAnEqualizeCharge(t *testing.T) {
	spread := func() *hands {
		h := restored(charge.Memory{EqualCycles: 9, SpreadKnown: true, Spread: 0.021, EqualAgoS: 50})
		return h.provenFull()
	}
	h := spread().take(2.40, 10)
	h.tr.CellGravity(0, sound(3, 1.271))
	h.tr.CellGravity(0, sound(4, 1.292))
	require.True(t, h.tr.Status().Full)
	h.tick(0)
	require.Equal(t, charge.BySpread, h.tr.Status().Equalize.Due)
	require.Equal(t, 50*time.Second, h.tr.Status().Equalize.Since)
	s := h.pass(3*time.Hour-time.Minute, time.Minute)
	require.False(t, s.Equalize.Now)
	s = h.tick(time.Minute)
	require.Equal(t, charge.Equalize{Now: true}, s.Equalize)

	for name, c := range map[string]struct {
		a, blind bool
		rate     float64
		want     bool
	}{
		"less than C/100":  {rate: 9.9},
		"no current known": {blind: true, want: true},
	} {
		h := newHands(func(cfg *charge.Config) { cfg.HasCurrent = !c.blind }).provenFull()
		if h.take(2.40, c.rate); c.blind {
			h.a = math.NaN()
		} else {
			h.a = 20
			h.pass(2*time.Minute, time.Minute)
			h.a = c.rate
		}
		require.Equal(t, c.want, h.pass(4*time.Hour, time.Minute).Equalize.Now, name)
	}
	h = newHands().provenFull().take(2.40, 20)
	h.pass(2*time.Hour, time.Minute)
	h.a, h.v = 0, 2.2
	h.pass(15*time.Minute, time.Minute)
	h.take(2.40, 20)
	require.False(t, h.pass(2*time.Hour, time.Minute).Equalize.Now, "of one charge")
	h = restored(charge.Memory{Full: true, Evidence: 2}).take(2.40, 20)
	require.False(t, h.pass(4*time.Hour, time.Minute).Equalize.Now, "the ampere-hours do not show that all of it gasses")
}

// TestEqualizeIsDue a week after the last with at least one charge, or by ten charges, or by
// a spread of 0.020.
func TestEqualizeIsDue(t *testing.T) {
	const week = 7 * 24 * 3600
	for name, c := range map[string]struct {
		m    charge.Memory
		want charge.EqualizeReason
	}{
		"a week":               {charge.Memory{EqualCycles: 1, EqualAgoS: week}, charge.ByTime},
		"less":                 {charge.Memory{EqualCycles: 1, EqualAgoS: week - 1}, charge.NotDue},
		"a week at rest":       {charge.Memory{EqualAgoS: week}, charge.NotDue},
		"ten charges":          {charge.Memory{EqualCycles: 10}, charge.ByCycles},
		"nine":                 {charge.Memory{EqualCycles: 9}, charge.NotDue},
		"0.020":                {charge.Memory{Spread: 0.020, SpreadKnown: true}, charge.BySpread},
		"0.019":                {charge.Memory{Spread: 0.019, SpreadKnown: true}, charge.NotDue},
		"not known":            {charge.Memory{Spread: 0.03}, charge.NotDue},
		"the strongest counts": {charge.Memory{EqualCycles: 10, EqualAgoS: week, Spread: 0.030, SpreadKnown: true}, charge.BySpread},
	} {
		require.Equal(t, c.want, restored(c.m).tick(0).Equalize.Due, name)
	}
	h := untouched()
	h.now = 9 * 24 * time.Hour
	require.Zero(t, h.tick(0).Equalize.Since, "it begins when the pack is first seen")
	require.Equal(t, time.Hour, h.pass(time.Hour, 10*time.Minute).Equalize.Since)
}

// TestWaterIsMixedIn by an hour of charge at 2.33 V or more (NAVEDTRA 14113, NAVEDTRA 14344).
func TestWaterIsMixedIn(t *testing.T) {
	unmixed := func(h *hands) bool { return h.tr.CellGravity(h.now, sound(3, 1.200)) == charge.GravityUnmixed }
	for name, c := range map[string]struct {
		v, a float64
		want bool
	}{
		"2.33 V":              {2.33, 20, true},
		"less":                {2.32, 20, false},
		"nothing flows":       {2.40, 0, false},
		"the voltage is gone": {math.NaN(), 20, false},
	} {
		h := newHands()
		h.tr.Watered(3)
		h.take(c.v, c.a)
		h.tick(0)
		h.pass(time.Hour-time.Minute, time.Minute)
		require.True(t, unmixed(h), name)
		h.tick(time.Minute)
		require.Equal(t, !c.want, unmixed(h), name)
	}
	h := newHands().take(2.40, 20)
	h.tr.Watered(3)
	h.pass(59*time.Minute, time.Minute)
	h.tr.Watered(4)
	h.pass(59*time.Minute, time.Minute)
	require.True(t, unmixed(h), "the last water counts")

	h = newHands(func(c *charge.Config) { c.Cells = charge.MaxCells })
	for _, cell := range []int{0, -1, charge.MaxCells + 1} {
		h.tr.Watered(cell)
		require.Zero(t, h.tr.Memory().Unmixed, cell)
	}
	for _, cell := range []int{1, charge.MaxCells} {
		h.tr.Watered(cell)
		require.Equal(t, charge.GravityUnmixed, h.tr.CellGravity(0, sound(cell, 1.2)), cell)
	}
	require.EqualValues(t, uint64(1|1<<47), h.tr.Memory().Unmixed)
}

// TestReadingsThatAreNone are ignored: of a cell that the pack does not have, or no number.
func TestReadingsThatAreNone(t *testing.T) {
	for _, r := range []*charge.Hydrometer{sound(0, 1.2), sound(13, 1.2), sound(3, 0), sound(3, -1), sound(3, math.NaN())} {
		h := newHands()
		require.Equal(t, charge.NotRead, h.tr.CellGravity(0, r))
		require.Nil(t, h.tr.Status().Gravity)
	}
	h := newHands()
	require.Equal(t, charge.GravityBelow, h.tr.CellGravity(0, sound(1, 1.2)))
	require.Equal(t, charge.GravityBelow, h.tr.CellGravity(4*time.Hour, sound(12, 1.2)))
	require.Equal(t, 2, h.tr.Status().Gravity.Sound, "of one round of four hours")
	h.tr.CellGravity(4*time.Hour+1, sound(2, 1.2))
	require.Equal(t, 1, h.tr.Status().Gravity.Sound)
	require.Equal(t, 4*time.Hour+1, h.tr.Status().Gravity.Began)
}

// TestUnread takes one reading back, and a full that it helped to prove.
func TestUnread(t *testing.T) {
	h := newHands()
	h.tr.Unread(3)
	require.Nil(t, h.tr.Status().Gravity, "nothing was read")
	for _, cell := range []int{0, 13, 49} {
		h := newHands().provenFull()
		h.tr.Unread(cell)
		require.True(t, h.tr.Status().Full, cell)
	}
	for _, cell := range []int{1, 12} {
		h := newHands().provenFull()
		h.tr.Unread(cell)
		require.False(t, h.tr.Status().Full || h.tr.Status().OutKnown, cell)
		require.False(t, h.tr.Memory().CeilingFull)
		require.Equal(t, 11, h.tr.Status().Gravity.Sound)
		require.Equal(t, charge.NotRead, h.tr.Status().Gravity.Cells[cell-1].Verdict)
	}
	h = restored(charge.Memory{Full: true, Evidence: codeSteadyTaper, OutKnown: true})
	h.tr.CellGravity(0, sound(3, 1.280))
	h.tr.Unread(3)
	require.True(t, h.tr.Status().Full && h.tr.Status().OutKnown, "that was proven otherwise")
	h = restored(charge.Memory{OutKnown: true})
	h.tr.CellGravity(0, sound(3, 1.280))
	h.tr.Unread(3)
	require.True(t, h.tr.Status().OutKnown)
}

// TestALowCell takes back what was thought of the charge, where it is more certain.
func TestALowCell(t *testing.T) {
	for name, c := range map[string]struct {
		m    charge.Memory
		want float64
		plus float64
	}{
		"nothing was known":            {charge.Memory{}, 0.5, 0.12},
		"less certain":                 {charge.Memory{SocKnown: true, Soc: 0.55, SocPlus: 0.13}, 0.5, 0.12},
		"as certain":                   {charge.Memory{SocKnown: true, Soc: 0.55, SocPlus: 0.12}, 0.55, 0.12},
		"a little more certain":        {charge.Memory{SocKnown: true, Soc: 0.55, SocPlus: 0.11}, 0.55, 0.11},
		"more certain, but lower":      {charge.Memory{SocKnown: true, Soc: 0.3, SocPlus: 0.05}, 0.3, 0.05},
		"more certain, but it is less": {charge.Memory{SocKnown: true, Soc: 0.6, SocPlus: 0.05}, 0.5, 0.12},
	} {
		h := restored(c.m)
		h.tr.CellGravity(0, sound(3, 1.285-0.070))
		s := h.tr.Status()
		require.True(t, s.SocKnown, name)
		require.InDelta(t, c.want, s.Soc, 1e-6, name)
		require.Equal(t, c.plus, s.SocPlus, name)
	}
	for name, m := range map[string]charge.Memory{
		"a full":    {Full: true, Evidence: codeSteadyTaper, OutKnown: true, CeilingFull: true},
		"a pending": {Pending: codeHeldTail, OutKnown: true, CeilingFull: true},
	} {
		h := restored(m)
		h.tr.CellGravity(0, sound(3, 1.260))
		s := h.tr.Status()
		require.False(t, s.Full || s.OutKnown || h.tr.Memory().CeilingFull, name)
		require.Equal(t, charge.NoEvidence, s.Pending, name)
	}
	h := restored(charge.Memory{OutKnown: true})
	h.tr.CellGravity(0, sound(3, 1.260))
	require.True(t, h.tr.Status().OutKnown, "a pack that was not full")

	for sg, want := range map[float64]bool{1.299: true, 1.301: false, 1.2801: true, 1.2799: false} {
		h := newHands()
		for cell := 1; cell <= 12; cell++ {
			h.tr.CellGravity(0, sound(cell, sg))
		}
		require.Equal(t, want, h.tr.Status().Full, "the middle of all cells is %v", sg)
	}
	beyond := sound(3, 1.285)
	beyond.MissingML = 1300 // of 1,350: no density is known of what is left
	h = newHands()
	h.tr.CellGravity(0, beyond)
	require.LessOrEqual(t, h.tr.Status().Gravity.Cells[2].AtMark, 1.05, "it proves nothing")
}

// TestTheContactOfACharger counts if it was seen open in this charge, a quarter of an hour
// and the gassing voltage before it closed, and the first ten minutes of rest do not contradict it.
func TestTheContactOfACharger(t *testing.T) {
	for name, c := range map[string]struct {
		open, v float64
		closed  time.Duration
		restV   float64
		want    charge.Evidence
	}{
		"closes":                {0, 2.40, 40 * time.Minute, 2.10, charge.ChargerComplete},
		"stuck":                 {1, 2.40, 40 * time.Minute, 2.10, charge.NoEvidence},
		"of no known state":     {math.NaN(), 2.40, 40 * time.Minute, 2.10, charge.NoEvidence},
		"below gassing":         {0, 2.32, 40 * time.Minute, 2.10, charge.NoEvidence},
		"rests far too low":     {0, 2.40, 40 * time.Minute, 2.07, charge.NoEvidence},
		"within a quarter hour": {0, 2.40, 13 * time.Minute, 2.10, charge.NoEvidence},
		"rests just not so low": {0, 2.40, 40 * time.Minute, 2.081, charge.ChargerComplete},
	} {
		h := newHands().take(2.25, 60) // sound plates
		h.complete = c.open
		h.tick(0)
		h.pass(min(c.closed, 16*time.Minute), time.Minute)
		h.v = c.v
		h.pass(c.closed-min(c.closed, 16*time.Minute), time.Minute)
		h.complete = 1
		h.tick(0)
		h.v = c.restV
		h.tick(3 * time.Minute)
		h.a = 0
		h.tick(0)
		h.tick(45 * time.Second)
		require.True(t, h.tr.Memory().Resting, name)
		s := h.pass(10*time.Minute-time.Second, time.Minute)
		require.Equal(t, charge.NoEvidence, s.Pending, name)
		require.Equal(t, c.want, h.tick(time.Second).Pending, name)
		s = h.pass(2*time.Hour, 10*time.Minute)
		require.False(t, s.Full || s.Pending != charge.NoEvidence, "%s: more than 12 mV below full", name)
	}
}

// TestNames: what has no name has none.
func TestNames(t *testing.T) {
	require.Equal(t, "hand-gravity", charge.HandGravity.String())
	require.Empty(t, (charge.HandGravity + 1).String())
	require.Empty(t, charge.Evidence(99).String())
	require.Equal(t, "gravity-13", charge.NumGravityVerdicts.String())
	require.False(t, charge.NumGravityVerdicts.Sound())
	require.True(t, (charge.NumGravityVerdicts - 1).Sound())
	for e := charge.NoEvidence; e <= charge.HandGravity; e++ {
		require.Equal(t, e, charge.ParseEvidence(e.String()))
	}
}
