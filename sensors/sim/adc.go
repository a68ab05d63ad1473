package sim

import (
	"math/rand/v2"
	"time"

	"bayward/sensors/converter"
)

const (
	noiseLSB      = 1.5
	noisyFactor   = 100
	spikeOneIn    = 8
	spikeShare    = 0.6 // of the full scale
	oscillatorOff = 0.08
	logicV        = 5.5 // inputs that bear more are made for a pack's own voltage
	clampV        = 0.3 // of the input's protection diodes beyond its supply
)

// signal is what an input is connected to.
type signal uint8

const (
	floating signal = iota
	packVoltage
	packCurrent
	shuntReturn
	levelProbe
	levelReturn // the probe's other wire
	levelDrive  // the end of the reference resistor
	hydrogenSensor
	packElement // the resistance of a platinum thermometer, Ω
	airElement
)

// source is one input's wire.
type source struct {
	bay    *Stand
	what   signal
	rangeV float64 // full scale as wired, where the reference is outside the chip
}

// adc is one converter of any family, and the world of its chip.
type adc struct {
	bench  *Bench
	family *converter.Family
	bays   []*Stand
	in     []source
	chip   converter.Chip
	rng    *rand.Rand
	slow   float64 // the oscillator's period over the nominal one
}

func newADC(b *Bench, f *converter.Family, seed, place uint64) *adc {
	d := &adc{bench: b, family: f, in: make([]source, len(f.Channels)), rng: rand.New(rand.NewPCG(seed, place))}
	d.slow = 1 + oscillatorOff*(2*d.rng.Float64()-1)
	d.chip = f.Chip(d)
	return d
}

// faulty reports whether any bay on the converter has a fault.
func (d *adc) faulty(f FaultKind) bool {
	for _, y := range d.bays {
		if y.faults[f] {
			return true
		}
	}
	return false
}

// Now implements converter.World.
func (d *adc) Now() time.Duration { return d.bench.clock() }

// Slow implements converter.World.
func (d *adc) Slow() float64 { return d.slow }

// Never implements converter.World.
func (d *adc) Never() bool { return d.faulty(ConversionStuck) }

// Dips implements converter.World.
func (d *adc) Dips() bool { return d.faulty(ConfigReset) }

// Noisy implements converter.World.
func (d *adc) Noisy(code, steps float64) float64 {
	sigma := noiseLSB
	if d.faulty(Noise) {
		sigma *= noisyFactor
	}
	code += sigma * d.rng.NormFloat64()
	if d.faulty(Spikes) && d.rng.IntN(spikeOneIn) == 0 {
		code += spikeShare * steps * (2*d.rng.Float64() - 1)
	}
	return code
}

// FullScaleV implements converter.World.
func (d *adc) FullScaleV(channel int) float64 { return d.in[channel].rangeV }

// PinV implements converter.World: the voltage at an input, limited by its protection
// diodes.
func (d *adc) PinV(channel int) float64 {
	s, top := d.in[channel], supplyV
	if most := d.family.Channels[channel].TopV; most > logicV {
		top = most
	}
	const floatV = 0.12 // an open input rests somewhere above ground
	v := floatV
	if s.bay != nil {
		v = s.bay.signalV(s.what)
		if s.what != packElement && s.what != airElement {
			s.bay.inputMaxV = max(s.bay.inputMaxV, v)
		}
	}
	return min(max(v, -clampV), top+clampV)
}
