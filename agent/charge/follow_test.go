package charge_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/charge"
	"bayward/agent/charge/chargetest"
)

// Pauses, breaks and ends of a charge, on the published equations.
func TestPauses(t *testing.T) {
	run := func(pauseH float64) *seen {
		r := recorder(0.4)
		r.Charge(3, chargetest.IUIa(0.16, 2.40, 0.04, 3))
		r.Rest(pauseH)
		r.Charge(9, chargetest.IUIa(0.16, 2.40, 0.04, 3))
		r.Rest(1)
		return follow(config(225, 1.285), 12, r.Rows)
	}
	t.Run("mains fails for 20 minutes: one charge", func(t *testing.T) {
		got := run(20.0 / 60)
		require.EqualValues(t, 1, got.status.Charges)
		require.True(t, got.fullEver)
	})
	t.Run("mains fails for 50 minutes: a second one, full all the same", func(t *testing.T) {
		got := run(50.0 / 60)
		require.EqualValues(t, 2, got.status.Charges)
		require.EqualValues(t, 1, got.status.ChargesFull)
	})
	t.Run("unplugged: the pack's state is dropped", func(t *testing.T) {
		tr := charge.New(config(225, 1.285))
		r := recorder(0.6)
		r.Charge(8, chargetest.IUIa(0.16, 2.40, 0.04, 3))
		followWith(tr, 12, r.Rows, nil)
		require.True(t, tr.Status().Full)
		tr.PackGone(9 * time.Hour)
		s := tr.Status()
		require.False(t, s.Full || s.Active || s.SocKnown || s.OutKnown)
		require.EqualValues(t, 1, s.ChargesFull, "counts are kept")
	})
	t.Run("a gap of two hours: anything it could hide is dropped", func(t *testing.T) {
		r := recorder(0.6)
		r.Charge(8, chargetest.IUIa(0.16, 2.40, 0.04, 3))
		r.Rest(4)
		got := follow(config(225, 1.285), 12, chargetest.Cut(9, 11)(r.Rows))
		require.True(t, got.fullEver)
		require.False(t, got.status.Full)
	})
	t.Run("opportunity charges add up to the charge factor", func(t *testing.T) {
		tr := charge.New(config(225, 1.285))
		allCells(tr, 0, 1.285)
		r := recorder(1)
		for range 3 { // out 45 %, back 36 %
			r.Load(1.5, -0.1)
			r.Charge(0.75, chargetest.ConstantCurrent(0.16))
		}
		followWith(tr, 12, r.Rows, nil)
		require.False(t, tr.Status().Full)
		// The factor counts net of what was returned with its losses.
		require.InDelta(t, 0.45-0.24/1.15, tr.Status().DepthBefore, 0.01)
		r.Rows = nil
		r.Charge(2.6, chargetest.ConstantCurrent(0.08))
		got := followWith(tr, 12, r.Rows, nil)
		require.Equal(t, charge.ChargeFactor, got.evidence)
		require.InDelta(t, (3*0.75*0.16+2.6*0.08)/0.45, got.status.ReturnFactor, 0.02)
	})
	t.Run("plugged in already full", func(t *testing.T) {
		r := recorder(0.985)
		r.Rest(0.1)
		r.Charge(5, chargetest.IUIa(0.16, 2.40, 0.04, 3))
		got := follow(config(225, 1.285), 12, r.Rows)
		require.True(t, got.fullEver)
		require.LessOrEqual(t, got.fullAtH, 2.0, "90 minutes after the charger's own stages")
	})
	t.Run("a little taken out of a full pack and returned leaves it full", func(t *testing.T) {
		tr := charge.New(config(225, 1.285))
		allCells(tr, 0, 1.285)
		r := recorder(0.98)
		for range 5 {
			r.Load(0.1, -0.1)
			r.Charge(0.2, chargetest.ConstantCurrent(0.06))
		}
		got := followWith(tr, 12, r.Rows, nil)
		require.True(t, got.status.Full)
	})
}

