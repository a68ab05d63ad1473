package circuit

// The values of the drawings on the Pi's side.
const (
	FieldV    = 24.0  // V, through the contacts
	FieldOhm  = 3.9e3 // in series with each contact and its optocoupler
	LedV      = 1.2   // V, of an optocoupler's diode
	LedA      = 1e-3  // A, above which its transistor conducts
	PullUpOhm = 10e3  // from a contact's line to the Pi's 3.3 V
	PinOhm    = 1e3   // before each line that is an input
	DriveOhm  = 470.0 // from an output to its optocoupler
	DownOhm   = 10e3  // from an output to ground

	CoilV    = 12.0 // V, of the coils K1 and KW
	CoilOhm  = 400.0
	CoilA    = 0.7 * CoilV / CoilOhm // with which a relay pulls in; common practice, no source
	ControlV = 24.0                  // V, of the coil of Q1
	MainOhm  = 100.0                 // of that coil
	MainA    = 0.7 * ControlV / MainOhm
	GateOhm  = 10e3
	GateV    = 4.0 // V, above which a transistor conducts

	OneWireOhm  = 4.7e3 // pull-up of the 1-wire data line
	OneWireLead = 470.0 // in its data conductor
	OneWireFeed = 47.0  // two of them in its supply conductor
	sensorOhm   = 2200  // of a DS18B20 that converts: 1.5 mA (its data sheet, DC electrical characteristics)
	pullingOhm  = 100.0 // of its output: 0.4 V at 4 mA (the same)
)

// Contact is a contact at 24 V and the optocoupler that passes it to the Pi's line,
// which is read at pin against gnd: low while the contact is closed.
func Contact(closed bool) *Circuit {
	c := &Circuit{Name: "contact", Ground: "gnd", Parts: []Part{
		{Name: "24 V supply", Kind: Supply, From: "field", To: "back", Volts: FieldV, Ohm: 1},
		{Name: "3.9 kΩ", Kind: Resistor, From: "field", To: "feed", Ohm: FieldOhm},
		{Name: "optocoupler's diode", Kind: Diode, From: "led", To: "back", Volts: LedV},
		{Name: "diode against it", Kind: Diode, From: "back", To: "led", Volts: DiodeV},
		{Name: "optocoupler's transistor", Kind: Switched, From: "collector", To: "gnd", Ohm: 50, By: "optocoupler's diode", Amps: LedA},
		{Name: "1 kΩ before the line", Kind: Resistor, From: "collector", To: "pin", Ohm: PinOhm},
		{Name: "10 kΩ pull-up", Kind: Resistor, From: "3.3 V", To: "pin", Ohm: PullUpOhm},
		{Name: "Pi's pull-up", Kind: Resistor, From: "3.3 V", To: "pin", Ohm: 50e3, Given: true},
		{Name: "Pi", Kind: Source, From: "3.3 V", To: "gnd", Volts: RailV, Given: true},
	}}
	if closed {
		c.Parts = append(c.Parts, Part{Name: "wires", Kind: Fuse, From: "feed", To: "led", Ohm: shortOhm})
	}
	return c
}

// Output is what a relay's coil is driven by: a line of the Pi or the watchdog's
// comparator, an optocoupler, a transistor. The coil is between 12 V and drain.
func output(name string, on bool) []Part {
	n := func(node string) string { return name + " " + node }
	parts := []Part{
		{Name: n("470 Ω"), Kind: Resistor, From: n("line"), To: n("led"), Ohm: DriveOhm},
		{Name: n("optocoupler's diode"), Kind: Diode, From: n("led"), To: "gnd", Volts: LedV},
		{Name: n("optocoupler's transistor"), Kind: Switched, From: "12 V", To: n("gate"), Ohm: 50, By: n("optocoupler's diode"), Amps: LedA},
		{Name: n("10 kΩ at the gate"), Kind: Resistor, From: n("gate"), To: "low", Ohm: GateOhm},
		{Name: n("transistor"), Kind: Switched, From: n("drain"), To: "low", Ohm: 1, By: n("gate's charge"), Amps: GateV / 1e6},
		{Name: n("gate's charge"), Kind: Resistor, From: n("gate"), To: "low", Ohm: 1e6, Given: true},
		{Name: n("coil"), Kind: Resistor, From: "12 V", To: n("drain"), Ohm: CoilOhm},
		{Name: n("diode across the coil"), Kind: Diode, From: n("drain"), To: "12 V", Volts: DiodeV},
	}
	if on {
		parts = append(parts, Part{Name: n("line's level"), Kind: Source, From: n("line"), To: "gnd", Volts: RailV, Given: true})
	}
	return parts
}

