// Package circuit has the circuits of the wiring guide with the values that its
// drawings show, and calculates what they do when one of their parts fails.
//
// A circuit is a list of parts between named nodes. Resistors are linear; a diode, a
// transistor, a relay's contact and a loop's transmitter have two states each, and
// Solve finds the one combination of states that contradicts nothing. That is exact enough for
// currents that differ by factors of ten, and needs no iteration that might not end.
package circuit

// Kind is what a part is.
type Kind uint8

// The kinds of part. From is the anode of a diode, the plus of a supply, and where a
// loop's current enters a transmitter.
const (
	Resistor Kind = iota
	Fuse
	Capacitor
	Diode
	Supply      // a voltage source that cannot sink current
	Source      // a voltage source that can, such as a battery
	Transmitter // draws Amps while there are Volts across it, and less below
	Switched    // a transistor or a contact: Ohm while more than Amps flow through the part By
)

// Part is one part between two nodes.
type Part struct {
	Name     string // as in the drawing
	Kind     Kind
	From, To string
	Ohm      float64 // of a resistor, a fuse, a source, or what is switched on
	Volts    float64 // of a source; forward voltage of a diode; least of a transmitter
	Amps     float64 // of a transmitter; of By, from which on it switches
	By       string
	LeakA    float64 // of a diode in reverse
	Farad    float64 // of a capacitor
	Given    bool    // not a part that is listed: the battery, a signal, the inside of a chip
}

// Circuit is a list of parts. Voltages are against Ground.
type Circuit struct {
	Name   string
	Ground string
	Parts  []Part
}

// Failure is how a part fails.
type Failure uint8

// The failures.
const (
	Sound Failure = iota
	Open
	Short
)

// String returns "sound", "open" or "short".
func (f Failure) String() string { return [...]string{"sound", "open", "short"}[f] }

// shortOhm is the resistance of a part that has failed short.
const shortOhm = 0.01

// With returns the circuit with one part failed. A part that is short has another name:
// a coil does not pull then and a diode gives no light, however much flows.
func (c *Circuit) With(name string, f Failure) *Circuit {
	out := &Circuit{Name: c.Name, Ground: c.Ground}
	for _, p := range c.Parts {
		if p.Name == name {
			switch f {
			case Open:
				continue
			case Short:
				p = Part{Name: p.Name + ", short", Kind: Resistor, From: p.From, To: p.To, Ohm: shortOhm}
			case Sound:
			}
		}
		out.Parts = append(out.Parts, p)
	}
	return out
}

// Plus returns the circuit with more parts, such as a wire across its terminals.
func (c *Circuit) Plus(more ...Part) *Circuit {
	return &Circuit{Name: c.Name, Ground: c.Ground, Parts: append(append([]Part(nil), c.Parts...), more...)}
}

// Part returns a part by its name, and whether there is one.
func (c *Circuit) Part(name string) (Part, bool) {
	for _, p := range c.Parts {
		if p.Name == name {
			return p, true
		}
	}
	return Part{}, false
}

// Fault is one part and how it fails.
type Fault struct {
	Part    Part
	Failure Failure
}

// Faults lists every single fault of the circuit's own parts. A wire has no short of its
// own, and a fuse that is short is one that does not blow.
func (c *Circuit) Faults() (all []Fault) {
	for _, p := range c.Parts {
		if p.Given {
			continue
		}
		all = append(all, Fault{p, Open})
		if p.Kind != Resistor || p.Ohm > shortOhm {
			all = append(all, Fault{p, Short})
		}
	}
	return all
}
