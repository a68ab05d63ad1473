package circuit

// The values of the level probes' drawings.
const (
	PulseSeriesOhm = 10e3   // before C1
	ReferenceOhm   = 10e3   // in the probe's second wire
	CouplingF      = 2.2e-6 // C1
	PulseInputF    = 10e-9  // at each input
	ExpanderOhm    = 60.0   // of a pin that is driven, from memory
	RodEndOhm      = 47e3
	RodSeriesOhm   = 4.7e3
	acidOhm        = 2.0 // between two rods, from memory

	PotentialPulseOhm  = 100e3
	PotentialEndOhm    = 100e3
	PotentialSeriesOhm = 510e3 // one of two
)

// Pins are what an expander's two pins are driven at, V; nil is an open pin.
type Pins struct{ P0, P1 *float64 }

// pin adds a pin that is driven.
func pin(name, node string, volts *float64) []Part {
	if volts == nil {
		return nil
	}
	return []Part{{Name: name, Kind: Source, From: node, To: "gnd", Volts: *volts, Ohm: ExpanderOhm, Given: true}}
}

// guardedBy is guarded for one of several inputs, without the converter's supply.
func guardedBy(name, signal, in string) []Part {
	return []Part{
		{Name: "10 kΩ, " + name, Kind: Resistor, From: signal, To: in, Ohm: SeriesOhm},
		{Name: "capacitor, " + name, Kind: Capacitor, From: in, To: "gnd", Farad: PulseInputF},
		{Name: "diode to the supply, " + name, Kind: Diode, From: in, To: "rail", Volts: DiodeV},
		{Name: "diode from ground, " + name, Kind: Diode, From: "gnd", To: in, Volts: DiodeV},
		{Name: "converter, " + name, Kind: Resistor, From: in, To: "gnd", Ohm: AdcOhm, Given: true},
	}
}

// Rods is a probe of one rod in two wires, during a pulse or after it. C1 passes a pulse
// as a wire would. ownV is what the electrodes of a wet rod have of their own. The
// converter reads a0 against a1, and a1 against a3.
func Rods(p Pins, wet bool, ownV float64) *Circuit {
	c := &Circuit{Name: "rods", Ground: "gnd", Parts: []Part{
		{Name: "3.3 V from the isolator", Kind: Supply, From: "rail", To: "gnd", Volts: RailV, Ohm: 1},
		{Name: "1 kΩ across the supply", Kind: Resistor, From: "rail", To: "gnd", Ohm: BleederOhm},
		{Name: "10 kΩ before C1", Kind: Resistor, From: "p0", To: "coupling", Ohm: PulseSeriesOhm},
		{Name: "C1", Kind: Fuse, From: "coupling", To: "hot", Ohm: shortOhm},
		{Name: "reference resistor", Kind: Resistor, From: "cold", To: "p1", Ohm: ReferenceOhm},
		{Name: "first wire", Kind: Resistor, From: "hot", To: "head", Ohm: shortOhm},
		{Name: "second wire", Kind: Resistor, From: "return", To: "cold", Ohm: shortOhm},
		{Name: "end resistor", Kind: Resistor, From: "head", To: "return", Ohm: RodEndOhm},
		{Name: "rod's series resistor", Kind: Resistor, From: "head", To: "rod", Ohm: RodSeriesOhm},
	}}
	if wet {
		c.Parts = append(c.Parts, Part{Name: "acid", Kind: Source, From: "rod", To: "return", Volts: ownV, Ohm: acidOhm, Given: true})
	}
	c.Parts = append(c.Parts, pin("P0", "p0", p.P0)...)
	c.Parts = append(c.Parts, pin("P1", "p1", p.P1)...)
	c.Parts = append(c.Parts, guardedBy("A0", "hot", "a0")...)
	c.Parts = append(c.Parts, guardedBy("A1", "cold", "a1")...)
	c.Parts = append(c.Parts, guardedBy("A3", "p1", "a3")...)
	return c
}

// Potential is a rod against the pack's minus, with the expander's pin at pulseV.
// cellsV is the voltage of the cells below its own, for a wet rod. in against gnd is
// read.
func Potential(pulseV float64, wet bool, cellsV float64) *Circuit {
	c := &Circuit{Name: "potential", Ground: "minus", Parts: append([]Part{
		{Name: "F2", Kind: Fuse, From: "minus", To: "gnd", Ohm: FuseOhm},
		{Name: "100 kΩ of the pulse", Kind: Resistor, From: "p0", To: "signal", Ohm: PotentialPulseOhm},
		{Name: "first wire", Kind: Resistor, From: "signal", To: "head", Ohm: shortOhm},
		{Name: "second wire", Kind: Resistor, From: "return", To: "gnd", Ohm: shortOhm},
		{Name: "end resistor", Kind: Resistor, From: "head", To: "return", Ohm: PotentialEndOhm},
		{Name: "first 510 kΩ", Kind: Resistor, From: "head", To: "middle", Ohm: PotentialSeriesOhm},
		{Name: "second 510 kΩ", Kind: Resistor, From: "middle", To: "rod", Ohm: PotentialSeriesOhm},
	}, input("signal", PulseInputF)...)}
	if wet {
		c.Parts = append(c.Parts, Part{Name: "cells below", Kind: Source, From: "rod", To: "minus", Volts: cellsV, Ohm: acidOhm, Given: true})
	}
	c.Parts = append(c.Parts, pin("P0", "p0", &pulseV)...)
	return c
}
