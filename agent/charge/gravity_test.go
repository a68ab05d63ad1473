package charge_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
	"bayward/agent/charge/chargetest"
	"bayward/agent/reading"
)

// TestGravityVerdicts: the verdict on cell 3 beside the other cells of a pack whose
// full gravity is 1.280. Published spreads: 0.020 may mean a dead cell (TM
// 55-2210-224-12), 0.025 rejects the battery (TM 9-6140-200-14), 0.050 replaces it
// (TM 5-3895-349-14&P). Published corrections: 1.240 at 100 °F is 1.248 at 80 °F (TM
// 5-3895-349-14&P), so 1.249 at 25 °C; 1.250 at 20 °F is 1.226 (TM 5-3820-256-24-4),
// 1.227 at 25 °C.
func TestGravityVerdicts(t *testing.T) {
	for _, c := range []struct {
		name   string
		sg     float64
		atC    float64
		others []float64
		want   string
		sg25   float64
	}{
		{"alone and full", 1.280, 25, nil, "as-full", 1.280},
		{"alone, 0.015 below full", 1.265, 25, nil, "as-full", 1.265},
		{"alone, 0.016 below full", 1.264, 25, nil, "below-full", 1.264},
		{"alone, too strong", 1.296, 25, nil, "above-full", 1.296},
		{"0.019 below the others", 1.261, 25, []float64{1.280, 1.280}, "below-full", 1.261},
		{"published: TM 55-2210-224-12", 1.260, 25, []float64{1.280, 1.280}, "cell-low", 1.260},
		{"published: TM 9-6140-200-14", 1.255, 25, []float64{1.280, 1.280}, "cell-weak", 1.255},
		{"published: TM 5-3895-349-14&P", 1.230, 25, []float64{1.280, 1.280}, "cell-failed", 1.230},
		{"1.15 beside 1.25", 1.150, 25, []float64{1.250}, "cell-failed", 1.150},
		{"1.25 beside 1.15: the other is the low one", 1.250, 25, []float64{1.150}, "below-full", 1.250},
		{"high beside three", 1.280, 25, []float64{1.260, 1.260, 1.260}, "cell-high", 1.280},
		{"one odd neighbour makes no cell low", 1.280, 25, []float64{1.280, 1.180, 1.281}, "as-full", 1.280},
		{"a discharged pack, all alike", 1.200, 25, []float64{1.201, 1.199, 1.200}, "below-full", 1.200},
		{"published: TM 5-3895-349-14&P: 1.240 at 100 °F", 1.240, 37.8, []float64{1.249, 1.249}, "below-full", 1.249},
		{"published: TM 5-3820-256-24-4: 1.250 at 20 °F", 1.250, -6.7, []float64{1.253, 1.253}, "cell-weak", 1.227},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr := charge.New(config(225, 1.280))
			for i, sg := range c.others {
				tr.CellGravity(0, sound(4+i, sg))
			}
			h := sound(3, c.sg)
			h.AtC, h.PackC = c.atC, reading.Good(c.atC, 0)
			require.Equal(t, c.want, tr.CellGravity(0, h).String())
			got := tr.Status().Gravity.Cells[2]
			require.Equal(t, c.want, got.Verdict.String())
			require.InDelta(t, c.sg25, got.SG25, 0.0006, "half of the last digit, and 1 °F of rounding")
			require.Equal(t, len(c.others), got.Others)
		})
	}
}

// TestGravityThatMeansNothing: such a reading is named, and changes nothing: a low
// one takes no full back, good ones prove none, and a wide spread calls for nothing.
func TestGravityThatMeansNothing(t *testing.T) {
	for name, spoil := range map[string]func(*charge.Tracker, *charge.Hydrometer){
		"plates-bare":   func(_ *charge.Tracker, h *charge.Hydrometer) { h.Level = charge.LevelBare },
		"level-low":     func(_ *charge.Tracker, h *charge.Hydrometer) { h.Level = charge.LevelLow },
		"level-unknown": func(_ *charge.Tracker, h *charge.Hydrometer) { h.Level = charge.LevelUnknown },
		"not-mixed":     func(tr *charge.Tracker, h *charge.Hydrometer) { tr.Watered(h.Cell) },
		"temperature":   func(_ *charge.Tracker, h *charge.Hydrometer) { h.AtC, h.PackC = -5, reading.Good(24, 0) },
	} {
		t.Run(name, func(t *testing.T) {
			was := charge.New(config(225, 1.280))
			allCells(was, 0, 1.280)
			require.True(t, was.Status().Full)
			before := *was.Status()
			h := sound(3, 1.100)
			spoil(was, h)
			require.Equal(t, name, was.CellGravity(time.Minute, h).String())
			after := *was.Status()
			require.Equal(t, name, after.Gravity.Cells[2].Verdict.String())
			require.Equal(t, 11, after.Gravity.Sound, "it is not compared with the others either")
			before.Gravity, after.Gravity = nil, nil
			require.Equal(t, before, after)

			fresh := charge.New(config(225, 1.280))
			for cell := 1; cell <= 12; cell++ {
				h := sound(cell, 1.280)
				spoil(fresh, h)
				fresh.CellGravity(0, h)
			}
			require.False(t, fresh.Status().Full, "nor does it prove full")
		})
	}
	t.Run("10 K from the probe is not another temperature", func(t *testing.T) {
		tr := charge.New(config(225, 1.280))
		h := sound(1, 1.280)
		h.AtC, h.PackC = 30, reading.Good(40, 0)
		require.True(t, tr.CellGravity(0, h).Sound())
		h.AtC = 50
		require.True(t, tr.CellGravity(0, h).Sound())
		h.AtC = 29.9
		require.Equal(t, charge.GravityTemperature, tr.CellGravity(0, h))
		h.PackC = reading.Bad(reading.Missing, 0)
		require.True(t, tr.CellGravity(0, h).Sound(), "without a probe there is nothing to compare with")
	})
}

