package ina22x

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"bayward/sensors/converter"
)

// The addresses that the pins A1 and A0 can choose (data sheets, table "Address Pins
// and Slave Addresses").
const (
	FirstAddr = 0x40
	LastAddr  = 0x4f
)

// The channels.
const (
	Shunt = iota // IN+ against IN−
	Bus          // VBUS against ground
	numChannels
)

const undriven = 0xffff // the value read when nothing answers

// Timing of one conversion.
const (
	slowShare  = 10 // a conversion may take 1/10 longer than usual (data sheets, electrical characteristics)
	pollShare  = 8  // the interval between polls is 1/8 of the conversion's usual time
	boundTimes = 3  // no conversion takes three times its usual time
	margin     = 100 * time.Microsecond
)

// Dev is one chip. It is safe for use by several goroutines, and there must be only
// one Dev for each chip.
type Dev struct {
	*Model

	c    i2c.Dev
	wait func(context.Context, time.Duration) error
	busy converter.Lock // held over a reading; guards the fields below
	// known is true after the chip has been identified and has not failed since.
	known bool
	odd   bool // the mark of the last conversion
	w     [3]byte
	r     [3]byte
}

// Opts are the settings of a Dev.
type Opts struct {
	Addr uint16 // FirstAddr to LastAddr
	// Wait returns after d, or with the context's error when that ends first.
	// Nil waits in real time.
	Wait func(ctx context.Context, d time.Duration) error
}

// New prepares a chip on the bus. It does not talk to it.
func New(bus i2c.Bus, m *Model, o *Opts) (*Dev, error) {
	switch {
	case bus == nil || m == nil || o == nil:
		return nil, errors.New("ina22x: no bus, model or options")
	case o.Addr < FirstAddr || o.Addr > LastAddr:
		return nil, fmt.Errorf("%s: address %#x is not between 0x40 and 0x4f", m.name, o.Addr)
	}
	d := &Dev{Model: m, c: i2c.Dev{Bus: bus, Addr: o.Addr}, wait: o.Wait, busy: converter.NewLock()}
	if d.wait == nil {
		d.wait = converter.RealWait
	}
	return d, nil
}

// String returns bus and address, such as "INA226{I2C1(64)}".
func (d *Dev) String() string { return d.name + "{" + d.c.String() + "}" }

// Halt implements conn.Resource. The chip shuts down after each triggered conversion.
func (d *Dev) Halt() error { return nil }

// Measure converts once and returns the voltage over the shunt, or the bus voltage.
// Errors wrap converter.ErrNoAnswer, ErrBusStuck, ErrNotReady, ErrOverRange,
// ErrLostConfig, ErrForeign or the context's error.
func (d *Dev) Measure(ctx context.Context, s converter.Setting) (physic.ElectricPotential, error) {
	if s.Channel < 0 || s.Channel >= numChannels || s.Minus != converter.Ground {
		return 0, fmt.Errorf("%s: read: the chip has no channel %d against %d", d, s.Channel, s.Minus)
	}
	if err := d.busy.Take(ctx); err != nil {
		return 0, fmt.Errorf("%s: read: %w", d, err)
	}
	defer d.busy.Free()
	in := &d.inputs[s.Channel]
	code, err := d.convert(ctx, in)
	if err != nil {
		d.known = false
		return 0, fmt.Errorf("%s: read %s: %w", d, in.name, err)
	}
	v := physic.ElectricPotential(int64(code) * in.stepPV / 1000)
	if code == in.most || code == -in.most-1 || v > in.top {
		return 0, fmt.Errorf("%s: read %s: %w", d, in.name, converter.ErrOverRange)
	}
	return v, nil
}

// convert runs one conversion from start to result.
func (d *Dev) convert(ctx context.Context, in *input) (int32, error) {
	if !d.known {
		if err := d.identify(); err != nil {
			return 0, err
		}
	}
	d.odd = !d.odd
	config := in.start
	if d.odd {
		config ^= in.mark
	}
	if err := d.write(d.regConfig, config); err != nil {
		return 0, converter.TransferError("start conversion", err)
	}
	if err := d.ready(ctx, config); err != nil {
		return 0, err
	}
	code, err := d.result(in)
	if err != nil {
		return 0, err
	}
	if err := d.still(config); err != nil {
		return 0, err
	}
	d.known = true
	return code, nil
}

