// Package electrolyte holds the electrochemistry of a vented lead-acid cell:
// published formulas with their constants, no state, no input or output.
//
// Every figure is for one 2 V cell unless its name says otherwise. Units are in
// the names: V volts, A amperes, Ah ampere-hours, C degrees Celsius, ML
// millilitres, L litres, MM millimetres, CM2 square centimetres. Specific
// gravity (sg25) is the density of the acid at 25 °C in g/mL, that is against
// water at 4 °C. Hydrometers marked against water at 25 °C or at 60 °F read up
// to 0.004 higher; store the scale with the value where it matters.
//
// Range. Three ways of saying "out of range", each named in the function's
// comment, none of them silent:
//
//   - functions off the tick path return an error that wraps [ErrRange];
//   - functions on the tick path return NaN, or an ok that is false, where no
//     careful answer exists;
//   - the others clamp to their range, and [InTemperatureRange] and
//     [InGassingRange] tell whether that happened.
//
// A NaN that goes in comes out, save where a comment promises a careful answer
// instead. Functions on the tick path do not allocate.
//
// Traps. Voltage says little about charge until the cell has rested for hours.
// The gassing law is a fit over many batteries: good for a balance over weeks,
// not for one evening. Ventilation figures are inputs to a competent person's
// design, never the design; local codes rule.
//
// A source marked "from memory" was not read again while this was written.
package electrolyte

import "errors"

// ErrRange is wrapped by every error about a value outside the range that the
// source of a formula covers.
var ErrRange = errors.New("outside the range of the published formula")

// Temperature range of the clamped formulas, °C. Electrolyte of a pack that may
// be charged lies well inside it.
const (
	MinModelC = -20.0
	MaxModelC = 60.0
)

// ReferenceC is the temperature to which gravities and voltages are referred, °C.
const ReferenceC = 25.0

// InTemperatureRange tells whether electrolyteC lies in [MinModelC, MaxModelC],
// so that no formula clamps it. NaN is out of range.
func InTemperatureRange(electrolyteC float64) bool {
	return electrolyteC >= MinModelC && electrolyteC <= MaxModelC
}

// clamp holds x in [low, high]; NaN stays NaN.
func clamp(x, low, high float64) float64 { return min(max(x, low), high) }
