// Package ads1115 drives the ADS1115, a 16-bit analogue-to-digital converter
// with four inputs on an I²C bus.
//
// Data sheet: SBAS444E, "ADS111x Ultra-Small, Low-Power, I²C-Compatible,
// 860-SPS, 16-Bit ADCs".
//
// The driver uses one mode only: single-shot conversions with the comparator off.
// In continuous mode the first result after a change of input belongs to the
// previous input, so a monitor that cycles through several inputs must not use it.
//
// What a reading guarantees: the value was converted after the call, from the
// requested input, at the requested range. To guarantee that with wires that are
// moved, a supply that dips and a bus controller that does not always report a
// missing acknowledge, each conversion is marked. The comparator is off, so two
// bits that only concern the comparator are free: COMP_LAT is always set, which
// the chip never shows after a reset, and COMP_POL changes with every conversion.
// The configuration is read back before and after the result. If it does not have
// the mark of this conversion, the value is not from this conversion.
//
// After the start and after every failure the driver first brings the chip to a
// known state: the threshold registers, which the driver never writes, must show
// their reset values (the chip has no identity register), continuous mode is
// ended, and the driver waits for a conversion that may still be running.
//
// Traps for the wiring: the range of the amplifier protects nothing, so each pin
// must stay between ground − 0.3 V and supply + 0.3 V; no kernel driver may be
// bound to the same address. The driver does not use the general-call reset,
// because every chip on the bus would obey it.
package ads1115
