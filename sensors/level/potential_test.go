package level

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func potentialOpts() PotentialOpts {
	return PotentialOpts{PulseV: 3.3, PulseOhm: 100e3, EndOhm: 100e3, Rod: Rod{4, 1e6}, Cells: 6}
}

// atInput is the circuit by Ohm's law: the pin through its resistor, the end resistor
// to ground, the rod's voltage through its series resistor and the film or crust on it.
func atInput(o *PotentialOpts, rodV, rodOhm float64) *Signal {
	at := func(pinV float64) float64 {
		g := 1/o.PulseOhm + 1/o.EndOhm + 1/rodOhm
		return (pinV/o.PulseOhm + rodV/rodOhm) / g
	}
	return &Signal{Volts: at(0), Forward: Pulse{ProbeV: at(o.PulseV)}}
}

// TestPotentialByHand: a rod of lead is at the potential of the negative plates of its
// cell; with six cells below it, each of 2.12 V at rest (a full cell of 1.28, from any
// handbook: specific gravity + 0.84), that is 12.7 V, and 0.61 V at the input.
func TestPotentialByHand(t *testing.T) {
	o := potentialOpts()
	p, err := NewPotential(o)
	if err != nil {
		t.Fatal(err)
	}
	none := math.Inf(1)
	wet, dry := Span{4, CeilingMM}, Span{FloorMM, 4}
	for name, tc := range map[string]struct {
		signal *Signal
		want   Span
		err    error
	}{
		"wet, at rest":              {atInput(&o, 12.72, 1e6), wet, nil},
		"wet, charging":             {atInput(&o, 6*2.65, 1e6), wet, nil},
		"wet, flat":                 {atInput(&o, 6*1.8, 1e6), wet, nil},
		"dry":                       {atInput(&o, 0, none), dry, nil},
		"a film of 3 MΩ":            {atInput(&o, 12.72, 4e6), Span{}, ErrFilm},
		"a film of 20 MΩ":           {atInput(&o, 12.72, 21e6), Span{}, ErrFilm},
		"lead dioxide":              {atInput(&o, 6*2.75+2.05, 1e6), Span{}, ErrBackVoltage},
		"in a cell far above":       {atInput(&o, 11*2.12, 1e6), Span{}, ErrImplausible},
		"pack reversed":             {atInput(&o, -12.72, 1e6), Span{}, ErrImplausible},
		"broken":                    {&Signal{Volts: 0, Forward: Pulse{ProbeV: 3.3}}, Span{}, ErrOpen},
		"short":                     {&Signal{}, Span{}, ErrShort},
		"expander gives no pulse":   {&Signal{Volts: 0.6, Forward: Pulse{ProbeV: 0.6}}, Span{}, ErrShort},
		"corroded, 300 kΩ in wire":  {&Signal{Volts: 0, Forward: Pulse{ProbeV: 3.3 * 400 / 500}}, Span{}, ErrCorroded},
		"not a number":              {&Signal{Volts: math.NaN(), Forward: Pulse{ProbeV: 1.6}}, Span{}, ErrImplausible},
		"pulse is not a number":     {&Signal{Volts: 0.6, Forward: Pulse{ProbeV: math.Inf(1)}}, Span{}, ErrImplausible},
		"supply off by a tenth":     {atInput(&PotentialOpts{PulseV: 3.0, PulseOhm: 100e3, EndOhm: 100e3}, 12.72, 1e6), wet, nil},
		"dry, supply off by a lot":  {atInput(&PotentialOpts{PulseV: 2.5, PulseOhm: 100e3, EndOhm: 100e3}, 0, none), Span{}, ErrCorroded},
		"rod somewhat above (0.4V)": {atInput(&o, 12.72+0.4, 1e6), wet, nil},
	} {
		if got, err := p.Read(tc.signal); got != tc.want || !errors.Is(err, tc.err) {
			t.Errorf("%s: got %v, %v, want %v, %v", name, got, err, tc.want, tc.err)
		}
	}
}

// TestPotentialAsBuilt: with 5 % resistors and a supply within 5 %, wet is wet and dry
// is dry, and neither is ever broken or short.
func TestPotentialAsBuilt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := potentialOpts()
		o.Cells = float64(rapid.IntRange(1, 15).Draw(t, "cells"))
		p, err := NewPotential(o)
		if err != nil {
			t.Fatal(err)
		}
		off := rapid.Float64Range(0.98, 1.02)
		b := o
		b.PulseV, b.PulseOhm, b.EndOhm = o.PulseV*off.Draw(t, "supply"), o.PulseOhm*off.Draw(t, "pulse"), o.EndOhm*off.Draw(t, "end")
		series := o.Rod.SeriesOhm * off.Draw(t, "series")
		v := o.Cells * rapid.Float64Range(1.75, 2.65).Draw(t, "cell")
		if got, err := p.Read(atInput(&b, v, series)); err != nil || got.LowMM != 4 {
			t.Fatalf("wet reads as %v, %v", got, err)
		}
		if got, err := p.Read(atInput(&b, 0, math.Inf(1))); err != nil || got.HighMM != 4 {
			t.Fatalf("dry reads as %v, %v", got, err)
		}
	})
}

func TestNewPotentialRefuses(t *testing.T) {
	for name, change := range map[string]func(*PotentialOpts){
		"no pulse":        func(o *PotentialOpts) { o.PulseV = 0 },
		"no resistor":     func(o *PotentialOpts) { o.PulseOhm = -1 },
		"no end":          func(o *PotentialOpts) { o.EndOhm = math.Inf(1) },
		"no series":       func(o *PotentialOpts) { o.Rod.SeriesOhm = math.NaN() },
		"first cell":      func(o *PotentialOpts) { o.Cells = 0 },
		"no height":       func(o *PotentialOpts) { o.Rod.HeightMM = math.NaN() },
		"dry like broken": func(o *PotentialOpts) { o.EndOhm = 1e6 },
	} {
		o := potentialOpts()
		change(&o)
		if _, err := NewPotential(o); err == nil {
			t.Errorf("%s is accepted", name)
		}
	}
}
