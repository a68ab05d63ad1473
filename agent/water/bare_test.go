package water_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/water"
)

func TestCellSet(t *testing.T) {
	var s water.CellSet = 1<<3 | 1<<47
	require.Equal(t, []int{4, 48}, s.Numbers())
	require.Equal(t, 2, s.Len())
	require.True(t, s.Has(4) && s.Has(48))
	require.False(t, s.Has(0) || s.Has(3) || s.Has(5) || s.Has(-1))
	require.Empty(t, water.CellSet(0).Numbers())
	require.Equal(t, 4, s.First())
	require.Zero(t, water.CellSet(0).First())
	require.True(t, water.CellSet(1).Has(1))
}

// TestTheFirstStepIsSmall: whatever the share of liquid between the plates, the
// least that can cover them is proposed, and it never passes the ceiling.
func TestTheFirstStepIsSmall(t *testing.T) {
	cfg := pack()
	for below := 0.0; below <= 60; below += 0.5 {
		_, ml := cfg.CellNeed(-below, 0, 17)
		// With three tenths free it brings the level exactly to 1 mm over the lowest
		// level for charging, with more free it stays under it.
		reached := (ml - 13*0.3*below) / 13
		require.InDelta(t, cfg.ChargeLevelMM+1, reached, 1e-9, "%.1f mm below the tops", below)
	}
	_, warm := cfg.CellNeed(-5, 2, 17) // 3 mm below the tops by heat
	require.InDelta(t, 13*(3*0.3+4), warm, 1e-9)
}

// TestDryIsBareUntilRead: by the record alone.
func TestDryIsBareUntilRead(t *testing.T) {
	b := newRig(pack(), 10)
	require.Zero(t, b.Status().Bare)
	b.Dry(3)
	b.Dry(0)
	b.Dry(99)
	require.Equal(t, []int{3}, b.Again().Bare.Numbers())
	require.LessOrEqual(t, b.Status().LevelMM[2], 1e-9, "the estimate is no higher than the plate tops")
	mm, known := b.NowMM(3)
	require.True(t, known)
	require.InDelta(t, 0, mm, 1e-9)
	b.Level(3, 0)
	require.Equal(t, []int{3}, b.Again().Bare.Numbers(), "at the tops")
	b.Level(3, 0.5)
	require.Zero(t, b.Again().Bare)
	for _, n := range []int{0, 13, -1} {
		_, known := b.NowMM(n)
		require.False(t, known)
	}
}
