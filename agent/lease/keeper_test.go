package lease

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

// TestLeaseOfOneBay follows one bay through a lease, its end, and the trip that the
// agent must learn of before the relay closes again.
func TestLeaseOfOneBay(t *testing.T) {
	charge, beat := &gpiotest.Pin{N: "GPIO17", L: gpio.High}, &gpiotest.Pin{N: "GPIO27", L: gpio.High}
	row := Row{Bay: "bay-1", Charge: "GPIO17", Heartbeat: "GPIO27"}
	k, err := NewKeeper([]Lines{{Row: row, Charge: charge, Beat: beat}})
	require.NoError(t, err)
	require.Equal(t, []gpio.Level{gpio.Low, gpio.Low}, []gpio.Level{charge.L, beat.L}, "driven low before anything else")

	now := time.Hour
	local := NewLocal(k, func() time.Duration { return now })
	relay := NewClient(local).Relay(row)
	require.NoError(t, relay.Lease(now, 0, true))
	require.Equal(t, gpio.High, beat.L)
	require.NoError(t, relay.Lease(now, Longest, true))
	require.True(t, relay.Closed())
	require.Equal(t, []gpio.Level{gpio.High, gpio.Low}, []gpio.Level{charge.L, beat.L})

	now += Longest
	local.expire()
	require.Equal(t, gpio.Low, charge.L)
	require.ErrorIs(t, relay.Lease(now, Longest, true), ErrTripped)
	require.Equal(t, gpio.Low, charge.L, "not before the agent knows")
	require.NoError(t, relay.Lease(now, Longest, true))
	require.Equal(t, gpio.High, charge.L)

	require.ErrorIs(t, relay.Lease(now-Longest, Longest, true), ErrLate)
	require.Equal(t, gpio.Low, charge.L)
	require.ErrorIs(t, relay.Lease(now+1, Longest, true), ErrSilent, "a frame from the future is malformed")
	require.NoError(t, relay.Lease(now, Longest, true))
	require.NoError(t, local.Close())
	require.Equal(t, []gpio.Level{gpio.Low, gpio.Low}, []gpio.Level{charge.L, beat.L})
}
