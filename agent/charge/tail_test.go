package charge_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

const five = 5 * time.Minute // of which the means of a held voltage are

// TestALowTail: half an hour at a held voltage with at most 0.8 A for each 100 Ah, which even
// slow plates end at. Where gassing does not explain it, or of more than 12 cells, the rest
// must agree.
func TestALowTail(t *testing.T) {
	for name, c := range map[string]struct {
		v, atC, a float64
		cells     int
		full      bool
		pending   charge.Evidence
	}{
		"explained":                  {2.40, 25, 3.8, 12, true, charge.NoEvidence},
		"of 13 cells":                {2.40, 25, 3.8, 13, false, charge.HeldTail},
		"not explained":              {2.40, 25, 8, 12, false, charge.HeldTail},
		"more":                       {2.40, 25, 8.1, 12, false, charge.NoEvidence},
		"2.31 V":                     {2.31, 25, 8, 12, false, charge.HeldTail},
		"2.29 V":                     {2.29, 25, 8, 12, false, charge.NoEvidence},
		"hot":                        {2.25, 36, 8, 12, false, charge.HeldTail},
		"hot, less than 2.30 V":      {2.25, 34, 8, 12, false, charge.NoEvidence},
		"cold, and not compensated":  {2.34, 0, 8, 12, false, charge.HeldTail},
		"cold, less than 2.33 V":     {2.32, 0, 8, 12, false, charge.NoEvidence},
		"a voltage without a charge": {2.40, 25, 0, 12, false, charge.NoEvidence},
	} {
		h := newHands(func(cfg *charge.Config) { cfg.Cells = c.cells })
		h.c = c.atC
		if h.v = c.v; c.a > 0 {
			h.bulk(c.v, 20)
			h.a = c.a
		}
		s := h.pass(3*five, five)
		require.False(t, s.Full || s.Pending != charge.NoEvidence, name)
		s = h.pass(4*five, five)
		require.Equal(t, c.full, s.Full, name)
		require.Equal(t, c.pending, s.Pending, name)
		if c.pending != charge.NoEvidence {
			require.Equal(t, charge.AwaitsRest, s.Doubt, name)
		}
	}
}

// TestAHeldVoltage stays within 12 mV, as it is or referred to 25 °C.
func TestAHeldVoltage(t *testing.T) {
	for name, c := range map[string]struct {
		v, atC float64
		want   bool
	}{
		"the same":               {2.40, 25, true},
		"11 mV":                  {2.411, 25, true},
		"13 mV":                  {2.413, 25, false},
		"less":                   {2.387, 25, false},
		"as it is":               {2.40, 35, true},
		"follows a temperature":  {2.35, 35, true},
		"neither of both":        {2.42, 35, false},
		"13 mV in both, upwards": {2.413, 25.1, false},
	} {
		h := newHands().bulk(2.40, 20)
		h.a = 8
		h.pass(4*five, five)
		h.v, h.c = c.v, c.atC
		h.pass(3*five, five)
		found := func() bool { return h.tr.Status().Pending == charge.HeldTail || h.tr.Status().Full }
		require.Equal(t, c.want, found(), name)
		h.pass(4*five, five)
		require.True(t, found(), name)
	}
}

// TestWhatATailLeaves: an exponential leaves its current times its time constant. It is
// evidence when that is at most 5 % of the capacity, and not long after; of a tail above 4 A
// for each 100 Ah not at all, and of slow plates when the current is low (see tailLow).
func TestWhatATailLeaves(t *testing.T) {
	for _, takesH := range []float64{0.7, 1, 1.5, 2, 3, 4, 6} {
		t.Run(fmt.Sprintf("arithmetic: takes %.1f h", takesH), func(t *testing.T) {
			h := newHands().bulk(2.40, 150)
			a := func(at float64) float64 { return 150 * math.Exp(-at/takesH) }
			for m := 5.0; ; m += 5 {
				h.a = a(m / 60)
				if s := h.tick(five); s.Pending != charge.NoEvidence {
					require.Equal(t, charge.HeldTail, s.Pending)
					require.Equal(t, charge.AwaitsRest, s.Doubt)
					left := h.a * takesH / 1000
					require.LessOrEqual(t, left, 0.05)
					require.LessOrEqual(t, h.a, 40.0)
					if h.a > 8 && h.a < 35 {
						require.Greater(t, left, 0.036)
					}
					return
				}
				require.Less(t, m, 40*60.0, "never")
			}
		})
	}
}

