package level

import (
	"fmt"
	"math"
	"math/bits"
)

// The allowances in the bands of a loop's states.
const (
	// MaxPathOhm is the highest resistance of the path through the electrolyte. In
	// clean acid it is a few ohms; the rest allows for crust on the rod. Common
	// practice, no source.
	MaxPathOhm = 1000
	// ShortOhm is the highest resistance between touching wires.
	ShortOhm = 100
	// LeakOhm is the lowest resistance across a broken wire: the converter's
	// input and a damp plug.
	LeakOhm = 1e6
	// SupplyTolerance is the error of excitation and converter together, as a
	// fraction.
	SupplyTolerance = 0.01
	// RodTolerance and LadderTolerance are the tolerances of the resistors of a
	// single rod and of a ladder: ordinary and precision parts.
	RodTolerance    = 0.05
	LadderTolerance = 0.01
)

// MaxRods is the largest number of rods in a ladder.
const MaxRods = 4

// Rod is one electrode.
type Rod struct {
	HeightMM  float64 `yaml:"height_mm"`  // its tip above the plate tops
	SeriesOhm float64 `yaml:"series_ohm"` // resistor between loop and rod, above 0
}

// AlikeError means that two states of a loop have the same voltage.
type AlikeError struct {
	State, Other string // such as "rod 1 wet" and "a short"
	Volts        float64
}

// Error returns a text that names both states.
func (e *AlikeError) Error() string {
	return fmt.Sprintf("level: %s and %s cannot be told apart at %.3f V: resistors too close to each other or to %d ohm",
		e.State, e.Other, e.Volts, MaxPathOhm)
}

// LoopOpts describes a loop's components.
type LoopOpts struct {
	ExcitationV float64 // above 0
	PullOhm     float64 // above 0
	EndOhm      float64 // above 0
	Rods        []Rod   // 1 to MaxRods, lowest first
	Tolerance   float64 // of every resistor, as a fraction: RodTolerance, LadderTolerance
}

// Loop reads the voltage of a supervised loop.
type Loop struct {
	states []state
	spans  [MaxRods + 1]Span // by number of wet rods
	minV   float64
}

// state is one state of a loop, with its range of voltages.
type state struct {
	loV, hiV float64
	name     string
	wet      int   // rods under the electrolyte, if err is nil
	err      error // the error that the state means
}

// NewLoop calculates the voltages of every state. It returns an error if the
// numbers do not make a circuit or the rods are not in order. It returns an
// *AlikeError if a valid state could not be distinguished from another even with
// perfect parts and clean rods.
func NewLoop(o LoopOpts) (*Loop, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	l := &Loop{minV: -SupplyTolerance * o.ExcitationV}
	for wet := 0; wet <= len(o.Rods); wet++ {
		l.spans[wet] = span(o.Rods, wet)
	}
	l.states = append(l.states, state{l.minV, o.volts(ShortOhm, +1), "a short", 0, ErrShort})
	for pattern := range uint(1) << len(o.Rods) {
		l.states = append(l.states, o.pattern(pattern))
	}
	l.states = append(l.states, state{o.volts(LeakOhm, -1), o.ExcitationV * (1 + SupplyTolerance), "a broken wire", 0, ErrOpen})
	return l, l.distinct(o)
}

func (o *LoopOpts) check() error {
	for _, f := range []struct {
		name  string
		value float64
	}{{"excitation", o.ExcitationV}, {"pull resistor", o.PullOhm}, {"end resistor", o.EndOhm}} {
		if !(f.value > 0) || math.IsInf(f.value, 0) {
			return fmt.Errorf("level: %s of %g, want more than 0", f.name, f.value)
		}
	}
	if len(o.Rods) < 1 || len(o.Rods) > MaxRods {
		return fmt.Errorf("level: %d rods, want 1 to %d", len(o.Rods), MaxRods)
	}
	if !(o.Tolerance >= 0 && o.Tolerance < 0.5) {
		return fmt.Errorf("level: tolerance of %g, want 0 to 0.5", o.Tolerance)
	}
	for i, rod := range o.Rods {
		switch {
		case !(rod.SeriesOhm > 0) || math.IsInf(rod.SeriesOhm, 0):
			return fmt.Errorf("level: rod %d: series resistor of %g, must be more than 0", i+1, rod.SeriesOhm)
		case math.IsNaN(rod.HeightMM) || math.IsInf(rod.HeightMM, 0):
			return fmt.Errorf("level: rod %d: height of %g mm, must be a number", i+1, rod.HeightMM)
		case i > 0 && !(rod.HeightMM > o.Rods[i-1].HeightMM):
			return fmt.Errorf("level: rod %d: height of %g mm is not above rod %d", i+1, rod.HeightMM, i)
		}
	}
	return nil
}

