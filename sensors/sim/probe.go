package sim

import "math/rand/v2"

const (
	supplyV       = 5.0    // of the converter and the transmitter's clamp
	driftLeakS    = 7200.0 // after which a drifting loop leaks as much as its end resistor
	driftMMPerH   = 1.0    // of a drifting transmitter
	resistorShare = 0.005
)

// probe is the level probe's circuit.
type probe struct {
	level   Level
	pullOhm float64
	endOhm  float64
	rodOhm  []float64
}

// newProbe gives each resistor its tolerance.
func newProbe(l Level, rng *rand.Rand) *probe {
	actual := func(ohm float64) float64 { return ohm * (1 + resistorShare*(2*rng.Float64()-1)) }
	p := &probe{level: l, pullOhm: actual(l.PullOhm), endOhm: actual(l.EndOhm)}
	for _, rod := range l.Rods {
		p.rodOhm = append(p.rodOhm, actual(rod.SeriesOhm))
	}
	return p
}

// volts is what the converter's input sees for a level.
func (p *probe) volts(levelMM float64, open, short bool, driftS float64) float64 {
	if p.level.Kind == Transmitter {
		return p.transmitterV(levelMM, open, short, driftS)
	}
	switch {
	case short:
		return 0
	case open:
		return p.level.ExcitationV
	}
	siemens := 1 / p.endOhm
	for i, rod := range p.level.Rods {
		if levelMM >= rod.HeightMM+p.level.OffsetMM {
			siemens += 1 / p.rodOhm[i]
		}
	}
	siemens += driftS / driftLeakS / p.endOhm
	return p.level.ExcitationV / (1 + p.pullOhm*siemens)
}

// transmitterV is a 4-20 mA transmitter, which saturates at 3.8 and 20.5 mA as
// NAMUR NE 43 has it; a short lets the supply push more than 21 mA.
func (p *probe) transmitterV(levelMM float64, open, short bool, driftS float64) float64 {
	const shortMA = 24.0
	switch {
	case open:
		return 0
	case short:
		return shortMA / 1000 * p.level.ShuntOhm
	}
	levelMM += driftMMPerH * driftS / 3600
	span := (levelMM - p.level.OffsetMM - p.level.LowMM) / (p.level.HighMM - p.level.LowMM)
	return min(max(4+16*span, 3.8), 20.5) / 1000 * p.level.ShuntOhm
}
