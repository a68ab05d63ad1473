// Package w1therm reads 1-wire thermometers (DS18B20 and relatives) through the
// files of the Linux kernel's w1_therm driver.
//
// Sources: kernel documentation "w1_therm" (Documentation/w1/slaves/w1_therm.rst)
// and the DS18B20 data sheet (19-7487) for the range, the power-on value and
// the scratchpad.
//
// The file w1_slave is preferred because it shows the CRC's verdict and the raw
// scratchpad; the file temperature serves where the other is missing. Traps
// that the package knows:
//
//   - A read starts a conversion, takes up to 750 ms, with an absent sensor
//     several seconds, and cannot be interrupted: give the bus a goroutine of
//     its own and never feed a watchdog from it.
//   - An absent sensor or a bad CRC shows as an empty file without an error.
//   - A data line that is held low reads as all zeros, and the CRC of zeros is
//     zero: the kernel calls that a good 0 °C.
//   - 85 °C exactly is what the chip holds after power-on, before the first
//     conversion.
//
// Sensors are named by their ROM number, never by their order.
package w1therm
