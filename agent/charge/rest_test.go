package charge_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
	"bayward/agent/electrolyte"
)

// fullV is the voltage at which a full cell of newHands rests: gravity plus 0.845 V
// (DOE-HDBK-1084-95).
const fullV = 1.285 + 0.845

// codes of evidence in a memory.
const (
	codeSteadyVoltage = 3
	codeSteadyTaper   = 4
	codeHandGravity   = 5
	codeHeldTail      = 6
	codeFinishRise    = 10
)

// rests lets a restored pack rest from now on.
func rests(m charge.Memory, belowV float64, change ...func(*charge.Config)) *hands {
	m.Charges = 1
	h := restored(m, change...)
	h.v = fullV - belowV
	h.tick(0)
	return h
}

// TestARestSettles what waited for it, after an hour, or two where a shorted cell is one of
// more than 12 or too much current flowed. Evidence that slow plates give too must be within
// 12 mV of full, the rest within 30 mV. Lower than that points to a fault (TM 5-684/MO-200).
func TestARestSettles(t *testing.T) {
	for name, c := range map[string]struct {
		pending uint8
		doubt   charge.Doubt
		belowV  float64
		cells   int
		after   time.Duration
		full    bool
		want    charge.Doubt
	}{
		"a tail, as full":            {codeHeldTail, charge.AwaitsRest, 0.011, 12, time.Hour, true, charge.NoDoubt},
		"a tail, not so full":        {codeHeldTail, charge.AwaitsRest, 0.013, 12, time.Hour, false, charge.EndedEarly},
		"a tail, 29 mV":              {codeHeldTail, charge.AwaitsRest, 0.029, 12, time.Hour, false, charge.EndedEarly},
		"a tail, 31 mV":              {codeHeldTail, charge.AwaitsRest, 0.031, 12, time.Hour, false, charge.RestsTooLow},
		"a tail of 24 cells":         {codeHeldTail, charge.AwaitsRest, 0.011, 24, 2 * time.Hour, true, charge.NoDoubt},
		"steady, as full":            {codeSteadyVoltage, charge.AwaitsRest, 0.002, 12, time.Hour, true, charge.NoDoubt},
		"steady, not so full":        {codeSteadyVoltage, charge.AwaitsRest, 0.004, 12, time.Hour, false, charge.EndedEarly},
		"a rise, as full":            {codeFinishRise, charge.AwaitsRest, -0.001, 12, time.Hour, true, charge.NoDoubt},
		"a rise, not so full":        {codeFinishRise, charge.AwaitsRest, 0.001, 12, time.Hour, false, charge.EndedEarly},
		"steady, 31 mV":              {codeSteadyVoltage, charge.AwaitsRest, 0.031, 12, time.Hour, false, charge.RestsTooLow},
		"too much current, as full":  {codeSteadyTaper, charge.DrawsTooMuch, 0.011, 12, 2 * time.Hour, true, charge.NoDoubt},
		"too much current, not so":   {codeSteadyTaper, charge.DrawsTooMuch, 0.013, 12, 2 * time.Hour, false, charge.EndedEarly},
		"too much current, 31 mV":    {codeSteadyTaper, charge.DrawsTooMuch, 0.031, 12, 2 * time.Hour, false, charge.RestsTooLow},
		"a doubt alone":              {0, charge.RestsTooLow, 0.029, 12, time.Hour, false, charge.NoDoubt},
		"too much current alone":     {0, charge.DrawsTooMuch, 0.029, 12, 2 * time.Hour, false, charge.NoDoubt},
		"80 mV of surface charge":    {codeHeldTail, charge.AwaitsRest, -0.079, 12, time.Hour, true, charge.NoDoubt},
		"a slow one of 12 is enough": {codeHeldTail, charge.AwaitsRest, 0.011, 11, time.Hour, true, charge.NoDoubt},
	} {
		h := rests(charge.Memory{Pending: c.pending, Doubt: uint8(c.doubt)}, c.belowV, func(cfg *charge.Config) { cfg.Cells = c.cells })
		s := h.pass(c.after-10*time.Second, time.Minute)
		require.Equal(t, c.doubt, s.Doubt, name)
		require.False(t, s.Full, name)
		s = h.tick(10 * time.Second)
		require.Equal(t, c.want, s.Doubt, name)
		require.Equal(t, c.full, s.Full, name)
		require.Equal(t, charge.NoEvidence, s.Pending, name)
		if c.full {
			require.Equal(t, h.now, s.FullAt)
			require.EqualValues(t, 1, s.ChargesFull, name)
		}
	}
	for name, c := range map[string]struct {
		doubt  charge.Doubt
		belowV float64
	}{
		"still too low":         {charge.RestsTooLow, 0.031},
		"an end says nothing":   {charge.EndedEarly, 0.001},
		"nor does the sensor":   {charge.NeedsCurrent, 0.001},
		"a float, and no rest":  {charge.RestsTooLow, -0.081},
		"too much, still":       {charge.DrawsTooMuch, 0.031},
		"nothing to be settled": {charge.NoDoubt, 0.031},
	} {
		h := rests(charge.Memory{Doubt: uint8(c.doubt)}, c.belowV)
		require.Equal(t, c.doubt, h.pass(4*time.Hour, 10*time.Minute).Doubt, name)
	}
}

