package converter

import "time"

// Chip is a simulated chip at register level.
type Chip interface {
	// Tx is one transaction. On I²C the chip is written w, then read into r; on SPI
	// each byte of r is clocked out while the one of w is clocked in.
	Tx(w, r []byte)
	// Reset is the power-up state.
	Reset()
}

// World is what a simulated chip is connected to.
type World interface {
	// Now is the time of the chip's own clock.
	Now() time.Duration
	// Slow is the period of its oscillator over the nominal one, about 1.
	Slow() float64
	// PinV is the voltage at a channel, against ground; for a chip that measures a
	// resistance, Ω.
	PinV(channel int) float64
	// FullScaleV is the reference at a channel, for chips that have it outside; for a chip
	// that measures a resistance, Ω.
	FullScaleV(channel int) float64
	// Noisy returns a code with the noise of a conversion. steps is how many its full
	// scale has.
	Noisy(code, steps float64) float64
	// Never reports whether conversions never end.
	Never() bool
	// Dips reports whether the supply dips whenever the chip is configured.
	Dips() bool
}
