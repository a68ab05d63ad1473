// Package chip is a simulated MCP3208, bit by bit, with a data line that the board pulls
// up. Written from the data sheet DS21298 alone (sections from memory).
package chip

import (
	"math"

	"bayward/sensors/converter"
)

type chip struct{ world converter.World }

// New returns a chip.
func New(w converter.World) converter.Chip { return &chip{w} }

// Reset implements converter.Chip: the chip keeps nothing.
func (c *chip) Reset() {}

// Tx clocks one frame through the chip, bit by bit: after the start bit it takes the
// single-ended bit and three of the channel, samples for one clock, gives a null bit
// and the result from its highest bit down, then from the second lowest up, then zeros.
func (c *chip) Tx(w, r []byte) {
	var taken, given int
	var word, code uint16
	for i := range 8 * len(w) {
		in, out := uint16(w[i/8]>>(7-i%8)&1), uint16(1) // the pull-up
		switch {
		case taken == 0:
			taken += int(in) // the start bit
		case taken < 5:
			word, taken = word<<1|in, taken+1
		case taken == 5:
			code, taken = c.sample(word), taken+1
		default:
			out = bit(code, given)
			given++
		}
		r[i/8] = r[i/8]<<1 | byte(out)
	}
}

// bit returns the n-th bit that follows the sampling.
func bit(code uint16, n int) uint16 {
	switch {
	case n == 0:
		return 0
	case n <= 12:
		return code >> (12 - n) & 1
	case n <= 23:
		return code >> (n - 12) & 1
	}
	return 0
}

func (c *chip) sample(word uint16) uint16 {
	pin := int(word & 7)
	v := c.world.PinV(pin)
	if word&8 == 0 { // against its neighbour
		v -= c.world.PinV(pin ^ 1)
	}
	code := c.world.Noisy(v/c.world.FullScaleV(pin)*4096, 4096)
	return uint16(math.Min(math.Max(math.Round(code), 0), 4095))
}
