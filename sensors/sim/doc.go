// Package sim is a simulated charging bay at bus level: the physics of package
// pack behind the same buses, pins and files as on a Pi, so that demo and tests
// run the same drivers as the hardware.
//
// A Bench is one Pi with its wires. It has three clocks, none of which uses the
// wall clock: physics moves only by Advance; a bus transaction takes its bit
// times, and Wait lets a converter finish, both only on the bus clock. All methods
// of Bench, Bay, bus and pins may be called from any goroutine; one mutex in the
// bench orders them. The same seed and the same calls give the same truth and the
// same bytes.
//
// The answers follow the parts' own documents: ADS1115 data sheet SBAS444E
// (registers, single-shot and continuous conversion, general call), DS18B20 data
// sheet and the kernel's w1_therm (scratchpad, CRC, text), NAMUR NE 43 for the
// transmitter, Linux for the errors of a bus. As with the hardware driver of the
// bus, an error contains its cause as text only.
//
// Level probes of rods have the electrochemistry of package electrode behind a TCA9534
// (data sheet SCPS197) and the parts of the wiring guide: polarisation, a film that
// drains, foam, crust. They live on the converters' clock.
//
// Invented: noise of the converter (1.5 LSB), spread of its oscillator (±8 %
// of the data sheet's ±10 %) and of the probe's resistors (±0.5 %), times of
// the contactor, rates of the drifting faults. The sensors of a pack depend on its
// plug: when it is unplugged, the pack voltage is 0, the probe's loop is open and
// the pack's temperature sensor disappears from the 1-wire bus a minute later. A loop
// of rods is assumed to be isolated from the pack, so that the potential of the
// electrolyte does not affect it.
package sim
