package level

import (
	"fmt"
	"math"
)

// potentialRow describes the rod that shows the potential of its cell.
var potentialRow = row{
	kind: Potential,
	about: "One rod of lead in the vent of a cell, against the pack's minus. Wet it shows the potential of the cells below it through its series_ohm, dry nothing; " +
		"a test pulse through pulse_ohm and end_ohm at the far end tell a dry rod from a broken wire.",
	pulses: OnePulse, rods: RodCount{1, 1, "one-rod"}, opened: ErrOpen, shorted: ErrShort,
	keys: []Key{
		{"pulse_v", 1.8, 5.5, "V", false, func(s *Settings) *float64 { return &s.PulseV }},
		{"pulse_ohm", 1e4, 1e6, "ohm", false, func(s *Settings) *float64 { return &s.PulseOhm }},
		{"cells_below", 1, 47, "cells; in the cell at the pack's minus a wet rod shows as little as a dry one", false,
			func(s *Settings) *float64 { return &s.CellsBelow }},
		endKey, offsetKey,
	},
	relations: []Relation{{RodsKey, []string{"pulse_v", "pulse_ohm", "end_ohm", "cells_below"}, potentialReach}},
	open:      func(s *Settings) (Probe, error) { return s.potential() },
}

func (s *Settings) potential() (*PotentialProbe, error) {
	if len(s.Rods) != 1 {
		return nil, fmt.Errorf("level: %d rods, want 1", len(s.Rods))
	}
	return NewPotential(PotentialOpts{
		PulseV: s.PulseV, PulseOhm: s.PulseOhm, EndOhm: s.EndOhm, Cells: s.CellsBelow,
		Rod: Rod{s.Rods[0].HeightMM + s.OffsetMM, s.Rods[0].SeriesOhm},
	})
}

// The voltages of a cell and of a rod in it.
const (
	cellLowV, cellHighV = 1.6, 2.75 // from deep discharge to an equalizing charge (from memory)
	// rodLowV and rodHighV are a rod's potential against the negative plates of its
	// cell: lead under sulphate is near them, and a rod that stands in the gas above a
	// bubbling cell somewhat higher. Lead dioxide is 2.05 V above them (standard
	// potentials -0.359 and 1.691 V: CRC Handbook, "Electrochemical Series").
	rodLowV, rodHighV = -0.3, 0.5
	formedHighV       = 2.3
	// dryV is what a dry rod may show.
	dryV = 0.25
	// pulseShare is the tolerance of the test pulse: supply and resistors.
	pulseShare = 0.15
	// leastWetV is the least at the input that a wet rod must show.
	leastWetV = 0.04
	// shortedShare is the fraction of the pulse below which the wires touch.
	shortedShare = 0.02
)

// PotentialOpts describes a potential probe: the rod, its series resistor, the wire
// with end resistor to the pack's minus, at the input a resistor to the pin that
// gives the pulse.
type PotentialOpts struct {
	PulseV           float64 // above 0
	PulseOhm, EndOhm float64 // above 0
	Rod              Rod
	Cells            float64 // between its cell and the pack's minus, 1 or more
}

// PotentialProbe reads the potential of a rod against the pack's minus.
type PotentialProbe struct {
	ratio                float64 // rod's voltage over the input's
	wetLowV, wetHighV    float64 // of the rod
	pulseLowV, pulseHigh float64 // of the step at the input, with the wire whole
	openV, shortV        float64 // beyond them it is broken or shorted
	wet, dry             Span
}

// NewPotential calculates the bands. It returns an error if the numbers do not make a
// circuit.
func NewPotential(o PotentialOpts) (*PotentialProbe, error) {
	for _, f := range []struct {
		name  string
		value float64
	}{{"pulse", o.PulseV}, {"pulse resistor", o.PulseOhm}, {"end resistor", o.EndOhm}, {"series resistor", o.Rod.SeriesOhm}, {"number of cells", o.Cells}} {
		if !(f.value > 0) || math.IsInf(f.value, 0) {
			return nil, fmt.Errorf("level: %s of %g, want more than 0", f.name, f.value)
		}
	}
	if math.IsNaN(o.Rod.HeightMM) || math.IsInf(o.Rod.HeightMM, 0) {
		return nil, fmt.Errorf("level: height of %g mm, must be a number", o.Rod.HeightMM)
	}
	bare := 1/o.PulseOhm + 1/o.EndOhm
	all := bare + 1/o.Rod.SeriesOhm
	p := &PotentialProbe{
		ratio:   all * o.Rod.SeriesOhm,
		wetLowV: o.Cells*cellLowV + rodLowV, wetHighV: o.Cells*cellHighV + rodHighV,
		pulseLowV: o.PulseV / o.PulseOhm / all * (1 - pulseShare),
		pulseHigh: o.PulseV / o.PulseOhm / bare * (1 + pulseShare),
		openV:     o.PulseV * (1 - pulseShare), shortV: o.PulseV * shortedShare,
	}
	rods := []Rod{o.Rod}
	p.dry, p.wet = span(rods, 0), span(rods, 1)
	if p.pulseHigh >= p.openV {
		return nil, fmt.Errorf("level: end resistor of %g: a dry rod and a broken wire cannot be told apart", o.EndOhm)
	}
	return p, nil
}

// potentialReach: the input must bear the rod's highest voltage and resolve its lowest,
// and a dry rod must not look like a broken wire.
func potentialReach(s *Settings, topV float64) *Unfit {
	p, err := s.potential()
	if err != nil {
		return &Unfit{"end-ohm", nil}
	}
	top := min(topV, s.PulseV)
	if p.wetHighV/p.ratio > top {
		return &Unfit{"series-larger", []any{plain(s.CellsBelow), p.wetHighV / p.ratio, plain(top)}}
	}
	if p.wetLowV/p.ratio < leastWetV {
		return &Unfit{"series-smaller", []any{plain(s.CellsBelow), 1000 * p.wetLowV / p.ratio}}
	}
	return nil
}

// Read returns the span that the voltages prove: Volts without the pulse, Forward.ProbeV
// with it. The error is ErrOpen, ErrShort, ErrFilm, ErrBackVoltage or ErrImplausible.
// It does not allocate.
func (p *PotentialProbe) Read(s *Signal) (Span, error) {
	step, rodV := s.Forward.ProbeV-s.Volts, s.Volts*p.ratio
	switch {
	case !s.finite() || rodV < -dryV:
		return Span{}, ErrImplausible
	case step < p.shortV:
		return Span{}, ErrShort
	case step >= p.openV:
		return Span{}, ErrOpen
	case step < p.pulseLowV || step > p.pulseHigh:
		return Span{}, ErrCorroded
	case rodV <= dryV:
		return p.dry, nil
	case rodV < p.wetLowV:
		return Span{}, ErrFilm
	case rodV <= p.wetHighV:
		return p.wet, nil
	case rodV <= p.wetHighV-rodHighV+formedHighV:
		return Span{}, ErrBackVoltage
	default:
		return Span{}, ErrImplausible
	}
}

var _ Probe = (*PotentialProbe)(nil)
