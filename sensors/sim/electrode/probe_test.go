package electrode

import (
	"math"
	"testing"
)

var inf = math.Inf(1)

// open is a measuring circuit that draws nothing.
var open = &Source{Ohm: inf}

// TestPotentials: a pair of lead and lead dioxide in acid is a lead-acid cell, 2.05 V by
// the standard potentials of the handbook. Two of lead have no voltage, and one kept as
// the positive at a current settles near that cell's voltage.
func TestPotentials(t *testing.T) {
	wet := &Scene{LevelMM: 20, AcidC: 25}
	t.Run("published two of lead", func(t *testing.T) {
		p := NewProbe(inf, Rod{0, 1000})
		p.Step(3600, wet, open)
		if v := p.Volts(wet, open); math.Abs(v) > 0.005 {
			t.Errorf("two rods of lead show %.4f V", v)
		}
	})
	t.Run("published lead dioxide and lead", func(t *testing.T) {
		p := NewProbe(inf, Rod{0, 1000})
		p.Form(true)
		p.Step(600, wet, open)
		if v := p.Volts(wet, open); math.Abs(v-(1.6913+0.3588)) > 0.06 {
			t.Errorf("a formed rod shows %.3f V", v)
		}
	})
}

// TestPolarises: in the old circuit, 3.3 V through 10 kΩ without a pause, a wet rod read 0.99 V
// as a resistor does; its bands ended at 1.17 V (series resistor and 1 kΩ of crust, 5 %
// parts). The pair leaves the band within minutes and never comes back.
func TestPolarises(t *testing.T) {
	const (
		supply, pull, end, series = 3.3, 10e3, 47e3, 4700
		wetLow, wetHigh           = 0.92, 1.17
		dryLow                    = 2.644
	)
	wet := &Scene{LevelMM: 20, AcidC: 25}
	dc := &Source{Volts: supply, Ohm: pull}
	p := NewProbe(end, Rod{3, series})
	p.Step(0.001, wet, dc)
	first := p.Volts(wet, dc)
	if first < wetLow || first > wetHigh {
		t.Fatalf("a fresh wet rod reads %.3f V, want a resistor's 0.99 V", first)
	}
	lost := 0
	for s := 1; s <= 3600 && lost == 0; s++ {
		if p.Step(1, wet, dc); p.Volts(wet, dc) > wetHigh {
			lost = s
		}
	}
	p.Step(6*3600, wet, dc)
	last := p.Volts(wet, dc)
	t.Logf("figure: direct current, a wet rod leaves its band after %d s; after six hours the node is at %.2f V, the rod's back voltage %.2f V",
		lost, last, p.rods[0].lead.etaV-p.common.etaV)
	if lost == 0 || last < wetHigh || last > dryLow {
		t.Errorf("left the band after %d s, at last %.3f V: want a voltage that fits neither wet nor dry", lost, last)
	}
}

// TestPulsesDoNotPolarise: pulses of both polarities through a capacitor, one pair a
// second for a day, leave the pair where it was.
func TestPulsesDoNotPolarise(t *testing.T) {
	const ohm, farad = 20e3, 2.2e-6
	wet := &Scene{LevelMM: 20, AcidC: 25}
	p := NewProbe(47e3, Rod{3, 4700})
	src := &Source{Farad: farad}
	phase := func(s, volts, ohm float64) {
		src.Volts, src.Ohm = volts, ohm
		p.Step(s, wet, src)
	}
	worst := 0.0
	for range 20000 {
		phase(0.008, 3.3, ohm)
		phase(0.004, 0, inf)
		phase(0.008, -3.3, ohm)
		worst = max(worst, math.Abs(p.rods[0].lead.etaV), math.Abs(p.common.etaV))
		phase(0.980, 0, inf)
	}
	t.Logf("figure: 20000 pairs of pulses, most polarisation %.1f mV", 1000*worst)
	if worst > 0.05 || p.rods[0].lead.dioxide > 0 {
		t.Errorf("polarised by %.3f V", worst)
	}
}

// TestFilm: a rod that comes out of the acid stays bridged, drains, and is dry within
// two minutes. Foam bridges a rod above the acid, and only while the cell gasses.
func TestFilm(t *testing.T) {
	p := NewProbe(47e3, Rod{3, 4700})
	wet, out := &Scene{LevelMM: 10, AcidC: 25}, &Scene{LevelMM: 1, AcidC: 25}
	off := open
	p.Step(60, wet, off)
	if got := p.Ohm(wet); math.Abs(got-1/(1/47e3+1/4701.5)) > 5 {
		t.Errorf("wet it has %.0f Ω", got)
	}
	p.Step(1, out, off)
	was := p.Ohm(out)
	for s := range 30 {
		p.Step(1, out, off)
		if now := p.Ohm(out); now < was {
			t.Fatalf("after %d s the film conducts more than before", s)
		} else {
			was = now
		}
	}
	if was > 20e3 {
		t.Errorf("half a minute out, it already has %.0f Ω", was)
	}
	p.Step(90, out, off)
	if got := p.Ohm(out); got < 46.9e3 {
		t.Errorf("two minutes out, it still has %.0f Ω", got)
	}
	foam := *out
	foam.LevelMM, foam.Gassing = -1, 1
	if got := p.Ohm(&foam); got > 4400 {
		t.Errorf("in foam it has %.0f Ω", got)
	}
	if foam.Gassing = 0.2; p.Ohm(&foam) < 46.9e3 {
		t.Errorf("foam of 1 mm bridges a rod 4 mm above the acid: %.0f Ω", p.Ohm(&foam))
	}
}
