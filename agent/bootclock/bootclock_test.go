package bootclock_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bootclock"
)

func TestGapWithinOneBoot(t *testing.T) {
	c := bootclock.New()
	require.NotEmpty(t, c.ID)
	before := c.Now()
	gap, proven := c.Gap(c.ID, before-time.Hour)
	require.True(t, proven)
	require.GreaterOrEqual(t, gap, time.Hour)
	require.LessOrEqual(t, gap, time.Hour+c.Now()-before)
}

// What cannot be proven must not shorten a rest.
func TestGapNotProven(t *testing.T) {
	c := bootclock.New()
	for name, gap := range map[string]func() (time.Duration, bool){
		"another boot":               func() (time.Duration, bool) { return c.Gap("another-boot", 0) },
		"a boot without a name":      func() (time.Duration, bool) { return c.Gap("", 0) },
		"a later time":               func() (time.Duration, bool) { return c.Gap(c.ID, c.Now()+time.Hour) },
		"a clock that knows no boot": func() (time.Duration, bool) { return bootclock.Clock{}.Gap("", 0) },
	} {
		d, proven := gap()
		require.False(t, proven, name)
		require.Zero(t, d, name)
	}
}
