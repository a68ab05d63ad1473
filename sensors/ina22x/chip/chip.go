// Package chip is a simulated INA226 and INA228 at register level. Written from the data
// sheets SBOS547 and SBOSA20 alone (sections from memory).
package chip

import (
	"math"
	"time"

	"bayward/sensors/converter"
)

// model is what the data sheet says of one of the chips.
type model struct {
	reset   map[byte]uint32
	config  byte // register that starts a conversion
	trigger func(config uint32) (channel int, took time.Duration)
	result  [2]byte
	scale   [2]float64 // codes per volt
	bits    int
	width   map[byte]int // bytes of a register, 2 if it is not listed
	flags   byte
	ready   uint32
	// clearing: the flag is cleared when it is read.
	clearing func(flags uint32) bool
	fixed    map[byte]bool // registers that cannot be written
}

type chip struct {
	*model

	world   converter.World
	regs    map[byte]uint32
	pointer byte
	running bool
	channel int
	doneAt  time.Duration
	pending float64
}

// New226 returns an INA226 in its power-up state.
func New226(w converter.World) converter.Chip { return start(w, &ina226) }

// New228 returns an INA228 in its power-up state.
func New228(w converter.World) converter.Chip { return start(w, &ina228) }

func start(w converter.World, m *model) converter.Chip {
	c := &chip{model: m, world: w}
	c.Reset()
	return c
}

var ina226 = model{
	reset:  map[byte]uint32{0: 0x4127, 6: 0, 7: 0, 0xfe: 0x5449, 0xff: 0x2260},
	config: 0, result: [2]byte{1, 2}, scale: [2]float64{1 / 2.5e-6, 1 / 1.25e-3}, bits: 16,
	flags: 6, ready: 1 << 3, clearing: func(uint32) bool { return true },
	fixed: map[byte]bool{1: true, 2: true, 0xfe: true, 0xff: true},
	trigger: func(config uint32) (int, time.Duration) {
		us := [8]int{140, 204, 332, 588, 1100, 2116, 4156, 8244}
		means := [8]int{1, 4, 16, 64, 128, 256, 512, 1024}[config>>9&7]
		switch config & 7 {
		case 1:
			return 0, time.Duration(means*us[config>>3&7]) * time.Microsecond
		case 2:
			return 1, time.Duration(means*us[config>>6&7]) * time.Microsecond
		}
		return -1, 0
	},
}

var ina228 = model{
	reset:  map[byte]uint32{0: 0, 1: 0xfb68, 0x0b: 1, 0x3e: 0x5449, 0x3f: 0x2281},
	config: 1, result: [2]byte{4, 5}, scale: [2]float64{1 / 312.5e-9, 1 / 195.3125e-6}, bits: 20,
	width: map[byte]int{4: 3, 5: 3},
	flags: 0x0b, ready: 1 << 1, clearing: func(flags uint32) bool { return flags>>15&1 == 1 },
	fixed: map[byte]bool{4: true, 5: true, 0x3e: true, 0x3f: true},
	trigger: func(config uint32) (int, time.Duration) {
		us := [8]int{50, 84, 150, 280, 540, 1052, 2074, 4120}
		means := [8]int{1, 4, 16, 64, 128, 256, 512, 1024}[config&7]
		switch config >> 12 & 0xf {
		case 1:
			return 1, time.Duration(means*us[config>>9&7]) * time.Microsecond
		case 2:
			return 0, time.Duration(means*us[config>>6&7]) * time.Microsecond
		}
		return -1, 0
	},
}

// Reset implements converter.Chip.
func (c *chip) Reset() {
	c.regs = map[byte]uint32{}
	for reg, value := range c.reset {
		c.regs[reg] = value
	}
	c.pointer, c.running = 0, false
}

// Tx implements converter.Chip.
func (c *chip) Tx(w, r []byte) {
	c.update()
	if len(w) > 0 {
		c.pointer = w[0]
	}
	if len(w) >= 3 {
		c.write(c.pointer, uint32(w[1])<<8|uint32(w[2]))
	}
	if len(r) == 0 {
		return
	}
	value, wide := c.regs[c.pointer], c.width[c.pointer]
	if wide == 0 {
		wide = 2
	}
	for i := range r {
		r[i] = byte(value >> (8 * (wide - 1 - i%wide)))
	}
	if c.pointer == c.flags && c.clearing(value) {
		c.regs[c.flags] &^= c.ready
	}
}

func (c *chip) write(reg byte, value uint32) {
	if c.fixed[reg] {
		return
	}
	if reg == c.flags {
		value = value&^c.ready | c.regs[reg]&c.ready
	}
	c.regs[reg] = value
	if reg != c.config {
		return
	}
	c.running = false
	if channel, took := c.trigger(value); channel >= 0 {
		c.regs[c.flags] &^= c.ready
		c.running, c.channel = true, channel
		c.pending = c.world.PinV(channel)
		c.doneAt = c.world.Now() + time.Duration(float64(took)*c.world.Slow())
	}
	if c.world.Dips() {
		c.Reset()
	}
}

func (c *chip) update() {
	if !c.running || c.world.Now() < c.doneAt || c.world.Never() {
		return
	}
	full := float64(int(1) << (c.bits - 1))
	low := -full
	if c.channel == 1 {
		low = 0 // the bus voltage is never negative
	}
	code := math.Round(c.world.Noisy(c.pending*c.scale[c.channel], full))
	code = min(max(code, low), full-1)
	c.regs[c.result[c.channel]] = uint32(int32(code)) << (8*c.bytes() - c.bits) & 0xffffff
	c.regs[c.flags] |= c.ready
	c.running = false
}

// bytes is the width of a result.
func (c *chip) bytes() int { return (c.bits + 7) / 8 }
