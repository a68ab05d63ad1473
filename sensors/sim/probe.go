package sim

import (
	"errors"
	"fmt"
	"math/rand/v2"

	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

const (
	supplyV       = 5.0    // of the converter and the transmitter's clamp
	driftLeakS    = 7200.0 // after which a drifting loop leaks as much as its end resistor conducts
	driftMMPerH   = 1.0    // of a drifting transmitter
	loopSupplyV   = 24.0   // of a transmitter
	calibratorMA  = 22.5   // of the instrument that takes a transmitter's place
	resistorShare = 0.005
)

// circuit is the physics of a level probe. It does not use the driver's, but is
// written again, from the data sheets.
type circuit interface {
	// volts returns the voltage at the converter's input.
	volts(p plight) float64
}

// plight is the condition of a probe.
type plight struct {
	levelMM     float64 // level at the probe
	open, short bool
	replaced    bool    // something that draws a failure's current is in its place
	driftS      float64 // for how long it has been drifting, s
}

// circuits has the function that makes the circuit of each kind. Its error is for
// invalid settings.
var circuits = map[level.Kind]func(*level.Settings, *rand.Rand) (circuit, error){
	level.SingleRod:    newRodLoop,
	level.Ladder:       newRodLoop,
	level.FourTwentyMA: newTransmitter,
}

func newCircuit(l *wiring.Level, rng *rand.Rand) (circuit, error) {
	build, ok := circuits[l.Kind]
	if !ok {
		return nil, fmt.Errorf("there is no circuit for a level probe of kind %q", l.Kind)
	}
	settings := l.Settings
	return build(&settings, rng)
}

// rodLoop is one rod or several in a supervised loop.
type rodLoop struct {
	*level.Settings
	// The resistors with their tolerances.
	pullOhm, endOhm float64
	rodOhm          []float64
}

// newRodLoop gives each resistor its tolerance.
func newRodLoop(s *level.Settings, rng *rand.Rand) (circuit, error) {
	actual := func(ohm float64) float64 { return ohm * (1 + resistorShare*(2*rng.Float64()-1)) }
	l := &rodLoop{Settings: s, pullOhm: actual(s.PullOhm), endOhm: actual(s.EndOhm)}
	errs := []error{
		above0("excitation volts", s.ExcitationV), above0("pull ohm", s.PullOhm),
		above0("end ohm", s.EndOhm), above0("number of rods", float64(len(s.Rods))),
	}
	for _, rod := range s.Rods {
		l.rodOhm = append(l.rodOhm, actual(rod.SeriesOhm))
		errs = append(errs, above0("series ohm", rod.SeriesOhm))
	}
	return l, errors.Join(errs...)
}

func (l *rodLoop) volts(p plight) float64 {
	switch {
	case p.short || p.replaced:
		return 0
	case p.open:
		return l.ExcitationV
	}
	siemens := 1 / l.endOhm
	for i, rod := range l.Rods {
		if p.levelMM >= rod.HeightMM+l.OffsetMM {
			siemens += 1 / l.rodOhm[i]
		}
	}
	siemens += p.driftS / driftLeakS / l.endOhm
	return l.ExcitationV / (1 + l.pullOhm*siemens)
}

// transmitter is a 4-20 mA transmitter, which saturates at 3.8 and 20.5 mA as in
// NAMUR NE 43. Nothing but the transmitter limits the current: through a short the
// whole supply is across the shunt.
type transmitter struct{ *level.Settings }

func newTransmitter(s *level.Settings, _ *rand.Rand) (circuit, error) {
	return transmitter{s}, errors.Join(above0("shunt ohm", s.ShuntOhm), above0("range of the transmitter (mm)", s.HighMM-s.LowMM))
}

func (t transmitter) volts(p plight) float64 {
	switch {
	case p.short:
		return loopSupplyV
	case p.replaced:
		return calibratorMA / 1000 * t.ShuntOhm
	case p.open:
		return 0
	}
	levelMM := p.levelMM + driftMMPerH*p.driftS/3600
	span := (levelMM - t.OffsetMM - t.LowMM) / (t.HighMM - t.LowMM)
	return min(max(4+16*span, 3.8), 20.5) / 1000 * t.ShuntOhm
}
