package bay_test

import (
	"reflect"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
)

// TestLimitTable: every field of Limits has one row, each row is complete, and
// its default is valid and within the wise range.
func TestLimitTable(t *testing.T) {
	fields := reflect.TypeFor[bay.Limits]().NumField()
	require.Equal(t, fields, len(bay.LimitTable), "a field of Limits without a row, or a row without a field")
	keys := map[string]bool{}
	for i := range bay.LimitTable {
		row := &bay.LimitTable[i]
		require.False(t, keys[row.Key], "%s has two rows", row.Key)
		keys[row.Key] = true
		require.Same(t, row, bay.LimitNamed(row.Key))
		for _, text := range []string{row.Key, row.Unit, row.What, row.Source} {
			require.NotEmpty(t, text, row.Key)
		}
		require.True(t, row.Low <= row.Default && row.Default <= row.High, row.Key)
		require.True(t, row.Wise.Low <= row.Default && row.Default <= row.Wise.High, row.Key)
		require.True(t, row.Below == "" || bay.LimitNamed(row.Below) != nil, row.Key)

		var l bay.Limits
		row.Set(&l, row.Low+1)
		require.InDelta(t, row.Low+1, row.Of(&l), 1e-9, row.Key)
		changed := 0
		for f := range fields {
			if v := reflect.ValueOf(l).Field(f); !v.IsZero() {
				changed++
			}
		}
		require.Equal(t, 1, changed, "%s must change its own field alone", row.Key)
	}
	require.Nil(t, bay.LimitNamed("charge_max"))
}

// TestLimitUnits: the row of each time limit has the unit that its key names.
func TestLimitUnits(t *testing.T) {
	l := bay.DefaultLimits()
	require.Equal(t, time.Hour, l.RestMin)
	require.Equal(t, 18*time.Hour, l.ChargeMax)
	require.Equal(t, 30*time.Second, l.SettleFor)
	require.Equal(t, time.Minute, l.OffMin)
	require.Equal(t, 10*time.Second, l.StaleAfter)
}
