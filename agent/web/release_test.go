package web_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// TestReleaseIsOfferedWhereItDoesSomething: for a finding that latched, and for a sensor
// whose finding asks to have it checked and then released; for neither a broken wire nor
// a level that does not move, which a reading alone ends.
func TestReleaseIsOfferedWhereItDoesSomething(t *testing.T) {
	faulty := func(fault reading.Fault) func(*bay.Picture) {
		return func(p *bay.Picture) { p.Seen.CurrentA.Fault = fault }
	}
	for name, c := range map[string]struct {
		change func(*bay.Picture)
		want   bool
	}{
		"nothing":           {func(*bay.Picture) {}, false},
		"latched":           {func(p *bay.Picture) { raise(p, interlock.Runaway, interlock.Evidence{}) }, true},
		"raised only":       {func(p *bay.Picture) { raise(p, interlock.PackHot, interlock.Evidence{}) }, false},
		"a broken wire":     {faulty(reading.Open), false},
		"not moving":        {faulty(reading.NotMoving), true},
		"exchanged":         {faulty(reading.Exchanged), true},
		"zero off":          {faulty(reading.ZeroOff), true},
		"noisy":             {faulty(reading.Noisy), true},
		"level not moving":  {func(p *bay.Picture) { p.Seen.Level.Fault = reading.NotMoving }, false},
		"an unfitted meter": {func(p *bay.Picture) { p.Seen.HydrogenPct.Fault = reading.NotMoving }, false},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(nil, "bay-1")
			b.change("bay-1", c.change)
			page := text(t, b.get("/bays/bay-1"))
			if c.want {
				require.Contains(t, page, `value="release"`)
			} else {
				require.NotContains(t, page, `value="release"`)
			}
		})
	}
}
