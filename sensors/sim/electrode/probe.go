package electrode

import "math"

const (
	rodCM2, commonCM2 = 2, 4
	acidOhm25         = 1.5 // between two rods, at 25 °C
	acidPerK          = 0.015
	climbMM           = 1.5   // acid climbs a rod so far above its level
	filmOhm           = 50.0  // of the film on a rod that has just come out
	filmTauS          = 7.0   // after which it has e times as much
	dryOhm            = 1e9   // above which a film is none
	foamMM            = 6.0   // of foam while a cell gasses strongly
	foamOhm           = 100.0 // of the densest foam between two rods
	firstStepS        = 0.2e-3
	longestStepS      = 60.0
	growth            = 1.5
)

// Rod is one rod of a probe.
type Rod struct {
	HeightMM  float64 // of its tip
	SeriesOhm float64 // between the wire and the rod
}

// Scene is what surrounds a probe.
type Scene struct {
	LevelMM float64 // of the settled acid at the probe
	AcidC   float64 // its temperature
	Gassing float64 // 0 for none, 1 for the strongest usual
	// CrustOhm is what deposits on the rods add to each path.
	CrustOhm float64
	// LeakSiemens is a path between the probe's two wires beside the rods.
	LeakSiemens float64
}

// Source is what the measuring circuit puts on the probe's two wires: a voltage behind
// a resistance and perhaps a capacitor. An infinite resistance is a circuit that is
// open.
type Source struct {
	Volts, Ohm float64
	Farad      float64 // of the capacitor; 0 for none
	OnFaradV   float64 // the voltage over it
}

func (src *Source) volts() float64 { return src.Volts - src.OnFaradV }

// charged is the current below which a capacitor has stopped it, A.
const charged = 1e-10

// Probe is one or several rods and a common electrode, with a resistor between their
// wires.
type Probe struct {
	endOhm float64
	rods   []rod
	common Lead
}

type rod struct {
	Rod
	lead Lead
	dryS float64 // since it came out of the acid; +Inf for a rod that has long been dry
}

// NewProbe returns a probe whose rods have long been dry. endOhm may be infinite.
func NewProbe(endOhm float64, rods ...Rod) *Probe {
	p := &Probe{endOhm: endOhm, common: NewLead(commonCM2)}
	for _, r := range rods {
		p.rods = append(p.rods, rod{r, NewLead(rodCM2), math.Inf(1)})
	}
	return p
}

// Form turns the rods into lead dioxide, as direct current does, or replaces them.
func (p *Probe) Form(on bool) {
	for i := range p.rods {
		p.rods[i].lead.Form(on)
	}
}

// Volts returns the voltage between the wires.
func (p *Probe) Volts(sc *Scene, src *Source) float64 {
	v, _ := p.solve(sc, src)
	return v
}

// Ohm returns the resistance between the wires, as any voltage that changes meets it.
func (p *Probe) Ohm(sc *Scene) float64 {
	_, siemens := p.solve(sc, &Source{Ohm: math.Inf(1)})
	return 1 / siemens
}

// solve returns the voltage between the wires, and the conductance of the probe.
func (p *Probe) solve(sc *Scene, src *Source) (volts, siemens float64) {
	siemens = 1/p.endOhm + sc.LeakSiemens
	amps := src.volts() / src.Ohm
	for i := range p.rods {
		g := p.rods[i].siemens(sc)
		siemens += g
		amps += g * (p.rods[i].lead.etaV - p.common.etaV)
	}
	return amps / (siemens + 1/src.Ohm), siemens
}

// siemens returns the conductance of a rod's branch.
func (r *rod) siemens(sc *Scene) float64 {
	ohm := r.pathOhm(sc)
	if ohm >= dryOhm {
		return 0
	}
	return 1 / (r.SeriesOhm + ohm + sc.CrustOhm)
}

// pathOhm returns the resistance between the rod and the common electrode: the acid,
// the film that drains, or foam.
func (r *rod) pathOhm(sc *Scene) float64 {
	if r.wet(sc) {
		return acidOhm25 / (1 + acidPerK*(sc.AcidC-25))
	}
	ohm := filmOhm * math.Exp(min(r.dryS/filmTauS, 40))
	if sc.LevelMM+foamMM*sc.Gassing >= r.HeightMM && sc.Gassing > 0 {
		ohm = min(ohm, foamOhm/sc.Gassing)
	}
	return ohm
}

func (r *rod) wet(sc *Scene) bool { return sc.LevelMM+climbMM >= r.HeightMM }

// Step lets time pass with a source on the wires, and charges the source's capacitor.
// The steps are short where the source has just changed.
func (p *Probe) Step(s float64, sc *Scene, src *Source) {
	for h := firstStepS; s > 0; h = min(h*growth, longestStepS) {
		h = min(h, s)
		volts, _ := p.solve(sc, src)
		amps := (src.volts() - volts) / src.Ohm
		if src.Farad > 0 && math.Abs(amps) > charged {
			h = min(h, src.Ohm*src.Farad/5)
			src.OnFaradV += amps * h / src.Farad
		}
		s -= h
		p.move(h, sc, volts)
	}
}

// move lets the electrodes follow a voltage between the wires.
func (p *Probe) move(s float64, sc *Scene, volts float64) {
	total, all := 0.0, 0.0
	for i := range p.rods {
		r := &p.rods[i]
		g := r.siemens(sc)
		amps := g * (volts + p.common.etaV - r.lead.etaV)
		total, all = total+amps, all+g
		r.pass(s, sc, amps)
	}
	p.common.step(s, -total, all)
}
