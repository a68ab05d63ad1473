package cellcount_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/cellcount"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/sensors/sim/pack"
)

// nights lets a simulated pack, whose physics is the simulator's, work and charge in a bay
// that is configured with a number of cells.
func nights(t *testing.T, kind pack.ChargerKind, cells, configured int) *bay.Picture {
	t.Helper()
	const ah, tick = 225.0, 20 * time.Second
	setup := baytest.Setup("bay-1")
	setup.Fitted = setup.Fitted.Without(reading.ContactorFeedback)
	setup.Pack.Cells = configured
	b, err := pack.New(pack.Spec{
		Cells: cells, CapacityAh: ah, RateHours: 20, FullGravity: 1.277, VentWellMM: 22, FreeSurfaceCM2: 130,
		ElectrolyteML: 1350, StateOfCharge: 0.95, LevelMM: 10, PackC: 22, TauH: 8, PilotCell: 1, Seed: 5,
	})
	require.NoError(t, err)
	c, err := pack.NewCharger(kind, cells, ah, 0.16*ah, true)
	require.NoError(t, err)
	core, now, closed := bay.New(setup), time.Duration(0), false
	var pic *bay.Picture
	run := func(span time.Duration, loadA float64) {
		for end := now + span; now < end; now += tick {
			b.Step(tick.Seconds(), c.Supply(closed && loadA == 0, true, loadA == 0), loadA, 20)
			c.Observe(tick.Seconds(), b.Volts(), b.SupplyA())
			r := &bay.Readings{Now: now}
			r.PackC, r.AmbientC, r.Level = reading.Good(b.ProbeC(), now), reading.Good(20, now), reading.LevelBetween(b.LevelMM(1), b.LevelMM(1), now)
			r.PackV, r.CurrentA = reading.Good(b.Volts(), now), reading.Good(b.Amps(), now)
			if loadA > 0 {
				r.PackV, r.CurrentA, r.Level = reading.Good(0, now), reading.Good(0, now), reading.Level{At: now, Fault: reading.Open}
			}
			pic, _ = core.Step(r)
			closed = pic.Permit.Granted
		}
	}
	run(4*time.Hour, 0.1*ah)
	run(19*time.Hour, 0)
	return pic
}

// TestInABay: a cell more or less is found in the first night, and blocks nothing by
// itself.
func TestInABay(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates nights")
	}
	for _, cells := range []int{12, 24, 40} {
		for configured := cells - 1; configured <= cells+1; configured++ {
			t.Run(fmt.Sprintf("%d cells as %d", cells, configured), func(t *testing.T) {
				t.Parallel()
				p := nights(t, pack.TwoStage, cells, configured)
				t.Logf("%s, fits %.2f ± %.2f; %v", p.Cells.Verdict, p.Cells.Fit, p.Cells.PlusMinus, p.Codes())
				f := &p.Findings[interlock.CellsMiscounted]
				require.Equal(t, configured != cells, f.Raised)
				if f.Raised {
					require.Equal(t, cells, int(f.Evidence.Value))
					require.Equal(t, configured < cells, f.Evidence.Reason == interlock.MoreCells)
				}
			})
		}
	}
	require.Equal(t, cellcount.Unknown, cellcount.New(cellcount.Config{}).Status().Verdict)
}
