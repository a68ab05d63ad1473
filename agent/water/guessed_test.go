package water_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/water"
)

// TestAProposedAmountJudgesNothing: cell 4 was given more than the others in each
// visit, but its amounts are only what was proposed.
func TestAProposedAmountJudgesNothing(t *testing.T) {
	after := func(guessed water.CellSet) *water.Balance {
		b := newRig(pack(), 6).Balance
		for range 4 {
			var given [water.MaxCells]float64
			for i := range 12 {
				given[i] = 100
			}
			given[3] = 200
			b.Filled(&given, guessed, 0, false, 0)
		}
		return b
	}
	odd := after(0).Status().OddCells()
	require.Len(t, odd, 1)
	require.Equal(t, 4, odd[0].Cell)
	require.Empty(t, after(1<<3).Status().OddCells(), "cell 4 as proposed")
	require.InDelta(t, 400, after(1 << 3).Memory().Cells[3].FilledML, 0, "it counts like the middle of the others")
	require.Len(t, after(1).Status().OddCells(), 1, "another cell as proposed does not hide it")
	most := after(1<<12 - 1).Memory()
	require.Zero(t, most.Visits)
	require.Zero(t, most.Cells[3].FilledML)
}
