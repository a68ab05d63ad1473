// Package electrolyte holds the electrochemistry of a vented lead-acid cell:
// published formulas and their constants, with no state, input or output.
//
// Every figure is for one 2 V cell unless its name says otherwise. Names carry the
// units: V volts, A amperes, Ah ampere-hours, C degrees Celsius, ML millilitres, L
// litres, MM millimetres, CM2 square centimetres. Specific gravity (sg25) is the
// density of the acid at 25 °C in g/mL, that is, relative to water at 4 °C.
// Hydrometers marked relative to water at 25 °C or at 60 °F read up to 0.004
// higher; store the scale with the value where it matters.
//
// Range. A function handles an input out of range in one of three ways, named in
// its comment and never silent:
//
//   - functions off the tick path return an error that wraps [ErrRange];
//   - functions on the tick path return NaN, or ok false, where there is no safe
//     answer;
//   - the others clamp to their range; [InTemperatureRange] and [InGassingRange]
//     report whether a value was clamped.
//
// NaN in gives NaN out, unless the comment promises a safe answer instead.
// Functions on the tick path do not allocate.
//
// Traps. Voltage says little about charge until the cell has rested for hours. The
// gassing law is a fit over many batteries: good for a balance over weeks, not for
// one evening. Ventilation figures are inputs to a qualified electrician's design,
// never the design; local codes rule.
//
// A source marked "from memory" was not checked again when this was written.
package electrolyte

import "errors"

// ErrRange is wrapped by every error about a value outside the range of a formula's
// source.
var ErrRange = errors.New("outside the range of the published formula")

// Temperature range of the clamped formulas, °C. The electrolyte of a pack that may
// be charged is well inside it.
const (
	MinModelC = -20.0
	MaxModelC = 60.0
)

// ReferenceC is the temperature to which gravities and voltages are referred, °C.
const ReferenceC = 25.0

// InTemperatureRange reports whether electrolyteC is within [MinModelC, MaxModelC],
// so that no formula clamps it. NaN is out of range.
func InTemperatureRange(electrolyteC float64) bool {
	return electrolyteC >= MinModelC && electrolyteC <= MaxModelC
}

// clamp limits x to [low, high]; NaN stays NaN.
func clamp(x, low, high float64) float64 { return min(max(x, low), high) }
