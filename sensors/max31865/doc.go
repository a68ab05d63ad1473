// Package max31865 drives the MAX31865, which reads a platinum resistance thermometer,
// Pt100 or Pt1000, on SPI.
//
// Data sheet: 19-6478, "MAX31865 RTD-to-Digital Converter"; its sections are quoted from
// memory. The resistance becomes a temperature by IEC 60751, "Industrial platinum
// resistance thermometers and platinum temperature sensors".
//
// Each reading switches the bias on, lets the chip test the wires, converts once and
// switches the bias off, which would warm the element. All registers are read in one
// transfer: the configuration must be the one that was written, and the thresholds, which
// the driver never writes, must hold their reset values. So a chip that is not there, a
// data line that is held low, a chip that was reset, and damaged bits are told apart from
// a temperature. The test of the wires ends by itself, which shows that the chip's clock
// runs: over SPI nothing else does.
package max31865
