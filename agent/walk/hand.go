package walk

import (
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
	testOhm = 100e3
)

// Do performs the action.
func (h *simulatedHand) Do(a commission.Action) {
	does := map[commission.Action]func(){
		commission.UnplugPack:     h.bay.Unplug,
		commission.PlugPack:       h.bay.Connect,
		commission.LiftProbe:      func() { h.bay.LiftProbe(true) },
		commission.LowerProbe:     func() { h.bay.LiftProbe(false) },
		commission.OpenLoop:       func() { h.bay.SetFault(sim.ProbeOpen, true) },
		commission.CloseLoop:      func() { h.bay.SetFault(sim.ProbeOpen, false) },
		commission.ReplaceProbe:   func() { h.bay.ReplaceProbe(true) },
		commission.RestoreProbe:   func() { h.bay.ReplaceProbe(false) },
		commission.WarmPack:       func() { h.bay.TouchPackSensor(handK) },
		commission.LeavePack:      func() { h.bay.TouchPackSensor(0) },
		commission.WarmAir:        func() { h.bay.TouchAirSensor(handK) },
		commission.LeaveAir:       func() { h.bay.TouchAirSensor(0) },
		commission.LoadOn:         func() { h.bay.SetLoad(loadA) },
		commission.LoadOff:        func() { h.bay.SetLoad(0) },
		commission.FanOff:         func() { h.bay.SetAirflow(false) },
		commission.FanOn:          func() { h.bay.SetAirflow(true) },
		commission.BridgeComplete: func() { h.bay.SetContact("charger_complete", true) },
		commission.OpenComplete:   func() { h.bay.SetContact("charger_complete", false) },
		commission.GasOn:          func() { h.bay.GiveGas(testGas) },
		commission.GasOff:         func() { h.bay.GiveGas(0) },
		commission.ChargerOff:     func() { h.bay.SetMains(false) },
		commission.ChargerOn:      func() { h.bay.SetMains(true) },
		commission.OpenFeedback:   func() { h.bay.SetFault(sim.FeedbackBroken, true) },
		commission.CloseFeedback:  func() { h.bay.SetFault(sim.FeedbackBroken, false) },
	}
	if do := does[a]; do != nil {
		do()
	}
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
	case "leak-plus":
		v, _ := h.bay.LeakV(testOhm)
		return v
	case "leak-minus":
		_, v := h.bay.LeakV(testOhm)
		return v
	}
	return math.NaN()
}
