package charge_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

// TestADischargeEndsACharge after a minute of more than C/100, at the time when the
// charging current stopped.
func TestADischargeEndsACharge(t *testing.T) {
	for a, want := range map[float64]bool{-10: true, -10.1: false} {
		h := newHands().take(2.10, 20)
		h.pass(10*time.Minute, 10*time.Second)
		h.a = a
		h.tick(10 * time.Second)
		stopped := h.now
		require.True(t, h.pass(59*time.Second, time.Second).Active, "%v A", a)
		s := h.tick(time.Second)
		require.Equal(t, want, s.Active, "%v A", a)
		if !want {
			require.Equal(t, stopped, s.EndedAt)
		}
	}
}

// TestNothingEnds where nothing began.
func TestNothingEnds(t *testing.T) {
	h := newHands()
	require.False(t, h.pass(2*time.Hour, time.Minute).Ended)
	h.a = -100
	require.False(t, h.pass(2*time.Hour, time.Minute).Ended)
}

// TestTakenOut: a full pack stays full until more than 2 % of its capacity is out. Then its
// short ceiling has ended too, and evidence that waited for a rest means nothing.
func TestTakenOut(t *testing.T) {
	h := newHands(ceilings(10*time.Hour, 1e6)).provenFull()
	h.a = -40
	h.tick(0)
	s := h.pass(30*time.Minute, 15*time.Minute)
	require.Equal(t, 20.0, s.OutAh)
	require.True(t, s.Full)
	require.True(t, h.tr.Memory().CeilingFull)
	s = h.tick(15 * time.Minute)
	require.False(t, s.Full)
	require.Equal(t, charge.NoEvidence, s.Evidence)
	require.True(t, s.OutKnown, "it is counted from there")
	require.False(t, h.tr.Memory().CeilingFull)

	h = restored(charge.Memory{Pending: 6, Doubt: uint8(charge.AwaitsRest)})
	h.a = -40
	h.tick(0)
	require.Equal(t, charge.HeldTail, h.pass(30*time.Minute, 15*time.Minute).Pending)
	require.Equal(t, charge.NoEvidence, h.tick(15*time.Minute).Pending)
}

// TestAReturnIsNamed of a pack that was discharged by 5 % or more.
func TestAReturnIsNamed(t *testing.T) {
	for out, want := range map[time.Duration]bool{75 * time.Minute: true, time.Hour: false} {
		h := newHands().provenFull()
		h.a = -40
		h.tick(0)
		h.pass(out, 15*time.Minute)
		h.a = 0
		h.tick(0)
		h.take(2.10, 40)
		h.tick(0)
		s := h.pass(30*time.Minute, 15*time.Minute)
		require.Equal(t, want, s.ReturnKnown, out)
		require.InDelta(t, 0.04*out.Hours(), s.DepthBefore, 0.01, "a quarter of an hour came back before it was a charge")
		require.True(t, s.DepthKnown)
		if want {
			require.InDelta(t, 20.0/50, s.ReturnFactor, 1e-9)
		}
	}
}

// TestDepthBeforeACharge: by the count from full, less what came back since; else by the
// estimate; else it is not known.
func TestDepthBeforeACharge(t *testing.T) {
	for name, c := range map[string]struct {
		m     charge.Memory
		want  float64
		known bool
	}{
		"counted from full":       {charge.Memory{OutKnown: true, OutAh: 230, BackAh: 115}, 0.23 - 0.1, true},
		"more came back than out": {charge.Memory{OutKnown: true, OutAh: 100, BackAh: 230}, 0, true},
		"a full pack":             {charge.Memory{OutKnown: true, Full: true, Evidence: 5, OutAh: 10, BackAh: 115}, 0.010, true},
		"estimated":               {charge.Memory{SocKnown: true, Soc: 0.7, SocPlus: 0.1, OutAh: 50}, 0.3, true},
		"the count is better":     {charge.Memory{OutKnown: true, OutAh: 230, SocKnown: true, Soc: 0.7, SocPlus: 0.1}, 0.23, true},
		"nothing is known":        {charge.Memory{Depth: 0.5}, 0, false},
	} {
		h := restored(c.m).take(2.10, 20)
		s := h.pass(time.Minute+10*time.Second, 10*time.Second)
		require.True(t, s.Active)
		require.Equal(t, c.known, s.DepthKnown, name)
		require.InDelta(t, c.want, s.DepthBefore, 0.001, name)
	}
}

