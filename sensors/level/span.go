package level

import "errors"

// Span is what a probe proves: the electrolyte stands at LowMM or higher and at
// HighMM or lower, in millimetres above the plate tops.
type Span struct{ LowMM, HighMM float64 }

// FloorMM and CeilingMM stand for "no bound" where a rod says only "below" or
// only "above": no cell is so deep or so tall that the electrolyte could stand
// there in service. They are finite so that the middle of a span is a number.
const (
	FloorMM   = -50.0
	CeilingMM = 100.0
)

// Why a probe does not tell a level. The errors come without further text, so
// that a reading costs no allocation; the voltage is known to the caller.
var (
	// ErrOpen: a wire is broken; at a transmitter also its own signal for a
	// failure downwards.
	ErrOpen = errors.New("wire broken")
	// ErrShort: the wires touch.
	ErrShort = errors.New("wires shorted")
	// ErrOverRange: more current than a transmitter sends when it is well; also
	// its own signal for a failure upwards.
	ErrOverRange = errors.New("current above the range")
	// ErrImplausible: a voltage that belongs to no state, or to two.
	ErrImplausible = errors.New("voltage fits no state of the probe")
	// ErrContradictory: a rod is wet above one that is dry.
	ErrContradictory = errors.New("an upper rod is wet and a lower one dry")
)
