package max31865

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"bayward/sensors/converter"
)

// The registers (data sheet, table 1) are read in one transfer from the first on.
const (
	regConfig    = 0x00
	writeConfig  = 0x80
	numRegisters = 8
)

// Fields of the configuration (table 2).
const (
	bitBias   = 1 << 7
	bitOnce   = 1 << 5 // clears itself
	bitThree  = 1 << 4
	testWires = 0b01 << 2 // clears itself when the test has ended
	testMask  = 0b11 << 2
	bitClear  = 1 << 1 // clears itself
	bit50Hz   = 1 << 0
	keeps     = bitBias | bitThree | bit50Hz
)

// Bits of the fault status (table 7).
const (
	faultOpen  = 0b0011_1000 // REFIN- or RTDIN- beside 0.85 of the bias: FORCE- is open
	faultVolts = 1 << 2      // an input is above the supply or below ground
)

const (
	clock    = physic.MegaHertz // a fifth of the fastest
	codes    = 1 << 15
	biasTime = 12 * time.Millisecond // ten time constants of the input filter, 10 nF for a Pt1000 to 100 nF for a Pt100, and 1 ms
	testTime = time.Millisecond      // of the wires: 0.6 ms at most (table 3)
	once50Hz = 66 * time.Millisecond // of one conversion, at most (electrical characteristics)
	once60Hz = 55 * time.Millisecond
	margin   = 2 * time.Millisecond
)

// The errors of a reading, beside those of package converter.
var (
	// ErrOpen: a wire of the element is broken, or the element is.
	ErrOpen = errors.New("wire broken")
	// ErrShort: the element's wires touch.
	ErrShort = errors.New("wires touch")
	// ErrImplausible: outside MinC to MaxC, or a foreign voltage on the element.
	ErrImplausible = errors.New("outside the element's range")
)

// The range that is believed, °C: that of the other thermometers of a bay.
const (
	MinC = -55
	MaxC = 125
)

// Opts are the settings of a Dev.
type Opts struct {
	// NominalOhm is the element's resistance at 0 °C: 100 or 1000.
	NominalOhm float64
	// ReferenceOhm is the board's reference resistor: about four times NominalOhm.
	ReferenceOhm float64
	// Wires of the element: 2, 3 or 4.
	Wires int
	// MainsHz is what the filter suppresses: 50 or 60.
	MainsHz int
	// Wait returns after d, or with the context's error when that ends first.
	// Nil waits in real time.
	Wait func(ctx context.Context, d time.Duration) error
}

// Dev is one MAX31865. It is safe for use by several goroutines.
type Dev struct {
	o    Opts
	c    spi.Conn
	busy converter.Lock // held over a reading
}

// New prepares a chip at a port. It does not talk to it. The error is about the options.
func New(p spi.Port, o *Opts) (*Dev, error) {
	switch {
	case p == nil || o == nil:
		return nil, errors.New("max31865: no port or options")
	case !slices.Contains([]int{2, 3, 4}, o.Wires) || !slices.Contains([]int{50, 60}, o.MainsHz):
		return nil, fmt.Errorf("max31865: %d wires at %d Hz: must be 2, 3 or 4 at 50 or 60", o.Wires, o.MainsHz)
	case !(o.NominalOhm > 0) || !(o.ReferenceOhm > 1.6*o.NominalOhm): // 125 °C has 1.48 of it
		return nil, fmt.Errorf("max31865: %g Ω at 0 °C against a reference of %g Ω", o.NominalOhm, o.ReferenceOhm)
	}
	c, err := p.Connect(clock, spi.Mode1, 8)
	if err != nil {
		return nil, fmt.Errorf("max31865: %w", err)
	}
	d := &Dev{o: *o, c: c, busy: converter.NewLock()}
	if d.o.Wait == nil {
		d.o.Wait = converter.RealWait
	}
	return d, nil
}

// String returns the port, such as "MAX31865{SPI0.0}".
func (d *Dev) String() string { return fmt.Sprintf("MAX31865{%s}", d.c) }

// Halt switches the bias off.
func (d *Dev) Halt() error { return d.write(0) }

// Read converts once and returns the temperature, MinC to MaxC. It takes about 80 ms.
// Errors wrap ErrOpen, ErrShort, ErrImplausible, converter.ErrNoAnswer, ErrBusStuck,
// ErrNotReady, ErrLostConfig, ErrCorrupted or the context's error.
func (d *Dev) Read(ctx context.Context) (physic.Temperature, error) {
	if err := d.busy.Take(ctx); err != nil {
		return 0, fmt.Errorf("%s: %w", d, err)
	}
	defer d.busy.Free()
	code, err := d.convert(ctx)
	err = errors.Join(err, d.write(0))
	if err != nil {
		return 0, fmt.Errorf("%s: %w", d, err)
	}
	c, err := Celsius(float64(code) / codes * d.o.ReferenceOhm / d.o.NominalOhm)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", d, err)
	}
	return physic.ZeroCelsius + physic.Temperature(math.Round(c*1e9))*physic.NanoKelvin, nil
}

