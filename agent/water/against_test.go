package water_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/reading"
	"bayward/agent/water"
)

// readAt reads the probe's cell so many millimetres above its probe, a day after the
// last reading.
func (r *rig) readAt(t *testing.T, above ...float64) float64 {
	t.Helper()
	for _, mm := range above {
		r.hours(24, 8)
		require.Equal(t, water.NotRejected, r.Level(4, 8+mm))
	}
	return r.Again().ReadOffMM
}

// TestReadingsThatAlwaysErrToOneSide: four in a row on one side of the probe, by 2 mm
// or more on average, are named, over restarts, until they come nearer than 1.5 mm or
// one is on the other side.
func TestReadingsThatAlwaysErrToOneSide(t *testing.T) {
	for name, c := range map[string]struct {
		above []float64
		want  float64
	}{
		"three":               {[]float64{3, 3, 3}, 0},
		"four too high":       {[]float64{2.5, 2, 2, 2.5}, 2.25},
		"four too low":        {[]float64{-2.5, -2, -2, -2.5}, -2.25},
		"at the limit":        {[]float64{2, 2, 2, 2}, 2},
		"below it":            {[]float64{1.9, 1.9, 1.9, 1.9}, 0},
		"one on the line":     {[]float64{4, 4, 4, 0}, 0},
		"to both sides":       {[]float64{5, 5, 5, -0.1}, 0},
		"the first was right": {[]float64{-0.2, 2, 2, 2, 2}, 2},
		"named, and nearer":   {[]float64{2, 2, 2, 2, 1.6, 1.6, 1.6, 1.6}, 1.6},
		"named, and near":     {[]float64{2, 2, 2, 2, 1.4, 1.4, 1.4, 1.4}, 0},
		"near, and apart":     {[]float64{2, 2, 2, 2, 1.4, 1.4, 1.4, 1.4, 3}, 0},
		"slips":               {[]float64{7, 7, 7, 7, -9, 7}, 0},
		"a slip between":      {[]float64{2, 2, -9, 2, 2}, 2},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(known(), 8)
			require.InDelta(t, c.want, r.readAt(t, c.above...), 1e-9)
			m := r.Memory()
			require.True(t, m.Valid(12))
			again := water.New(known())
			again.Restore(&m, r.now, 0)
			require.InDelta(t, c.want, again.Status().ReadOffMM, 1e-9)
		})
	}
}

// TestReadingsThatJudgeNothing: another cell, a fill mark by eye, gas, a probe that
// leaves much open, a cell that was watered in this visit, and a reading taken back.
func TestReadingsThatJudgeNothing(t *testing.T) {
	var given [water.MaxCells]float64
	for name, do := range map[string]func(r *rig){
		"another cell": func(r *rig) { r.Level(5, 10.5) },
		"by eye":       func(r *rig) { r.Mark(4, 10.5) },
		"gas": func(r *rig) {
			r.in.Gassing = true
			r.stand(8, 8)
			r.Level(4, 10.5)
		},
		"rods": func(r *rig) { r.stand(6.4, 7.6); r.Level(4, 10.5) },
		"broken probe": func(r *rig) {
			r.in.Level.Fault = reading.Open
			r.Step(&r.in)
			r.Level(4, 10.5)
		},
		"watered": func(r *rig) {
			given[3] = 13
			r.in.AtCells, r.in.Visit, r.in.VisitMM, r.in.GivenML = true, true, 8, &given
			r.stand(9, 9)
			r.Level(4, 11.5)
		},
		"taken back": func(r *rig) { r.Level(4, 10.5); r.Unread(4) },
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(known(), 8)
			require.Zero(t, r.readAt(t, 2.1, 2.1, 2.1))
			do(r)
			require.Zero(t, r.Again().ReadOffMM)
		})
	}
	r := newRig(known(), 8)
	require.InDelta(t, 2, r.readAt(t, 2, 2, 2, 2), 1e-9)
	r.Level(4, 7)
	require.Zero(t, r.Again().ReadOffMM)
	r.Unread(4)
	require.InDelta(t, 2, r.Again().ReadOffMM, 1e-9, "the one before counts again")
	r.Unread(4)
	require.InDelta(t, 2, r.Again().ReadOffMM, 1e-9, "only the last is taken back")
	m := r.Memory()
	for _, off := range [][]float64{{9}, {1, 1, 1, 1, 1}} {
		m.OffMM = off
		require.False(t, m.Valid(12), off)
	}
}