// span returns what a number of wet rods proves.
func span(rods []Rod, wet int) Span {
	s := Span{min(FloorMM, rods[0].HeightMM), max(CeilingMM, rods[len(rods)-1].HeightMM)}
	if wet > 0 {
		s.LowMM = rods[wet-1].HeightMM
	}
	if wet < len(rods) {
		s.HighMM = rods[wet].HeightMM
	}
	return s
}

// pattern returns the state in which the rods whose bits are set are wet.
func (o *LoopOpts) pattern(pattern uint) state {
	wet := bits.OnesCount(pattern)
	s := state{
		loV:  o.volts(1/o.siemens(pattern, 1-o.Tolerance, 0), -1),
		hiV:  o.volts(1/o.siemens(pattern, 1+o.Tolerance, MaxPathOhm), +1),
		name: wetRods(pattern),
		wet:  wet,
	}
	if pattern != 1<<wet-1 {
		s.err = ErrContradictory
	}
	return s
}

// wetRods names a pattern, such as "rod 1+2 wet".
func wetRods(pattern uint) string {
	if pattern == 0 {
		return "no rod wet"
	}
	name, sign := "rod", " "
	for i := range MaxRods {
		if pattern>>i&1 != 0 {
			name += fmt.Sprintf("%s%d", sign, i+1)
			sign = "+"
		}
	}
	return name + " wet"
}

// siemens returns the conductance from the node to the return wire, with every
// resistor at the given fraction of its value and the given path through the
// electrolyte.
func (o *LoopOpts) siemens(pattern uint, share, pathOhm float64) float64 {
	g := 1 / (o.EndOhm * share)
	for i, rod := range o.Rods {
		if pattern>>i&1 != 0 {
			g += 1 / (rod.SeriesOhm*share + pathOhm)
		}
	}
	return g
}

// volts returns the node's voltage across a resistance, with pull resistor and
// excitation at the ends of their tolerances that make it lowest (sign −1) or
// highest (+1), or at their nominal values (0).
func (o *LoopOpts) volts(ohm, sign float64) float64 {
	pull := o.PullOhm * (1 - sign*o.Tolerance)
	return o.ExcitationV * (1 + sign*SupplyTolerance) * ohm / (pull + ohm)
}

// distinct returns an error for the first state that could never be read.
func (l *Loop) distinct(o LoopOpts) error {
	for _, s := range l.states {
		if s.err != nil {
			continue
		}
		v := o.volts(1/o.siemens(1<<s.wet-1, 1, 0), 0)
		if _, err := l.Read(v); err == nil {
			continue
		}
		for _, other := range l.states {
			if other.name != s.name && other.has(v) {
				return &AlikeError{s.name, other.name, v}
			}
		}
	}
	return nil
}

func (s *state) has(volts float64) bool { return volts >= s.loV && volts <= s.hiV }

// Read returns the span that a node voltage proves. The error is ErrOpen, ErrShort,
// ErrContradictory or ErrImplausible. It does not allocate.
func (l *Loop) Read(volts float64) (Span, error) {
	var found *state
	for i := range l.states {
		s := &l.states[i]
		switch {
		case !s.has(volts):
		case found == nil:
			found = s
		case found.err == nil || s.err != found.err: //nolint:errorlint // identity of our own sentinels
			return Span{}, ErrImplausible
		}
	}
	switch {
	case found == nil:
		return Span{}, ErrImplausible
	case found.err != nil:
		return Span{}, found.err
	default:
		return l.spans[found.wet], nil
	}
}
