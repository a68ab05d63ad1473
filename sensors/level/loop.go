package level

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
)

// The allowances in the bands of a loop's states.
const (
	// MaxPathOhm is the highest resistance of the path through the electrolyte. In
	// clean acid it is a few ohms; the rest allows for crust on the rod and for the
	// double layer that charges during the pulse. Common practice, no source.
	MaxPathOhm = 1000
	// ShortOhm is the highest resistance between touching wires.
	ShortOhm = 100
	// LeakOhm is the lowest resistance across a broken wire: the converter's
	// input and a damp plug.
	LeakOhm = 1e6
	// MeasureTolerance is the error of reference resistor and converter together, as
	// a fraction. The supply does not matter: both voltages follow it.
	MeasureTolerance = 0.02
	// RodTolerance and LadderTolerance are the tolerances of the resistors of a
	// single rod and of a ladder: ordinary and precision parts.
	RodTolerance    = 0.05
	LadderTolerance = 0.01
)

// The limits of what the electrodes and other circuits may add to the pulses.
const (
	// MinBackV is the least that a pulse leaves on a wet rod.
	// Metal between rod and common electrode has none. A pulse of 1 µC leaves some
	// millivolts on the double layer of a rod of 2 cm² (20 to 40 µF/cm², from memory).
	MinBackV = 0.001
	// DryBackV is the greatest on a dry rod: more comes through a film.
	DryBackV = 0.02
	// MaxBackV is the greatest that leaves the inputs within their supply. Rods of one
	// metal differ by some tens of millivolts; lead and lead dioxide by 2 V.
	MaxBackV = 1.0
	// minPulseV is the least sum of the steps of both voltages between the polarities,
	// out of twice the supply.
	minPulseV = 2.0
	// foreignShare and foreignV limit the direct current in the reference resistor, as
	// a share of the pulses and in V. The coupling capacitor passes none; another
	// circuit's comes through a leak.
	foreignShare = 0.4
	foreignV     = 0.05
)

// MaxRods is the largest number of rods in a ladder.
const MaxRods = 4

// Rod is one electrode.
type Rod struct {
	HeightMM  float64 `yaml:"height_mm"`  // its tip above the plate tops
	SeriesOhm float64 `yaml:"series_ohm"` // resistor between loop and rod, above 0
}

// AlikeError means that two states of a loop have the same resistance.
type AlikeError struct {
	State, Other string // such as "rod 1 wet" and "a short"
	Ohm          float64
}

// Error returns a text that names both states.
func (e *AlikeError) Error() string {
	return fmt.Sprintf("level: %s and %s cannot be told apart at %.0f ohm: resistors too close to each other or to %d ohm",
		e.State, e.Other, e.Ohm, MaxPathOhm)
}

// LoopOpts describes a loop's components.
type LoopOpts struct {
	ReferenceOhm float64 // above 0; carries the current of the pulses
	EndOhm       float64 // above 0
	Rods         []Rod   // 1 to MaxRods, lowest first
	Tolerance    float64 // of every resistor but the reference, as a fraction: RodTolerance, LadderTolerance
}

// Loop reads the answers of a supervised loop to pulses of both polarities.
type Loop struct {
	referenceOhm float64
	states       []state
	spans        [MaxRods + 1]Span // by number of wet rods
}

// state is one state of a loop, with its range of resistances.
type state struct {
	loOhm, hiOhm float64
	name         string
	wet          int   // rods under the electrolyte, if err is nil
	err          error // the error that the state means
}

// NewLoop calculates the resistances of every state. It returns an error if the
// numbers do not make a circuit or the rods are not in order. It returns an
// *AlikeError if a valid state could not be distinguished from another even with
// perfect parts and clean rods.
func NewLoop(o LoopOpts) (*Loop, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	l := &Loop{referenceOhm: o.ReferenceOhm}
	for wet := 0; wet <= len(o.Rods); wet++ {
		l.spans[wet] = span(o.Rods, wet)
	}
	l.states = append(l.states, state{0, ShortOhm * (1 + MeasureTolerance), "a short", 0, ErrShort})
	for pattern := range uint(1) << len(o.Rods) {
		l.states = append(l.states, o.pattern(pattern))
	}
	l.states = append(l.states, state{LeakOhm * (1 - MeasureTolerance), math.Inf(1), "a broken wire", 0, ErrOpen})
	return l, l.distinct(o)
}

