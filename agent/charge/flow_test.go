package charge_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

// TestCurrentThatFlows: a charge from C/100 on, which goes on down to C/250. Where a charger
// holds the voltage, 2.30 V or less when hot, a smaller tail is a charge too.
func TestCurrentThatFlows(t *testing.T) {
	for name, c := range map[string]struct {
		v, atC, before, a float64
		want              bool
	}{
		"C/100":                          {2.10, 25, 0, 10, true},
		"less":                           {2.10, 25, 0, 9.9, false},
		"goes on at C/250":               {2.10, 25, 10, 4, true},
		"not below":                      {2.10, 25, 10, 3.9, false},
		"held: a pack almost full":       {2.30, 25, 0, 4, true},
		"held: not from less":            {2.30, 25, 0, 3.9, false},
		"not held":                       {2.29, 25, 0, 4, false},
		"held: its tail":                 {2.30, 25, 10, 0, true},
		"held: a sensor's offset":        {2.30, 25, 10, -3.9, true},
		"held: taken out":                {2.30, 25, 10, -4, false},
		"hot: less is held":              {2.29, 40, 10, 0, true},
		"hot: 2.36 V referred to 25 °C":  {2.28, 40, 10, 0, false},
		"cold: 2.30 V all the same":      {2.30, 5, 10, 0, true},
		"the voltage is gone":            {math.NaN(), 25, 10, 3.9, false},
		"a current goes on without it":   {math.NaN(), 25, 10, 4, true},
		"nothing flows out of the blue":  {2.10, 25, 0, 0, false},
		"charging out is not charging":   {2.10, 25, 10, -10, false},
		"no current: nothing is claimed": {2.40, 25, 10, math.NaN(), false},
	} {
		h := newHands()
		h.c = c.atC
		h.take(c.v, c.before).pass(3*time.Minute, 10*time.Second)
		h.take(c.v, c.a)
		require.Equal(t, c.want, h.pass(5*time.Minute, 10*time.Second).Flowing, name)
	}
	h := newHands().take(2.10, 20)
	h.pass(3*time.Minute, 10*time.Second)
	h.a = math.NaN()
	h.tick(10 * time.Second)
	h.a = 5
	require.False(t, h.tick(10*time.Second).Flowing, "after a lost reading it must begin again")
}

// TestPulsesAreOneCharge: a pause of less than 45 s is bridged; half an hour ends a charge,
// ten minutes one that is full. Each is told with the time at which the current stopped.
func TestPulsesAreOneCharge(t *testing.T) {
	h := newHands().take(2.10, 20)
	h.pass(10*time.Minute, 10*time.Second)
	stopped := h.now + time.Second
	h.a = 0
	h.tick(time.Second)
	require.True(t, h.tick(44*time.Second).Flowing)
	require.False(t, h.tick(time.Second).Flowing)
	require.True(t, h.pass(stopped+30*time.Minute-time.Second-h.now, time.Minute).Active)
	s := h.tick(time.Second)
	require.False(t, s.Active)
	require.True(t, s.Ended)
	require.Equal(t, stopped, s.EndedAt)
	require.Equal(t, stopped, s.Since)

	h = newHands().provenFull().take(2.20, 20)
	h.pass(10*time.Minute, 10*time.Second)
	stopped = h.now + time.Second
	h.a = 0
	h.tick(time.Second)
	require.True(t, h.pass(10*time.Minute-time.Second, 10*time.Second).Active)
	s = h.tick(time.Second)
	require.False(t, s.Active)
	require.True(t, s.Full)
	require.Equal(t, stopped, s.EndedAt)
	require.EqualValues(t, 1, s.ChargesFull, "full before, and still")
}

