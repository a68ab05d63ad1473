package water_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/water"
)

// hours stands at a level.
func (r *rig) hours(n int, mm float64) *water.Status {
	for range 6 * n {
		r.wait(10*time.Minute, mm, mm)
	}
	return r.Status()
}

// TestUnrecordedWater: when the level of the cell with the probe rises without a visit,
// that cell alone was filled; recorded later, the others have what was recorded.
func TestUnrecordedWater(t *testing.T) {
	r := newRig(known(), 6)
	r.hours(2, 6)
	s := r.hours(1, 11)
	require.InDelta(t, 5, s.UnrecordedMM, 0.01)
	require.InDelta(t, 11, s.LevelMM[3], 0.01)
	require.InDelta(t, 6, s.LevelMM[0], 0.01)
	require.InDelta(t, 6, s.LowMM, 0.01)
	surely := s.SurelyMM
	require.Less(t, surely, 6.0)

	m := r.Memory()
	again := &rig{Balance: water.New(known()), now: r.now}
	again.Restore(&m, again.now, 0)
	require.InDelta(t, 5, again.hours(1, 11).UnrecordedMM, 0.01)

	var given [water.MaxCells]float64
	for i := range 12 {
		given[i] = 13 * 5
	}
	r.Filled(&given, 0, 0, false, r.in.GassingAh)
	s = r.hours(2, 11)
	require.Zero(t, s.UnrecordedMM)
	require.InDelta(t, 11, s.LevelMM[0], 0.01)
	require.Greater(t, s.SurelyMM, surely+4)
}

// TestNoUnrecordedWater: what acid, waves, gas, a visit and a probe that was off for a
// moment do to the level is no water.
func TestNoUnrecordedWater(t *testing.T) {
	for name, do := range map[string]func(r *rig){
		"acid that comes back": func(r *rig) { r.hours(2, 8) },
		"a wave":               func(r *rig) { r.wait(time.Minute, 15, 15); r.hours(2, 6) },
		"a bubble at the probe": func(r *rig) {
			r.wait(time.Minute, 1, 1)
			r.hours(2, 6)
		},
		"gas": func(r *rig) {
			r.in.Gassing = true
			r.hours(2, 11)
			r.in.Gassing, r.in.AnyCharge, r.in.ChargeEnded = false, true, r.now
			r.hours(3, 6)
		},
		"a visit": func(r *rig) {
			given := [water.MaxCells]float64{3: 65}
			r.in.Visit, r.in.AtCells, r.in.VisitMM, r.in.GivenML = true, true, 6, &given
			r.hours(1, 11)
			r.in.Visit, r.in.AtCells, r.in.GivenML = false, false, nil
			r.Filled(&given, 0, 6, true, r.in.GassingAh)
			r.hours(2, 11)
		},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(known(), 6)
			r.hours(2, 6)
			do(r)
			require.Zero(t, r.Status().UnrecordedMM)
		})
	}
}
