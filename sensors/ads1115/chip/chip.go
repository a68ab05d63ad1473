// Package chip is a simulated ADS1115 at register level: four registers, a conversion
// that takes its time and shows the inputs chosen when it began. Written from the data
// sheet SBAS444E alone.
package chip

import (
	"math"
	"time"

	"bayward/sensors/converter"
)

// The registers, data sheet SBAS444E section 8.6.
const (
	regConversion = iota
	regConfig
	regLow
	regHigh
	numRegs
)

const (
	configReset = 0x8583
	lowReset    = 0x8000
	highReset   = 0x7fff
	bitStart    = 1 << 15
	bitSingle   = 1 << 8
	wakeUp      = 25 * time.Microsecond
)

type chip struct {
	world   converter.World
	regs    [numRegs]uint16
	pointer uint8

	converting bool
	doneAt     time.Duration
	pending    uint16 // the result of the running conversion
}

// New returns a chip in its power-up state.
func New(w converter.World) converter.Chip {
	d := &chip{world: w}
	d.Reset()
	return d
}

// Reset implements converter.Chip.
func (d *chip) Reset() {
	d.regs = [numRegs]uint16{0, configReset, lowReset, highReset}
	d.pointer, d.converting = 0, false
}

// Tx implements converter.Chip.
func (d *chip) Tx(w, r []byte) {
	d.write(w)
	d.read(r)
}

// write handles the bytes that the bus writes after the address.
func (d *chip) write(w []byte) {
	if len(w) == 0 {
		return
	}
	d.pointer = w[0] & 3
	if len(w) < 3 {
		return
	}
	value := uint16(w[1])<<8 | uint16(w[2])
	switch d.pointer {
	case regConfig:
		d.configure(value)
	case regLow, regHigh:
		d.regs[d.pointer] = value
	}
}

// configure stores a new configuration and starts a conversion if it requests one.
func (d *chip) configure(value uint16) {
	d.update()
	d.regs[regConfig] = value
	single := value&bitSingle != 0
	switch {
	case d.converting: // the running one keeps its settings
	case single && value&bitStart == 0:
	default:
		d.start(d.world.Now())
	}
	if d.world.Dips() {
		d.Reset()
	}
}

// start begins a conversion at a time.
func (d *chip) start(at time.Duration) {
	d.converting = true
	d.pending = d.sample()
	d.doneAt = at + wakeUp + d.period()
}

// period returns the time of one conversion by the converter's own clock.
func (d *chip) period() time.Duration {
	rates := [8]float64{8, 16, 32, 64, 128, 250, 475, 860}
	return time.Duration(float64(time.Second) / rates[d.regs[regConfig]>>5&7] * d.world.Slow())
}

// update advances the converter's time.
func (d *chip) update() {
	now := d.world.Now()
	if !d.converting || now < d.doneAt || d.world.Never() {
		return
	}
	d.regs[regConversion] = d.pending
	if d.regs[regConfig]&bitSingle != 0 {
		d.converting = false
		return
	}
	period := d.period()
	if late := now - d.doneAt; late >= period {
		d.doneAt += late - late%period
		d.regs[regConversion] = d.sample()
	}
	d.pending = d.sample()
	d.doneAt += period
}

// read fills r with the register that the pointer selects, repeatedly.
func (d *chip) read(r []byte) {
	d.update()
	value := d.regs[d.pointer]
	if d.pointer == regConfig {
		value |= bitStart
		if d.converting {
			value &^= bitStart
		}
	}
	for i := range r {
		r[i] = byte(value >> (8 * (1 - i&1)))
	}
}

// sample returns one conversion of the inputs' voltages.
func (d *chip) sample() uint16 {
	config := d.regs[regConfig]
	ranges := [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}
	lsb := ranges[config>>9&7] / 32768
	code := d.world.Noisy(d.differential(config>>12&7)/lsb, 32768)
	return uint16(int16(math.Round(min(max(code, math.MinInt16), math.MaxInt16))))
}

// differential returns the voltage between the inputs that a multiplexer setting
// selects.
func (d *chip) differential(mux uint16) float64 {
	volts := d.world.PinV
	switch mux {
	case 0:
		return volts(0) - volts(1)
	case 1:
		return volts(0) - volts(3)
	case 2:
		return volts(1) - volts(3)
	case 3:
		return volts(2) - volts(3)
	}
	return volts(int(mux - 4))
}
