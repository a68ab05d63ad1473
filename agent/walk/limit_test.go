package walk

import (
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/config/configtest"
	"bayward/agent/hardware"
)

// TestTerminalStandsStill: Ctrl-S stops all output while the relay is closed. The
// relay still opens when its time is up.
func TestTerminalStandsStill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		cfg := configtest.Parse(t, configtest.OneBay(t))
		bench, bays, err := hardware.Simulate(cfg, nil)
		require.NoError(t, err)
		r := &rig{cfg: cfg, bay: "bay-1", bench: bench, sims: bays}
		require.NoError(t, r.open(hardware.OfBench(bench)))
		require.NoError(t, r.CloseFor(time.Hour))
		require.NoError(t, r.CloseFor(8*time.Second), "the new limit counts")
		time.Sleep(8*time.Second - 1)
		synctest.Wait()
		require.True(t, bays["bay-1"].Truth().Ordered)
		time.Sleep(time.Nanosecond)
		synctest.Wait()
		require.False(t, bays["bay-1"].Truth().Ordered)
	})
}

// TestLimitOfASlowClosing: if closing takes longer than the limit, the relay is
// opened while the call hangs, and again after it has closed.
func TestLimitOfASlowClosing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const most = time.Second
		var l limit
		var closed atomic.Bool
		var opened atomic.Int32
		err := l.closeFor(most, func() error {
			time.Sleep(3 * most)
			closed.Store(true)
			return nil
		}, func() { closed.Store(false); opened.Add(1) })
		require.NoError(t, err)
		require.EqualValues(t, 1, opened.Load(), "while it hung")
		require.True(t, closed.Load())
		time.Sleep(most)
		synctest.Wait()
		require.False(t, closed.Load())
		require.EqualValues(t, 2, opened.Load())
	})
}

// TestLimitStopped: a relay that was opened in time is not opened again.
func TestLimitStopped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var l limit
		l.stop()
		require.NoError(t, l.closeFor(time.Second, func() error { return nil }, func() { t.Error("too late") }))
		l.stop()
		time.Sleep(time.Minute)
		synctest.Wait()
	})
}
