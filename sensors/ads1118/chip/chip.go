// Package chip is a simulated ADS1118 at the level of its transfers: one register for
// the configuration, one for the result. Written from the data sheet SBAS457 alone
// (sections from memory).
package chip

import (
	"math"
	"time"

	"bayward/sensors/converter"
)

const (
	configReset = 0x058b
	dieC        = 27.0 // the chip's own temperature
)

type chip struct {
	world   converter.World
	config  uint16
	result  uint16
	running bool
	pending uint16
	doneAt  time.Duration
}

// New returns a chip in its power-up state.
func New(w converter.World) converter.Chip {
	c := &chip{world: w}
	c.Reset()
	return c
}

// Reset implements converter.Chip.
func (c *chip) Reset() { c.config, c.result, c.running = configReset, 0, false }

// Tx is one transfer of 16 or 32 bits. The first word out is the last result, the
// second the configuration after the first word in.
func (c *chip) Tx(w, r []byte) {
	c.update()
	out := [4]byte{byte(c.result >> 8), byte(c.result)}
	if len(w) >= 2 {
		c.write(uint16(w[0])<<8 | uint16(w[1]))
	}
	shown := c.config &^ 0x8000
	out[2], out[3] = byte(shown>>8), byte(shown)
	copy(r, out[:])
}

// write stores a configuration whose two bits say that it is valid.
func (c *chip) write(word uint16) {
	if word>>1&3 != 1 {
		return
	}
	c.config = word | 1
	if word&0x8000 != 0 && word&0x0100 != 0 && !c.running {
		sps := [8]float64{8, 16, 32, 64, 128, 250, 475, 860}[word>>5&7]
		c.running, c.pending = true, c.sample()
		c.doneAt = c.world.Now() + 30*time.Microsecond + time.Duration(float64(time.Second)/sps*c.world.Slow())
	}
	if c.world.Dips() {
		c.Reset()
	}
}

func (c *chip) update() {
	if c.running && c.world.Now() >= c.doneAt && !c.world.Never() {
		c.result, c.running = c.pending, false
	}
}

func (c *chip) sample() uint16 {
	if c.config&0x10 != 0 { // 14 bits on the left, 32 codes a kelvin
		return uint16(int16(math.Round(dieC*32))) << 2
	}
	fs := [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}[c.config>>9&7]
	v := c.differential(c.config >> 12 & 7)
	code := math.Round(c.world.Noisy(v/fs*32768, 32768))
	return uint16(int16(math.Min(math.Max(code, -32768), 32767)))
}

func (c *chip) differential(mux uint16) float64 {
	if mux >= 4 {
		return c.world.PinV(int(mux - 4))
	}
	p := [4][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}}[mux]
	return c.world.PinV(p[0]) - c.world.PinV(p[1])
}