// The ceilings of a charge: hours, ampere-hours, and hours after full.
func TestChargerThatNeverEnds(t *testing.T) {
	t.Run("18 h without becoming full", func(t *testing.T) {
		r := recorder(0.3)
		r.Charge(19, chargetest.ConstantCurrent(0.02))
		got := follow(config(225, 1.285), 12, r.Rows)
		require.False(t, got.fullEver)
		require.InDelta(t, 18, got.overrunH, 0.1)
		require.True(t, got.overrun.Hours && !got.overrun.AfterFull)
	})
	t.Run("a charger that trips every hour is one charge", func(t *testing.T) {
		r := recorder(0.1)
		for range 22 {
			r.Charge(1, chargetest.ConstantCurrent(0.03))
			r.Rest(0.6)
		}
		got := follow(config(225, 1.285), 12, r.Rows)
		require.Greater(t, got.status.Charges, uint64(15))
		require.InDelta(t, 18*1.6, got.overrunH, 1)
	})
	t.Run("1.44 times the capacity without becoming full", func(t *testing.T) {
		r := recorder(0.3)
		r.Charge(16, chargetest.ConstantCurrent(0.11)) // above the finish rate forever
		got := follow(config(225, 1.285), 12, r.Rows)
		require.True(t, got.overrun.AmpereHours)
		require.InDelta(t, 1.44/0.11, got.overrunH, 0.2)
	})
	t.Run("8 h after full", func(t *testing.T) {
		r := recorder(0.6)
		r.Charge(18, chargetest.ConstantCurrent(0.05))
		got := follow(config(225, 1.285), 12, r.Rows)
		require.True(t, got.fullEver && got.overrun.AfterFull)
		require.InDelta(t, got.fullAtH+8, got.overrunH, 0.1)
	})
	t.Run("a tail at held voltage after full is no overrun", func(t *testing.T) {
		r := recorder(0.6)
		r.Charge(30, chargetest.IU(0.16, 2.40))
		got := follow(config(225, 1.285), 12, r.Rows)
		require.True(t, got.fullEver)
		require.True(t, math.IsNaN(got.overrunH))
	})
}

// Equalize charge due: traction habit (from memory), TM 55-2210-224-12 for the
// spread; done after three more hours at the finish rate.
func TestEqualize(t *testing.T) {
	night := func(tr *charge.Tracker, at0 float64, extraH float64) {
		r := recorder(0.9)
		r.EachS = 60
		r.Rest(0.1)
		r.Charge(6+extraH, chargetest.IUIa(0.16, 2.40, 0.04, 5+extraH))
		r.Rest(1)
		for i := range r.Rows {
			r.Rows[i].S += at0
		}
		followWith(tr, 12, r.Rows, nil)
		tr.PackGone(at(at0 + 12*3600))
	}
	t.Run("by time: a week", func(t *testing.T) {
		tr := charge.New(config(225, 1.285))
		for d := range 7 {
			night(tr, float64(d)*86400, 0)
			require.Equal(t, charge.NotDue, tr.Status().Equalize.Due, "day %d", d)
		}
		night(tr, 7*86400, 0)
		require.Equal(t, charge.ByTime, tr.Status().Equalize.Due)
	})
	t.Run("by cycles: ten", func(t *testing.T) {
		tr := charge.New(config(225, 1.285))
		for d := range 10 {
			night(tr, float64(d)*43200*1.2, 0)
		}
		require.EqualValues(t, 10, tr.Status().Equalize.Cycles)
		require.Equal(t, charge.ByCycles, tr.Status().Equalize.Due)
		night(tr, 10*43200*1.2, 3)
		require.Equal(t, charge.NotDue, tr.Status().Equalize.Due, "three more hours have equalized it")
	})
	t.Run("published: TM 55-2210-224-12: by a spread of 0.020", func(t *testing.T) {
		tr := charge.New(config(225, 1.285))
		allCells(tr, time.Minute, 1.285)
		tr.CellGravity(2*time.Minute, sound(2, 1.2855))
		followWith(tr, 12, steadyRest(0.1, 120), nil)
		require.Equal(t, charge.NotDue, tr.Status().Equalize.Due)
		require.True(t, tr.Status().Full)
		tr.CellGravity(8*time.Minute, sound(2, 1.291))
		tr.CellGravity(9*time.Minute, sound(3, 1.271))
		followWith(tr, 12, steadyRest(0.1, 600), nil)
		require.Equal(t, charge.BySpread, tr.Status().Equalize.Due)
		require.InDelta(t, 0.020, tr.Status().Equalize.Spread, 1e-9)
		m := tr.Memory()
		again := charge.New(config(225, 1.285))
		again.Restore(&m, 0, 0, false)
		followWith(again, 12, steadyRest(0.1, 60), nil)
		require.Equal(t, charge.BySpread, again.Status().Equalize.Due, "it survives a restart")
	})
}

func steadyRest(hours, fromS float64) chargetest.Series {
	r := recorder(0.95)
	r.Rest(hours)
	for i := range r.Rows {
		r.Rows[i].S += fromS
	}
	return r.Rows
}

