package level

import (
	"fmt"
	"math"
)

// The bands of NAMUR NE 43, mA: at FailLowMA or less and at FailHighMA or more
// the transmitter or its wire has failed; ValidLowMA to ValidHighMA is the
// measurement with its permitted overshoot. Between them a value is neither.
const (
	FailLowMA   = 3.6
	ValidLowMA  = 3.8
	ValidHighMA = 20.5
	FailHighMA  = 21.0
)

// Transmitter reads a 4–20 mA signal as the voltage over a shunt.
type Transmitter struct {
	ShuntOhm float64
	LowMM    float64 // level at 4 mA
	HighMM   float64 // level at 20 mA
}

// NewTransmitter checks the settings: a shunt above 0, and HighMM above LowMM.
func NewTransmitter(t Transmitter) (*Transmitter, error) {
	switch {
	case !(t.ShuntOhm > 0) || math.IsInf(t.ShuntOhm, 0):
		return nil, fmt.Errorf("level: shunt of %g ohm, want more than 0", t.ShuntOhm)
	case !(t.HighMM > t.LowMM) || math.IsInf(t.HighMM-t.LowMM, 0):
		return nil, fmt.Errorf("level: %g mm at 20 mA is not above %g mm at 4 mA", t.HighMM, t.LowMM)
	}
	return &t, nil
}

// Read is the level that a voltage over the shunt stands for; both bounds are
// equal. The error is ErrOpen, ErrOverRange or ErrImplausible. It does not
// allocate.
func (t *Transmitter) Read(volts float64) (Span, error) {
	switch mA := volts / t.ShuntOhm * 1000; {
	case mA <= -ValidLowMA: // wired the wrong way round
		return Span{}, ErrImplausible
	case mA <= FailLowMA:
		return Span{}, ErrOpen
	case mA >= FailHighMA:
		return Span{}, ErrOverRange
	case mA >= ValidLowMA && mA <= ValidHighMA:
		mm := t.LowMM + (mA-4)/(20-4)*(t.HighMM-t.LowMM)
		return Span{mm, mm}, nil
	default:
		return Span{}, ErrImplausible
	}
}
