// Package ads1115 drives the ADS1115, a 16-bit analogue-to-digital converter
// with four inputs on an I²C bus.
//
// Data sheet: SBAS444E, "ADS111x Ultra-Small, Low-Power, I²C-Compatible,
// 860-SPS, 16-Bit ADCs".
//
// The driver knows one way of working: single-shot conversions with the
// comparator off. In continuous mode the first result after a change of input
// belongs to the input before, so a monitor that goes round several inputs
// must not use it.
//
// What a reading promises: the value was converted after the call, from the
// input that was asked for, at the range that was asked for. To hold that on
// wires that are moved, on a supply that dips and on a bus controller that does
// not always report a missing acknowledge, each conversion is marked. The
// comparator is off, so two bits that only concern the comparator are free:
// COMP_LAT is always set, which the chip never shows after a reset, and
// COMP_POL changes with every conversion. The configuration is read back
// before and after the result; one that does not carry the mark of this
// conversion means that the value is not of this conversion.
//
// After start and after every failure the chip is first brought to a known
// state: the threshold registers, which this driver never writes, must show
// their reset values (the chip has no identity register), continuous mode is
// ended, and a conversion that may still run is waited for.
//
// Traps for the wiring: the range of the amplifier protects nothing, each pin
// must stay between ground − 0.3 V and supply + 0.3 V; no kernel driver may be
// bound to the same address; the general-call reset is not used because every
// listener on the bus would obey it.
package ads1115
