// Package reading is one measured value with its time and its fault.
//
// An unknown value is never zero and never "the last one": it carries the reason
// why it is unknown. The zero Reading is "missing".
package reading

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// Fault is the reason why a reading cannot be used. The zero value means that
// nothing was ever read, so a forgotten field blocks the charge.
type Fault uint8

// The faults, from "no reading" to "a reading that is not credible".
const (
	Missing       Fault = iota // nothing was read: no such sensor, or not yet
	None                       // no fault: the value is good
	Open                       // the wire or the sensor is broken
	Short                      // the wire or the sensor is shorted
	OverRange                  // the converter is at the end of its range
	Implausible                // the value is outside what the sensor can show
	Contradictory              // parts of one sensor contradict each other
	NoAnswer                   // the device did not acknowledge its address
	BusStuck                   // the bus failed, not the device
	Timeout                    // an answer was due and did not come in time
	BadCRC                     // the answer was corrupted
	PowerOn                    // the sensor shows its power-on value, not a measurement
	Stale                      // the last good value is too old
	NotMoving                  // the value did not move when it must, see agent/alive
	Exchanged                  // it is another sensor's: two are exchanged
	ZeroOff                    // a current is shown while none can flow, see agent/ammeter
	Noisy                      // the value scatters too far to be used
	Film                       // a level probe between wet and dry: it drains, or foam is on it
	Crust                      // the same for longer than a film lasts
	Corroded                   // a level probe between dry and broken
	NoPulse                    // the test pulses do not reach a level probe
	Leaking                    // another circuit drives a current through a level probe
	TwoMetals                  // the electrodes of a level probe have a voltage of their own
	Bridged                    // a level probe has the resistance of a wet one, but no electrodes in acid
	numFaults
)

var faultNames = [numFaults]string{
	"missing", "none", "open", "short", "over-range", "implausible", "contradictory",
	"no-answer", "bus-stuck", "timeout", "bad-crc", "power-on", "stale",
	"not-moving", "exchanged", "zero-off", "noisy",
	"film", "crust", "corroded", "no-pulse", "leaking", "two-metals", "bridged",
}

// String returns the fault's name in metrics and messages, such as "no-answer".
func (f Fault) String() string {
	if f >= numFaults {
		return fmt.Sprintf("fault-%d", uint8(f))
	}
	return faultNames[f]
}

// ParseFault finds a fault by its name; ok is false for an unknown name.
func ParseFault(name string) (f Fault, ok bool) {
	for f := range numFaults {
		if faultNames[f] == name {
			return f, true
		}
	}
	return Missing, false
}

// Faults lists every fault that a sensor can report, in a fixed order: all but None
// and Missing.
func Faults() []Fault {
	all := make([]Fault, 0, numFaults)
	for f := Open; f < numFaults; f++ {
		all = append(all, f)
	}
	return all
}

// Reading is one measured value. Value is in the unit of the field that holds the
// reading; At is the monotonic time of the measurement, on the same clock as the
// tick that uses it.
type Reading struct {
	Value float64
	At    time.Duration
	Fault Fault
}

// Good returns a usable reading.
func Good(value float64, at time.Duration) Reading {
	return Reading{Value: value, At: at, Fault: None}
}

// Bad returns a reading that was attempted at the given time and failed.
func Bad(f Fault, at time.Duration) Reading { return Reading{At: at, Fault: f} }

// OK reports whether the value may be used.
func (r Reading) OK() bool { return r.Fault == None }

// Shown reports whether the sensor gave the value, believed or not. That is enough to see
// a danger by, and never enough to rule one out.
func (r Reading) Shown() bool {
	switch r.Fault {
	case None, NotMoving, Exchanged, ZeroOff, Noisy:
		return true
	default:
		return false
	}
}

// Aged returns the reading as it counts at a later time. A good value older than
// limit becomes Stale. So does one from the future: a clock that disagrees proves
// nothing. A value that is not finite becomes Implausible.
func (r Reading) Aged(now, limit time.Duration) Reading {
	switch {
	case r.Fault != None:
	case !Finite(r.Value):
		r.Fault = Implausible
	case tooOld(r.At, now, limit):
		r.Fault = Stale
	}
	return r
}

// tooOld also reports true for a time from the future, and for one so old that the
// age overflows.
func tooOld(at, now, limit time.Duration) bool {
	age := now - at
	return age > limit || age < 0 || at > now
}

// Finite tells whether a value is a number: infinity less itself is not 0, and NaN
// equals nothing.
func Finite(v float64) bool { return v-v == 0 }

// Round rounds a value to n digits after the point, for display; decisions never
// use the rounded value. It is 0, never -0.
func Round(v float64, n int) float64 {
	p := math.Pow10(n)
	return math.Round(v*p)/p + 0
}

// Digits formats a value for people, with n digits after the point. A value that
// rounds to zero is 0, never -0.
func Digits(v float64, n int) string {
	text := strconv.FormatFloat(v, 'f', n, 64)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	return text
}

// Level is a reading of the electrolyte level in one cell, in millimetres above the
// plate tops (negative: below them). A probe that only reports "above" or "below" a
// height proves a span, so the reading has two bounds: the level is at least LowMM
// and at most HighMM. For a continuous probe they are equal.
type Level struct {
	LowMM, HighMM float64
	At            time.Duration
	Fault         Fault
}

// LevelBetween returns a usable reading of the level. Bounds in the wrong order are
// a contradiction.
func LevelBetween(lowMM, highMM float64, at time.Duration) Level {
	if !(lowMM <= highMM) {
		return Level{At: at, Fault: Contradictory}
	}
	return Level{LowMM: lowMM, HighMM: highMM, At: at, Fault: None}
}

// Usable reports whether the bounds may be used.
func (c Level) Usable() bool { return c.Fault == None }

// Aged does for a level what [Reading.Aged] does for a reading.
func (c Level) Aged(now, limit time.Duration) Level {
	switch {
	case c.Fault != None:
	case !Finite(c.LowMM) || !Finite(c.HighMM) || c.LowMM > c.HighMM:
		c.Fault = Implausible
	case tooOld(c.At, now, limit):
		c.Fault = Stale
	}
	return c
}

// MidMM returns the middle of the span, the best single figure for a picture.
// Decisions do not use it.
func (c Level) MidMM() float64 { return (c.LowMM + c.HighMM) / 2 }
