package campaign

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/interlock"
	"bayward/sensors/sim"
)

// rtdTrials break the platinum thermometers of a bay. Converter faults hit the level's
// converter as well.
var rtdTrials = []trial{
	fault(sim.TemperatureUnplugged, 8*time.Second, interlock.TemperatureUnknown, settles),
	fault(sim.TemperatureShorted, 8*time.Second, interlock.TemperatureUnknown, settles),
	fault(sim.ADCAbsent, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.BusStuck, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ConversionStuck, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ConfigReset, 3*time.Second, interlock.LevelUnknown, cleanAir),
	{
		name: "pack's sensor heated", says: interlock.PackHot, bound: 25 * time.Second, back: handOff,
		do: func(r *rig) { r.truth.TouchPackSensor(60) }, fix: func(r *rig) { r.truth.TouchPackSensor(0) },
	},
}

// TestPlatinum charges a bay with platinum thermometers, and breaks them in that charge.
func TestPlatinum(t *testing.T) {
	w := config.DefaultWiring(0, pack)
	configtest.OnPlatinum(&w)
	var table strings.Builder
	for _, x := range rtdTrials {
		x.wired = &w
		t.Run(x.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { x.run(t, &table) })
		})
	}
	t.Logf("faults of platinum thermometers in a charge:\n%s", table.String())
	t.Logf("figure: faults of platinum thermometers tried %d", len(rtdTrials))
}