// Enable is the chain from the Pi to the coil of Q1: relay K1 by its line, watchdog
// relay KW by its comparator, and their contacts in series, with the pilot pins of the
// pack's plug. A contact that is switched off is the state without power.
func Enable(relay, watchdog bool) *Circuit {
	c := &Circuit{Name: "enable", Ground: "gnd"}
	c.Parts = append(c.Parts, Part{Name: "K1 10 kΩ pull-down", Kind: Resistor, From: "K1 line", To: "gnd", Ohm: DownOhm})
	c.Parts = append(c.Parts, output("K1", relay)...)
	c.Parts = append(c.Parts, output("KW", watchdog)...)
	c.Parts = append(c.Parts,
		Part{Name: "12 V supply", Kind: Supply, From: "12 V", To: "low", Volts: CoilV, Ohm: 1},
		Part{Name: "control supply", Kind: Supply, From: "control", To: "neutral", Volts: ControlV, Ohm: 1},
		Part{Name: "pilot pins", Kind: Resistor, From: "control", To: "plugged", Ohm: shortOhm},
		Part{Name: "contact of K1", Kind: Switched, From: "plugged", To: "enabled", Ohm: 0.1, By: "K1 coil", Amps: CoilA},
		Part{Name: "contact of KW", Kind: Switched, From: "enabled", To: "main", Ohm: 0.1, By: "KW coil", Amps: CoilA},
		Part{Name: "coil of Q1", Kind: Resistor, From: "main", To: "neutral", Ohm: MainOhm},
		Part{Name: "suppressor of Q1", Kind: Diode, From: "neutral", To: "main", Volts: DiodeV},
	)
	return c
}

// Energised reports whether the coil of Q1 holds it closed.
func Energised(s *State) bool { return s.Amps("coil of Q1") > MainA }

// OneWire is the 1-wire run to a sensor in the pack, which pulls the line low or not.
// The Pi reads pin against gnd; the sensor has its supply between feed and gnd.
func OneWire(pulls bool) *Circuit {
	c := &Circuit{Name: "1-wire", Ground: "gnd", Parts: []Part{
		{Name: "Pi", Kind: Source, From: "3.3 V", To: "gnd", Volts: RailV, Given: true},
		{Name: "4.7 kΩ pull-up", Kind: Resistor, From: "3.3 V", To: "pin", Ohm: OneWireOhm},
		{Name: "470 Ω in the data wire", Kind: Resistor, From: "pin", To: "data", Ohm: OneWireLead},
		{Name: "first 47 Ω in the supply wire", Kind: Resistor, From: "3.3 V", To: "half", Ohm: OneWireFeed},
		{Name: "second 47 Ω in the supply wire", Kind: Resistor, From: "half", To: "feed", Ohm: OneWireFeed},
		{Name: "suppressor, data to ground", Kind: Diode, From: "data", To: "gnd", Volts: 6},
		{Name: "sensor", Kind: Resistor, From: "feed", To: "gnd", Ohm: sensorOhm},
	}}
	if pulls {
		c.Parts = append(c.Parts, Part{Name: "sensor's output", Kind: Resistor, From: "data", To: "gnd", Ohm: pullingOhm, Given: true})
	}
	return c
}
