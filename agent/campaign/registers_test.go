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

// registerTrials break the devices of a bay whose readings come over Modbus.
var registerTrials = []trial{
	fault(sim.ModbusSilent, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ModbusDamaged, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ModbusShort, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ModbusOther, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ModbusException, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ModbusBusy, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ModbusFrozen, 9*time.Second, interlock.LevelUnknown, settles), // the counter may stand for 5 s
	fault(sim.ModbusSwapped, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ModbusFailure, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ModbusLineGone, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ProbeOpen, 3*time.Second, interlock.LevelUnknown, settles),
	{
		name: "serial line hangs", says: interlock.LevelUnknown, bound: 14 * time.Second, back: cleanAir,
		do:  func(r *rig) { hangs := make(chan struct{}); r.hangs.Store(&hangs) },
		fix: func(r *rig) { close(*r.hangs.Swap(nil)) },
	},
	{
		name: "cell leaks", says: interlock.PlatesBare, bound: 3 * time.Second, back: atRest,
		do:  func(r *rig) { r.pour(-leakML) },
		fix: func(r *rig) { r.pour(leakML) },
	},
	{
		name: "fan stops", says: interlock.AirflowUnproven, bound: 11 * time.Second, back: 2 * time.Minute,
		do: func(r *rig) { r.truth.SetAirflow(false) }, fix: func(r *rig) { r.truth.SetAirflow(true) },
	},
	{
		name: "hydrogen at its sensor", says: interlock.HydrogenHigh, bound: 4 * time.Second, back: cleanAir,
		do: func(r *rig) { r.truth.GiveGas(2.5) }, fix: func(r *rig) { r.truth.GiveGas(0) },
	},
}

// TestRegisters charges a bay that is read over Modbus, and breaks devices and line in
// that charge.
func TestRegisters(t *testing.T) {
	w := config.DefaultWiring(0, pack)
	configtest.OnRegisters(&w)
	var table strings.Builder
	for _, x := range registerTrials {
		x.wired = &w
		t.Run(x.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { x.run(t, &table) })
		})
	}
	t.Logf("faults of registers in a charge:\n%s", table.String())
	t.Logf("figure: faults of registers tried %d", len(registerTrials))
}