// TestAChargeTakesAMinute of current: one disturbed reading, and the pulse it is held for, is
// none.
func TestAChargeTakesAMinute(t *testing.T) {
	h := newHands().take(2.10, 36)
	h.tick(time.Second)
	began := h.now
	require.False(t, h.tick(59*time.Second).Active)
	s := h.tick(time.Second)
	require.True(t, s.Active)
	require.Equal(t, began, s.Since)
	require.EqualValues(t, 1, s.Charges)
	require.InDelta(t, 36*60/3600.0, s.InAh, 1e-9, "the minute counts")
	require.InDelta(t, 36*90/3600.0, h.tick(30*time.Second).InAh, 1e-9)

	h = newHands().take(2.10, 36)
	h.tick(time.Second)
	h.pass(20*time.Second, time.Second)
	h.a = 0
	require.False(t, h.pass(time.Hour, time.Second).Active)
	require.Zero(t, h.tr.Status().Charges)

	h = newHands(blind).take(2.40, math.NaN())
	h.tick(3 * time.Minute)
	require.Zero(t, h.pass(10*time.Minute, 3*time.Minute).InAh, "of no known current nothing is counted")
}

// TestVoltageThatFlows judges the voltage where no current is measured. No cell at rest is
// above 2.20 V; when the current stops it falls at once by more than 80 mV.
func TestVoltageThatFlows(t *testing.T) {
	for name, c := range map[string]struct {
		v    []float64 // three minutes each
		want bool
	}{
		"from 2.20 V":                       {[]float64{2.10, 2.20}, true},
		"not below":                         {[]float64{2.10, 2.19}, false},
		"plugged in already":                {[]float64{2.20}, true},
		"down to 2.15 V":                    {[]float64{2.20, 2.15}, true},
		"not below it":                      {[]float64{2.20, 2.149}, false},
		"a fall of 80 mV":                   {[]float64{2.40, 2.33}, true},
		"a larger one":                      {[]float64{2.40, 2.31}, false},
		"from its peak":                     {[]float64{2.40, 2.36, 2.31}, false},
		"slowly rising again":               {[]float64{2.40, 2.25, 2.26}, false},
		"rising by 15 mV":                   {[]float64{2.40, 2.25, 2.266}, true},
		"from its lowest":                   {[]float64{2.40, 2.25, 2.23, 2.246}, true},
		"a rest that sinks":                 {[]float64{2.40, 2.25, 2.245, 2.24, 2.235, 2.23, 2.225}, false},
		"one that stands for 10 min":        {[]float64{2.40, 2.25, 2.25, 2.25, 2.25, 2.25}, true},
		"not before":                        {[]float64{2.40, 2.25, 2.25, 2.25, 2.25}, false},
		"stands after it sank":              {[]float64{2.40, 2.25, 2.24, 2.238, 2.239, 2.238, 2.238}, true},
		"low enough to show a rise":         {[]float64{2.40, 2.19, 2.184, 2.20}, true},
		"2.185 V is not":                    {[]float64{2.40, 2.19, 2.19, 2.20}, false},
		"no rest is above 2.20 V":           {[]float64{2.40, 2.19, 2.19, 2.199}, false},
		"a fall counts from the new charge": {[]float64{2.60, 2.10, 2.30, 2.25}, true},
	} {
		h := newHands(blind)
		for _, v := range c.v {
			h.v = v
			h.tick(3 * time.Minute)
		}
		require.Equal(t, c.want, h.tick(50*time.Second).Flowing, name)
	}
	h := newHands(blind)
	h.v = 2.40
	h.pass(9*time.Minute, 3*time.Minute)
	h.v = math.NaN()
	require.False(t, h.tick(3*time.Minute).Flowing, "no voltage")
	require.Equal(t, 12*time.Minute, h.now)
	h.pass(30*time.Minute, 3*time.Minute)
	require.Equal(t, 12*time.Minute, h.tr.Status().EndedAt, "since it is not known any more")
}

