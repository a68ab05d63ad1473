package walk

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"bayward/agent/config/configtest"
	"bayward/agent/config/exampletest"
	"bayward/agent/hardware"
	"bayward/agent/lease"
	"bayward/agent/lease/leasetest"
	"bayward/agent/words"
	"bayward/sensors/sim"
)

// simulatedRig is a rig whose keeper works by the present clock.
func simulatedRig(t *testing.T) (*rig, *sim.Stand) {
	cfg := configtest.Parse(t, configtest.OneBay(t))
	bench, bays, err := hardware.Simulate(cfg, nil)
	require.NoError(t, err)
	r := &rig{cfg: cfg, bay: "bay-1", bench: bench, sims: bays}
	start := time.Now()
	require.NoError(t, r.open(t.Context(), hardware.OfBench(bench), func() time.Duration { return time.Since(start) }))
	return r, bays["bay-1"]
}

// TestTerminalStandsStill: Ctrl-S stops all output while the relay is closed, and with
// it the watch. Nobody renews the lease then.
func TestTerminalStandsStill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, b := simulatedRig(t)
		require.NoError(t, r.CloseFor(time.Hour))
		time.Sleep(lease.Longest - time.Nanosecond)
		synctest.Wait()
		require.True(t, b.Truth().Ordered)
		time.Sleep(time.Nanosecond)
		synctest.Wait()
		require.False(t, b.Truth().Ordered)
		require.ErrorIs(t, r.Renew(false), lease.ErrTripped, "the walk learns of it")
		require.False(t, b.Truth().Ordered)
		require.NoError(t, r.Open())
	})
}

// TestClosedForAtMost: however often the lease is renewed, the relay opens when its
// time is up, and the last time counts.
func TestClosedForAtMost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, b := simulatedRig(t)
		require.ErrorIs(t, r.Renew(true), errTimeIsUp, "before it was closed")
		require.NoError(t, r.CloseFor(time.Hour))
		const most = 8 * time.Second
		require.NoError(t, r.CloseFor(most))
		for range 79 {
			time.Sleep(most / 80)
			require.NoError(t, r.Renew(false))
			require.True(t, b.Truth().Ordered)
		}
		time.Sleep(most/80 - time.Nanosecond)
		synctest.Wait()
		require.True(t, b.Truth().Ordered)
		time.Sleep(time.Nanosecond)
		synctest.Wait()
		require.False(t, b.Truth().Ordered)
		require.ErrorIs(t, r.Renew(false), errTimeIsUp)
		require.NoError(t, r.Open(), "it is open")
	})
}

// TestDeathBehindASocket: with a keeper of its own the walk lets go of the relay,
// another process holds it and is killed, the relay opens, and the walk has it again.
func TestDeathBehindASocket(t *testing.T) {
	path := configtest.File(t, "wired.yaml", exampletest.Example(t))
	cfg := configtest.Parse(t, exampletest.Example(t))
	relay, socket := cfg.Bays[0].Wiring.Relay, leasetest.Path(t)
	charge, beat := &leasetest.Pin{}, &leasetest.Pin{}
	leasetest.Serve(t, socket, []lease.Lines{{Row: lease.Row{Bay: cfg.Bays[0].Name, Charge: relay.Pin, Heartbeat: relay.Heartbeat}, Charge: charge, Beat: beat}})
	r := &rig{cfg: cfg, configPath: path, bay: cfg.Bays[0].Name, socket: socket}
	r.connect = func() (*hardware.Keeper, error) { return hardware.OpenKeeper(cfg, nil, nil, socket) }
	require.NoError(t, r.reclaim(t.Context()))
	require.NoError(t, r.CloseFor(time.Minute))
	require.Equal(t, gpio.High, charge.Level())

	kill, reclaim, err := r.HoldAndDie(t.Context())
	require.NoError(t, err)
	require.Equal(t, gpio.High, charge.Level(), "the other process holds it")
	require.NoError(t, kill())
	require.Eventually(t, func() bool { return charge.Level() == gpio.Low }, 10*time.Second, time.Millisecond)
	require.NoError(t, reclaim())
	require.NoError(t, r.CloseFor(time.Minute))
	require.Equal(t, gpio.High, charge.Level())
	require.NoError(t, r.Open())
	require.Equal(t, gpio.Low, charge.Level())
	require.NoError(t, r.halt())
}

// TestKeeperWithoutRoom: if no keeper answers, or it has another peer, the walk ends
// before it begins, with advice.
func TestKeeperWithoutRoom(t *testing.T) {
	cfg := configtest.Parse(t, exampletest.Example(t))
	r := &rig{cfg: cfg, bay: cfg.Bays[0].Name}
	r.connect = func() (*hardware.Keeper, error) {
		return hardware.OpenKeeper(cfg, nil, nil, leasetest.Path(t))
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	err := r.reclaim(ctx)
	require.True(t, errors.Is(err, lease.ErrSilent), err)
	for _, want := range []string{"systemctl stop bayward", "systemctl status bayward-keeper", "no such file"} {
		require.ErrorContains(t, err, want)
	}
	spanish := words.New("es", "si").Error(err)
	require.Contains(t, spanish, "El recorrido necesita bayward-keeper solo para él: systemctl stop bayward")
	require.NotContains(t, spanish, "The walk")
}
