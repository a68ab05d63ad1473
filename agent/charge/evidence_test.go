package charge_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
	"bayward/agent/charge/chargetest"
)

// recorder is a new pack on the published equations.
func recorder(soc float64) *chargetest.Recorder {
	return &chargetest.Recorder{Pack: &chargetest.CellString{CapacityAh: 225, Cells: 12, C: 25, Soc: soc}, EachS: 10}
}

// contact adds the charger's contact to a series: open, then closed from fromH on.
func contact(rows chargetest.Series, openFirst bool, fromH float64) chargetest.Series {
	for i := range rows {
		rows[i].Complete = 0
		if rows[i].S >= fromH*3600 || !openFirst {
			rows[i].Complete = 1
		}
	}
	return rows
}

// Specific gravity entered by the technician: within 0.005 of the last equalize
// value (NAVEDTRA 14344). Every cell counts: one that was not read may be the weak
// one.
func TestEvidenceHandGravity(t *testing.T) {
	const full = 1.277
	all := func(sg float64, but map[int]float64) map[int]float64 {
		cells := map[int]float64{}
		for cell := 1; cell <= 12; cell++ {
			cells[cell] = sg
		}
		for cell, sg := range but {
			cells[cell] = sg
		}
		return cells
	}
	for _, c := range []struct {
		name  string
		cells map[int]float64
		want  bool
	}{
		{"published: NAVEDTRA 14344: all within 0.005", all(full-0.005, nil), true},
		{"published: NAVEDTRA 14344: all 0.006 below", all(full-0.006, nil), false},
		{"one good cell proves nothing", map[int]float64{1: full}, false},
		{"nor do 11 of 12", all(full, map[int]float64{12: 0}), false},
		{"one 0.015 below among full ones", all(full, map[int]float64{7: full - 0.015}), true},
		{"one 0.016 below among full ones", all(full, map[int]float64{7: full - 0.016}), false},
		{"published: TM 5-3895-349-14&P: one 0.050 below, read first", all(full, map[int]float64{1: full - 0.050}), false},
		{"all far above full: not this pack's acid", all(full+0.020, nil), false},
		{"no such cell", all(full, map[int]float64{12: 0, 0: full, 13: full, 49: full}), false},
		{"not a number", all(full, map[int]float64{3: math.NaN()}), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr := charge.New(config(225, full))
			r := recorder(0.9)
			r.Rest(0.5)
			followWith(tr, 12, r.Rows, nil)
			for cell := 0; cell <= 49; cell++ {
				if sg, ok := c.cells[cell]; ok {
					tr.CellGravity(31*time.Minute, sound(cell, sg))
				}
			}
			require.Equal(t, c.want, tr.Status().Full)
		})
	}
	t.Run("outranks evidence of a charge", func(t *testing.T) {
		tr := charge.New(config(225, 1.285))
		r := recorder(0.6)
		r.Charge(12, chargetest.IUIa(0.16, 2.40, 0.04, 3))
		followWith(tr, 12, r.Rows, nil)
		require.True(t, tr.Status().Full)
		tr.CellGravity(13*time.Hour, sound(7, 1.240))
		require.False(t, tr.Status().Full)
		require.False(t, tr.Status().OutKnown)
	})
}