// A restart: after a short proven gap the charge continues; otherwise the pack is
// not full and its rest starts again.
func TestRestart(t *testing.T) {
	r := recorder(0.6)
	r.Charge(8, chargetest.IUIa(0.16, 2.40, 0.04, 3))
	r.Rest(1)
	tr := charge.New(config(225, 1.285))
	followWith(tr, 12, r.Rows, nil)
	require.True(t, tr.Status().Full)
	m := tr.Memory()
	require.True(t, m.Valid())
	for _, c := range []struct {
		name   string
		gap    time.Duration
		proven bool
		full   bool
	}{
		{"a minute, proven", time.Minute, true, true},
		{"a minute, not proven", time.Minute, false, false},
		{"five hours, proven: may be another pack", 5 * time.Hour, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			again := charge.New(config(225, 1.285))
			again.Restore(&m, time.Hour, c.gap, c.proven)
			require.Equal(t, c.full, again.Status().Full)
			require.LessOrEqual(t, again.Status().EndedAt, time.Hour)
			if !c.full {
				require.Equal(t, time.Hour, again.Status().EndedAt)
			}
			require.EqualValues(t, 1, again.Status().ChargesFull)
		})
	}
	for _, bad := range []func(*charge.Memory){
		func(m *charge.Memory) { m.InAh = math.NaN() }, func(m *charge.Memory) { m.SinceAgoS = 1e12 },
		func(m *charge.Memory) { m.Evidence = 99 }, func(m *charge.Memory) { m.Doubt = 9 },
		func(m *charge.Memory) { m.EndedAgoS = -1 }, func(m *charge.Memory) { m.CeilingS = math.Inf(1) },
	} {
		broken := m
		bad(&broken)
		require.False(t, broken.Valid())
	}
}

// Whatever a charger does, and however bad the readings are, a pack that is called
// full is close to the highest charge that the current then flowing can reach in
// the model.
func TestNeverFalselyFull(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := &chargetest.CellString{CapacityAh: 225, Cells: 12, StepS: 10, C: rapid.Float64Range(0, 50).Draw(t, "C"), Soc: rapid.Float64Range(0.1, 0.95).Draw(t, "soc")}
		r := &chargetest.Recorder{Pack: p, EachS: rapid.SampledFrom([]float64{20, 60}).Draw(t, "each")}
		for range rapid.IntRange(1, 5).Draw(t, "parts") {
			rate, v := rapid.Float64Range(0.01, 0.3).Draw(t, "rate"), rapid.Float64Range(2.2, 2.6).Draw(t, "v")
			ch := []chargetest.Charger{
				chargetest.IU(rate, v), chargetest.ConstantCurrent(min(rate, 0.15)), chargetest.W(rate, 14),
				chargetest.IUIa(rate, v, 0.04, 3), chargetest.TwoRate(rate, v, 0.05, 5), chargetest.Pulsed(chargetest.IU(rate, v), 30, 20),
			}[rapid.IntRange(0, 5).Draw(t, "charger")]
			r.Charge(rapid.Float64Range(0.1, 8).Draw(t, "hours"), ch)
			if rapid.Bool().Draw(t, "rest") {
				r.Rest(rapid.Float64Range(0.05, 3).Draw(t, "rest hours"))
			}
			if rapid.Bool().Draw(t, "work") {
				r.Load(rapid.Float64Range(0.1, 3).Draw(t, "work hours"), -0.1)
			}
		}
		d := []chargetest.Disturb{
			chargetest.All(), chargetest.Noise(0.01, 7), chargetest.Quantise(16, 40, 400), chargetest.Spikes(50, 12, 300),
			chargetest.Gaps(600, 120), chargetest.Without("a"),
		}[rapid.IntRange(0, 5).Draw(t, "disturbance")]
		cfg, rows := config(225, 1.285), d(r.Rows)
		cfg.HasCurrent = !math.IsNaN(rows[0].A)
		truth := map[float64]float64{} // the undisturbed current
		for _, row := range r.Rows {
			truth[row.S] = row.A
		}
		was := false
		followWith(charge.New(cfg), 12, rows, func(row chargetest.Row, s *charge.Status) {
			// What is held back was claimed when it was held back.
			// The highest current of the time that the proof looks at.
			lastA := 0.0
			for s := row.S; s > row.S-100*60; s -= r.EachS {
				lastA = max(lastA, truth[s])
			}
			claim := s.Full || s.Pending != charge.NoEvidence
			first := claim && !was
			was = claim
			if !first {
				return
			}
			short := shortOf
			switch max(s.Evidence, s.Pending) { //nolint:exhaustive // the others keep the general bound
			case charge.ChargeFactor:
				short = 0.06 // from the previous full, at up to 10 A for each 100 Ah, and the drift
			case charge.HeldTail, charge.HeldFloat:
				short = 0.08 // what the estimate of the remaining charge allows
			}
			if row.Soc < p.FullSoc(max(lastA, 0.001*225))-short {
				t.Fatalf("full by %v at %.2f h, true charge %.3f, %.3f V, %.2f A, %.0f °C", s.Evidence, row.S/3600, row.Soc, row.PackV/12, row.A, row.C)
			}
		})
	})
}