// ends has a tail that the charger ends by itself at a current.
func ends(takesH, endA float64, change ...func(*charge.Config)) *hands {
	h := newHands(change...).bulk(2.40, 150)
	for at := 5.0; ; at += 5 {
		if h.a = 150 * math.Exp(-at/60/takesH); h.a < endA {
			break
		}
		h.tick(five)
	}
	h.take(2.15, 0)
	h.pass(6*five, five)
	return h
}

// TestATailThatEnds by itself leaves 9.1 % at the most, at no more than C/40.
func TestATailThatEnds(t *testing.T) {
	for name, c := range map[string]struct {
		takesH, endA float64
		want         bool
	}{
		"sound plates at C/50":    {2, 20, true},
		"at C/40 of 3 h":          {3, 24, true},
		"above":                   {2, 31, false},
		"slow plates miss 12 %":   {6, 19, false},
		"they miss less than 9 %": {4, 18, true},
	} {
		s := ends(c.takesH, c.endA).tr.Status()
		require.Equal(t, c.want, s.Pending == charge.HeldTail, name)
	}
}

// TestAFloor: the gas of old plates makes a floor that the current falls to. What is above it
// by three parts of the time is what still goes in.
func TestAFloor(t *testing.T) {
	for name, c := range map[string]struct {
		floorA, takesH float64
		want           bool
	}{
		"old plates, 0.9 A for each 100 Ah": {9, 1, true},
		"more than the oldest gas":          {30, 1, false},
		"a slow fall to it":                 {9, 8, false},
	} {
		h := newHands().bulk(2.40, 90)
		for at := 5.0; at < 5*60; at += 5 {
			h.a = c.floorA + 80*math.Exp(-at/60/c.takesH)
			h.tick(five)
		}
		require.Equal(t, c.want, h.tr.Status().Pending == charge.HeldTail, name)
	}
}

// TestAFloat after a held charge of half an hour or more: 0.5 A for each 100 Ah or less for an
// hour, or 0.8 A for four, at a voltage that does not sink as at rest.
func TestAFloat(t *testing.T) {
	for name, c := range map[string]struct {
		hold    time.Duration
		v, a    float64
		sinks   float64 // mV an hour
		after   time.Duration
		full    bool
		pending bool
	}{
		"explained":               {hold: time.Hour, v: 2.25, a: 2, after: time.Hour, full: true},
		"C/200":                   {hold: time.Hour, v: 2.25, a: 5, after: time.Hour, pending: true},
		"more":                    {hold: time.Hour, v: 2.25, a: 5.1, after: 3*time.Hour + 45*time.Minute},
		"for four hours":          {hold: time.Hour, v: 2.25, a: 8, after: 4 * time.Hour, pending: true},
		"more all the time":       {hold: time.Hour, v: 2.25, a: 8.1, after: 8 * time.Hour},
		"a shorter hold":          {hold: 25 * time.Minute, v: 2.25, a: 5, after: 3 * time.Hour},
		"the lowest float":        {hold: time.Hour, v: 2.18, a: 5, after: time.Hour, pending: true},
		"below it":                {hold: time.Hour, v: 2.17, a: 5, after: 5 * time.Hour},
		"it sinks a little":       {hold: time.Hour, v: 2.25, a: 5, sinks: 3, after: 2 * time.Hour, pending: true},
		"it sinks as at rest":     {hold: time.Hour, v: 2.25, a: 5, sinks: 4, after: 5 * time.Hour},
		"no voltage of a charge":  {hold: time.Hour, v: 2.40, a: 60, after: 5 * time.Hour},
		"taken out: it is no use": {hold: time.Hour, v: 2.25, a: -5, after: 5 * time.Hour},
	} {
		h := newHands().bulk(2.40, 60)
		h.pass(c.hold, five)
		h.take(c.v, c.a)
		h.pass(c.after, five)
		if c.sinks > 0 {
			h = newHands().bulk(2.40, 60)
			h.pass(c.hold, five)
			h.take(c.v, c.a)
			for range int(c.after / five) {
				h.v -= c.sinks / 1000 / 12
				h.tick(five)
			}
		}
		s := h.pass(2*five, five) // the first two of a voltage are none
		if c.full {
			s = h.pass(2*five, five) // no charge flows any more, which takes two to see
		}
		require.Equal(t, c.full, s.Full, name)
		require.Equal(t, c.pending, s.Pending == charge.HeldFloat, name)
		if (c.full || c.pending) && c.sinks == 0 {
			early := newHands().bulk(2.40, 60)
			early.pass(c.hold, five)
			early.take(c.v, c.a)
			s := early.pass(c.after-five, five)
			require.False(t, s.Full || s.Pending != charge.NoEvidence, name)
		}
	}
}

