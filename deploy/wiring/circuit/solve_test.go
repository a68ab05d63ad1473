package circuit

import (
	"errors"
	"math"
	"testing"
)

func solved(t *testing.T, c *Circuit) *State {
	t.Helper()
	s, err := c.Solve()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.6g, want %.6g within %g", what, got, want, within)
	}
}

// TestSolveByHand: networks whose solution any textbook gives: a divider, a bridge, a
// diode either way, two sources through one resistor (superposition), a relay.
func TestSolveByHand(t *testing.T) {
	r := func(name, from, to string, ohm float64) Part {
		return Part{Name: name, Kind: Resistor, From: from, To: to, Ohm: ohm}
	}
	source := func(name, node string, volts float64) Part {
		return Part{Name: name, Kind: Source, From: node, To: "gnd", Volts: volts, Ohm: 1e-3}
	}
	divider := &Circuit{Ground: "gnd", Parts: []Part{source("v", "a", 10), r("r1", "a", "b", 3000), r("r2", "b", "gnd", 1000)}}
	s := solved(t, divider)
	near(t, "divider", s.Volts("b", "gnd"), 2.5, 1e-3)
	near(t, "divider's current", s.Amps("r1"), 2.5e-3, 1e-6)
	near(t, "its source's", s.Amps("v"), -2.5e-3, 1e-6)
	near(t, "lower one open", solved(t, divider.With("r2", Open)).Volts("b", "gnd"), 10, 1e-3)
	near(t, "upper one short", solved(t, divider.With("r1", Short)).Volts("b", "gnd"), 10, 1e-2)

	bridge := &Circuit{Ground: "gnd", Parts: []Part{
		source("v", "a", 6), r("1", "a", "l", 100), r("2", "l", "gnd", 200), r("3", "a", "r", 300), r("4", "r", "gnd", 600), r("5", "l", "r", 50),
	}}
	near(t, "balanced bridge", solved(t, bridge).Amps("5"), 0, 1e-8)

	for _, way := range []struct{ volts, amps float64 }{{5, 4.3e-3 / 1.01}, {-5, 0}} {
		d := &Circuit{Ground: "gnd", Parts: []Part{
			source("v", "a", way.volts), r("r", "a", "b", 1000), {Name: "d", Kind: Diode, From: "b", To: "gnd", Volts: 0.7},
		}}
		near(t, "diode", solved(t, d).Amps("d"), way.amps, 1e-5)
	}
	two := &Circuit{Ground: "gnd", Parts: []Part{source("v", "a", 12), source("w", "b", 6), r("1", "a", "n", 1000), r("2", "b", "n", 2000), r("3", "n", "gnd", 2000)}}
	near(t, "two sources", solved(t, two).Volts("n", "gnd"), (12.0/1000+6.0/2000)/(1.0/1000+1.0/2000+1.0/2000), 1e-3)

	for volts, closed := range map[float64]float64{12: 10, 3: 0} {
		relay := &Circuit{Ground: "gnd", Parts: []Part{
			source("v", "a", volts), r("coil", "a", "gnd", 400), source("w", "b", 10),
			{Name: "contact", Kind: Switched, From: "b", To: "out", Ohm: 0.1, By: "coil", Amps: 0.02}, r("load", "out", "gnd", 1000),
		}}
		near(t, "relay", solved(t, relay).Volts("out", "gnd"), closed, 1e-2)
	}
	buzzer := &Circuit{Name: "buzzer", Ground: "gnd", Parts: []Part{ // its contact takes its own coil's current
		source("v", "a", 12), r("1", "a", "n", 100), r("coil", "n", "gnd", 400), {Name: "contact", Kind: Switched, From: "n", To: "gnd", Ohm: 0.1, By: "coil", Amps: 0.02},
	}}
	if _, err := buzzer.Solve(); !errors.Is(err, ErrNoState) {
		t.Errorf("a buzzer has no state, got %v", err)
	}
}

// TestKirchhoff: in every circuit, sound or with any single fault, the currents into
// each node add up to nothing. It does not use the equations that were solved.
func TestKirchhoff(t *testing.T) {
	n := 0
	for _, c := range []*Circuit{Voltage(27, 11), Hall(1.9), ShuntLead(27, 0.02, 11), Loop(0.012), Gas(0.5), Contact(true), Enable(true, true), OneWire(true)} {
		for _, f := range append(c.Faults(), Fault{}) {
			broken := c.With(f.Part.Name, f.Failure)
			s, sum, most := solved(t, broken), map[string]float64{}, 1e-9
			for _, p := range broken.Parts {
				a := s.Amps(p.Name)
				sum[p.From] += a
				sum[p.To] -= a
				most = max(most, 1e-9*math.Abs(a)*1e3)
			}
			for node, a := range sum {
				if node != c.Ground && math.Abs(a) > most {
					t.Errorf("%s, %s %v: %.3g A vanish at %s", c.Name, f.Part.Name, f.Failure, a, node)
				}
			}
			n++
		}
	}
	if n < 150 {
		t.Errorf("only %d circuits", n)
	}
}