// TestDoubtsAtTheNextCharge: a cell that rests too low stays one; what another charge may
// settle is gone, with the evidence that waited.
func TestDoubtsAtTheNextCharge(t *testing.T) {
	for d := charge.NoDoubt; d <= charge.EndedEarly; d++ {
		h := restored(charge.Memory{Doubt: uint8(d), Pending: 6}).take(2.10, 20)
		s := h.pass(10*time.Minute, 10*time.Second)
		want := charge.NoDoubt
		if d == charge.RestsTooLow {
			want = d
		}
		require.Equal(t, want, s.Doubt, d)
		require.Equal(t, charge.NoEvidence, s.Pending, d)
		require.False(t, s.ReturnKnown)
	}
}

// TestAChargeThatProvesNothing is worth a word from three hours on.
func TestAChargeThatProvesNothing(t *testing.T) {
	for name, c := range map[string]struct {
		hours time.Duration
		blind bool
		want  charge.Doubt
	}{
		"three hours":          {3 * time.Hour, false, charge.EndedEarly},
		"less":                 {3*time.Hour - time.Minute, false, charge.NoDoubt},
		"three hours, blind":   {3 * time.Hour, true, charge.NeedsCurrent},
		"less than that blind": {3*time.Hour - time.Minute, true, charge.NoDoubt},
	} {
		h := newHands(func(cfg *charge.Config) { cfg.HasCurrent = !c.blind })
		if h.take(2.25, 20); c.blind {
			h.a = math.NaN()
		}
		h.tick(3 * time.Minute)
		h.pass(c.hours, 3*time.Minute)
		h.take(math.NaN(), math.NaN())
		h.tick(0)
		require.Equal(t, c.want, h.pass(31*time.Minute, time.Minute).Doubt, name)
	}
	for name, m := range map[string]charge.Memory{
		"full":     {Full: true, Evidence: 5, OutKnown: true},
		"a doubt":  {Doubt: uint8(charge.RestsTooLow)},
		"evidence": {Pending: 6, Doubt: uint8(charge.AwaitsRest)},
	} {
		m.Active, m.FlowS = true, 4*3600
		h := restored(m)
		h.take(2.10, 20)
		h.pass(5*time.Minute, time.Minute)
		h.a = 0
		require.Equal(t, charge.Doubt(m.Doubt), h.pass(31*time.Minute, time.Minute).Doubt, name)
	}
}

// TestHighestTemperature is that of the charge.
func TestHighestTemperature(t *testing.T) {
	h := newHands()
	h.c = 50
	h.pass(10*time.Minute, time.Minute)
	require.False(t, h.tr.Status().TempKnown)
	h.take(2.10, 20)
	h.c = 30
	h.pass(10*time.Minute, time.Minute)
	h.c = 40
	h.tick(time.Minute)
	h.c = 30
	s := h.tick(time.Minute)
	require.Equal(t, 40.0, s.MaxPackC)
	require.True(t, s.TempKnown)
	h.c, h.a = 60, 0
	h.pass(time.Hour, time.Minute)
	require.Equal(t, 60.0, s.MaxPackC, "while it may go on")
	h.c = 65
	require.Equal(t, 60.0, h.tick(time.Minute).MaxPackC)
	h.c, h.a = math.NaN(), 20
	require.False(t, h.pass(10*time.Minute, time.Minute).TempKnown)
}

// TestThePackIsGone: what another pack could be different in is dropped, what counts for the
// bay stays.
func TestThePackIsGone(t *testing.T) {
	h := newHands().provenFull()
	h.take(2.10, 40)
	h.pass(time.Hour, time.Minute)
	was := *h.tr.Status()
	require.True(t, was.Active)
	h.tr.PackGone(h.now)
	s := h.tr.Status()
	require.False(t, s.Active || s.Full || s.OutKnown || s.SocKnown || s.Flowing || s.Ended)
	require.Nil(t, s.Gravity)
	require.Equal(t, h.now, s.Since)
	require.Equal(t, was.InAh, s.InAh)
	require.Equal(t, was.TotalInAh, s.TotalInAh)
	require.Equal(t, was.TotalGassingAh, s.TotalGassingAh)
	require.EqualValues(t, 1, s.Charges)
	require.EqualValues(t, 1, s.ChargesFull, "full before, and still")
	require.Zero(t, h.tr.Overrun())

	for d := charge.NoDoubt; d <= charge.EndedEarly; d++ {
		h := restored(charge.Memory{Doubt: uint8(d)})
		h.tr.PackGone(h.now)
		want := charge.NoDoubt
		if d == charge.RestsTooLow {
			want = d
		}
		require.Equal(t, want, h.tr.Status().Doubt, d)
	}
}
