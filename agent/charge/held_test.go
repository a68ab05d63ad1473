package charge_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
	"bayward/agent/charge/chargetest"
	"bayward/agent/reading"
)

// floating holds a voltage until the current is down at a share of the capacity, and
// then floats.
func floating(rate, v, end, floatV float64) chargetest.Charger {
	done := false
	return func(h, _, i float64) (float64, float64, float64) {
		if done = done || h > 0.05 && i <= end; done {
			return floatV, 1e-5, rate
		}
		return v, 1e-5, rate
	}
}

// What is left of a tail at a held voltage: EN 62485-3 has 2 A for each 100 Ah of a
// full battery at 2.40 V, and a usual charger ends at 1 to 2 %, still falling.
func TestEvidenceHeldTail(t *testing.T) {
	run := func(end float64, cells int, restH float64) *seen {
		r := recorder(0.3)
		r.Charge(7, func() chargetest.Charger {
			c, done := floating(0.16, 2.40, end, 0), false
			return func(h, v, i float64) (float64, float64, float64) {
				open, ohm, most := c(h, v, i)
				if done = done || open == 0; done {
					return 0, ohm, 0
				}
				return open, ohm, most
			}
		}())
		r.Rest(restH)
		cfg := config(225, 1.285)
		cfg.Cells = cells
		return follow(cfg, 12, r.Rows)
	}
	t.Run("ended at 1 %: an hour of rest agrees", func(t *testing.T) {
		got := run(0.01, 12, 3)
		require.Equal(t, charge.HeldTail, got.evidence)
		require.Greater(t, got.socAtFull, 0.95)
	})
	t.Run("before that rest it waits for it", func(t *testing.T) {
		got := run(0.015, 24, 0.5)
		require.False(t, got.fullEver, "%v", got)
		require.Equal(t, charge.HeldTail, got.status.Pending)
		require.Equal(t, charge.AwaitsRest, got.status.Doubt)
	})
	t.Run("ended at 6 %: still charging", func(t *testing.T) {
		got := run(0.06, 12, 4)
		require.False(t, got.fullEver)
		require.Equal(t, charge.EndedEarly, got.status.Doubt)
	})
}

// A float of 2.23 to 2.30 V after a held voltage.
func TestEvidenceHeldFloat(t *testing.T) {
	for _, v := range []float64{2.23, 2.27, 2.30} {
		r := recorder(0.6)
		r.Charge(16, floating(0.16, 2.40, 0.02, v))
		got := follow(config(225, 1.285), 12, r.Rows)
		require.True(t, got.fullEver, v)
		require.Greater(t, got.socAtFull, 0.93)
	}
	t.Run("not without a held voltage before", func(t *testing.T) {
		r := recorder(0.6)
		r.Charge(3, chargetest.IU(0.16, 2.25))
		for i := range r.Rows {
			r.Rows[i].A = 0.3 // as if it took nothing
		}
		require.False(t, follow(config(225, 1.285), 12, r.Rows).fullEver)
	})
}

// Ampere-hours from a rest-voltage start, with its whole error against them: no proven
// full is needed before.
func TestEvidenceRestFactor(t *testing.T) {
	run := func(backH float64) *seen {
		r := recorder(0.75)
		r.Rest(17)
		r.Charge(backH, func(h, _, _ float64) (float64, float64, float64) {
			return 4, 1e-5, 0.08 + 0.02*math.Sin(10*h) // a source that nothing is steady on
		})
		return follow(config(225, 1.285), 12, r.Rows)
	}
	// 0.75 at rest is known to 0.12: 0.37 missing at the most, times 1.15.
	got := run(6)
	require.Equal(t, charge.RestFactor, got.evidence)
	require.Greater(t, got.socAtFull, 0.94)
	require.InDelta(t, 17+0.37*1.15/0.08, got.fullAtH, 1)
	require.False(t, run(3).fullEver)
}

