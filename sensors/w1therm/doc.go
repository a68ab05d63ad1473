// Package w1therm reads 1-wire thermometers (DS18B20 and relatives) through the
// files of the Linux kernel's w1_therm driver.
//
// Sources: kernel documentation "w1_therm" (Documentation/w1/slaves/w1_therm.rst)
// and the DS18B20 data sheet (19-7487) for the range, the power-on value and
// the scratchpad.
//
// The package prefers the file w1_slave, which shows the CRC check's result and the
// raw scratchpad; it uses the file temperature if the other is missing. Traps that
// the package handles:
//
//   - A read starts a conversion and takes up to 750 ms, with an absent sensor
//     several seconds, and cannot be interrupted: read the bus in its own goroutine
//     and never feed a watchdog from there.
//   - An absent sensor or a bad CRC shows as an empty file without an error.
//   - A data line held low reads as all zeros, and the CRC of zeros is zero: the
//     kernel reports that as a good 0 °C.
//   - Exactly 85 °C is the chip's value after power-on, before the first
//     conversion.
//
// Sensors are identified by their ROM number, never by their order.
package w1therm
