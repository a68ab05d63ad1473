package charge_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

// TestALittleUseIsNoEarlyEnd: a charge that was proven full by hydrometer did not end early,
// though a machine that is put back after a little work is not full any more. It rests at the
// 2.13 V of a full cell of 1.285 (specific gravity + 0.845: DOE-HDBK-1084-95, "Voltage and
// specific gravity"), less 2 mV for each percent used: 0.20 of gravity from full to flat
// (common practice, no source).
func TestALittleUseIsNoEarlyEnd(t *testing.T) {
	for k, share := range []float64{0.025, 0.03, 0.04, 0.05} {
		again, restarts := k%2 == 1, k >= 2
		h := newHands()
		h.take(2.33, 60)
		h.pass(4*time.Hour, 30*time.Second)
		h.take(2.130, 0)
		h.pass(40*time.Minute, 30*time.Second)
		h.provenFull()
		require.True(t, h.tr.Status().Full)
		if again { // the charger starts once more, on a full pack
			h.take(2.33, 60)
			h.pass(10*time.Minute, 30*time.Second)
			h.take(2.130, 0)
			h.pass(time.Hour, 30*time.Second)
			require.True(t, h.tr.Status().Full)
		}
		if restarts {
			m := h.tr.Memory()
			h.tr.Restore(&m, h.now, 0, true)
		}
		h.take(2.08, -1000*share*2)
		h.pass(30*time.Minute, 30*time.Second)
		h.take(2.130-share*0.20, 0)
		if h.pass(time.Minute, 30*time.Second); restarts { // after the work, too
			m := h.tr.Memory()
			h.tr.Restore(&m, h.now, 0, true)
		}
		s := h.pass(4*time.Hour, 30*time.Second)
		require.False(t, s.Full)
		require.Equal(t, charge.NoDoubt, s.Doubt, "%v used", share)
	}
}