// TestPlausibleCurrents: three times the fastest charger, a tenth of a short circuit. What is
// more is disturbed, and the last good value stands in for two minutes.
func TestPlausibleCurrents(t *testing.T) {
	for a, want := range map[float64]float64{1500: 1500, 1501: 20, -5000: -5000, -5001: 20} {
		h := newHands().take(2.10, 20)
		h.pass(10*time.Minute, 10*time.Second)
		before := *h.tr.Status()
		h.a = a
		h.tick(time.Second)
		s := h.tr.Status()
		got := (s.TotalInAh - before.TotalInAh - s.TotalOutAh + before.TotalOutAh) * 3600
		require.InDelta(t, (20+want)/2, got, 1e-6, "%v A", a)
	}
	h := newHands().take(2.10, 20)
	h.pass(10*time.Minute, 10*time.Second)
	h.a = 3000
	require.True(t, h.pass(2*time.Minute, 10*time.Second).Flowing)
	require.False(t, h.tick(time.Second).Flowing)

	h = newHands()
	h.take(2.10, 3000)
	require.Zero(t, h.pass(10*time.Minute, 10*time.Second).TotalInAh, "nothing good was seen")

	counts := func(a, countA float64) float64 {
		h := newHands()
		for range 2 {
			h.now += 36 * time.Second
			h.tr.Step(&charge.Inputs{Now: h.now, CellV: h.good(2.1), CurrentA: h.good(a), CountA: h.good(countA), PackC: h.good(25)})
		}
		return h.tr.Status().TotalInAh
	}
	require.InDelta(t, 0.9, counts(50, 60), 1e-9, "the reading that is not averaged is counted")
	require.Zero(t, counts(50, 1501))
	require.Zero(t, counts(50, -5001))
}

// TestASpikeInARest: the middle of three readings within two minutes of each other is
// taken, so a single one ends no rest. Of readings further apart each counts.
func TestASpikeInARest(t *testing.T) {
	for each, want := range map[time.Duration]bool{time.Minute: true, 2 * time.Minute: true, 2*time.Minute + time.Second: false} {
		for _, spike := range []float64{-9, 9} {
			h := newHands()
			h.v = 2.12
			h.pass(time.Hour, each)
			require.True(t, h.tr.Memory().Resting)
			h.a = spike
			h.tick(each)
			require.Equal(t, want, h.tr.Memory().Resting, "%v A, %v apart", spike, each)
		}
	}
	for a, want := range map[float64]bool{3.9: true, 4: false, -3.9: true, -4: false} {
		h := newHands()
		h.a = a
		h.pass(10*time.Minute, 10*time.Second)
		require.Equal(t, want, h.tr.Memory().Resting, "at rest below C/250: %v A", a)
	}
	h := newHands()
	h.pass(10*time.Minute, 10*time.Second)
	h.v = math.NaN()
	h.tick(10 * time.Second)
	require.False(t, h.tr.Memory().Resting, "without a voltage nothing shows a rest")
}

// TestASpikeOfTheVoltage is left out of what a mark and the gas are made of.
func TestASpikeOfTheVoltage(t *testing.T) {
	gas := func(each time.Duration, spikes ...float64) float64 {
		h := newHands()
		h.v = 2.30
		h.pass(time.Hour, each)
		for _, v := range append(spikes, 2.30, 2.30) {
			h.v = v
			h.tick(each)
		}
		return h.tr.Status().TotalGassingAh
	}
	require.Equal(t, gas(2*time.Minute, 2.30), gas(2*time.Minute, 2.70))
	require.Greater(t, gas(2*time.Minute+time.Second, 2.70), gas(2*time.Minute+time.Second, 2.30))
	third := func(v float64) float64 {
		h := newHands()
		h.tick(time.Minute)
		h.v = v
		return h.tick(time.Minute).TotalGassingAh
	}
	require.Equal(t, third(2.06), third(2.70), "from the third reading on")
	require.Greater(t, gas(time.Minute, 2.70, 2.70), gas(time.Minute, 2.30, 2.30), "two are no spike")
}

// TestAGapInReadings of more than 15 minutes leaves nothing that it could have changed.
func TestAGapInReadings(t *testing.T) {
	for gap, want := range map[time.Duration]bool{15 * time.Minute: true, 15*time.Minute + time.Second: false} {
		h := newHands().provenFull()
		h.v = 2.12
		h.pass(time.Hour, time.Minute)
		require.True(t, h.tr.Status().Full && h.tr.Status().OutKnown && h.tr.Status().SocKnown)
		s := h.tick(gap)
		require.Equal(t, want, s.Full, gap)
		require.Equal(t, want, s.OutKnown, gap)
		require.Equal(t, want, s.SocKnown, gap)
		require.Equal(t, want, s.Gravity != nil, gap)
	}
	h := newHands().take(2.10, 100)
	h.pass(time.Hour, time.Minute)
	in := h.tr.Status().InAh
	h.tick(16 * time.Minute)
	require.Equal(t, in, h.tr.Status().InAh, "nothing is counted over it")
}
