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
	require.InDelta(t, surely, s.SurelyMM, 0.01, "nobody has seen it in the other cells")
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

// TestReadingsEndTheQuestion: who watered is asked until the level of every cell but the
// probe's was read, over restarts; a reading that is taken back does not count, and a
// visit with water of its own ends nothing.
func TestReadingsEndTheQuestion(t *testing.T) {
	r := newRig(known(), 6)
	r.hours(2, 6)
	r.hours(1, 11)
	var given, visit [water.MaxCells]float64
	visit[0] = 13
	r.in.Visit, r.in.AtCells, r.in.VisitMM, r.in.GivenML = true, true, 11, &visit
	r.hours(1, 11)
	r.in.Visit, r.in.AtCells, r.in.GivenML = false, false, nil
	r.Filled(&visit, 0, 11, true, r.in.GassingAh)
	require.InDelta(t, 5, r.Status().UnrecordedMM, 0.01)

	for cell := 1; cell <= 11; cell++ {
		if cell%2 == 0 {
			r.Dry(cell)
		} else {
			require.Equal(t, water.NotRejected, r.Level(cell, 8))
		}
	}
	require.InDelta(t, 5, r.Again().UnrecordedMM, 0.01, "one is left")
	m := r.Memory()
	require.True(t, m.Valid(12))
	again := &rig{Balance: water.New(known()), now: r.now}
	again.Restore(&m, again.now, 0)
	again.stand(11, 11)
	again.Level(12, 8)
	require.Zero(t, again.Again().UnrecordedMM)
	again.Unread(12)
	require.InDelta(t, 5, again.Again().UnrecordedMM, 0.01, "taken back")
	again.Level(12, 8)
	again.Filled(&given, 0, 11, true, 0)
	again.Unread(12)
	require.Zero(t, again.Again().UnrecordedMM, "its visit is closed")

	m.Seen = 0 // as an older program stored it
	again = &rig{Balance: water.New(known()), now: r.now}
	again.Restore(&m, again.now, 0)
	again.stand(11, 11)
	again.Level(12, 8)
	require.InDelta(t, 5, again.Again().UnrecordedMM, 0.01)
}

// TestLateWaterRaisesNoCellThatWasReadSince: its reading shows that water already.
func TestLateWaterRaisesNoCellThatWasReadSince(t *testing.T) {
	r := newRig(known(), 6)
	r.hours(2, 6)
	r.hours(1, 11)
	r.Level(1, 11)
	var given [water.MaxCells]float64
	for i := range 12 {
		given[i] = 13 * 5
	}
	r.Again()
	read, surely := r.Status().LevelMM[0], r.Memory().Known[0]
	r.Filled(&given, 0, 0, false, r.in.GassingAh)
	r.hours(2, 11)
	require.InDelta(t, read, r.Status().LevelMM[0], 0.01)
	require.InDelta(t, surely.LevelMM, r.Memory().Known[0].LevelMM, 0.01)
	require.InDelta(t, 11, r.Status().LevelMM[1], 0.01)
	require.Zero(t, r.Status().UnrecordedMM)
}
