package sim

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"bayward/sensors/level"
	"bayward/sensors/sim/electrode"
	"bayward/sensors/wiring"
)

const (
	supplyV       = 5.0  // of the converter and the transmitter's clamp
	driftMMPerH   = 1.0  // of a drifting transmitter
	loopSupplyV   = 24.0 // of a transmitter
	calibratorMA  = 22.5 // of the instrument that takes a transmitter's place
	resistorShare = 0.005
)

// circuit is the physics of a level probe. It does not use the driver's, but is
// written again, from the data sheets.
type circuit interface {
	// volts returns the voltage at one of the converter's inputs.
	volts(at signal, p plight) float64
}

// pulsed is a circuit with an expander's pins.
type pulsed interface {
	circuit
	// drive sets the pins, one bit each: their level, and whether they are driven.
	drive(high, driven byte, p plight)
	// advance lets its electrodes and films live up to now.
	advance(p *plight)
	// form turns its rods into lead dioxide, or replaces them.
	form(on bool)
}

// plight is the condition of a probe.
type plight struct {
	scene       electrode.Scene
	at          time.Duration // now, on the clock of the converters
	cellsV      float64       // from the pack's minus to the negative plates of the probe's cell
	open, short bool
	bridged     bool    // by metal, in the acid or not
	replaced    bool    // something that draws a failure's current is in its place
	driftS      float64 // for how long it has been drifting, s
}

// circuits has the function that makes the circuit of each kind. Its error is for
// invalid settings.
var circuits = map[level.Kind]func(*level.Settings, *rand.Rand) (circuit, error){
	level.SingleRod:    newRodLoop,
	level.Ladder:       newRodLoop,
	level.Potential:    newPotential,
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

// actual gives a resistor its tolerance.
func actual(ohm float64, rng *rand.Rand) float64 {
	return ohm * (1 + resistorShare*(2*rng.Float64()-1))
}

// transmitter is a 4-20 mA transmitter, which saturates at 3.8 and 20.5 mA as in
// NAMUR NE 43. Nothing but the transmitter limits the current: through a short the
// whole supply is across the shunt.
type transmitter struct{ *level.Settings }

func newTransmitter(s *level.Settings, _ *rand.Rand) (circuit, error) {
	return transmitter{s}, errors.Join(above0("shunt ohm", s.ShuntOhm), above0("range of the transmitter (mm)", s.HighMM-s.LowMM))
}

func (t transmitter) volts(_ signal, p plight) float64 {
	switch {
	case p.short:
		return loopSupplyV
	case p.replaced:
		return calibratorMA / 1000 * t.ShuntOhm
	case p.open:
		return 0
	}
	levelMM := p.scene.LevelMM + driftMMPerH*p.driftS/3600
	span := (levelMM - t.OffsetMM - t.LowMM) / (t.HighMM - t.LowMM)
	return min(max(4+16*span, 3.8), 20.5) / 1000 * t.ShuntOhm
}
