package assembly_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/assembly"
	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/config/configtest"
	"bayward/agent/hardware"
	"bayward/agent/interlock"
	"bayward/agent/lease"
	"bayward/agent/lease/leasetest"
	"bayward/agent/words"
)

// TestKeeperComesAndGoes: an agent whose keeper is not there runs and blocks every
// bay, closes relays once it has come, and blocks again when it has gone. The lines
// are the simulator's, behind a socket.
func TestKeeperComesAndGoes(t *testing.T) {
	path := leasetest.Path(t)
	cfg := configtest.Parse(t, configtest.OneBay(t))
	y := assemblytest.New(t, cfg, nil, func(_ *assemblytest.Site, p *assembly.Parts) {
		var err error
		p.Keeper, err = hardware.OpenKeeper(cfg, nil, nil, path)
		require.NoError(t, err)
	})
	defer func() { require.NoError(t, y.Keeper.Close()) }()
	why := func(p *bay.Picture) interlock.Reason { return p.Findings[interlock.AgentUnready].Evidence.Reason }
	ordered := func() bool { return y.Bays["bay-1"].Truth().Ordered }
	for range 120 {
		p := y.Tick()
		require.False(t, p.Permit.Granted)
		require.Equal(t, interlock.KeeperSilent, why(p), words.EnglishSI().Says(p))
	}
	closed, known := y.Loop.RelayClosed("bay-1")
	require.False(t, closed || known, "nobody knows")

	keeper := leasetest.Serve(t, path, lines(t, y))
	assemblytest.Until(t, "a keeper", func() bool { return why(y.Tick()) != interlock.KeeperSilent })
	assemblytest.Until(t, "a closed relay", func() bool { return y.Tick().Permit.Granted && ordered() })
	require.True(t, relayClosed(y))

	keeper.End()
	y.Tick() // decided before anybody noticed
	require.False(t, ordered())
	p := y.Tick()
	require.False(t, p.Permit.Granted)
	require.Equal(t, interlock.KeeperSilent, why(p))
	require.NotZero(t, y.Loop.GuardTrips())
	require.NoError(t, y.Close(), "nothing is left closed")
}

// lines are those of the first simulated bay.
func lines(t *testing.T, y *assemblytest.Site) []lease.Lines {
	r := y.Config.Bays[0].Wiring.Relay
	charge, err := y.Bench.Pin(r.Pin)
	require.NoError(t, err)
	beat, err := y.Bench.Pin(r.Heartbeat)
	require.NoError(t, err)
	return []lease.Lines{{Row: lease.Row{Bay: "bay-1", Charge: r.Pin, Heartbeat: r.Heartbeat}, Charge: charge, Beat: beat}}
}
