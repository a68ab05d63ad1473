package charge_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

// TestAmpereHoursThatProve: returned over removed, from 5 % on, at the gassing voltage and at
// most 10 A for each 100 Ah. 100 Ah out and 1 % of drift ask for 1.15 * 101 = 116.15 Ah; a rest
// voltage that shows 0.90 within 0.05 asks for 1.15 * 150 = 172.5 Ah.
func TestAmpereHoursThatProve(t *testing.T) {
	out := charge.Memory{OutKnown: true, OutAh: 100, BackAh: 110}
	rest := charge.Memory{SocKnown: true, Soc: 0.90, SocPlus: 0.05}
	for name, c := range map[string]struct {
		m     charge.Memory
		v, a  float64
		marks int
		want  charge.Evidence
	}{
		"returned":                 {out, 2.40, 60, 1, charge.ChargeFactor},
		"not yet":                  {charge.Memory{OutKnown: true, OutAh: 100, BackAh: 103}, 2.40, 60, 1, charge.NoEvidence},
		"in the next ten minutes":  {charge.Memory{OutKnown: true, OutAh: 100, BackAh: 103}, 2.40, 60, 2, charge.ChargeFactor},
		"10 A for each 100 Ah":     {out, 2.40, 100, 1, charge.ChargeFactor},
		"more":                     {out, 2.40, 101, 3, charge.NoEvidence},
		"at 2.34 V":                {out, 2.34, 60, 1, charge.ChargeFactor},
		"below the gassing":        {out, 2.32, 60, 3, charge.NoEvidence},
		"too little was out":       {charge.Memory{OutKnown: true, OutAh: 49, BackAh: 110}, 2.40, 60, 3, charge.NoEvidence},
		"5 % were out":             {charge.Memory{OutKnown: true, OutAh: 50, BackAh: 110}, 2.40, 60, 1, charge.ChargeFactor},
		"not known":                {charge.Memory{OutAh: 100, BackAh: 110}, 2.40, 60, 3, charge.NoEvidence},
		"a rest showed it":         {rest, 2.40, 100, 11, charge.RestFactor},
		"not yet what it showed":   {rest, 2.40, 100, 9, charge.NoEvidence},
		"a rest of an almost full": {charge.Memory{SocKnown: true, Soc: 0.99, SocPlus: 0.035}, 2.40, 100, 11, charge.NoEvidence},
		"the count is better":      {charge.Memory{SocKnown: true, Soc: 0.99, SocPlus: 0.05, OutKnown: true, OutAh: 300, BackAh: 0}, 2.40, 100, 11, charge.NoEvidence},
	} {
		h := restored(c.m)
		h.tick(0)
		h.bulk(c.v, c.a)
		s := h.pass(time.Duration(c.marks)*10*time.Minute, 10*time.Minute)
		require.Equal(t, c.want, s.Pending, name)
		require.False(t, s.Full, name)
		if c.want != charge.NoEvidence {
			require.Equal(t, charge.DrawsTooMuch, s.Doubt, "%s: more than gassing explains", name)
		}
	}
	h := restored(out)
	h.tick(0)
	h.bulk(2.60, 30)
	s := h.pass(20*time.Minute, 10*time.Minute)
	require.Equal(t, charge.ChargeFactor, s.Evidence, "explained, at 2.60 V")
	require.Equal(t, charge.NoDoubt, s.Doubt)
	require.Zero(t, s.OutAh)
	require.EqualValues(t, 1, s.ChargesFull)

	h = restored(out, blind)
	h.tick(0)
	h.bulk(2.40, h.a)
	require.Equal(t, charge.NoEvidence, h.pass(20*time.Minute, 10*time.Minute).Evidence, "of no known current")

	out.Doubt = uint8(charge.RestsTooLow)
	h = restored(out)
	h.tick(0)
	h.bulk(2.60, 30)
	s = h.pass(20*time.Minute, 10*time.Minute)
	require.Equal(t, charge.ChargeFactor, s.Pending, "a cell that rests too low outweighs it")
	require.Equal(t, charge.RestsTooLow, s.Doubt)
}

// TestTooMuchCurrent is outweighed by a voltage that is steady where gassing explains the
// current. A tail does not outweigh it: it waits for the rest.
func TestTooMuchCurrent(t *testing.T) {
	tooMuch := func() *hands {
		h := newHands().bulk(2.44, 25.5)
		s := h.pass(90*time.Minute, 10*time.Minute)
		require.Equal(t, charge.DrawsTooMuch, s.Doubt)
		require.Equal(t, charge.SteadyVoltage, s.Pending)
		return h
	}
	s := tooMuch().take(2.58, 25).pass(70*time.Minute, 10*time.Minute)
	require.Equal(t, charge.SteadyVoltage, s.Evidence)
	require.Equal(t, charge.NoDoubt, s.Doubt)
	s = tooMuch().take(2.40, 3.8).pass(70*time.Minute, 10*time.Minute)
	require.False(t, s.Full)
	require.Equal(t, charge.DrawsTooMuch, s.Doubt)
	require.Equal(t, charge.SteadyVoltage, s.Pending, "the more trusted of both")
}

// TestACurrentThatVanishes within twenty minutes of a bulk, in a charge that has run for half
// an hour, while a charger holds the voltage: plates do not do that, a broken sensor does.
func TestACurrentThatVanishes(t *testing.T) {
	for name, c := range map[string]struct {
		bulk, then, last float64
		bulks, thens     int
		v                float64
		want             bool
	}{
		"at once":             {60, 0, 1, 3, 0, 2.40, true},
		"within twenty":       {60, 20, 1, 3, 1, 2.40, true},
		"in half an hour":     {60, 20, 1, 3, 2, 2.40, false},
		"from C/40":           {25, 0, 1, 3, 0, 2.40, false},
		"from more":           {25.5, 0, 1, 3, 0, 2.40, true},
		"to C/250":            {60, 0, 4, 3, 0, 2.40, false},
		"to less":             {60, 0, 3.9, 3, 0, 2.40, true},
		"plugged in full":     {60, 0, 1, 1, 0, 2.40, false},
		"nobody holds 2.29 V": {60, 0, 3.9, 3, 0, 2.29, false},
	} {
		h := newHands().bulk(2.40, c.bulk)
		h.pass(time.Duration(c.bulks)*10*time.Minute, 10*time.Minute)
		h.a = c.then
		h.pass(time.Duration(c.thens)*10*time.Minute, 10*time.Minute)
		h.take(c.v, c.last)
		h.pass(10*time.Minute, 10*time.Minute)
		require.Equal(t, c.want, h.tr.Memory().Collapsed, name)
		h.pass(2*time.Hour, 10*time.Minute)
		if c.want {
			require.False(t, h.tr.Status().Full, name)
			require.True(t, h.tr.Memory().Collapsed, name)
			h.a = 9.9
			h.tick(10 * time.Minute)
			require.True(t, h.tr.Memory().Collapsed, "%s: not back", name)
			h.a = 10
			h.tick(10 * time.Minute)
			require.False(t, h.tr.Memory().Collapsed, "%s: it lives", name)
		}
	}
	for last, want := range map[time.Duration]bool{14 * time.Minute: true, 14*time.Minute - time.Second: false} {
		h := newHands().bulk(2.40, 60)
		h.tick(14 * time.Minute)
		h.a = 1
		h.tick(last)
		require.Equal(t, want, h.tr.Memory().Collapsed, "half an hour")
	}
}
