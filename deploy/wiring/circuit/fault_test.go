package circuit

import (
	"math"
	"testing"
)

// each runs a check for the sound circuit and for each of its single faults.
func each(t *testing.T, c *Circuit, check func(t *testing.T, name string, broken *Circuit, s *State)) {
	t.Helper()
	for _, f := range append(c.Faults(), Fault{}) {
		broken := c.With(f.Part.Name, f.Failure)
		check(t, c.Name+", "+f.Part.Name+" "+f.Failure.String(), broken, solved(t, broken))
	}
}

// TestPins: no single fault puts more than the Pi's own supply on one of its lines, or
// less than its ground. An optocoupler's insulation counts as sound: it is what the
// part is certified for.
func TestPins(t *testing.T) {
	n := 0
	within := func(node string) func(*testing.T, string, *Circuit, *State) {
		return func(t *testing.T, name string, _ *Circuit, s *State) {
			n++
			if v := s.Volts(node, "gnd"); v > RailV+0.01 || v < -0.01 {
				t.Errorf("%s: %.2f V at %s", name, v, node)
			}
		}
	}
	for _, on := range []bool{true, false} {
		each(t, Contact(on), within("pin"))
		each(t, OneWire(on), within("pin"))
		for _, other := range []bool{true, false} {
			each(t, Enable(on, other), within("K1 line"))
			each(t, Enable(on, other), within("KW line"))
		}
	}
	t.Logf("figure: single faults beside a line of the Pi %d", n)
}

// The design aims in the gas space. Hydrogen in air ignites from about 17 µJ on, and a
// spark of a resistive circuit of up to 5 V does not ignite it below about an ampere
// (both from memory: IEC 60079-11, annex A has the curves). A tenth of either is asked
// for.
const (
	// mostCellsV is of 25 cells on charge, the most below a potential probe of 2 × 510 kΩ.
	mostCellsV = 25 * 2.75

	zoneV     = 5.0
	zoneA     = 0.1
	zoneJoule = 1.7e-6
)

// TestGasSpace: no single fault of the 1-wire run or of a level probe with test pulses
// lets more into what hangs in a cell than the design aims, whichever of its wires
// touch. A transmitter has the figures of its certificate.
func TestGasSpace(t *testing.T) {
	between := func(one, other string) func(*testing.T, string, *Circuit, *State) {
		return func(t *testing.T, name string, broken *Circuit, s *State) {
			open := math.Abs(s.Volts(one, other))
			short := math.Abs(solved(t, broken.Plus(Part{Name: "spark", Kind: Resistor, From: one, To: other, Ohm: shortOhm})).Amps("spark"))
			if open > zoneV || short > zoneA {
				t.Errorf("%s: %.2f V, %.0f mA between %s and %s", name, open, 1000*short, one, other)
			}
		}
	}
	for _, on := range []bool{true, false} {
		each(t, OneWire(on), between("feed", "gnd"))
		each(t, OneWire(on), between("data", "gnd"))
		each(t, OneWire(on), between("feed", "data"))
	}
	rail, none := RailV, 0.0
	for _, p := range []Pins{{&rail, &none}, {&none, &rail}, {nil, &none}, {nil, &rail}, {nil, nil}} {
		for _, wet := range []bool{true, false} {
			each(t, Rods(p, wet, 0.05), between("hot", "cold"))
			each(t, Rods(p, wet, 0.05), between("hot", "gnd"))
			each(t, Rods(p, wet, 0.05), between("cold", "gnd"))
		}
	}
	for _, pulseV := range []float64{none, rail} {
		each(t, Potential(pulseV, true, mostCellsV), between("signal", "gnd"))
	}
	// C1 can give its charge to a spark at the probe only through one of its two
	// resistors, whichever other is short: of its 12 µJ none is left for the gap.
	for _, part := range []string{"10 kΩ before C1", "reference resistor"} {
		c := Rods(Pins{&none, &none}, true, 0).With("C1", Open).With(part, Short).Plus(
			Part{Name: "charged C1", Kind: Source, From: "coupling", To: "hot", Volts: RailV, Given: true},
			Part{Name: "spark", Kind: Resistor, From: "hot", To: "cold", Ohm: shortOhm})
		if a := math.Abs(solved(t, c).Amps("spark")); a > zoneA/100 {
			t.Errorf("%s short: C1 drives %.2f mA", part, 1000*a)
		}
	}
	// What the sensor's own capacitor may store, 100 nF at most.
	if j := FastF * RailV * RailV / 2; j > zoneJoule {
		t.Errorf("%.2g J stored", j)
	}
}