func (d *Dev) convert(ctx context.Context) (uint16, error) {
	config, once := byte(bitBias), once60Hz
	if d.o.MainsHz == 50 {
		config, once = config|bit50Hz, once50Hz
	}
	if d.o.Wires == 3 {
		config |= bitThree
	}
	var r [numRegisters]byte
	for _, step := range []struct {
		also byte
		wait time.Duration
		read bool // a later write would hide a test that has not ended
	}{{bitClear, biasTime, false}, {testWires, testTime, true}, {bitOnce, once + margin, true}} {
		if err := d.write(config | step.also); err != nil {
			return 0, err
		}
		if err := d.o.Wait(ctx, step.wait); err != nil {
			return 0, fmt.Errorf("wait for the chip: %w", err)
		}
		if !step.read {
			continue
		}
		var err error
		if r, err = d.registers(config); err != nil {
			return 0, err
		}
	}
	return judge(r)
}

// registers reads all registers and checks those whose content is known.
func (d *Dev) registers(config byte) ([numRegisters]byte, error) {
	var w, r [numRegisters + 1]byte
	w[0] = regConfig
	if err := d.c.Tx(w[:], r[:]); err != nil {
		return [numRegisters]byte{}, fmt.Errorf("%w: %w", converter.ErrBusStuck, err)
	}
	out := [numRegisters]byte(r[1:])
	switch {
	case bytes.Count(out[:], []byte{0xff}) == numRegisters:
		return out, fmt.Errorf("%w: every bit is 1", converter.ErrNoAnswer)
	case out == [numRegisters]byte{}:
		return out, fmt.Errorf("%w: every bit is 0; the data line is held low", converter.ErrBusStuck)
	case [4]byte(out[3:7]) != [4]byte{0xff, 0xff, 0, 0}:
		return out, fmt.Errorf("%w: thresholds % x, must be 0xffff and 0x0000 as after power-on", converter.ErrCorrupted, out[3:7])
	case out[0]&keeps != config&keeps:
		return out, fmt.Errorf("%w: configuration %#02x, must be %#02x", converter.ErrLostConfig, out[0], config)
	case out[0]&testMask != 0:
		return out, fmt.Errorf("%w: the test of the wires", converter.ErrNotReady)
	}
	return out, nil
}

// judge returns the code of the resistance over the reference.
func judge(r [numRegisters]byte) (uint16, error) {
	code := (uint16(r[1])<<8 | uint16(r[2])) >> 1
	switch faults := r[7]; {
	case faults&faultOpen != 0 || code == codes-1:
		return 0, fmt.Errorf("%w: fault status %#02x, code %d", ErrOpen, faults, code)
	case faults&faultVolts != 0:
		return 0, fmt.Errorf("%w: a voltage from outside is on its wires", ErrImplausible)
	}
	return code, nil
}

func (d *Dev) write(config byte) error {
	if err := d.c.Tx([]byte{writeConfig, config}, make([]byte, 2)); err != nil {
		return fmt.Errorf("%w: write configuration: %w", converter.ErrBusStuck, err)
	}
	return nil
}

// The coefficients of IEC 60751, section 4.2 (formulas 1 and 2).
const (
	coefA = 3.9083e-3
	coefB = -5.775e-7
	coefC = -4.183e-12
)

// shortRatio is half of what an element has at -55 °C.
const shortRatio = 0.39

// openRatio is more than an element has at 300 °C.
const openRatio = 2.2

// Celsius returns the temperature of an element whose resistance is ratio times that at
// 0 °C. Errors are ErrShort, ErrOpen and ErrImplausible.
func Celsius(ratio float64) (float64, error) {
	switch {
	case !(ratio >= shortRatio):
		return 0, fmt.Errorf("%w: %.3f of the resistance at 0 °C", ErrShort, ratio)
	case ratio > openRatio:
		return 0, fmt.Errorf("%w: %.3f times the resistance at 0 °C", ErrOpen, ratio)
	}
	c := (-coefA + math.Sqrt(coefA*coefA-4*coefB*(1-ratio))) / (2 * coefB)
	for range 4 { // below 0 °C the formula has another term; Newton's method
		if c >= 0 {
			break
		}
		value := 1 + coefA*c + coefB*c*c + coefC*(c-100)*c*c*c
		slope := coefA + 2*coefB*c + coefC*(4*c*c*c-300*c*c)
		c -= (value - ratio) / slope
	}
	if c < MinC || c > MaxC {
		return 0, fmt.Errorf("%w: %.1f °C, must be %d to %d", ErrImplausible, c, MinC, MaxC)
	}
	return c, nil
}

var _ conn.Resource = (*Dev)(nil)
