package ads1115

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

// The addresses that the ADDR pin can choose (data sheet 9.5.1.1).
const (
	FirstAddr = 0x48 // ADDR on ground; 0x49 supply, 0x4a SDA
	LastAddr  = 0x4b // ADDR on SCL
)

// Register numbers (data sheet 9.6.1) and their reset values (9.6.3, 9.6.4).
const (
	regConversion = 0
	regConfig     = 1
	regLow        = 2
	regHigh       = 3

	resetLow  = 0x8000
	resetHigh = 0x7fff
)

// Fields of the config register (data sheet 9.6.3).
const (
	bitOS      = 1 << 15 // write: start; read: 1 when idle
	shiftMux   = 12
	shiftGain  = 9
	bitSingle  = 1 << 8
	shiftRate  = 5
	bitPol     = 1 << 3 // without effect while the comparator is off: changes each time
	bitLatch   = 1 << 2 // without effect while the comparator is off: always set, 0 after reset
	comparator = 0b11   // off, ALERT/RDY floating
	configMask = 0xffff &^ bitOS
	undriven   = 0xffff // the value read when nothing answers
)

// Timing of one conversion.
const (
	wakeUp     = 25 * time.Microsecond // data sheet 9.4.2.1: from power-down to the start of a conversion
	margin     = 25 * time.Microsecond
	slowest    = time.Second / 8
	slowShare  = 10 // the oscillator may be slow by 1/10 (data sheet 7.5)
	pollShare  = 8  // the interval between polls is 1/8 of the conversion's nominal time
	boundTimes = 3  // no conversion takes three times its nominal time
)

// Opts are the settings of a Dev.
type Opts struct {
	// Addr is the chip's address, FirstAddr to LastAddr.
	Addr uint16
	// Wait returns after d, or with the context's error when that ends first.
	// Nil waits in real time.
	Wait func(ctx context.Context, d time.Duration) error
}

// DefaultOpts is a chip with its ADDR pin on ground, in real time.
var DefaultOpts = Opts{Addr: FirstAddr}

// Dev is one ADS1115. It is safe for use by several goroutines: conversions of the
// same Dev never interrupt each other, so there must be only one Dev for each chip.
type Dev struct {
	c    i2c.Dev
	wait func(context.Context, time.Duration) error

	busy converter.Lock // held over a conversion; guards the fields below
	// known is true when the chip was seen idle and with our last
	// configuration, so that a conversion can be started right away.
	known bool
	tag   uint16 // bitPol or 0: the mark of the last configuration
	w     [3]byte
	r     [2]byte
}

// New prepares a chip on the bus. It does not talk to it: a chip that is not
// there yet gives errors from Read, and readings once it is. The error is about
// the options.
func New(bus i2c.Bus, o *Opts) (*Dev, error) {
	switch {
	case bus == nil:
		return nil, errors.New("ads1115: no bus")
	case o == nil:
		o = &DefaultOpts
	case o.Addr < FirstAddr || o.Addr > LastAddr:
		return nil, fmt.Errorf("ads1115: address %#x is not one of 0x48, 0x49, 0x4a, 0x4b", o.Addr)
	}
	d := &Dev{c: i2c.Dev{Bus: bus, Addr: o.Addr}, wait: o.Wait, busy: converter.NewLock()}
	if d.wait == nil {
		d.wait = converter.RealWait
	}
	return d, nil
}

// String returns bus and address, such as "ADS1115{I2C1(72)}".
func (d *Dev) String() string { return "ADS1115{" + d.c.String() + "}" }

// Halt implements conn.Resource. A single-shot converter powers itself down
// after each conversion, so there is nothing to stop.
func (d *Dev) Halt() error { return nil }

// Probe checks that the chip is there, and stops whatever an earlier program left
// running in it. Read does the same when necessary; Probe is for a check without a
// conversion.
func (d *Dev) Probe(ctx context.Context) error {
	if err := d.busy.Take(ctx); err != nil {
		return fmt.Errorf("%s: probe: %w", d, err)
	}
	defer d.busy.Free()
	if err := d.settle(ctx); err != nil {
		return fmt.Errorf("%s: probe: %w", d, err)
	}
	return nil
}

// Read converts once and returns the voltage between the two inputs of mux,
// within ± the full scale of gain, in steps of full scale / 32768. It takes at
// most three times rate.Period plus the transfers themselves, which the kernel
// limits. Errors wrap ErrNoAnswer, ErrBusStuck, ErrNotReady,
// ErrOverRange, ErrLostConfig, ErrForeign or the context's error.
func (d *Dev) Read(ctx context.Context, mux Mux, gain Gain, rate Rate) (physic.ElectricPotential, error) {
	if mux >= numMux || gain >= numGains || rate >= numRates {
		return 0, fmt.Errorf("%s: read: the chip has no %s at %s and %s", d, mux, gain, rate)
	}
	if err := d.busy.Take(ctx); err != nil {
		return 0, fmt.Errorf("%s: read %s: %w", d, mux, err)
	}
	defer d.busy.Free()
	raw, err := d.convert(ctx, mux, gain, rate)
	if err != nil {
		d.known = false
		return 0, fmt.Errorf("%s: read %s: %w", d, mux, err)
	}
	v, err := volts(raw, gain)
	if err != nil {
		return 0, fmt.Errorf("%s: read %s: %w", d, mux, err)
	}
	return v, nil
}

