package charge_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

// TestAPackThatRestsAsFullSaysWhatIsMissing: a technician who finds a pack at the voltage of
// a full one that is not called full is told why, however short the charge was. A full cell
// of 1.285 rests at 2.13 V (specific gravity + 0.845: DOE-HDBK-1084-95, "Voltage and specific
// gravity"). One that rests lower was charged a little, and nothing is asked.
func TestAPackThatRestsAsFullSaysWhatIsMissing(t *testing.T) {
	for name, c := range map[string]struct {
		pack   func(*charge.Config)
		v, a   float64
		h      time.Duration
		restsV float64
		want   charge.Doubt
	}{
		"two hours and a timer":       {nil, 2.33, 60, 2 * time.Hour, 2.130, charge.EndedEarly},
		"blind, half an hour":         {blind, 2.33, 60, 30 * time.Minute, 2.130, charge.NeedsCurrent},
		"an opportunity charge":       {nil, 2.33, 60, 2 * time.Hour, 2.100, charge.NoDoubt},
		"a blind opportunity":         {blind, 2.33, 60, 30 * time.Minute, 2.100, charge.NoDoubt},
		"a rest that no charge began": {nil, 2.130, 0, 2 * time.Hour, 2.130, charge.NoDoubt},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHands()
			if c.pack != nil {
				h = newHands(c.pack)
				c.a = h.a
			}
			h.take(c.v, c.a)
			h.pass(c.h, 30*time.Second)
			if h.take(c.restsV, 0); c.pack != nil {
				h.take(c.restsV, c.a)
			}
			s := h.pass(3*time.Hour, 30*time.Second)
			require.False(t, s.Full)
			require.Equal(t, c.want, s.Doubt)
		})
	}
}

// TestALowFloatEnds: without a current sensor a charger that floats low, 2.205 V, and is
// switched off leaves a cell that rests at 2.153 V, which no charger holds: the charge is over,
// ten minutes after it. One that a charger still holds goes on.
func TestALowFloatEnds(t *testing.T) {
	for restsV, ends := range map[float64]bool{2.153: true, 2.170: false} {
		h := newHands(blind)
		h.v = 2.205
		h.pass(5*time.Hour, 30*time.Second)
		require.True(t, h.tr.Status().Active)
		off := h.now
		h.v = restsV
		s := h.pass(time.Hour, 30*time.Second)
		require.Equal(t, ends, !s.Active, "%v V", restsV)
		if ends {
			require.InDelta(t, (off + 10*time.Minute).Minutes(), s.EndedAt.Minutes(), 3, "the voltage is smoothed")
		}
	}
}
