package ads1118

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	registers "bayward/sensors/ads1118/chip"

	"bayward/sensors/converter"
)

// Fields of the config register (data sheet 9.6.2, "Config Register").
const (
	bitStart    = 1 << 15 // reads 0
	shiftMux    = 12
	shiftGain   = 9
	bitSingle   = 1 << 8
	shiftRate   = 5
	bitSense    = 1 << 4 // the temperature sensor instead of the inputs
	bitPullUp   = 1 << 3
	valid       = 0b01 << 1 // the register is written only with these bits
	validMask   = 0b11 << 1
	reserved    = 1
	configMask  = 0xffff &^ (bitStart | validMask | reserved) // what reads back as written
	codes       = 1 << 15
	codesPerK   = 32 * 4 // of the temperature: 0.03125 °C in the upper 14 bits (data sheet 9.3.4)
	minK, maxK  = -40, 125
	senseUnused = 0b11 // lower bits of a temperature, always 0
)

// clock is a quarter of the fastest (data sheet 7.6, "Serial Interface").
const clock = physic.MegaHertz

// Timing of one conversion.
const (
	wakeUp    = 30 * time.Microsecond // from power-down to the start of a conversion (data sheet 9.4.2.1)
	margin    = 70 * time.Microsecond
	slowShare = 10 // the oscillator may be slow by 1/10 (data sheet 7.5)
)

var (
	ranges = []float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256} // V, by the PGA field
	rates  = []int{8, 16, 32, 64, 128, 250, 475, 860}            // by the DR field
	pairs  = [][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}}            // by the MUX field
)

// Dev is one ADS1118. It is safe for use by several goroutines.
type Dev struct {
	c    spi.Conn
	wait func(context.Context, time.Duration) error
	busy converter.Lock // held over a reading
}

// Opts are the settings of a Dev.
type Opts struct {
	// Wait returns after d, or with the context's error when that ends first.
	// Nil waits in real time.
	Wait func(ctx context.Context, d time.Duration) error
}

// New prepares a chip at a port. It does not talk to it.
func New(p spi.Port, o *Opts) (*Dev, error) {
	if p == nil {
		return nil, errors.New("ads1118: no port")
	}
	c, err := p.Connect(clock, spi.Mode1, 8)
	if err != nil {
		return nil, fmt.Errorf("ads1118: %w", err)
	}
	d := &Dev{c: c, wait: converter.RealWait, busy: converter.NewLock()}
	if o != nil && o.Wait != nil {
		d.wait = o.Wait
	}
	return d, nil
}

// String returns the port, such as "ADS1118{SPI0.0}".
func (d *Dev) String() string { return fmt.Sprintf("ADS1118{%s}", d.c) }

// Halt implements conn.Resource. A single-shot converter powers itself down after
// each conversion.
func (d *Dev) Halt() error { return nil }

// Measure converts once and returns the voltage of a channel, 0 to 3, against ground
// or its pair, within ± the range, in steps of range / 32768. It takes two conversions,
// seldom three. Errors wrap converter.ErrNoAnswer, ErrBusStuck, ErrNotReady,
// ErrOverRange, ErrLostConfig, ErrForeign or the context's error.
func (d *Dev) Measure(ctx context.Context, s converter.Setting) (physic.ElectricPotential, error) {
	if err := Family.Check(s); err != nil {
		return 0, fmt.Errorf("%s: read: %w", d, err)
	}
	if err := d.busy.Take(ctx); err != nil {
		return 0, fmt.Errorf("%s: read: %w", d, err)
	}
	defer d.busy.Free()
	code, err := d.fresh(ctx, s)
	if err == nil && (code == 0x7fff || code == 0x8000) {
		err = fmt.Errorf("%w of ±%g V", converter.ErrOverRange, s.RangeV)
	}
	if err != nil {
		return 0, fmt.Errorf("%s: read channel %d: %w", d, s.Channel, err)
	}
	return physic.ElectricPotential(int16(code)) * converter.Volts(s.RangeV) / codes, nil
}

