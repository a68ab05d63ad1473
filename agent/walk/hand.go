package walk

import (
	"fmt"
	"math"

	"bayward/agent/commission"
	"bayward/sensors/sim"
)

// hand returns the simulator's hand, nil on real hardware.
func (r *rig) hand() commission.Hand {
	if r.bench == nil {
		return nil
	}
	return HandAt(r.sims[r.bay])
}

// HandAt returns a hand that does at a simulated bay what the walk asks for.
func HandAt(b *sim.Stand) commission.Hand { return &simulatedHand{b} }

// simulatedHand does at a simulated bay what the walk asks a person for.
type simulatedHand struct{ bay *sim.Stand }

const (
	handK   = 6    // a hand at some 30 °C around a sensor at room temperature
	loadA   = 20.0 // a machine's pump and lights
	testGas = 1.0  // % by volume
)

// Do performs the action.
func (h *simulatedHand) Do(a commission.Action) string {
	does := map[commission.Action]struct {
		do   func()
		says string
	}{
		commission.UnplugPack:     {h.bay.Unplug, "the plug is out."},
		commission.PlugPack:       {h.bay.Connect, "the plug is in."},
		commission.LiftProbe:      {func() { h.bay.LiftProbe(true) }, "the probe is out of the electrolyte."},
		commission.LowerProbe:     {func() { h.bay.LiftProbe(false) }, "the probe is back in its cell."},
		commission.OpenLoop:       {func() { h.bay.SetFault(sim.ProbeOpen, true) }, "the probe's plug is out."},
		commission.CloseLoop:      {func() { h.bay.SetFault(sim.ProbeOpen, false) }, "the probe's plug is in."},
		commission.ShortLoop:      {func() { h.bay.SetFault(sim.ProbeShort, true) }, "the clip is on."},
		commission.UnshortLoop:    {func() { h.bay.SetFault(sim.ProbeShort, false) }, "the clip is off."},
		commission.WarmPack:       {func() { h.bay.TouchPackSensor(handK) }, "a hand is around the pack's sensor."},
		commission.LeavePack:      {func() { h.bay.TouchPackSensor(0) }, "the hand has let go."},
		commission.WarmAir:        {func() { h.bay.TouchAirSensor(handK) }, "a hand is around the air's sensor."},
		commission.LeaveAir:       {func() { h.bay.TouchAirSensor(0) }, "the hand has let go."},
		commission.LoadOn:         {func() { h.bay.SetLoad(loadA) }, "the load is on."},
		commission.LoadOff:        {func() { h.bay.SetLoad(0) }, "the load is off."},
		commission.FanOff:         {func() { h.bay.SetAirflow(false) }, "the fan is off."},
		commission.FanOn:          {func() { h.bay.SetAirflow(true) }, "the fan runs."},
		commission.BridgeComplete: {func() { h.bay.BridgeComplete(true) }, "the bridge is on."},
		commission.OpenComplete:   {func() { h.bay.BridgeComplete(false) }, "the bridge is off."},
		commission.GasOn:          {func() { h.bay.GiveGas(testGas) }, "the gas is at the sensor."},
		commission.GasOff:         {func() { h.bay.GiveGas(0) }, "the gas is gone."},
		commission.ChargerOff:     {func() { h.bay.SetMains(false) }, "the charger has no supply."},
	}
	it, ok := does[a]
	if !ok {
		return fmt.Sprintf("cannot do this (%d).", a)
	}
	it.do()
	return it.says
}

// Meter returns the reading of a hand instrument.
func (h *simulatedHand) Meter(part string) float64 {
	t := h.bay.Truth()
	switch part {
	case "voltage":
		if !t.Connected {
			return 0
		}
		return t.PackV
	case "current":
		return t.CurrentA
	case "temperature":
		return t.PackC
	case "level":
		return t.Cells[h.bay.PilotCell()-1].LevelMM
	case "hydrogen":
		return testGas
	}
	return math.NaN()
}