// Current tapered and steady at regulated voltage: three half-hour intervals, TM
// 5-4320-258-12; at most what EN 62485-3 gives for 2.40 V, and no more than the
// gassing law explains.
func TestEvidenceSteadyTaper(t *testing.T) {
	run := func(d chargetest.Disturb, chargeH float64, v float64) *seen {
		r := recorder(0.6)
		r.Charge(chargeH, chargetest.IU(0.16, v))
		return follow(config(225, 1.285), 12, d(r.Rows))
	}
	none := chargetest.All()
	t.Run("model: TM 5-4320-258-12: steady for three half hours", func(t *testing.T) {
		got := run(none, 16, 2.40)
		require.Equal(t, charge.HeldTail, got.evidence, "what is left is little before that")
		require.Equal(t, charge.SteadyTaper, got.status.Evidence)
		require.GreaterOrEqual(t, got.socAtFull, got.topSoc-shortOf)
	})
	t.Run("not while it still falls", func(t *testing.T) { require.False(t, run(none, 5, 2.40).fullEver) })
	t.Run("published: TM 10-6140-200-14: not below the gassing voltage", func(t *testing.T) { require.False(t, run(none, 16, 2.28).fullEver) })
	t.Run("arithmetic: Schiffer et al. 2007: not more than gassing explains", func(t *testing.T) {
		// As if four times the law flowed forever: held back, not proven.
		r := recorder(0.97)
		r.Charge(4, chargetest.IU(0.16, 2.40))
		for i := range r.Rows[30:] {
			r.Rows[30+i].A = 4 * r.Pack.GasA(2.40)
		}
		got := follow(config(225, 1.285), 12, r.Rows)
		require.False(t, got.fullEver)
		require.Equal(t, charge.DrawsTooMuch, got.status.Doubt)
		require.Equal(t, charge.SteadyTaper, got.status.Pending)
	})
	t.Run("held back, then proven by two hours of rest", func(t *testing.T) {
		r := recorder(0.99)
		r.Charge(4, chargetest.IU(0.16, 2.40))
		for i := range r.Rows[30:] {
			r.Rows[30+i].A = 4 * r.Pack.GasA(2.40)
		}
		r.Rest(3)
		got := follow(config(225, 1.285), 12, r.Rows)
		require.True(t, got.fullEver)
		require.InDelta(t, 6, got.fullAtH, 0.1, "two hours after the end")
		require.Equal(t, charge.NoDoubt, got.status.Doubt)
		require.EqualValues(t, 1, got.status.ChargesFull)
	})
	t.Run("not by a current sensor that dies in the charge", func(t *testing.T) {
		got := run(func(s chargetest.Series) chargetest.Series {
			for i := range s {
				if s[i].S > 2.2*3600 {
					s[i].A = 0
				}
			}
			return s
		}, 12, 2.40)
		require.False(t, got.fullEver, "%v", got)
	})
}

// Voltage referred to 25 °C steady on a charger that does not hold it.
func TestEvidenceSteadyVoltage(t *testing.T) {
	run := func(hours float64, c chargetest.Charger, blind bool, d chargetest.Disturb) *seen {
		r := recorder(0.6)
		r.Charge(hours, c)
		cfg, rows := config(225, 1.285), d(r.Rows)
		if blind {
			cfg.HasCurrent, rows = false, chargetest.Without("a")(rows)
		}
		return follow(cfg, 12, rows)
	}
	none := chargetest.All()
	t.Run("model: TM 5-4320-258-12: unchanged for three half hours", func(t *testing.T) {
		got := run(9, chargetest.IUIa(0.16, 2.40, 0.04, 3), false, none)
		require.Equal(t, charge.SteadyVoltage, got.evidence)
		require.GreaterOrEqual(t, got.socAtFull, got.topSoc-shortOf)
	})
	t.Run("voltage alone", func(t *testing.T) {
		require.Equal(t, charge.SteadyVoltage, run(9, chargetest.IUIa(0.16, 2.40, 0.04, 3), true, none).evidence)
	})
	t.Run("not while it still rises", func(t *testing.T) {
		require.False(t, run(9, chargetest.IUIa(0.16, 2.40, 0.04, 0.6), false, none).fullEver)
	})
	t.Run("single disturbed readings do not delay it", func(t *testing.T) {
		plain := run(9, chargetest.IUIa(0.16, 2.40, 0.04, 3), false, none)
		got := run(9, chargetest.IUIa(0.16, 2.40, 0.04, 3), false, chargetest.Spikes(40, 36, 0))
		require.InDelta(t, plain.fullAtH, got.fullAtH, 0.02)
	})
	t.Run("voltage alone: not by a regulated charger in its bulk", func(t *testing.T) {
		for _, v := range []float64{2.40, 2.45, 2.50} {
			require.False(t, run(9, chargetest.IU(0.05, v), true, none).fullEver, v)
		}
	})
	t.Run("voltage alone: not by 2.40 V on a pack of 50 °C, which is 2.525 V at 25 °C", func(t *testing.T) {
		require.False(t, run(9, chargetest.IU(0.05, 2.40), true, chargetest.Warm(25)).fullEver)
	})
	t.Run("voltage alone: not by 2.525 V on a pack of 0 °C, which is 2.40 V at 25 °C", func(t *testing.T) {
		require.False(t, run(9, chargetest.IU(0.05, 2.525), true, chargetest.Warm(-25)).fullEver)
	})
	t.Run("voltage alone: not without a temperature", func(t *testing.T) {
		require.False(t, run(9, chargetest.IUIa(0.16, 2.40, 0.04, 3), true, chargetest.Without("c")).fullEver)
	})
	t.Run("not by a voltage that does not move at a bulk current", func(t *testing.T) {
		require.False(t, run(4, chargetest.ConstantCurrent(0.08), false, func(s chargetest.Series) chargetest.Series {
			for i := range s {
				s[i].PackV = 2.46 * 12 // a stuck converter
			}
			return s
		}).fullEver)
	})
}