// TestARestTakesFullBack that it does not show, with what was known of the charge and the
// ceiling that began with it.
func TestARestTakesFullBack(t *testing.T) {
	for name, c := range map[string]struct {
		evidence uint8
		belowV   float64
		self     float64
		after    time.Duration // 0: it stays
		want     charge.Doubt
	}{
		"a tail":                   {codeHeldTail, 0.011, 0, 0, charge.NoDoubt},
		"a tail, 13 mV":            {codeHeldTail, 0.013, 0, time.Hour, charge.EndedEarly},
		"a tail, 31 mV":            {codeHeldTail, 0.031, 0, time.Hour, charge.RestsTooLow},
		"a tail, and it discharge": {codeHeldTail, 0.013, 0.05, 0, charge.NoDoubt},
		"steady":                   {codeSteadyVoltage, 0.029, 0, 0, charge.NoDoubt},
		"steady, 31 mV":            {codeSteadyVoltage, 0.031, 0, time.Hour, charge.RestsTooLow},
		"a hydrometer knows":       {codeHandGravity, 0.049, 0, 0, charge.NoDoubt},
		"but not of 51 mV":         {codeHandGravity, 0.051, 0, 10 * time.Minute, charge.RestsTooLow},
		"nor does steadiness":      {codeSteadyTaper, 0.051, 0, 10 * time.Minute, charge.RestsTooLow},
		"a float shows nothing":    {codeHeldTail, -0.2, 0, 0, charge.NoDoubt},
	} {
		m := charge.Memory{Full: true, Evidence: c.evidence, OutKnown: true, SocKnown: true, Soc: 1, SocPlus: 0.05, SelfShare: c.self, CeilingFull: true}
		h := rests(m, c.belowV)
		if c.after == 0 {
			s := h.pass(5*time.Hour, 10*time.Minute)
			require.True(t, s.Full && s.OutKnown && s.SocKnown, name)
			require.Equal(t, charge.NoDoubt, s.Doubt, name)
			continue
		}
		require.True(t, h.pass(c.after-10*time.Second, time.Minute).Full, name)
		s := h.tick(10 * time.Second)
		require.False(t, s.Full || s.OutKnown || s.SocKnown, name)
		require.Equal(t, charge.NoEvidence, s.Evidence, name)
		require.Equal(t, c.want, s.Doubt, name)
		require.False(t, h.tr.Memory().CeilingFull, "it never was")
	}
	h := rests(charge.Memory{Full: true, Evidence: codeHandGravity, OutKnown: true}, 0)
	h.pass(time.Hour, 10*time.Minute)
	h.v = 2.00
	require.True(t, h.tick(10*time.Minute).Full, "it must be low for ten minutes")
	require.False(t, h.tick(10*time.Minute).Full)

	h = rests(charge.Memory{Full: true, Evidence: codeHandGravity, OutKnown: true}, 0.06)
	for range 5 {
		h.a = 0
		h.tick(0)
		require.True(t, h.pass(8*time.Minute, time.Minute).Full, "ten minutes of one rest")
		h.a = 6
		h.pass(5*time.Minute, time.Minute)
	}
}

