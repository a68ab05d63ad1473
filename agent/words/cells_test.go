package words

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestCellsInARow(t *testing.T) {
	v := New("en", "si")
	for want, cells := range map[string][]int{
		"": nil, "4": {4}, "4, 5": {4, 5}, "4 to 6": {4, 5, 6}, "4, 5, 7 to 12": {4, 5, 7, 8, 9, 10, 11, 12}, "1 to 3, 5, 7, 8": {1, 2, 3, 5, 7, 8},
	} {
		require.Equal(t, want, v.Cells(cells))
	}
	require.Empty(t, v.StillBare(nil))
	require.Equal(t, "1 cell still bare: 4. The charge stays blocked.", v.StillBare([]int{4}))
	require.Equal(t, "8 cells still bare: 4, 5, 7 to 12. The charge stays blocked.", v.StillBare([]int{4, 5, 7, 8, 9, 10, 11, 12}))
	require.Equal(t, "2 vasos siguen secos: 4, 5. La carga sigue bloqueada.", New("es", "si").StillBare([]int{4, 5}))
}