// volts decodes the conversion register. The step is full scale / 32768 (data
// sheet 9.5.4), rounded towards zero by at most half a nanovolt.
func volts(raw uint16, gain Gain) (physic.ElectricPotential, error) {
	if raw == 0x7fff || raw == 0x8000 {
		return 0, fmt.Errorf("%w of %s", ErrOverRange, gain)
	}
	return physic.ElectricPotential(int16(raw)) * fullScales[gain] / 32768, nil
}

// convert runs one conversion from start to result.
func (d *Dev) convert(ctx context.Context, mux Mux, gain Gain, rate Rate) (uint16, error) {
	if !d.known {
		if err := d.settle(ctx); err != nil {
			return 0, err
		}
	}
	d.tag ^= bitPol
	config := uint16(mux)<<shiftMux | uint16(gain)<<shiftGain | uint16(rate)<<shiftRate | d.tag | bitSingle | bitLatch | comparator
	if err := d.write(regConfig, config|bitOS); err != nil {
		return 0, converter.TransferError("start conversion", err)
	}
	if err := d.ready(ctx, config, rate.Period()); err != nil {
		return 0, err
	}
	raw, err := d.read(regConversion)
	if err == nil && raw == undriven {
		// Either −1 step, or no chip answered and the controller did not
		// notice: only the first reads the same again.
		raw, err = d.read(regConversion)
	}
	if err != nil {
		return 0, converter.TransferError("read result", err)
	}
	// Read it back once more: a chip that was reset after the poll shows 0, and
	// one that left the bus −1, and both look like voltages.
	_, err = d.idle(config)
	return raw, err
}

// settle brings the chip to a known state: single-shot mode and idle.
func (d *Dev) settle(ctx context.Context) error {
	d.known = false
	if err := d.identify(); err != nil {
		return err
	}
	d.tag ^= bitPol
	config := d.tag | bitSingle | bitLatch | comparator
	if err := d.write(regConfig, config); err != nil {
		return converter.TransferError("write configuration", err)
	}
	if err := d.idleWithin(ctx, config, boundTimes*slowest, slowest/pollShare); err != nil {
		return err
	}
	d.known = true
	return nil
}

// identify reads the threshold registers, which no program writes. They
// distinguish the chip from others at its address, even after a warm restart.
func (d *Dev) identify() error {
	low, err := d.read(regLow)
	if err != nil {
		return converter.TransferError("read low threshold", err)
	}
	high, err := d.read(regHigh)
	if err != nil {
		return converter.TransferError("read high threshold", err)
	}
	switch {
	case low == resetLow && high == resetHigh:
		return nil
	case low == undriven && high == undriven:
		return fmt.Errorf("%w: the thresholds read as all ones", ErrNoAnswer)
	default:
		return fmt.Errorf("%w, not an ADS1115: thresholds are %#04x and %#04x, must be %#04x and %#04x as after power-on",
			ErrForeign, low, high, resetLow, resetHigh)
	}
}

// ready waits for the end of the conversion just started.
func (d *Dev) ready(ctx context.Context, config uint16, period time.Duration) error {
	first := period + period/slowShare + wakeUp + margin
	if err := d.wait(ctx, first); err != nil {
		return fmt.Errorf("wait for conversion: %w", err)
	}
	return d.idleWithin(ctx, config, boundTimes*period-first, period/pollShare)
}

// idleWithin polls until the chip is idle, for at most limit of waiting.
func (d *Dev) idleWithin(ctx context.Context, config uint16, limit, step time.Duration) error {
	for waited := time.Duration(0); ; waited += step {
		idle, err := d.idle(config)
		if err != nil || idle {
			return err
		}
		if waited >= limit {
			return ErrNotReady
		}
		if err := d.wait(ctx, step); err != nil {
			return fmt.Errorf("wait for conversion: %w", err)
		}
	}
}

// idle reads the configuration back and reports whether the chip is idle. It
// returns an error if the configuration is not the one that was written.
func (d *Dev) idle(config uint16) (bool, error) {
	got, err := d.read(regConfig)
	switch {
	case err != nil:
		return false, converter.TransferError("read configuration back", err)
	case got == undriven:
		return false, fmt.Errorf("%w: the configuration reads as all ones", ErrNoAnswer)
	case got&configMask != config:
		return false, fmt.Errorf("%w: it reads %#04x, must be %#04x apart from the top bit", ErrLostConfig, got, config)
	}
	return got&bitOS != 0, nil
}

func (d *Dev) write(reg byte, value uint16) error {
	d.w[0] = reg
	binary.BigEndian.PutUint16(d.w[1:], value)
	return d.c.Tx(d.w[:], nil)
}

func (d *Dev) read(reg byte) (uint16, error) {
	d.w[0] = reg
	if err := d.c.Tx(d.w[:1], d.r[:]); err != nil {
		return 0, err
	}
	return binary.BigEndian.Uint16(d.r[:]), nil
}

var _ conn.Resource = (*Dev)(nil)
