package sim

// signalV returns the voltage that one of the bay's signals puts on a converter's
// input.
func (y *Stand) signalV(what signal) float64 {
	switch what {
	case packVoltage:
		return y.voltageV()
	case packCurrent:
		return y.currentV()
	case levelProbe:
		return y.probe.volts(plight{y.probeMM(), y.faults[ProbeOpen] || !y.connected, y.faults[ProbeShort], y.replaced, y.driftS()})
	case hydrogenSensor:
		return max(y.room.Percent(), y.gasPct)/y.hydrogen.PerVolt + y.hydrogen.ZeroV
	case floating, shuntReturn:
	}
	return 0
}

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
