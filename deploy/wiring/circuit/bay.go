package circuit

// The values of the drawings.
const (
	RailV        = 3.3    // V, of a converter and of the Pi's lines
	SeriesOhm    = 10e3   // before every input of a converter
	ShuntLeadOhm = 1e3    // in its place, in each lead of a shunt
	BleederOhm   = 1e3    // across a converter's supply
	DiodeV       = 0.7    // V, of a silicon diode that conducts
	DiodeLeakA   = 100e-9 // A, at most
	AdcOhm       = 6e6    // input impedance of an ADS1115 at ±4.096 and ±2.048 V (SBAS444E)
	FastF        = 100e-9 // F, at the level's input
	SlowF        = 10e-6  // F, at the inputs of voltage and current
	FuseOhm      = 10.0   // of a fuse of 0.1 A, from memory

	LowerOhm = 10e3 // R2 of the divider; R1 is Ratio-1 times as much, in two parts

	LoopV        = 24.0 // V, of a transmitter
	LimitOhm     = 220.0
	LoopShuntOhm = 100.0
	BarrierOhm   = 100.0 // of a barrier in series, from memory; no figure depends on it
	LoopLeastV   = 10.0  // V, that a transmitter needs

	FloatOhm = 470e3 // from the input of a Hall or gas sensor to ground: an open input would float
)

// input adds what is between a signal's terminal and a converter's input.
func input(signal string, farad float64) []Part {
	return append([]Part{
		{Name: "series resistor", Kind: Resistor, From: signal, To: "in", Ohm: SeriesOhm},
	}, guarded(farad)...)
}

// guarded adds the parts at the converter's input itself, and its supply.
func guarded(farad float64) []Part {
	return []Part{
		{Name: "capacitor", Kind: Capacitor, From: "in", To: "gnd", Farad: farad},
		{Name: "diode to the supply", Kind: Diode, From: "in", To: "rail", Volts: DiodeV},
		{Name: "diode from ground", Kind: Diode, From: "gnd", To: "in", Volts: DiodeV},
		{Name: "1 kΩ across the supply", Kind: Resistor, From: "rail", To: "gnd", Ohm: BleederOhm},
		{Name: "3.3 V from the isolator", Kind: Supply, From: "rail", To: "gnd", Volts: RailV, Ohm: 1},
		{Name: "converter", Kind: Resistor, From: "in", To: "gnd", Ohm: AdcOhm, Given: true},
	}
}

// Voltage is the pack's voltage behind a divider. in against gnd is read.
func Voltage(packV, ratio float64) *Circuit {
	r1 := (ratio - 1) * LowerOhm
	return &Circuit{Name: "voltage", Ground: "minus", Parts: append([]Part{
		{Name: "pack", Kind: Source, From: "plus", To: "minus", Volts: packV, Given: true},
		{Name: "F1", Kind: Fuse, From: "plus", To: "upper", Ohm: FuseOhm},
		{Name: "F2", Kind: Fuse, From: "minus", To: "gnd", Ohm: FuseOhm},
		{Name: "R1a", Kind: Resistor, From: "upper", To: "middle", Ohm: r1 / 2},
		{Name: "R1b", Kind: Resistor, From: "middle", To: "in", Ohm: r1 / 2},
		{Name: "R2", Kind: Resistor, From: "in", To: "gnd", Ohm: LowerOhm},
	}, guarded(SlowF)...)}
}

// Hall is a Hall sensor that sends a voltage.
func Hall(volts float64) *Circuit {
	return &Circuit{Name: "current", Ground: "gnd", Parts: append([]Part{
		{Name: "sensor", Kind: Source, From: "out", To: "gnd", Volts: volts, Given: true},
		{Name: "sensor's lead", Kind: Resistor, From: "out", To: "signal", Ohm: shortOhm},
		{Name: "470 kΩ to ground", Kind: Resistor, From: "in", To: "gnd", Ohm: FloatOhm},
	}, input("signal", SlowF)...)}
}

