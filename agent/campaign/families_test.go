package campaign

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/interlock"
	"bayward/sensors/families"
	"bayward/sensors/sim"
)

// converterTrials are the faults of a converter and its bus. A row of the table of
// families is tried with all of them.
var converterTrials = []trial{
	fault(sim.ADCAbsent, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.BusStuck, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ConversionStuck, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ConfigReset, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ProbeOpen, 3*time.Second, interlock.LevelUnknown, atRest),
	fault(sim.SenseOpen, 3*time.Second, interlock.VoltageImplausible, 0),
}

// TestEveryFamily charges a bay on each family of converters, and breaks each converter
// in that charge.
func TestEveryFamily(t *testing.T) {
	var table strings.Builder
	tried := 0
	for _, f := range families.All() {
		w := config.DefaultWiring(0, pack)
		configtest.OnFamily(&w, f, pack.Cells)
		for _, x := range converterTrials {
			if f.Name == "mcp3208" && (x.name == sim.ConversionStuck.String() || x.name == sim.ConfigReset.String()) {
				continue // it converts while it is clocked, and keeps nothing that a dip could lose
			}
			x.wired = &w
			tried++
			t.Run(f.Name+" "+x.name, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) { x.run(t, &table) })
			})
		}
	}
	t.Logf("faults of converters in a charge:\n%s", table.String())
	t.Logf("figure: faults of converters tried %d, in %d families", tried, len(families.All()))
}