// Ampere-hours returned over removed: 1.15 to 1.20 for vented cells without acid
// circulation (from memory); California Title 20: 1.10 to 1.15.
func TestEvidenceChargeFactor(t *testing.T) {
	run := func(backH float64, known bool, restH float64) *seen {
		tr := charge.New(config(225, 1.285))
		r := recorder(1)
		r.Rest(0.5)
		if known {
			followWith(tr, 12, r.Rows, nil)
			allCells(tr, at(1800), 1.285)
			r.Rows = nil
		}
		r.Load(3, -0.1) // 30 %
		r.Rest(restH)
		followWith(tr, 12, r.Rows, nil)
		r.Rows = nil
		require.False(t, tr.Status().Full)
		r.Charge(backH, chargetest.ConstantCurrent(0.08))
		return followWith(tr, 12, r.Rows, nil)
	}
	t.Run("1.15 returned, plus one per cent for the count", func(t *testing.T) {
		got := run(5, true, 0)
		require.True(t, got.fullEver)
		require.Equal(t, charge.ChargeFactor, got.evidence)
		// 0.30 times 1.15 times 1.01 at 0.08 an hour, after 3.5 h.
		require.InDelta(t, 3.5+0.30*1.15*1.01/0.08, got.fullAtH, 0.25)
	})
	t.Run("1.05 returned", func(t *testing.T) { require.False(t, run(0.30*1.05/0.08, true, 0).fullEver) })
	t.Run("unknown charge taken out before", func(t *testing.T) {
		require.NotEqual(t, charge.ChargeFactor, run(4.4, false, 0).evidence)
	})
	t.Run("a day's rest may hide 0.2 A for each 100 Ah, 4.8 % of the capacity", func(t *testing.T) {
		got := run(4.6, true, 24)
		require.False(t, got.fullEver)
		require.InDelta(t, 0.002*24*225+0.01*0.30*225, got.status.OutPlusAh, 0.6)
	})
	t.Run("depth and factor are reported", func(t *testing.T) {
		got := run(4.5, true, 0)
		require.True(t, got.status.DepthKnown && got.status.ReturnKnown)
		require.InDelta(t, 0.30, got.status.DepthBefore, 0.003)
		require.InDelta(t, 0.08*4.5/0.30, got.status.ReturnFactor, 0.02)
	})
}

// The charger's own contact, the least trusted: a stuck one, an early one and one
// that closes on a fault prove nothing.
func TestEvidenceChargerComplete(t *testing.T) {
	run := func(chargeH, v float64, openFirst bool, restH float64, dead int) *seen {
		r := recorder(0.6)
		r.Pack.Dead = dead
		r.Charge(chargeH, chargetest.IU(0.16, v))
		r.Rest(restH)
		cfg := config(225, 1.285)
		cfg.HasCurrent = false // which would prove it alone
		return follow(cfg, 12, chargetest.Without("a")(contact(r.Rows, openFirst, chargeH)))
	}
	t.Run("closes after the gassing voltage", func(t *testing.T) {
		got := run(5, 2.40, true, 4, 0)
		require.Equal(t, charge.ChargerComplete, got.evidence)
		require.InDelta(t, 5+2.5, got.fullAtH, 0.6, "two hours of rest agree, and it stands still")
	})
	t.Run("stuck closed", func(t *testing.T) { require.False(t, run(5, 2.40, false, 3, 0).fullEver) })
	t.Run("closes below the gassing voltage: a fault of the charger", func(t *testing.T) { require.False(t, run(5, 2.25, true, 3, 0).fullEver) })
	t.Run("closes on a pack with a dead cell", func(t *testing.T) { require.False(t, run(5, 2.40, true, 5, 1).fullEver) })
}