// TestRatings: no part is destroyed by a single fault of another, so that one fault
// stays one: 10 mA into a converter's input and 5.5 V on its supply (SBAS444E, absolute
// maximum ratings; the 10 mA from memory), 0.25 W in a resistor, 50 mA in an
// optocoupler's diode.
func TestRatings(t *testing.T) {
	for _, c := range []*Circuit{Voltage(116, 37), Voltage(34.8, 11), Hall(5), Loop(0.022), Gas(5), ShuntLead(34.8, 0.06, 11), Potential(RailV, true, mostCellsV), Rods(Pins{}, true, 2.1)} {
		each(t, c, func(t *testing.T, name string, broken *Circuit, s *State) {
			for _, p := range broken.Parts {
				a := math.Abs(s.Amps(p.Name))
				w := a * math.Abs(s.Volts(p.From, p.To))
				switch {
				case p.Kind == Diode && a > 0.010:
					t.Errorf("%s: %.1f mA in the %s", name, 1000*a, p.Name)
				case p.Kind == Resistor && p.Ohm >= ShuntLeadOhm && !p.Given && w > 0.25:
					t.Errorf("%s: %.2f W in the %s", name, w, p.Name)
				}
			}
			if v := s.Volts("rail", "gnd"); v > 5.5 {
				t.Errorf("%s: %.1f V on the converter's supply", name, v)
			}
		})
	}
}

// TestNoSingleFaultCloses: no single fault energises the coil of Q1 while relay and
// watchdog are both off, as they are without a Pi; and with one of them on, each fault
// is one that the other channel or the next charge shows.
func TestNoSingleFaultCloses(t *testing.T) {
	if !Energised(solved(t, Enable(true, true))) {
		t.Fatal("the sound circuit does not close")
	}
	stuck := map[string][]string{}
	each(t, Enable(false, false), func(t *testing.T, name string, _ *Circuit, s *State) {
		if Energised(s) {
			t.Errorf("%s: closes by itself", name)
		}
	})
	for channel, c := range map[string]*Circuit{"relay": Enable(false, true), "watchdog": Enable(true, false)} {
		each(t, c, func(_ *testing.T, name string, _ *Circuit, s *State) {
			if Energised(s) {
				stuck[channel] = append(stuck[channel], name)
			}
		})
	}
	for channel, want := range map[string]int{"relay": 3, "watchdog": 3} {
		if len(stuck[channel]) != want { // both transistors and the contact
			t.Errorf("%s: %d faults hold it closed: %q", channel, len(stuck[channel]), stuck[channel])
		}
	}
}

// TestContacts: what each single fault makes of a contact: open, closed, or no
// difference. A break contact's alarm is a fault that reads closed.
func TestContacts(t *testing.T) {
	reads := func(name string, f Failure) (whenOpen, whenClosed bool) {
		low := func(closed bool) bool {
			return solved(t, Contact(closed).With(name, f)).Volts("pin", "gnd") < 0.8 // the Pi's lines: from memory
		}
		return low(false), low(true)
	}
	for _, f := range append(Contact(true).Faults(), Fault{}) {
		open, closed := reads(f.Part.Name, f.Failure)
		switch want, known := contactFaults[f.Part.Name+" "+f.Failure.String()]; {
		case open && !closed:
			t.Errorf("%s %v: reads the contrary", f.Part.Name, f.Failure)
		case want != contactReads(open, closed):
			t.Errorf("%q: %q, (known %v)", f.Part.Name+" "+f.Failure.String(), contactReads(open, closed), known)
		}
	}
}

func contactReads(open, closed bool) string {
	switch {
	case open:
		return "closed"
	case !closed:
		return "open"
	}
	return ""
}

// contactFaults are the faults that are more than a loss of protection.
var contactFaults = map[string]string{
	"24 V supply open": "open", "24 V supply short": "open",
	"3.9 kΩ open":                    "open",
	"optocoupler's diode open":       "open",
	"optocoupler's diode short":      "open",
	"diode against it short":         "open",
	"optocoupler's transistor open":  "open",
	"optocoupler's transistor short": "closed",
	"1 kΩ before the line open":      "open",
	"10 kΩ pull-up short":            "open",
	"wires open":                     "open",
}