// TestAFlatPack: an hour below the rest voltage of a flat cell by 50 mV is a shorted or
// reversed cell, a deep discharge, or a wrong count.
func TestAFlatPack(t *testing.T) {
	flatV := fullV - electrolyte.GravitySpan - 0.05
	h := rests(charge.Memory{}, fullV-flatV+0.001)
	require.Equal(t, charge.NoDoubt, h.pass(time.Hour-10*time.Second, time.Minute).Doubt)
	require.Equal(t, charge.RestsTooLow, h.tick(10*time.Second).Doubt)
	require.False(t, h.pass(4*time.Hour, 10*time.Minute).SocKnown, "a mean with a dead cell shows nothing of the others")
	h = rests(charge.Memory{}, fullV-flatV-0.001)
	require.Equal(t, charge.NoDoubt, h.pass(4*time.Hour, 10*time.Minute).Doubt)
}

// TestARestShowsTheCharge once it is known to 40 %, some hours on. Without a current sensor
// it must be seen that the voltage stands: a slow charge of C/20 raises it by 6 mV an hour, a
// rest moves it by less than 3 (the open 12 V 17 Ah record, Sulzer et al. 2019).
func TestARestShowsTheCharge(t *testing.T) {
	h := newHands()
	require.False(t, h.pass(2*time.Hour, time.Minute).SocKnown)
	s := h.pass(2*time.Hour, time.Minute)
	require.True(t, s.SocKnown)
	require.InDelta(t, 0.5, s.Soc, 0.001, "half of the span of gravity below full")
	plus := s.SocPlus
	require.Less(t, plus, 0.40)
	require.Less(t, h.pass(6*time.Hour, 10*time.Minute).SocPlus, plus, "a longer rest shows more")

	for mVPerH, want := range map[float64]bool{0: true, 2.8: true, -2.8: true, 3.2: false, -3.2: false, 6: false} {
		h := newHands(blind)
		h.v = 2.115
		for range 36 {
			h.v += mVPerH / 1000 / 12
			h.tick(5 * time.Minute)
		}
		require.Equal(t, want, h.tr.Status().SocKnown, "%v mV an hour", mVPerH)
	}
	h = newHands(blind)
	h.v = 2.115
	h.pass(2*time.Hour, 5*time.Minute)
	h.v += 0.004
	require.False(t, h.pass(30*time.Minute, 5*time.Minute).SocKnown, "it moved within the half hour")

	h = rests(charge.Memory{SocKnown: true, Soc: 0.9, SocPlus: 0.01}, 0.07)
	require.InDelta(t, 0.9, h.pass(4*time.Hour, 10*time.Minute).Soc, 0.01, "what is known better stays")
	h = rests(charge.Memory{SocKnown: true, Soc: 0.9, SocPlus: 0.39}, 0.07)
	require.InDelta(t, 0.5, h.pass(4*time.Hour, 10*time.Minute).Soc, 0.01)
	h = rests(charge.Memory{}, 0.13)
	require.False(t, h.pass(2*time.Hour, 10*time.Minute).SocKnown, "a flat cell is known to 40 % later only")
}