// A timer closes its contact on plates that hardly take their charge, and the rest of such
// a pack may look full: gravity differs by 10 points from pack to pack. Its voltage shows
// it at the start, unless the pack was nearly full.
func TestEvidenceContactOfATimer(t *testing.T) {
	rested := func(low float64) float64 { return 1.285 + 0.845 - low } // DOE-HDBK-1084-95
	type stage struct{ hours, v float64 }
	var cutH float64 // a restart
	run := func(lowBefore float64, stages ...stage) *seen {
		var rows chargetest.Series
		s := 0.0
		add := func(hours float64, v func(h float64) float64, done float64) {
			for from := s; s < from+hours*3600; s += 30 {
				rows = append(rows, chargetest.Row{S: s, PackV: 12 * v((s-from)/3600), A: math.NaN(), C: 25, Soc: math.NaN(), Complete: done})
			}
		}
		add(0.3, func(float64) float64 { return rested(lowBefore) }, 0)
		for _, st := range stages {
			add(st.hours, func(float64) float64 { return st.v }, 0)
		}
		add(4, func(h float64) float64 { return rested(0) + 0.07*math.Exp(-3*h) }, 1)
		cfg := config(225, 1.285)
		cfg.HasCurrent = false
		n := int(cutH * 120)
		first := follow(cfg, 12, rows[:n])
		m, tr := first.t.Memory(), charge.New(cfg)
		if cutH > 0 {
			tr.Restore(&m, at(rows[n].S), time.Minute, true)
		}
		return followWith(tr, 12, rows[n:], nil)
	}
	for _, c := range []struct {
		name   string
		low    float64
		stages []stage
		full   bool
	}{
		{"bulk below the gassing voltage, then 3 h of it", 0.10, []stage{{1, 2.25}, {3, 2.42}}, true},
		{"the gassing voltage at once", 0.10, []stage{{5, 2.42}}, false},
		{"for a minute, then a smaller current", 0.10, []stage{{0.03, 2.60}, {1, 2.28}, {4, 2.42}}, false},
		{"the gassing voltage at once, and for 9 h", 0.10, []stage{{9, 2.42}}, true},
		{"the gassing voltage at once, and 9 h of float", 0.10, []stage{{3, 2.42}, {9, 2.25}}, false},
		{"and 16 h of float", 0.10, []stage{{3, 2.42}, {16, 2.25}}, true},
		{"of a pack that was nearly full", 0.010, []stage{{2, 2.42}}, true},
		{"of a pack that missed 15 %", 0.030, []stage{{2, 2.42}}, false},
		{"interrupted: its voltage is still that of the charge", 0.10, []stage{{2, 2.42}, {0.7, 2.13}, {3, 2.42}}, false},
		{"interrupted, of sound plates", 0.10, []stage{{1, 2.25}, {2, 2.42}, {0.7, 2.13}, {1, 2.42}}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := run(c.low, c.stages...)
			require.Equal(t, c.full, got.fullEver)
			if c.full {
				require.Equal(t, charge.ChargerComplete, got.evidence)
			}
		})
	}
	// How a charge began is not stored.
	for _, cutH = range []float64{0.4, 0.7, 2} {
		require.False(t, run(0.10, stage{0.03, 2.60}, stage{1, 2.28}, stage{4, 2.42}).fullEver, "restart after %v h", cutH)
		require.False(t, run(0.10, stage{5, 2.42}).fullEver, "restart after %v h", cutH)
		require.True(t, run(0.10, stage{12, 2.42}).fullEver, "restart after %v h", cutH)
	}
}

// A hydrometer reading outranks the rest, and the order of trust is kept.
func TestOrderOfTrust(t *testing.T) {
	require.Less(t, charge.NoEvidence, charge.ChargerComplete)
	require.Less(t, charge.ChargerComplete, charge.ChargeFactor)
	require.Less(t, charge.ChargeFactor, charge.SteadyVoltage)
	require.Less(t, charge.SteadyVoltage, charge.SteadyTaper)
	require.Less(t, charge.SteadyTaper, charge.HandGravity)
}

// A full that readings proved is taken back with any one of them: one cell that was
// not read may be the weak one.
func TestFullGoesWithAReadingThatNeverWas(t *testing.T) {
	tr := charge.New(config(225, 1.285))
	allCells(tr, 0, 1.285)
	require.True(t, tr.Status().Full)
	tr.Unread(3)
	require.False(t, tr.Status().Full)
	tr.CellGravity(time.Minute, sound(3, 1.285))
	require.True(t, tr.Status().Full, "read again, all of them are")
}
