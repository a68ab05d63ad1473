package interlock_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// TestWarningsBeforeTheLimits: at and beside each bound, as the table says in words,
// and without ever blocking.
func TestWarningsBeforeTheLimits(t *testing.T) {
	for code, c := range map[interlock.Code]struct {
		set                         func(*interlock.Inputs, reading.Reading)
		limit, below, clear, beyond float64
	}{
		interlock.PackWarm:        {func(in *interlock.Inputs, r reading.Reading) { in.PackC = r }, 43, 42.9, 41, 41.1},
		interlock.HydrogenWarning: {func(in *interlock.Inputs, r reading.Reading) { in.Hydrogen = r }, 1, 0.99, 0.8, 0.81},
	} {
		t.Run(code.String(), func(t *testing.T) {
			r, hold := newRig(t, 0).granted(), interlock.Table[code].Clear
			at := func(v float64) bool {
				for range 12 {
					r.step(time.Second, func(in *interlock.Inputs) { c.set(in, reading.Good(v, in.Now)) })
				}
				return r.x.Standing(code).Raised
			}
			require.False(t, at(c.below))
			require.True(t, at(c.limit))
			require.True(t, r.x.Granted(), "a warning")
			stays := func(v float64) bool {
				for range int(2 * hold / time.Second) {
					r.step(time.Second, func(in *interlock.Inputs) { c.set(in, reading.Good(v, in.Now)) })
				}
				return r.x.Standing(code).Raised
			}
			require.True(t, stays(c.beyond))
			require.False(t, stays(c.clear))
			require.True(t, at(math.NaN()), "what is no number is no all-clear")
		})
	}
	none := enumLimits
	none.Fitted = reading.SensorsOf(reading.PackCurrent, reading.Airflow, reading.ContactorFeedback)
	x := interlock.New(none, 0)
	in := calm(time.Second)
	in.Hydrogen = reading.Good(3, in.Now)
	for now := time.Second; now < time.Minute; now += time.Second {
		in.Now = now
		x.Step(&in, false)
	}
	require.False(t, x.Standing(interlock.HydrogenWarning).Raised, "no gas sensor is fitted")
}
