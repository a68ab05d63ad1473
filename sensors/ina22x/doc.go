// Package ina22x drives the INA226 and the INA228, monitors of the voltage over a shunt
// and of a bus voltage on I²C, with 16 and 20 bits.
//
// Data sheets: SBOS547, "INA226 36V, 16-Bit, Ultra-Precise I2C Output Current, Voltage,
// and Power Monitor With Alert", and SBOSA20, "INA228 85-V, 20-Bit, Ultra-Precise
// Power/Energy/Charge Monitor With I2C Interface". Their sections are quoted from memory.
//
// Channel 0 is the shunt, IN+ against IN−, and channel 1 the bus voltage against ground.
// The chip's own multiplication to amperes is not used: it would hide an over-range, and
// the walk calibrates the voltage.
//
// Each reading is a triggered conversion. Both chips have a register with their maker
// and model, which is read before anything is written. The configuration is read back
// before and after the result, and a register that only concerns the unused alert gets a
// new mark with each conversion: a chip that was reset in between, or whose start was
// lost on the wire, does not show it.
//
// Traps for the wiring: both ends of the shunt must stay between −0.3 V and 36 V (INA226)
// or 85 V (INA228) against the chip's ground, and the bus input too; a pack of 24 V goes
// to it without a divider, through the usual 1 kΩ and behind its fuse. The supply of the
// chip is 2.7 to 5.5 V.
package ina22x