// TestAFloatThatFollowsTheTemperature is none that sinks, nor is one that does not.
func TestAFloatThatFollowsTheTemperature(t *testing.T) {
	for name, c := range map[string]struct {
		mVPerH, kPerH float64
		want          bool
	}{
		"follows a pack that warms":          {-10, 2, true},
		"holds while the pack cools":         {0, -2, true},
		"sinks and the pack does not move":   {-10, 0, false},
		"sinks more than the pack warms":     {-20, 2, false},
		"rises as the pack warms":            {0, 2, true},
		"sinks slowly, and the pack is warm": {-3, 0, true},
	} {
		h := newHands().bulk(2.40, 60)
		h.pass(time.Hour, five)
		h.take(2.25, 5)
		for range 16 {
			h.v += c.mVPerH / 1000 / 12
			h.c += c.kPerH / 12
			h.tick(five)
		}
		require.Equal(t, c.want, h.tr.Status().Pending == charge.HeldFloat, name)
	}
}

// TestHoursOfAHold prove where no current is measured: twelve, in the middle of the 8 to 24 h
// of stationary practice. An hour of float counts half, and so does a cold one at 5 °C.
func TestHoursOfAHold(t *testing.T) {
	for name, c := range map[string]struct {
		hold, float time.Duration
		atC         float64
		fitted      bool
		want        bool
	}{
		"twelve hours":            {12 * time.Hour, 0, 25, false, true},
		"less":                    {12*time.Hour - five, 0, 25, false, false},
		"and at float":            {6 * time.Hour, 12*time.Hour + five, 25, false, true},
		"less at float":           {6 * time.Hour, 12*time.Hour - 2*five, 25, false, false},
		"cold":                    {23 * time.Hour, 0, 5, false, false},
		"cold for a day":          {24*time.Hour + five, 0, 5, false, true},
		"warm: no faster":         {12*time.Hour - five, 0, 45, false, false},
		"a float alone":           {25 * time.Minute, 30 * time.Hour, 25, false, false},
		"a sensor that is fitted": {30 * time.Hour, 0, 25, true, false},
	} {
		h := newHands(func(cfg *charge.Config) { cfg.HasCurrent = c.fitted })
		h.c = c.atC
		h.take(2.36, math.NaN())
		h.pass(15*time.Minute, five) // the charge is one, and the voltage the same
		h.pass(c.hold-five, five)
		if c.float > 0 {
			h.v = 2.29
			h.pass(25*time.Minute+c.float, five) // a float is one after half an hour
		}
		s := h.tr.Status()
		require.Equal(t, c.want, s.Full, name)
		if c.want {
			require.Equal(t, charge.HeldHours, s.Evidence, name)
		}
	}
}
