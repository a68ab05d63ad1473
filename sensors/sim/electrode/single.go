package electrode

import "math"

// Single is one rod against the pack's minus: its circuit draws a current from it to
// there.
type Single struct{ rod }

// NewSingle returns a rod that has long been dry.
func NewSingle(r Rod) *Single { return &Single{rod{r, NewLead(rodCM2), math.Inf(1)}} }

// Volts returns the voltage at the wire, and what the rod delivers to it. cellsV is the
// voltage of the cells below the rod's own; the wire is loaded by a source.
func (p *Single) Volts(sc *Scene, cellsV float64, src *Source) (volts, amps float64) {
	g := p.siemens(sc)
	volts = (src.volts()/src.Ohm + g*(cellsV+p.lead.etaV)) / (1/src.Ohm + g)
	return volts, g * (cellsV + p.lead.etaV - volts)
}

// Step lets time pass.
func (p *Single) Step(s float64, sc *Scene, cellsV float64, src *Source) {
	for h := firstStepS; s > 0; h = min(h*growth, longestStepS) {
		h = min(h, s)
		s -= h
		_, amps := p.Volts(sc, cellsV, src)
		p.pass(h, sc, -amps)
	}
}

// Form turns the rod into lead dioxide, or replaces it.
func (p *Single) Form(on bool) { p.lead.Form(on) }

// pass lets an anodic current flow through the rod for some seconds.
func (r *rod) pass(s float64, sc *Scene, amps float64) {
	r.lead.step(s, amps, r.siemens(sc))
	if r.dryS += s; r.wet(sc) {
		r.dryS = 0
	}
}
