package cooldown_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/cooldown"
	"bayward/agent/reading"
)

// TestLately: a cool pack without a reading was cool lately, for a quarter of an hour;
// until the rules have held again, too; and no longer once a reading contradicts it.
func TestLately(t *testing.T) {
	rule := cooldown.New(usual())
	now := time.Duration(0)
	step := func(span time.Duration, packC reading.Reading, resting bool) cooldown.Status {
		for end := now + span; now < end; {
			now += time.Second
			packC.At = now
			rule.Step(&cooldown.Inputs{Now: now, Full: true, Resting: resting, PackC: packC, AmbientC: reading.Good(20, now)})
		}
		return *rule.Status()
	}
	cool, gone := reading.Good(24, 0), reading.Bad(reading.NoAnswer, 0)
	lately := func(s cooldown.Status) bool { require.False(t, s.Cool); return s.Lately }

	require.False(t, lately(step(time.Minute, cool, true)), "not cool yet")
	require.False(t, lately(step(time.Second, gone, true)))
	s := step(3*time.Hour, cool, true)
	require.True(t, s.Cool && !s.Lately)

	require.True(t, lately(step(15*time.Minute-time.Second, gone, true)))
	require.True(t, lately(step(time.Minute, cool, true)), "the rules must hold again")
	require.True(t, lately(step(time.Minute, gone, true)))
	s = step(11*time.Minute, cool, true)
	require.True(t, s.Cool && !s.Lately)

	require.False(t, lately(step(15*time.Minute+time.Second, gone, true)), "for too long")
	require.False(t, lately(step(time.Second, cool, true)))
	require.True(t, step(11*time.Minute, cool, true).Cool)

	require.True(t, lately(step(time.Second, gone, true)))
	require.False(t, lately(step(time.Second, reading.Good(60, 0), true)), "too hot")
	require.False(t, lately(step(time.Second, gone, true)))
	require.True(t, step(30*time.Minute, cool, true).Cool)

	require.True(t, lately(step(time.Second, gone, true)))
	require.False(t, lately(step(time.Second, gone, false)), "a charge")
}