func (o *LoopOpts) check() error {
	for _, f := range []struct {
		name  string
		value float64
	}{{"reference resistor", o.ReferenceOhm}, {"end resistor", o.EndOhm}} {
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
	for i := len(rods) - 1; i >= wet; i-- {
		s.HighMM = rods[i].HeightMM
	}
	for i := range rods[:wet] {
		s.LowMM = rods[i].HeightMM
	}
	return s
}

// pattern returns the state in which the rods whose bits are set are wet.
func (o *LoopOpts) pattern(pattern uint) state {
	wet := bits.OnesCount(pattern)
	s := state{
		loOhm: (1 - MeasureTolerance) / o.siemens(pattern, 1-o.Tolerance, 0),
		hiOhm: (1 + MeasureTolerance) / o.siemens(pattern, 1+o.Tolerance, MaxPathOhm),
		name:  wetRods(pattern),
		wet:   wet,
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

// siemens returns the conductance between the probe's wires, with every
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

// distinct returns an error for the first state that could never be read.
func (l *Loop) distinct(o LoopOpts) error {
	for _, s := range l.states {
		if s.err != nil {
			continue
		}
		ohm := 1 / o.siemens(1<<s.wet-1, 1, 0)
		if found, err := l.state(ohm); err == nil && found.wet == s.wet {
			continue
		}
		for _, other := range l.states {
			if other.name != s.name && other.has(ohm) {
				return &AlikeError{s.name, other.name, ohm}
			}
		}
	}
	return nil
}

func (s *state) has(ohm float64) bool { return ohm >= s.loOhm && ohm <= s.hiOhm }

// Read returns the span that the answers to the pulses prove. The error is one of
// this package's, but never ErrOverRange. It does not allocate.
func (l *Loop) Read(s *Signal) (Span, error) {
	m := l.Measure(s)
	found, err := l.state(m.Ohm)
	switch {
	case !s.finite() || s.exchanged():
		return Span{}, ErrImplausible
	case s.pulseV() < minPulseV:
		return Span{}, ErrNoPulse
	case errors.Is(err, ErrOpen): // what hangs on the terminals floats
		return Span{}, err
	case m.OwnV > MaxBackV || math.Abs(s.Forward.ProbeV+s.Reverse.ProbeV)/2 > MaxBackV:
		return Span{}, ErrBackVoltage
	case s.foreign():
		return Span{}, ErrForeign
	case err != nil:
		return Span{}, err
	case found.wet > 0 && m.LeftV < MinBackV:
		return Span{}, ErrNoBackVoltage
	case found.wet == 0 && m.OwnV > DryBackV:
		return Span{}, ErrFilm
	default:
		return l.spans[found.wet], nil
	}
}

// Measured is what the answers to the pulses say of a probe.
type Measured struct {
	Ohm float64 // between its wires; +Inf for a broken one
	// LeftV is what a pulse has left on the electrodes, half of the difference of both
	// polarities: neither a leaking diode nor the converter's input has a part in it.
	LeftV float64
	OwnV  float64 // the electrodes' own voltage, with what a pulse has left
}

// Measure returns the resistance from the difference of both polarities, which has no
// part of the electrodes' own voltage, and the back voltages.
func (l *Loop) Measure(s *Signal) Measured {
	f, r := &s.Forward, &s.Reverse
	ohm := math.Inf(1)
	// Less current than through ten times LeakOhm is noise, of either sign.
	if probe, current := f.ProbeV-r.ProbeV, f.ReferenceV-r.ReferenceV; math.Abs(current) > math.Abs(probe)*l.referenceOhm/(10*LeakOhm) {
		ohm = probe / current * l.referenceOhm
	}
	return Measured{ohm, math.Abs(f.RestV-r.RestV) / 2, max(math.Abs(f.RestV), math.Abs(r.RestV))}
}

// pulseV returns how far both voltages moved between the polarities, V.
func (s *Signal) pulseV() float64 {
	return math.Abs(s.Forward.ProbeV-s.Reverse.ProbeV) + math.Abs(s.Forward.ReferenceV-s.Reverse.ReferenceV)
}

// exchanged reports whether the pulses are seen the wrong way round: two inputs or pins
// are exchanged. Resistance and reference would then stand in each other's place, and a
// dry probe could have the ratio of a wet one.
func (s *Signal) exchanged() bool {
	return s.Forward.ReferenceV-s.Reverse.ReferenceV < -foreignV || s.Forward.ProbeV-s.Reverse.ProbeV < -foreignV
}

// foreign reports whether something else than the pulses drives a current through the
// reference resistor.
func (s *Signal) foreign() bool {
	sum, difference := s.Forward.ReferenceV+s.Reverse.ReferenceV, s.Forward.ReferenceV-s.Reverse.ReferenceV
	return math.Abs(sum) > foreignShare*math.Abs(difference)+foreignV
}

// state returns the state of a loop with a resistance.
func (l *Loop) state(ohm float64) (*state, error) {
	var found *state
	for i := range l.states {
		s := &l.states[i]
		switch {
		case !s.has(ohm):
		case found == nil:
			found = s
		case found.err == nil || s.err != found.err: //nolint:errorlint // identity of our own sentinels
			return nil, ErrFilm
		}
	}
	dry := &l.states[1]
	switch {
	case found != nil:
		return found, found.err
	case !(ohm >= 0):
		return nil, ErrImplausible
	case ohm > dry.hiOhm:
		return nil, ErrCorroded
	default:
		return nil, ErrFilm
	}
}
