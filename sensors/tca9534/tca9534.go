package tca9534

import (
	"errors"
	"fmt"
	"sync"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/i2c"
)

// Registers (data sheet, table "Command Byte").
const (
	regOutput = 1 // levels of the driven pins
	regConfig = 3 // 1: input, 0: output; all ones after power-on
)

// ErrLost means that the configuration is not the one that was written: the chip was
// reset, or it is not this kind of chip.
var ErrLost = errors.New("expander lost its configuration")

// Opts are the settings of a Dev.
type Opts struct {
	// Addr is the chip's address, 0x20 to 0x27, or 0x38 to 0x3f for the variant with an
	// A in its name (data sheet, "Device Address").
	Addr uint16
}

// DefaultOpts is a chip with its address pins on ground.
var DefaultOpts = Opts{Addr: 0x20}

// Dev is one expander. It is safe for use by several goroutines.
type Dev struct {
	c i2c.Dev

	mu sync.Mutex // held over one Set; guards the buffers below
	w  [2]byte
	r  [1]byte
}

// New prepares a chip on the bus. It does not talk to it. The error is about the
// options.
func New(bus i2c.Bus, o *Opts) (*Dev, error) {
	if o == nil {
		o = &DefaultOpts
	}
	switch {
	case bus == nil:
		return nil, errors.New("tca9534: no bus")
	case o.Addr&^7 != 0x20 && o.Addr&^7 != 0x38:
		return nil, fmt.Errorf("tca9534: address %#x is not 0x20 to 0x27 or 0x38 to 0x3f", o.Addr)
	}
	return &Dev{c: i2c.Dev{Bus: bus, Addr: o.Addr}}, nil
}

// String returns bus and address, such as "TCA9534{I2C1(32)}".
func (d *Dev) String() string { return "TCA9534{" + d.c.String() + "}" }

// Halt implements conn.Resource: no pin is driven any more.
func (d *Dev) Halt() error { return d.Set(0, 0) }

// Set drives the pins of the mask driven at the levels of high, one bit a pin, and
// opens the others. Levels are written before directions, so no pin is driven at a
// level that was not asked for, except that a pin that stays driven changes a
// transfer earlier than one that opens. Errors wrap ErrLost or are the bus's own.
func (d *Dev) Set(high, driven byte) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.write(regOutput, high); err != nil {
		return fmt.Errorf("%s: write levels: %w", d, err)
	}
	if err := d.write(regConfig, ^driven); err != nil {
		return fmt.Errorf("%s: write directions: %w", d, err)
	}
	d.w[0] = regConfig
	if err := d.c.Tx(d.w[:1], d.r[:]); err != nil {
		return fmt.Errorf("%s: read directions back: %w", d, err)
	}
	if d.r[0] != ^driven {
		return fmt.Errorf("%s: %w: it reads %#02x, must be %#02x", d, ErrLost, d.r[0], ^driven)
	}
	return nil
}

func (d *Dev) write(reg, value byte) error {
	d.w = [2]byte{reg, value}
	return d.c.Tx(d.w[:], nil)
}

var _ conn.Resource = (*Dev)(nil)