// TestGravityOfALowLevel: the same acid in less water reads high (DOE-HDBK-1084-95).
// 100 g of water in 1 L at 1.300 give 1.2753: conservation of the acid, with the
// densities of Myhre et al. So readings of full with that much water missing do not
// prove full.
func TestGravityOfALowLevel(t *testing.T) {
	for missingML, want := range map[float64]bool{0: true, 10: true, 100: false} {
		c := config(225, 1.300)
		c.ElectrolyteML = 1100
		tr := charge.New(c)
		for cell := 1; cell <= 12; cell++ {
			h := sound(cell, 1.300)
			h.MissingML = missingML
			tr.CellGravity(0, h)
		}
		require.Equal(t, want, tr.Status().Full, "%g ml missing", missingML)
	}
}

// TestGravityAfterWater: not before an hour of charge has mixed it (NAVEDTRA 14113,
// NAVEDTRA 14344), and rest does not mix it.
func TestGravityAfterWater(t *testing.T) {
	tr := charge.New(config(225, 1.285))
	tr.Watered(3)
	verdict := func(cell int) charge.GravityVerdict { return tr.CellGravity(0, sound(cell, 1.285)) }
	require.Equal(t, charge.GravityUnmixed, verdict(3))
	require.Equal(t, charge.GravityFull, verdict(4), "another cell was given none")

	rest := recorder(0.95)
	rest.Rest(12)
	followWith(tr, 12, rest.Rows, nil)
	require.Equal(t, charge.GravityUnmixed, verdict(3), "rest does not mix it")

	again := charge.New(config(225, 1.285))
	m := tr.Memory()
	require.True(t, m.Valid())
	again.Restore(&m, 0, 0, false)
	tr = again
	require.Equal(t, charge.GravityUnmixed, verdict(3), "nor does a restart")

	for _, c := range []struct {
		hours float64
		want  charge.GravityVerdict
	}{{0.8, charge.GravityUnmixed}, {1.3, charge.GravityFull}} {
		tr = charge.New(config(225, 1.285))
		tr.Watered(3)
		gassing := recorder(1)
		gassing.Charge(c.hours, chargetest.ConstantCurrent(0.05))
		followWith(tr, 12, gassing.Rows, nil)
		require.Equal(t, c.want, verdict(3), "%g h of gassing charge", c.hours)
	}
}

// TestEqualizeNeedsCells: a spread of 0.025 in a full pack calls for an equalize
// charge once half of the cells were read; in a pack that is not full it never does.
func TestEqualizeNeedsCells(t *testing.T) {
	due := func(full bool, cells int) charge.EqualizeReason {
		tr := charge.New(config(225, 1.285))
		r := recorder(0.6)
		r.Charge(12, chargetest.IUIa(0.16, 2.40, 0.04, 3))
		high := 1.296
		if !full {
			r = recorder(0.6)
			r.Rest(12)
			high = 1.236
		}
		followWith(tr, 12, r.Rows, nil)
		require.Equal(t, full, tr.Status().Full)
		for cell := 1; cell < cells; cell++ {
			tr.CellGravity(12*time.Hour, sound(cell, high))
		}
		tr.CellGravity(12*time.Hour, sound(cells, high-0.025))
		later := steadyRest(0.1, 12*3600+60)
		followWith(tr, 12, later, nil)
		return tr.Status().Equalize.Due
	}
	require.Equal(t, charge.NotDue, due(true, 2))
	require.Equal(t, charge.NotDue, due(true, 5))
	require.Equal(t, charge.BySpread, due(true, 6))
	require.Equal(t, charge.NotDue, due(false, 6))
	require.Equal(t, charge.NotDue, due(false, 12))
}

// TestGravityRoundIsNotChanged: a picture that was kept does not change when more
// cells are read.
func TestGravityRoundIsNotChanged(t *testing.T) {
	tr := charge.New(config(225, 1.280))
	tr.CellGravity(0, sound(1, 1.280))
	kept := tr.Status().Gravity
	was := *kept
	tr.CellGravity(time.Minute, sound(2, 1.200))
	require.Equal(t, was, *kept)
	require.Equal(t, 2, tr.Status().Gravity.Sound)
	tr.CellGravity(4*time.Hour+time.Minute, sound(2, 1.200))
	require.Equal(t, 1, tr.Status().Gravity.Sound, "after four hours a new round begins")
}

// TestGravityNames: each verdict has a name of its own.
func TestGravityNames(t *testing.T) {
	names := map[string]bool{}
	for v := charge.NotRead; v < charge.NumGravityVerdicts; v++ {
		require.NotEmpty(t, v.String())
		require.False(t, names[v.String()])
		names[v.String()] = true
	}
	require.Equal(t, "gravity-99", charge.GravityVerdict(99).String())
	require.False(t, charge.GravityVerdict(99).Sound())
}
