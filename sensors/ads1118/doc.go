// Package ads1118 drives the ADS1118, a 16-bit analogue-to-digital converter with four
// inputs and a temperature sensor on SPI.
//
// Data sheet: SBAS457, "ADS1118 Ultrasmall, Low-Power, SPI-Compatible, 16-Bit
// Analog-to-Digital Converter With Internal Reference and Temperature Sensor". Its
// sections are quoted from memory.
//
// The driver uses single-shot conversions only, each in two transfers of 32 bits. The
// first starts it, the second reads it, and both return the configuration, which must
// be the one that was written: a chip that is not there returns ones, a data line that
// is held low zeros, and a chip whose supply dipped its reset value.
//
// Over SPI nothing says that a conversion has ended: the chip shows that on the data
// line before the clock starts, where Linux cannot look. So each reading begins with a
// conversion of the chip's own temperature. If what is read afterwards is still that
// code, bit by bit, the driver converts once more at another range, and a chip that
// gives the same code for all three does not convert.
//
// Traps for the wiring: the range of the amplifier protects nothing, so each pin must
// stay between ground − 0.3 V and supply + 0.3 V.
package ads1118
