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
	// ErrFilm: between wet and dry. A film that drains, foam, or crust.
	ErrFilm = errors.New("between wet and dry: a film, foam or crust on the probe")
	// ErrCrust: between wet and dry for longer than any film lasts. Only a caller that
	// knows the time can tell it from ErrFilm.
	ErrCrust = errors.New("between wet and dry for minutes: crust on the probe, clean it")
	// ErrCorroded: more resistance than a dry probe, less than a broken wire.
	ErrCorroded = errors.New("between dry and broken: a corroded connection")
	// ErrNoPulse: no test pulse reaches the probe's terminals.
	ErrNoPulse = errors.New("no test pulse at the probe's terminals")
	// ErrForeign: a direct current through the probe that is not the pulses'.
	ErrForeign = errors.New("another circuit drives current through the probe: a leak to the pack")
	// ErrBackVoltage: the electrodes are of two metals, or direct current has turned one
	// into lead dioxide.
	ErrBackVoltage = errors.New("back voltage above 1 V: electrodes of two metals, or formed by direct current")
	// ErrNoBackVoltage: the resistance of a wet rod without the back voltage that
	// electrodes in acid have.
	ErrNoBackVoltage = errors.New("reads as wet without a back voltage: metal or a resistor bridges the probe")
	// ErrContradictory: a rod is wet above one that is dry.
	ErrContradictory = errors.New("an upper rod is wet and a lower one dry")
)
