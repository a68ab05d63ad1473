package bay_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
)

// TestNamesAreReadBack: each name in messages belongs to its own stage or event
// and to no other, and an unknown name is rejected.
func TestNamesAreReadBack(t *testing.T) {
	for s := range bay.NumStages {
		got, ok := bay.ParseStage(s.String())
		require.True(t, ok, s)
		require.Equal(t, s, got)
	}
	events := 0
	for k := bay.NoEvent + 1; k != bay.NoEvent; k++ { // every value, until the counter wraps
		if got, ok := bay.ParseEvent(k.String()); ok {
			require.Equal(t, k, got)
			events++
		}
	}
	require.Equal(t, int(bay.ZeroMoved), events)
	for _, name := range []string{"", "none", "Vacant", "stage-9", "event-99", "charge"} {
		_, isStage := bay.ParseStage(name)
		_, isEvent := bay.ParseEvent(name)
		require.False(t, isStage || isEvent, "%q", name)
	}
}