// A float after full is no overrun, with a current and without; one whose current
// rises is.
func TestFloatAfterFullIsNoOverrun(t *testing.T) {
	weekend := func(a func(h float64) float64) *seen {
		r := recorder(0.9)
		r.EachS = 60
		r.Charge(16, chargetest.IU(0.16, 2.40))
		r.Charge(60, chargetest.IU(0.16, 2.27))
		for i := range r.Rows {
			if h := r.Rows[i].S/3600 - 16; h > 0 {
				r.Rows[i].A = a(h)
			}
		}
		return follow(config(225, 1.285), 12, r.Rows)
	}
	t.Run("old plates at 1.1 % of the capacity", func(t *testing.T) {
		got := weekend(func(float64) float64 { return 0.011 * 225 })
		require.True(t, got.status.Full)
		require.True(t, math.IsNaN(got.overrunH), "%v", got.overrun)
	})
	t.Run("voltage alone", func(t *testing.T) {
		r := recorder(0.9)
		r.EachS = 60
		r.Charge(16, chargetest.IU(0.16, 2.40))
		r.Charge(60, chargetest.IU(0.16, 2.27))
		cfg := config(225, 1.285)
		cfg.HasCurrent = false
		got := follow(cfg, 12, chargetest.Without("a")(r.Rows))
		require.True(t, got.status.Full)
		require.True(t, math.IsNaN(got.overrunH), "%v", got.overrun)
	})
	t.Run("a current that rises by a tenth an hour", func(t *testing.T) {
		got := weekend(func(h float64) float64 { return 225 * min(0.011*math.Pow(1.1, h), 0.3) })
		require.True(t, got.overrun.Hours && got.overrun.AfterFull)
	})
	t.Run("ampere-hours end it in days", func(t *testing.T) {
		r := recorder(0.9)
		r.EachS = 120
		r.Charge(16, chargetest.IU(0.16, 2.40))
		r.Charge(150, chargetest.IU(0.16, 2.27))
		for i := range r.Rows {
			if r.Rows[i].S > 16*3600 {
				r.Rows[i].A = 0.02 * 225
			}
		}
		got := follow(config(225, 1.285), 12, r.Rows)
		require.InDelta(t, 16+1.44/0.02+8, got.overrunH, 3)
	})
}

// A memory of an older program names the same evidence by the same number.
func TestEvidenceOfAnOlderMemory(t *testing.T) {
	for code, want := range []charge.Evidence{
		charge.NoEvidence, charge.ChargerComplete, charge.ChargeFactor, charge.SteadyVoltage, charge.SteadyTaper, charge.HandGravity,
	} {
		m := charge.Memory{Full: true, Evidence: uint8(code)}
		require.True(t, m.Valid())
		tr := charge.New(config(225, 1.285))
		tr.Restore(&m, time.Hour, 0, true)
		require.Equal(t, want, tr.Status().Evidence)
		text, err := json.Marshal(tr.Memory())
		require.NoError(t, err)
		var again charge.Memory
		require.NoError(t, json.Unmarshal(text, &again))
		require.EqualValues(t, code, again.Evidence)
	}
	require.False(t, (&charge.Memory{Evidence: 11}).Valid(), "unknown to this program")
}

// Where no current is measured, a charge that proves nothing names what is missing.
func TestBlindChargeNamesTheSensor(t *testing.T) {
	r := recorder(0.3)
	r.Charge(8, chargetest.IU(0.16, 2.40))
	r.Rest(1)
	cfg := config(225, 1.285)
	cfg.HasCurrent = false
	rows := chargetest.Without("a")(r.Rows)
	require.Equal(t, charge.NeedsCurrent, follow(cfg, 12, rows).status.Doubt)
	tr := charge.New(cfg)
	got := followWith(tr, 12, rows, nil)
	for cell := 1; cell <= 12; cell++ {
		h := sound(cell, 1.285)
		h.PackC = reading.Good(25, at(9*3600))
		tr.CellGravity(at(9*3600), h)
	}
	require.True(t, tr.Status().Full)
	require.Equal(t, charge.NoDoubt, tr.Status().Doubt)
	require.False(t, got.fullEver)
}