// identify reads maker and model before anything is written.
func (d *Dev) identify() error {
	got, err := d.read(d.regMaker)
	if err != nil {
		return converter.TransferError("read maker", err)
	}
	die, err := d.read(d.regDie)
	switch {
	case err != nil:
		return converter.TransferError("read model", err)
	case got == undriven && die == undriven:
		return fmt.Errorf("%w: maker and model read as all ones", converter.ErrNoAnswer)
	case got != maker || die>>4 != d.die:
		return fmt.Errorf("%w, not an %s: maker %#04x and model %#04x, must be %#04x and %#03x_", converter.ErrForeign, d.name, got, die, maker, d.die)
	}
	for _, fixed := range d.fixed {
		if err := d.write(fixed.reg, fixed.value); err != nil {
			return converter.TransferError("set up", err)
		}
	}
	return nil
}

// ready waits for the end of the conversion just started. Reading the flag clears it. A
// chip that has lost its configuration does not convert.
func (d *Dev) ready(ctx context.Context, config uint16) error {
	first := d.period + d.period/slowShare + margin
	if err := d.wait(ctx, first); err != nil {
		return fmt.Errorf("wait for conversion: %w", err)
	}
	for left := boundTimes*d.period - first; ; left -= d.period / pollShare {
		flags, err := d.read(d.regFlags)
		switch {
		case err != nil:
			return converter.TransferError("read flags", err)
		case flags == undriven:
			return fmt.Errorf("%w: the flags read as all ones", converter.ErrNoAnswer)
		case flags&d.readyBit != 0:
			return nil
		case left <= 0:
			if err := d.still(config); err != nil {
				return err
			}
			return fmt.Errorf("%w within %v", converter.ErrNotReady, boundTimes*d.period)
		}
		if err := d.wait(ctx, d.period/pollShare); err != nil {
			return fmt.Errorf("wait for conversion: %w", err)
		}
	}
}

// still checks that the chip has kept the configuration of this conversion.
func (d *Dev) still(config uint16) error {
	got, err := d.read(d.regConfig)
	switch {
	case err != nil:
		return converter.TransferError("read configuration back", err)
	case got == undriven:
		return fmt.Errorf("%w: the configuration reads as all ones", converter.ErrNoAnswer)
	case (got^config)&d.keeps != 0:
		return fmt.Errorf("%w: it reads %#04x, must be %#04x", converter.ErrLostConfig, got, config)
	}
	for _, fixed := range d.fixed {
		got, err := d.read(fixed.reg)
		switch {
		case err != nil:
			return converter.TransferError("read set-up back", err)
		case (got^fixed.value)&fixed.keeps != 0:
			return fmt.Errorf("%w: register %#02x reads %#04x, must be %#04x", converter.ErrLostConfig, fixed.reg, got, fixed.value)
		}
	}
	return nil
}

// result reads a result, which is on the left of two or three bytes.
func (d *Dev) result(in *input) (int32, error) {
	d.w[0] = in.reg
	r := d.r[:d.bytes]
	if err := d.c.Tx(d.w[:1], r); err != nil {
		return 0, converter.TransferError("read result", err)
	}
	var code uint32
	for i, b := range r {
		code |= uint32(b) << (24 - 8*i)
	}
	return int32(code) >> (32 - d.bits), nil
}

func (d *Dev) write(reg byte, value uint16) error {
	d.w[0] = reg
	binary.BigEndian.PutUint16(d.w[1:], value)
	return d.c.Tx(d.w[:], nil)
}

func (d *Dev) read(reg byte) (uint16, error) {
	d.w[0] = reg
	if err := d.c.Tx(d.w[:1], d.r[:2]); err != nil {
		return 0, err
	}
	return binary.BigEndian.Uint16(d.r[:]), nil
}

var (
	_ conn.Resource = (*Dev)(nil)
	_ converter.Dev = (*Dev)(nil)
)
