package mcp3208

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	registers "bayward/sensors/mcp3208/chip"

	"bayward/sensors/converter"
)

// Channels is how many inputs the chip has.
const Channels = 8

// The reference (data sheet, electrical characteristics).
const (
	MinReference = 250 * physic.MilliVolt
	MaxReference = 5500 * physic.MilliVolt
)

// Codes are the codes of the full scale.
const Codes = 1 << 12

// clock is well below the 1 MHz that the chip takes at 2.7 V, and above the 10 kHz
// below which its sampled voltage droops (data sheet, electrical characteristics and
// section 6.2).
const clock = 500 * physic.KiloHertz

// A frame, by the data sheet's figure 6-1, with two bytes more for the second result.
const (
	frameBytes = 5
	startBit   = 0b100 // of the first byte
	singleBit  = 0b010
	idleBits   = 0b1110_0000 // of the second byte: before the null bit the chip is silent
	nullBit    = 0b0001_0000
)

// Dev is one MCP3208. It is safe for use by several goroutines.
type Dev struct {
	c    spi.Conn
	busy converter.Lock // held over a transfer
}

// New prepares a chip at a port. It does not talk to it.
func New(p spi.Port) (*Dev, error) {
	if p == nil {
		return nil, errors.New("mcp3208: no port")
	}
	c, err := p.Connect(clock, spi.Mode0, 8)
	if err != nil {
		return nil, fmt.Errorf("mcp3208: %w", err)
	}
	return &Dev{c: c, busy: converter.NewLock()}, nil
}

// String returns the port, such as "MCP3208{SPI0.0}".
func (d *Dev) String() string { return fmt.Sprintf("MCP3208{%s}", d.c) }

// Halt implements conn.Resource. The chip sleeps unless it is selected.
func (d *Dev) Halt() error { return nil }

// Read converts once and returns the voltage of a channel, 0 to 7, against ground: 0 to
// the reference, in steps of reference / 4096. Errors wrap
// converter.ErrNoAnswer, ErrBusStuck, ErrCorrupted, ErrOverRange or the context's
// error.
func (d *Dev) Read(ctx context.Context, channel int, reference physic.ElectricPotential) (physic.ElectricPotential, error) {
	if channel < 0 || channel >= Channels || reference < MinReference || reference > MaxReference {
		return 0, fmt.Errorf("%s: read: the chip has no channel %d with a reference of %s", d, channel, reference)
	}
	if err := d.busy.Take(ctx); err != nil {
		return 0, fmt.Errorf("%s: read channel %d: %w", d, channel, err)
	}
	defer d.busy.Free()
	code, err := d.convert(channel)
	if err == nil && code == Codes-1 {
		err = fmt.Errorf("%w of %s", converter.ErrOverRange, reference)
	}
	if err != nil {
		return 0, fmt.Errorf("%s: read channel %d: %w", d, channel, err)
	}
	return physic.ElectricPotential(code) * reference / Codes, nil
}

func (d *Dev) convert(channel int) (uint16, error) {
	w := [frameBytes]byte{startBit | singleBit | byte(channel>>2), byte(channel << 6)}
	var r [frameBytes]byte
	if err := d.c.Tx(w[:], r[:]); err != nil {
		return 0, fmt.Errorf("%w: %w", converter.ErrBusStuck, err)
	}
	return decode(r)
}

// decode checks a frame and returns its code.
func decode(r [frameBytes]byte) (uint16, error) {
	switch {
	case bytes.Count(r[:], []byte{0xff}) == frameBytes:
		return 0, fmt.Errorf("%w: every bit is 1", converter.ErrNoAnswer)
	case r == [frameBytes]byte{}:
		return 0, fmt.Errorf("%w: every bit is 0; the data line is held low, or has no pull-up", converter.ErrBusStuck)
	case r[0] != 0xff || r[1]&idleBits != idleBits || r[1]&nullBit != 0:
		return 0, fmt.Errorf("%w: % x has no silence and null bit before the result", converter.ErrCorrupted, r[:])
	}
	code, again := uint16(r[1]&0xf)<<8|uint16(r[2]), uint16(r[3])<<8|uint16(r[4])
	for bit := 1; bit < 12; bit++ {
		if code>>bit&1 != again>>(16-bit)&1 {
			return 0, fmt.Errorf("%w: % x gives two results", converter.ErrCorrupted, r[:])
		}
	}
	return code, nil
}

// Family is what the configuration accepts of an MCP3208.
var Family = converter.Family{
	Name: "mcp3208", Title: "MCP3208", Bus: converter.SPI, Channels: eight(), Chip: registers.New,
	Open: func(p converter.Port) (converter.Dev, error) { return New(p.SPI) },
}

func eight() []converter.Channel {
	all := make([]converter.Channel, Channels)
	for i := range all {
		all[i] = converter.Channel{LowV: 1, HighV: 5.5, TopV: 5.5, Steps: Codes}
	}
	return all
}

// Measure implements converter.Dev with Read.
func (d *Dev) Measure(ctx context.Context, s converter.Setting) (physic.ElectricPotential, error) {
	if s.Minus != converter.Ground || s.Rate != 0 {
		return 0, fmt.Errorf("%s: read: the chip has no pairs and no rates", d)
	}
	return d.Read(ctx, s.Channel, converter.Volts(s.RangeV))
}

var (
	_ conn.Resource = (*Dev)(nil)
	_ converter.Dev = (*Dev)(nil)
)
