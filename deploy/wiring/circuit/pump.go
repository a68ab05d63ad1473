package circuit

// The values of the watchdog from parts.
const (
	PumpOhm        = 1e3
	PumpF          = 47e-6 // each of the two C1, in series
	ReservoirF     = 10e-6
	DrainOhm       = 10e3   // empties C1 between two edges, so that a steady level feeds nothing
	BleedOhm       = 1.82e6 // each of two in parallel
	ReferenceShare = 10 / 34.9
	pumpDiodeV     = 0.5
	lineOhm        = 50.0 // of the Pi's output, from memory
)

// Pump is the watchdog's charge pump, with what its parts are after a failure: C1 of 0
// passes nothing, C2 of 0 stores nothing.
type Pump struct {
	ohm, c1, c2        float64
	drainOhm, bleedOhm float64
	d1, d2             Failure
	diodeV, referenceV float64
	lineV, c1V, c2V    float64
}

// PumpFaults lists every single fault of the pump's parts.
func PumpFaults() (all []Fault) {
	for _, name := range []string{"1 kΩ", "first C1", "10 kΩ", "D1", "D2", "C2", "first 1.82 MΩ"} {
		all = append(all, Fault{Part{Name: name}, Open}, Fault{Part{Name: name}, Short})
	}
	return all
}

// NewPump returns a pump without charge and with one fault.
func NewPump(f Fault) *Pump {
	p := &Pump{ohm: PumpOhm + lineOhm, c1: PumpF / 2, c2: ReservoirF, drainOhm: DrainOhm, bleedOhm: BleedOhm / 2, diodeV: pumpDiodeV, referenceV: RailV * ReferenceShare}
	open := f.Failure == Open
	switch f.Part.Name {
	case "1 kΩ":
		p.ohm = lineOhm
		if open {
			p.c1 = 0
		}
	case "first C1":
		p.c1 = PumpF
		if open {
			p.c1 = 0
		}
	case "10 kΩ":
		p.drainOhm = 1e12
		if !open {
			p.drainOhm = shortOhm
		}
	case "D1":
		p.d1 = f.Failure
	case "D2":
		p.d2 = f.Failure
	case "C2":
		p.c2 = 0
		if !open {
			p.bleedOhm = shortOhm
		}
	case "first 1.82 MΩ":
		p.bleedOhm = BleedOhm
		if !open {
			p.bleedOhm = shortOhm
		}
	}
	return p
}

// Beat is an edge of the heartbeat.
func (p *Pump) Beat() { p.lineV = RailV - p.lineV }

// Step lets some seconds pass, a tenth of the shortest time constant at most, and
// reports whether the comparator holds the relay.
func (p *Pump) Step(s float64) bool {
	amps, into := p.flows()
	if p.c1 > 0 {
		p.c1V += amps * s / p.c1
	}
	switch {
	case p.bleedOhm <= shortOhm:
		p.c2V = 0
	case p.c2 > 0:
		p.c2V += (into - p.c2V/p.bleedOhm) * s / p.c2
	default:
		p.c2V = into * p.bleedOhm
	}
	return p.c2V > p.referenceV
}

// flows returns the currents through C1 and into the reservoir with its resistors.
func (p *Pump) flows() (amps, into float64) {
	if p.c1 == 0 {
		return 0, 0
	}
	drive := p.lineV - p.c1V
	free := drive * p.drainOhm / (p.drainOhm + p.ohm) // the node behind C1, while no diode conducts
	above := p.c2V + p.diodeV
	switch {
	case p.d1 == Short:
		return drive / p.ohm, 0
	case p.d1 == Sound && free < -p.diodeV && (p.d2 != Short || p.c2V <= -p.diodeV):
		return (drive + p.diodeV) / p.ohm, 0
	case p.d2 == Short:
		i := (drive - p.c2V) / p.ohm
		return i, i - p.c2V/p.drainOhm
	case p.d2 == Sound && p.c2 == 0: // the resistors alone are behind D2
		return drive / (p.ohm + p.drainOhm), max(0, free-p.diodeV) / p.bleedOhm
	case p.d2 == Sound && free > above:
		i := (drive - above) / p.ohm
		return i, i - above/p.drainOhm
	}
	return drive / (p.ohm + p.drainOhm), 0
}

// Spread moves the parts by shares of their values: both capacitors, the resistors of
// the reservoir and the reference; and gives the diodes a voltage.
func (p *Pump) Spread(c1, c2, bleed, reference, diodeV float64) *Pump {
	p.c1 *= c1
	p.c2 *= c2
	p.bleedOhm *= bleed
	p.referenceV *= reference
	p.diodeV = diodeV
	return p
}

// Course is what a pump does.
type Course struct {
	Share   float64 // of the time with a heartbeat that the relay is held, at the end
	ClosesS float64 // when it first closes, negative if never
	SteadyS float64 // from when on it is held without a gap, negative if never
	HoldsS  float64 // after the last edge
}

// Watch runs a pump without charge through a number of edges, one a second, and lets the
// line stand still for a minute.
func (p *Pump) Watch(edges int) (c Course) {
	const stepS = 2e-4
	const perS = 5000
	c.ClosesS, c.SteadyS = -1, -1
	held := 0
	for i := range edges * perS {
		if i%perS == 0 {
			p.Beat()
		}
		switch on := p.Step(stepS); {
		case !on:
			c.SteadyS = -1
		case c.SteadyS < 0:
			c.SteadyS = float64(i) * stepS
		}
		if c.SteadyS >= 0 && c.ClosesS < 0 {
			c.ClosesS = c.SteadyS
		}
		if c.SteadyS >= 0 && i >= (edges-10)*perS {
			held++
		}
	}
	c.Share = float64(held) / (10 * perS)
	for i := range 60 * perS {
		if p.Step(stepS) {
			c.HoldsS = 1 + float64(i)*stepS
		}
	}
	return c
}
