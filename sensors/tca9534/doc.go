// Package tca9534 drives the TCA9534, an expander with eight input and output pins on
// an I²C bus, and the PCA9534, which has the same registers.
//
// Data sheet: SCPS197, "TCA9534 Low Voltage 8-Bit I²C and SMBUS Low-Power I/O Expander
// with Interrupt Output and Configuration Registers".
//
// After power-on all pins are inputs, so nothing is driven until Set is called (data
// sheet, "Power-On Reset"). The pins have no pull-up: an input is open, which lets a
// pin be a third thing beside high and low. The chip has no identity register; Set
// reads the configuration back, so that a chip that was reset, or another one at its
// address, is an error.
package tca9534