// ShuntLead is a shunt in the minus lead, with the divider's current that returns
// through F2, or through the shunt's leads when F2 has blown. in against low is read;
// the divider's input is divided.
func ShuntLead(packV, shuntV, ratio float64) *Circuit {
	return &Circuit{Name: "shunt", Ground: "minus", Parts: []Part{
		{Name: "pack", Kind: Source, From: "plus", To: "minus", Volts: packV, Given: true},
		{Name: "shunt", Kind: Source, From: "far", To: "minus", Volts: shuntV, Given: true},
		{Name: "divider", Kind: Resistor, From: "plus", To: "divided", Ohm: (ratio - 1) * LowerOhm, Given: true},
		{Name: "R2", Kind: Resistor, From: "divided", To: "gnd", Ohm: LowerOhm, Given: true},
		{Name: "F2", Kind: Fuse, From: "minus", To: "gnd", Ohm: FuseOhm},
		{Name: "1 kΩ, channel", Kind: Resistor, From: "far", To: "in", Ohm: ShuntLeadOhm},
		{Name: "1 kΩ, minus", Kind: Resistor, From: "minus", To: "low", Ohm: ShuntLeadOhm},
		{Name: "capacitor", Kind: Capacitor, From: "in", To: "low", Farad: SlowF},
		{Name: "diode to the supply, channel", Kind: Diode, From: "in", To: "rail", Volts: DiodeV},
		{Name: "diode from ground, channel", Kind: Diode, From: "gnd", To: "in", Volts: DiodeV},
		{Name: "diode to the supply, minus", Kind: Diode, From: "low", To: "rail", Volts: DiodeV},
		{Name: "diode from ground, minus", Kind: Diode, From: "gnd", To: "low", Volts: DiodeV},
		{Name: "1 kΩ across the supply", Kind: Resistor, From: "rail", To: "gnd", Ohm: BleederOhm},
		{Name: "3.3 V from the isolator", Kind: Supply, From: "rail", To: "gnd", Volts: RailV, Ohm: 1},
		{Name: "converter, channel", Kind: Resistor, From: "in", To: "gnd", Ohm: AdcOhm, Given: true},
		{Name: "converter, minus", Kind: Resistor, From: "low", To: "gnd", Ohm: AdcOhm, Given: true},
	}}
}

// Loop is a 4 to 20 mA transmitter that draws a current. Its terminals are cell and
// back, behind the barrier.
func Loop(amps float64) *Circuit {
	return &Circuit{Name: "level", Ground: "gnd", Parts: append([]Part{
		{Name: "24 V supply", Kind: Supply, From: "loop", To: "gnd", Volts: LoopV, Ohm: 1},
		{Name: "fuse", Kind: Fuse, From: "loop", To: "fused", Ohm: FuseOhm},
		{Name: "220 Ω", Kind: Resistor, From: "fused", To: "safe", Ohm: LimitOhm},
		{Name: "barrier", Kind: Resistor, From: "safe", To: "cell", Ohm: BarrierOhm, Given: true}, // certified: its faults are in its certificate,
		{Name: "transmitter", Kind: Transmitter, From: "cell", To: "shunt", Amps: amps, Volts: LoopLeastV},
		{Name: "shunt", Kind: Resistor, From: "shunt", To: "gnd", Ohm: LoopShuntOhm},
	}, input("shunt", FastF)...)}
}

// Gas is a hydrogen sensor that sends a voltage.
func Gas(volts float64) *Circuit {
	return &Circuit{Name: "hydrogen", Ground: "gnd", Parts: append([]Part{
		{Name: "sensor", Kind: Source, From: "out", To: "gnd", Volts: volts, Given: true},
		{Name: "sensor's lead", Kind: Resistor, From: "out", To: "signal", Ohm: shortOhm},
		{Name: "470 kΩ to ground", Kind: Resistor, From: "in", To: "gnd", Ohm: FloatOhm},
	}, input("signal", SlowF)...)}
}