// TestSelfDischarge by the published rates (electrolyte.SelfDischargePerDay): a full pack
// that may have lost a tenth does not count as full any more.
func TestSelfDischarge(t *testing.T) {
	perDay := electrolyte.SelfDischargePerDay(25)
	h := newHands().provenFull()
	h.v = 2.25 // higher than the voltage of a rest shows anything
	s := h.pass(24*time.Hour, 10*time.Minute)
	require.InDelta(t, 1-perDay, s.Soc, 0.02*perDay)
	require.InDelta(t, 0.05+perDay, s.SocPlus, 0.02*perDay)
	days := 0.10 / perDay
	require.True(t, h.pass(time.Duration((0.99*days-1)*24*float64(time.Hour)), 10*time.Minute).Full)
	require.True(t, h.tr.Status().OutKnown)
	s = h.pass(time.Duration(0.02*days*24*float64(time.Hour)), 10*time.Minute)
	require.False(t, s.Full || s.OutKnown)
	require.False(t, h.tr.Memory().CeilingFull)

	h = newHands().provenFull()
	h.v = 2.25
	h.pass(24*time.Hour, 10*time.Minute)
	h.a = 20
	h.pass(20*time.Minute, 10*time.Minute)
	require.Equal(t, 1.0, h.tr.Status().Soc, "a charge makes up for it")

	h = restored(charge.Memory{SocKnown: true, Soc: 0.5, SocPlus: 0.05})
	h.v = 2.25
	h.pass(5*24*time.Hour, 10*time.Minute)
	require.InDelta(t, 0.5-5*perDay, h.tr.Status().Soc, 0.02*5*perDay)
	h = restored(charge.Memory{SocKnown: true, Soc: 0.5, SocPlus: 0.05})
	h.v = 2.25
	h.pass(24*time.Hour, time.Minute)
	require.InDelta(t, 0.5-perDay, h.tr.Status().Soc, 0.02*perDay, "however often it looks")
}

// TestTheEstimateCounts what flows; its range grows by 0.2 % an hour, and by C/5 while a
// charge of unknown current flows. Beyond 40 % it is none.
func TestTheEstimateCounts(t *testing.T) {
	known := charge.Memory{SocKnown: true, Soc: 0.5, SocPlus: 0.05}
	h := restored(known)
	h.a = -40
	h.tick(0)
	s := h.pass(time.Hour, 15*time.Minute)
	require.InDelta(t, 0.46, s.Soc, 1e-6)
	require.InDelta(t, 0.052, s.SocPlus, 1e-9)

	h = restored(known)
	h.take(2.10, 40)
	h.tick(0)
	require.InDelta(t, 0.54, h.pass(time.Hour, 15*time.Minute).Soc, 0.001, "less a little gas")

	h = restored(known)
	h.a = 9 // no charge: an offset
	h.tick(0)
	require.InDelta(t, 0.5, h.pass(time.Hour, 15*time.Minute).Soc, 0.001)

	h = restored(known, blind)
	h.take(2.25, math.NaN())
	h.tick(0)
	s = h.pass(time.Hour, 15*time.Minute)
	require.InDelta(t, 0.05+0.202, s.SocPlus, 1e-9)
	require.True(t, h.pass(30*time.Minute, 15*time.Minute).SocKnown)
	require.False(t, h.pass(15*time.Minute, 15*time.Minute).SocKnown)

	h = newHands().provenFull()
	h.a = -40
	h.tick(0)
	h.pass(15*time.Minute, 15*time.Minute)
	require.True(t, h.tr.Status().Full)
	require.InDelta(t, 0.99, h.tr.Status().Soc, 1e-6, "a full pack that is used")
	h.a = 0
	h.tick(0)
	require.InDelta(t, 0.99, h.pass(15*time.Minute, 15*time.Minute).Soc, 0.006)
	require.Less(t, h.tr.Status().Soc, 1.0)

	h = restored(charge.Memory{SocKnown: true, Soc: 0.02, SocPlus: 0.05})
	h.a = -40
	h.tick(0)
	require.Zero(t, h.pass(time.Hour, 15*time.Minute).Soc)
	require.InDelta(t, 1.285-electrolyte.FrostSpan, h.tr.LeastGravity(), 1e-9)
}
