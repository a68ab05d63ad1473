package level

import (
	"fmt"
	"math"
)

// The bands of NAMUR NE 43, mA: at FailLowMA or less and at FailHighMA or more
// the transmitter or its wire has failed; ValidLowMA to ValidHighMA is the
// measurement with its permitted overshoot. A value in between is neither.
const (
	FailLowMA   = 3.6
	ValidLowMA  = 3.8
	ValidHighMA = 20.5
	FailHighMA  = 21.0
)

// transmitterRow describes the transmitter.
var transmitterRow = row{
	kind:     FourTwentyMA,
	about:    "A transmitter with shunt_ohm and the fault bands of NAMUR NE 43; low_mm at 4 mA, high_mm at 20 mA.",
	measures: true,
	keys: []Key{
		{"shunt_ohm", 1, 1000, "ohm", false, func(s *Settings) *float64 { return &s.ShuntOhm }},
		{"low_mm", -300, 0, "mm at 4 mA; bare plates must be seen", false, func(s *Settings) *float64 { return &s.LowMM }},
		{"high_mm", 1, 500, "mm at 20 mA", false, func(s *Settings) *float64 { return &s.HighMM }},
		offsetKey,
	},
	opened: ErrOpen, shorted: ErrOverRange, standIn: failureSignal,
	relations: []Relation{{"shunt_ohm", nil, shuntTooLarge}},
	open: func(s *Settings) (Probe, error) {
		return NewTransmitter(Transmitter{ShuntOhm: s.ShuntOhm, LowMM: s.LowMM + s.OffsetMM, HighMM: s.HighMM + s.OffsetMM})
	},
}

// The loop of the wiring guide and the current of the test. The current is above
// FailHighMA also with a supply that is a tenth too low, and within the converter's
// supply of 3.3 V also without the limiting resistor (100 ohm shunt).
const (
	loopSupplyV = 24.0
	loopOhm     = 220.0 // limits the current of a short
	testMA      = 24.0
	testMostMA  = 32.0
)

// failureSignal: a short would put the supply across the shunt and on the
// converter's input. A resistor draws just enough to be a failure.
func failureSignal(s *Settings) StandIn {
	return StandIn{Ohm: loopSupplyV/testMA*1000 - loopOhm - s.ShuntOhm, HighV: testMostMA / 1000 * s.ShuntOhm}
}

// shuntTooLarge: the input must reach FailHighMA, or a failure would look like a
// measured value.
func shuntTooLarge(s *Settings, topV float64) *Unfit {
	if most := topV / FailHighMA * 1000; s.ShuntOhm > most {
		return &Unfit{"shunt", []any{math.Floor(most)}}
	}
	return nil
}

// Transmitter reads a 4–20 mA signal as the voltage across a shunt.
type Transmitter struct {
	ShuntOhm float64
	LowMM    float64 // level at 4 mA
	HighMM   float64 // level at 20 mA
}

// NewTransmitter checks the settings: a shunt above 0, and HighMM above LowMM.
func NewTransmitter(t Transmitter) (*Transmitter, error) {
	switch {
	case !(t.ShuntOhm > 0) || math.IsInf(t.ShuntOhm, 0):
		return nil, fmt.Errorf("level: shunt of %g ohm, must be more than 0", t.ShuntOhm)
	case !(t.HighMM > t.LowMM) || math.IsInf(t.HighMM-t.LowMM, 0):
		return nil, fmt.Errorf("level: %g mm at 20 mA is not above %g mm at 4 mA", t.HighMM, t.LowMM)
	}
	return &t, nil
}

// Read returns the level for the voltage across the shunt; both bounds are equal.
// The error is ErrOpen, ErrOverRange or ErrImplausible. It does not allocate.
func (t *Transmitter) Read(s *Signal) (Span, error) {
	switch mA := s.Volts / t.ShuntOhm * 1000; {
	case mA <= -ValidLowMA: // wired backwards
		return Span{}, ErrImplausible
	case mA <= FailLowMA:
		return Span{}, ErrOpen
	case mA >= FailHighMA:
		return Span{}, ErrOverRange
	case mA >= ValidLowMA && mA <= ValidHighMA:
		mm := t.LevelMM(s.Volts)
		return Span{mm, mm}, nil
	default:
		return Span{}, ErrImplausible
	}
}

// LevelMM returns the height on the line through 4 and 20 mA.
func (t *Transmitter) LevelMM(volts float64) float64 {
	return t.LowMM + (volts/t.ShuntOhm*1000-4)/(20-4)*(t.HighMM-t.LowMM)
}

// MMPerV returns the slope of that line.
func (t *Transmitter) MMPerV() float64 { return (t.HighMM - t.LowMM) / 0.016 / t.ShuntOhm }

var _ Scale = (*Transmitter)(nil)
