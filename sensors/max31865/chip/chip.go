// Package chip is a simulated MAX31865 at register level, with its element. Written from
// the data sheet 19-6478 alone (sections from memory).
package chip

import (
	"math"
	"time"

	"bayward/sensors/converter"
)

type chip struct {
	world  converter.World
	regs   [8]byte
	testAt time.Duration // when the test of the wires ends
	doneAt time.Duration // when the conversion ends; 0 for none
}

// New returns a chip in its power-up state. The element's resistance is the world's pin 0,
// and the reference its full scale, both in Ω.
func New(w converter.World) converter.Chip {
	c := &chip{world: w}
	c.Reset()
	return c
}

// Reset implements converter.Chip.
func (c *chip) Reset() { c.regs, c.doneAt = [8]byte{3: 0xff, 4: 0xff}, 0 }

// Tx implements converter.Chip: an address, then bytes from there on.
func (c *chip) Tx(w, r []byte) {
	c.update()
	r[0] = 0
	at := int(w[0] & 7)
	for i := 1; i < len(w); i++ {
		if w[0]&0x80 == 0 {
			r[i] = c.regs[at&7]
		} else if r[i] = 0; at == 0 {
			c.configure(w[i])
		} else if at >= 3 && at <= 6 {
			c.regs[at] = w[i]
		}
		at++
	}
}

func (c *chip) configure(value byte) {
	now := c.world.Now()
	if value&2 != 0 {
		c.regs[7] = 0
	}
	if value&0b1100 == 0b0100 {
		c.testAt = now + 600*time.Microsecond
	}
	if value&0x20 != 0 && value&0x80 != 0 {
		ms := 52.0
		if value&1 != 0 {
			ms = 62.5
		}
		c.doneAt = now + time.Duration(ms*c.world.Slow()*0.95*float64(time.Millisecond))
	}
	c.regs[0] = value &^ 0x22
	if c.world.Dips() {
		c.Reset()
	}
}

func (c *chip) update() {
	now := c.world.Now()
	if c.world.Never() {
		return
	}
	ohm, reference := c.world.PinV(0), c.world.FullScaleV(0)
	if c.regs[0]&0b1100 != 0 && now >= c.testAt {
		c.regs[0] &^= 0b1100
		if ohm > 10*reference { // FORCE- is open
			c.regs[7] |= 0x18
			c.regs[2] |= 1
		}
	}
	if c.doneAt == 0 || now < c.doneAt {
		return
	}
	c.doneAt = 0
	code := uint16(math.Min(math.Max(math.Round(c.world.Noisy(ohm/reference*32768, 32768)), 0), 32767))
	fault := byte(0)
	if c.regs[7] != 0 {
		fault = 1
	}
	c.regs[1], c.regs[2] = byte(code>>7), byte(code<<1)|fault
}
