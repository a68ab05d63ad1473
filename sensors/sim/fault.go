package sim

import "fmt"

// FaultKind is something that can break in a bay.
type FaultKind uint8

// The faults. Several can be set at once.
const (
	ProbeOpen            FaultKind = iota // the level probe's wire is broken
	ProbeShort                            // its wires touch
	ProbeStuck                            // it shows the level it had when the fault began
	ProbeDrift                            // its signal drifts: a leak in the loop, or the transmitter's zero
	ADCAbsent                             // the converters do not acknowledge
	BusStuck                              // the I²C data line is held low
	ConversionStuck                       // a conversion never ends
	ConfigReset                           // the converter browns out whenever it is configured
	TemperatureCRC                        // the pack sensor's answer is damaged
	TemperaturePowerOn                    // it shows its power-on value, 85 °C
	TemperatureUnplugged                  // it is off the bus
	AmbientUnplugged                      // the ambient sensor is off the bus
	ContactorWelded                       // its contacts do not open
	ContactorStuckOpen                    // they do not close
	FeedbackBroken                        // the feedback contact's wire is broken
	Noise                                 // a hundred times the converter's noise
	Spikes                                // now and then a reading is far off
	SenseOpen                             // the voltage sense lead is off
	CurrentOpen                           // the current sensor's lead is off
	CompleteBroken                        // the wire of the charger's own contact is broken
	FeedbackShorted                       // the feedback contact's wires touch
	RelayStuck                            // the relay stays closed, or its driver conducts, whatever its line says
	WatchdogStuck                         // the watchdog relay does not drop
	ProbeCrust                            // the rods of the level probe are crusted; a transmitter has none
	ProbeFormed                           // direct current has turned its rods into lead dioxide
	ProbeBridged                          // metal bridges the lowest rod and the common electrode
	ExpanderAbsent                        // the expander of its test pulses does not acknowledge
	ModbusSilent                          // the bay's devices on Modbus do not answer
	ModbusDamaged                         // their answers are damaged on the line
	ModbusShort                           // their answers are cut short
	ModbusOther                           // another device answers for them
	ModbusException                       // they refuse: no such register
	ModbusBusy                            // they answer that they are busy
	ModbusFrozen                          // their registers keep what they hold
	ModbusSwapped                         // the two words of a value are exchanged
	ModbusFailure                         // they report a failure of their sensor
	ModbusLineGone                        // the line's adapter is gone
	TemperatureShorted                    // the wires of the pack's platinum thermometer touch
	numFaults
)

var faultNames = [numFaults]string{
	"probe-open", "probe-short", "probe-stuck", "probe-drift", "adc-absent", "bus-stuck",
	"conversion-stuck", "config-reset", "temperature-crc", "temperature-power-on",
	"temperature-unplugged", "ambient-unplugged", "contactor-welded", "contactor-stuck-open",
	"feedback-broken", "noise", "spikes", "sense-open", "current-open", "complete-broken", "feedback-shorted", "relay-stuck", "watchdog-stuck",
	"probe-crust", "probe-formed", "probe-bridged", "expander-absent",
	"modbus-silent", "modbus-damaged", "modbus-short", "modbus-other", "modbus-exception", "modbus-busy", "modbus-frozen", "modbus-swapped", "modbus-failure", "modbus-line-gone", "temperature-shorted",
}

// String is the fault's name, such as "probe-open".
func (f FaultKind) String() string {
	if f >= numFaults {
		return fmt.Sprintf("fault-%d", uint8(f))
	}
	return faultNames[f]
}

// FaultKinds returns every fault in a fixed order.
func FaultKinds() []FaultKind {
	all := make([]FaultKind, numFaults)
	for i := range all {
		all[i] = FaultKind(i)
	}
	return all
}

// SetFault sets or clears a fault. A fault of a converter or a bus that bays share
// affects all of them. An unknown kind is ignored.
func (y *Stand) SetFault(f FaultKind, on bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	if f >= numFaults || y.faults[f] == on {
		return
	}
	y.followProbe()
	y.faults[f] = on
	y.faultSince[f] = y.now
	switch f {
	case ProbeStuck:
		y.stuckMM = y.pack.LevelMM(y.opts.PilotCell)
	case TemperatureUnplugged:
		y.packSensor.plug(y.now, y.sensorPlugged())
	case AmbientUnplugged:
		y.airSensor.plug(y.now, !on)
	case ConfigReset:
		for _, dev := range y.adcs {
			dev.chip.Reset()
		}
	case ProbeFormed:
		if probe, ok := y.probe.(pulsed); ok {
			probe.form(on)
		}
	case ModbusFrozen:
		y.keep()
	case ContactorWelded, ContactorStuckOpen, RelayStuck, WatchdogStuck:
		y.settle(0)
	default:
	}
}

// Fault reports whether a fault is set.
func (y *Stand) Fault(f FaultKind) bool {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	return f < numFaults && y.faults[f]
}

// Wires is the condition of the two wires of a contact.
type Wires uint8

// The conditions.
const (
	WiresSound Wires = iota
	WiresBroken
	WiresTouch
)

// SetWires breaks or joins the wires of a contact, or what passes its state on. The
// key is the one in the wiring, such as "airflow".
func (y *Stand) SetWires(key string, w Wires) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.wires[key] = w
}

// SetInput puts broken wires and parts between a signal and its converter input:
// change returns the voltage that reaches the input, from the one that would with
// sound parts; nil repairs them. The key is the one in the wiring, such as "voltage".
func (y *Stand) SetInput(key string, change func(volts float64) float64) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.inputs[key] = change
}
