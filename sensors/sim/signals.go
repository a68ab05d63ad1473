package sim

import "bayward/sensors/sim/electrode"

// signalV returns the voltage that one of the bay's signals puts on a converter's
// input, through the wires and parts that SetInput may have broken.
func (y *Stand) signalV(what signal) float64 {
	v := y.soundV(what)
	if change := y.inputs[signalKeys[what]]; change != nil {
		return change(v)
	}
	return v
}

// signalKeys has the key of each signal in the wiring.
var signalKeys = map[signal]string{packVoltage: "voltage", packCurrent: "current", levelProbe: "level", hydrogenSensor: "hydrogen"}

// soundV is signalV with every wire and part sound.
func (y *Stand) soundV(what signal) float64 {
	switch what {
	case packVoltage:
		return y.voltageV()
	case packCurrent:
		return y.currentV()
	case levelProbe, levelReturn, levelDrive:
		return y.probe.volts(what, y.plight())
	case hydrogenSensor:
		return max(y.room.Percent(), y.gasPct)/y.hydrogen.PerVolt + y.hydrogen.ZeroV
	case packElement:
		return y.elementOhm(y.packSensor, y.faults[TemperatureUnplugged] || !y.connected, y.faults[TemperatureShorted])
	case airElement:
		return y.elementOhm(y.airSensor, y.faults[AmbientUnplugged], false)
	case floating, shuntReturn:
	}
	return 0
}

// plight returns the condition of the level probe.
func (y *Stand) plight() plight {
	p := plight{
		scene: electrode.Scene{LevelMM: y.probeMM(), AcidC: y.pack.PackC(), Gassing: min(y.pack.GassingA()/y.opts.CapacityAh/strongGassing, 1)},
		at:    y.bench.clock(), open: y.faults[ProbeOpen] || !y.connected, short: y.faults[ProbeShort], bridged: y.faults[ProbeBridged], replaced: y.replaced, driftS: y.driftS(),
	}
	if y.faults[ProbeCrust] {
		p.scene.CrustOhm = crustOhm
	}
	if y.lifted {
		p.scene.Gassing = 0
	}
	for cell := y.opts.PilotCell + 1; cell <= y.pack.Cells(); cell++ {
		p.cellsV += y.pack.Cell(cell).Volts
	}
	return p
}

// followProbe lets a probe with electrodes live up to now, before something at it
// changes: what is read later then has the film of a rod that was wet.
func (y *Stand) followProbe() {
	if probe, ok := y.probe.(pulsed); ok {
		p := y.plight()
		probe.advance(&p)
	}
}

// strongGassing is the gassing current that makes the most foam, as a share of the
// capacity (invented).
const strongGassing = 0.05

// voltageV returns the divider's output. Without its lead the lower resistor pulls
// the input to its zero.
func (y *Stand) voltageV() float64 {
	if !y.connected || y.faults[SenseOpen] {
		return y.divider.OffsetV
	}
	return y.pack.Volts()/y.divider.Ratio + y.divider.OffsetV
}

// currentV returns the shunt's or Hall sensor's output; an open lead gives 0 V,
// which for a Hall sensor is far below its zero.
func (y *Stand) currentV() float64 {
	switch {
	case y.faults[CurrentOpen]:
		return 0
	case !y.connected:
		return y.current.ZeroV
	}
	return y.pack.Amps()/y.current.AmperesPerVolt + y.current.ZeroV
}

// driftS returns how long the probe has been drifting, in seconds.
func (y *Stand) driftS() float64 {
	if !y.faults[ProbeDrift] {
		return 0
	}
	return (y.now - y.faultSince[ProbeDrift]).Seconds()
}
