package modbus

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"
)

// The types of a value.
const (
	Uint16  = "uint16"
	Int16   = "int16"
	Uint32  = "uint32"
	Int32   = "int32"
	Float32 = "float32"
	Bit     = "bit"
)

// Place is where a value is and how it is read: value = (register - Zero) * Scale.
type Place struct {
	Unit         uint8
	Table        string
	Address      uint16
	Type         string
	LowWordFirst bool // of two words; usual is the high one
	Bit          uint // of a register, with the type bit
	Scale, Zero  float64
	Low, High    float64 // of the value; outside it is not believed
	// FaultValues are values of the register that mean a failure. Not a number always
	// does.
	FaultValues []float64

	Status  *Status
	Counter *Counter
	Age     *Age
}

// Status is a register of the same table that shows whether the value may be used.
type Status struct{ Address, Good uint16 }

// Counter is a register of the same table that changes while the device lives.
type Counter struct {
	Address uint16
	Within  time.Duration
}

// Age is a register of the same table with the age of the value.
type Age struct {
	Address uint16
	Unit    time.Duration
}

// Point is one value of a device. It is for one goroutine at a time.
type Point struct {
	Place

	line    *Line
	counted bool
	count   uint16
	movedAt time.Duration
}

// NewPoint returns a value on a line.
func NewPoint(l *Line, p Place) *Point { return &Point{Place: p, line: l} }

// String names the value.
func (p *Point) String() string {
	return fmt.Sprintf("%s, unit %d, %s %d", p.line, p.Unit, p.Table, p.Address)
}

// Read reads the value, in the unit of what is measured, and its age when the device
// knows it, else 0.
func (p *Point) Read(ctx context.Context) (v float64, age time.Duration, err error) {
	v, age, err = p.read(ctx)
	if err != nil {
		return 0, 0, fmt.Errorf("%s: %w", p, err)
	}
	return v, age, nil
}

func (p *Point) read(ctx context.Context) (v float64, age time.Duration, err error) {
	if err := p.lives(ctx); err != nil {
		return 0, 0, err
	}
	if p.Age != nil {
		words, err := p.line.read(ctx, p.Unit, p.Table, p.Age.Address, 1)
		if err != nil {
			return 0, 0, fmt.Errorf("read the value's age: %w", err)
		}
		age = time.Duration(words[0]) * p.Age.Unit
	}
	words, err := p.line.read(ctx, p.Unit, p.Table, p.Address, p.words())
	if err != nil {
		return 0, 0, err
	}
	v, err = p.value(words)
	return v, age, err
}

// lives reads what shows that the device works.
func (p *Point) lives(ctx context.Context) error {
	if s := p.Status; s != nil {
		words, err := p.line.read(ctx, p.Unit, p.Table, s.Address, 1)
		if err != nil {
			return fmt.Errorf("read status: %w", err)
		}
		if words[0] != s.Good {
			return fmt.Errorf("%w: status %d, must be %d", ErrDevice, words[0], s.Good)
		}
	}
	if p.Counter == nil {
		return nil
	}
	words, err := p.line.read(ctx, p.Unit, p.Table, p.Counter.Address, 1)
	if err != nil {
		return fmt.Errorf("read counter: %w", err)
	}
	now := p.line.o.Now()
	if !p.counted || words[0] != p.count {
		p.counted, p.count, p.movedAt = true, words[0], now
	}
	if still := now - p.movedAt; still > p.Counter.Within {
		return fmt.Errorf("%w: %d for %v", ErrFrozen, p.count, still)
	}
	return nil
}

// words is the number of words of the value.
func (p *Point) words() uint16 {
	switch p.Type {
	case Uint32, Int32, Float32:
		return 2
	}
	return 1
}

// least is the smallest number other than 0 that a device sends as a 32-bit number: the
// words of a usual one in the wrong order are often far smaller (IEEE 754: the exponent
// is in the high word).
const least = 1e-9

// value decodes the words.
func (p *Point) value(words []uint16) (float64, error) {
	raw := p.raw(words)
	if math.IsNaN(raw) || slices.Contains(p.FaultValues, raw) {
		return 0, fmt.Errorf("%w: the register holds %g", ErrDevice, raw)
	}
	if p.Type == Float32 && raw != 0 && math.Abs(raw) < least {
		return 0, fmt.Errorf("%w: the register holds %g: is the order of its two words wrong?", ErrImplausible, raw)
	}
	v := (raw - p.Zero) * p.Scale
	if !(v >= p.Low && v <= p.High) {
		return 0, fmt.Errorf("%w: %.4g from the register's %.6g, must be %g to %g", ErrImplausible, v, raw, p.Low, p.High)
	}
	return v, nil
}

// raw is the number in the register.
func (p *Point) raw(words []uint16) float64 {
	one := words[0]
	if len(words) == 1 {
		switch p.Type {
		case Bit:
			return float64(one >> p.Bit & 1)
		case Int16:
			return float64(int16(one))
		}
		return float64(one)
	}
	high, low := words[0], words[1]
	if p.LowWordFirst {
		high, low = low, high
	}
	two := uint32(high)<<16 | uint32(low)
	switch p.Type {
	case Int32:
		return float64(int32(two))
	case Float32:
		return float64(math.Float32frombits(two))
	}
	return float64(two)
}