// fresh returns the code of a conversion that has really happened.
func (d *Dev) fresh(ctx context.Context, s converter.Setting) (uint16, error) {
	period := time.Second / time.Duration(s.Rate)
	before, err := d.convert(ctx, configOf(s)|bitSense, period)
	if err != nil {
		return 0, fmt.Errorf("temperature of the chip: %w", err)
	}
	if k := int(int16(before)) / codesPerK; before&senseUnused != 0 || k < minK || k > maxK {
		return 0, fmt.Errorf("%w: %#04x is no temperature of an ADS1118", converter.ErrForeign, before)
	}
	code, err := d.convert(ctx, configOf(s), period)
	if err != nil || code != before {
		return code, err
	}
	other := s
	other.RangeV = ranges[(slices.Index(ranges, s.RangeV)+1)%len(ranges)]
	again, err := d.convert(ctx, configOf(other), period)
	if err == nil && again == before {
		err = fmt.Errorf("%w: three conversions give %#04x", converter.ErrNotReady, code)
	}
	return code, err
}

func configOf(s converter.Setting) uint16 {
	mux := 4 + s.Channel
	if s.Minus != converter.Ground {
		mux = slices.Index(pairs, [2]int{s.Channel, s.Minus})
	}
	gain, rate := slices.Index(ranges, s.RangeV), slices.Index(rates, s.Rate)
	return uint16(mux<<shiftMux|gain<<shiftGain|rate<<shiftRate) | bitSingle | bitPullUp
}

// convert starts a conversion, waits for its end and reads it.
func (d *Dev) convert(ctx context.Context, config uint16, period time.Duration) (uint16, error) {
	if _, err := d.transfer(config|bitStart|valid|reserved, config); err != nil {
		return 0, fmt.Errorf("start conversion: %w", err)
	}
	if err := d.wait(ctx, period+period/slowShare+wakeUp+margin); err != nil {
		return 0, fmt.Errorf("wait for conversion: %w", err)
	}
	code, err := d.transfer(0, config) // writes nothing: the bits are not valid
	if err != nil {
		return 0, fmt.Errorf("read result: %w", err)
	}
	return code, nil
}

// transfer runs one transfer of 32 bits: the word to be written twice, against the last
// result and the configuration, which must be config.
func (d *Dev) transfer(word, config uint16) (uint16, error) {
	var w, r [4]byte
	binary.BigEndian.PutUint16(w[:], word)
	binary.BigEndian.PutUint16(w[2:], word)
	if err := d.c.Tx(w[:], r[:]); err != nil {
		return 0, fmt.Errorf("%w: %w", converter.ErrBusStuck, err)
	}
	switch got := binary.BigEndian.Uint16(r[2:]); {
	case got == 0xffff:
		return 0, fmt.Errorf("%w: the configuration reads as all ones", converter.ErrNoAnswer)
	case got == 0:
		return 0, fmt.Errorf("%w: the configuration reads as all zeros; the data line is held low", converter.ErrBusStuck)
	case (got^config)&configMask != 0:
		return 0, fmt.Errorf("%w: it reads %#04x, must be %#04x", converter.ErrLostConfig, got&configMask, config)
	}
	return binary.BigEndian.Uint16(r[:]), nil
}

// Family is what the configuration accepts of an ADS1118.
var Family = converter.Family{
	Name: "ads1118", Title: "ADS1118", Bus: converter.SPI, Channels: []converter.Channel{input, input, input, input},
	Pairs: pairs, Rates: rates, DefaultRate: 128, Chip: registers.New,
	Open: func(p converter.Port) (converter.Dev, error) { return New(p.SPI, &Opts{Wait: p.Wait}) },
}

// input: no more than the highest supply can be read (data sheet 7.3).
var input = converter.Channel{Ranges: ranges, DefaultV: 4.096, TopV: 5.5, Steps: codes}

var (
	_ conn.Resource = (*Dev)(nil)
	_ converter.Dev = (*Dev)(nil)
)
