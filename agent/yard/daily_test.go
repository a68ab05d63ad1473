package yard_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestDailyRound: the turn is the place by name among those that are online and send one;
// what an agent has sent is known after it has gone, and after this one's own restart.
func TestDailyRound(t *testing.T) {
	b := newBench() // shed-2
	before := func(want int, known bool) {
		t.Helper()
		n, ok := b.DailyBefore()
		require.Equal(t, known, ok)
		if known {
			require.Equal(t, want, n)
		}
	}
	before(0, false)
	b.Connected(true)
	const sends = `{"v":1,"state":"online","daily_round":"06:30"}`
	b.Status("shed-1", []byte(sends))
	b.Status("hut", []byte(online))
	b.Status("shed-3", []byte(sends))
	b.Status("shed-2", []byte(sends))
	before(1, true)
	b.Daily("shed-1", []byte(`{"v":1,"day":"2026-03-01"}`))
	require.True(t, b.DailySent("2026-03-01"))
	require.False(t, b.DailySent("2026-03-02"))
	b.Status("shed-1", []byte(`{"v":1,"state":"offline","reason":"connection-lost"}`))
	before(0, true)
	require.True(t, b.DailySent("2026-03-01"))

	b.Daily("shed-2", []byte(`{"v":1,"day":"2026-03-02"}`))
	require.True(t, b.DailySent("2026-03-02"), "it has started again since")
	for _, nonsense := range []string{`{"v":2,"day":"2026-03-03"}`, `{"v":1,"day":2026}`, `{"v":1,`, "\x00"} {
		b.Daily("shed-3", []byte(nonsense))
	}
	require.False(t, b.DailySent("2026-03-03"))
	b.Daily("shed-3", []byte(`{"v":1,"day":"soon"}`))
	require.False(t, b.DailySent("soon"))
	require.False(t, b.DailySent(""), "no day is not a day that was sent")
	b.Daily("shed-1", nil)
	require.False(t, b.DailySent("2026-03-01"), "its topic was cleared")
	b.Connected(false)
	before(0, false)
}
