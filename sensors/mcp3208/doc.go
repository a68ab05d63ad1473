// Package mcp3208 drives the MCP3208, a 12-bit analogue-to-digital converter with
// eight inputs on SPI.
//
// Data sheet: DS21298, "2.7V 4-Channel/8-Channel 12-Bit A/D Converters with SPI Serial
// Interface". Its sections are quoted from memory.
//
// SPI acknowledges nothing: a chip that is not there and one that reads 0 V can look
// alike. Three things tell them apart. The data line is pulled up on the board, and the
// chip leaves it alone until the conversion starts, so it must read 1 until then. The
// null bit before the result must be 0. And clocked further the chip gives the result
// once more, with its lowest bit first (figure 5-2), so both must agree.
//
// Traps for the wiring: the reference is the full scale, so its error is an error of
// every reading; each pin must stay between ground and supply; the inputs want 1 kΩ or
// less, or a capacitor beside the pin (section 4.1, figure 4-2). A pair of inputs cannot
// be measured in both directions, so a shunt needs another converter.
package mcp3208
