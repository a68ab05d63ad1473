package level

import "errors"

// Span is what a probe proves: the level is LowMM or higher and HighMM or lower,
// in millimetres above the plate tops.
type Span struct{ LowMM, HighMM float64 }

// FloorMM and CeilingMM mean "no bound" where a rod shows only "below" or only
// "above": no cell is so deep or so tall that its level could be there in service.
// They are finite so that the middle of a span is a number.
const (
	FloorMM   = -50.0
	CeilingMM = 100.0
)

// Why a probe shows no level. The errors have no further text, so that a reading
// does not allocate; the caller knows the voltage.
var (
	// ErrOpen: a wire is broken; also a transmitter's own low failure signal.
	ErrOpen = errors.New("wire broken")
	// ErrShort: the wires touch.
	ErrShort = errors.New("wires shorted")
	// ErrOverRange: more current than a healthy transmitter sends; also its own
	// high failure signal.
	ErrOverRange = errors.New("current above the range")
	// ErrImplausible: a voltage that belongs to no state, or to two.
	ErrImplausible = errors.New("voltage matches no state of the probe")
	// ErrContradictory: a rod is wet above one that is dry.
	ErrContradictory = errors.New("an upper rod is wet and a lower one dry")
)
