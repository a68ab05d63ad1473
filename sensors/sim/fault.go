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
	numFaults
)

var faultNames = [numFaults]string{
	"probe-open", "probe-short", "probe-stuck", "probe-drift", "adc-absent", "bus-stuck",
	"conversion-stuck", "config-reset", "temperature-crc", "temperature-power-on",
	"temperature-unplugged", "ambient-unplugged", "contactor-welded", "contactor-stuck-open",
	"feedback-broken", "noise", "spikes", "sense-open", "current-open", "complete-broken", "feedback-shorted",
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
			dev.reset()
		}
	case ContactorWelded, ContactorStuckOpen:
		y.contactor.settle(0, y.faults[ContactorWelded], y.faults[ContactorStuckOpen])
	default:
	}
}

// Fault reports whether a fault is set.
func (y *Stand) Fault(f FaultKind) bool {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	return f < numFaults && y.faults[f]
}
