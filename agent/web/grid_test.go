package web

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestCellsLieAsInTheBattery: the tiles follow the layout; one that does not fit the pack
// or is too wide for a phone does not lose a cell.
func TestCellsLieAsInTheBattery(t *testing.T) {
	snake := [][]int{{1, 2, 3, 4, 5, 6}, {12, 11, 10, 9, 8, 7}}
	require.Equal(t, snake, layoutOf(snake, 12))
	require.Equal(t, plainRows(18), layoutOf(snake, 18))
	require.Equal(t, plainRows(6), layoutOf(snake, 6))
	require.Equal(t, [][]int{{12, 1}, {11, 2}, {10, 3}, {9, 4}, {8, 5}, {7, 6}}, turned(snake))
	for cells := 1; cells <= 48; cells++ {
		seen := map[int]bool{}
		for _, row := range layoutOf(nil, cells) {
			require.LessOrEqual(t, len(row), 6)
			for _, n := range row {
				require.False(t, n > 0 && seen[n])
				seen[n] = true
			}
		}
		delete(seen, 0)
		require.Len(t, seen, cells)
	}
}

// TestMarksOfARodInInches: arithmetic: sixteenths in lowest terms.
func TestMarksOfARodInInches(t *testing.T) {
	for n, want := range map[int]string{1: "1/16", 6: "3/8", 7: "7/16", 8: "1/2", 16: "1", 17: "1 1/16", 24: "1 1/2"} {
		require.Equal(t, want, fraction16(n))
	}
}
