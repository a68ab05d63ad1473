package sensors

import (
	"context"

	"bayward/agent/bay"
	"bayward/sensors/level"
)

// Source samples the parts on one bus.
type Source interface {
	// Name returns the bus: "i2c 1", "spi 0.0", "modbus meters", "1-wire", "contacts".
	Name() string
	// Sample fills the fields of its own parts, each with value, time and
	// fault, and leaves the others alone. It blocks as long as its bus does.
	// One Source is for one goroutine at a time; different sources may sample
	// at the same time, even into the same readings.
	Sample(ctx context.Context, out *bay.Readings)
}

// Set is the sensors of one charging place.
type Set struct {
	name    string
	sources []Source
	level   Source
}

// Name returns the bay's name in the configuration.
func (b *Set) Name() string { return b.name }

// Sources returns what to sample: one source for each bus with parts of the bay.
func (b *Set) Sources() []Source { return b.sources }

// Volts returns the voltages at the converter's inputs from the last sampling, by
// the part's key in the configuration, such as "voltage". An input that could not
// be converted is absent. Do not call it while a source samples.
func (b *Set) Volts() map[string]float64 {
	out := map[string]float64{}
	for _, s := range b.sources {
		if a, ok := s.(*analog); ok {
			for i := range a.inputs {
				if raw := &a.inputs[i].raw; raw.OK() {
					out[a.inputs[i].part] = raw.Value
				}
			}
		}
	}
	return out
}

// Rods returns what the rods of a level probe answered to the pulses of the last
// sampling. It is false for another probe, and if they could not be measured. Do not
// call it while a source samples.
func (b *Set) Rods() (m level.Measured, ok bool) {
	for _, s := range b.sources {
		a, isAnalog := s.(*analog)
		if !isAnalog {
			continue
		}
		for i := range a.inputs {
			sense, isLevel := a.inputs[i].value.(*levelSense)
			if !isLevel || !a.inputs[i].raw.OK() {
				continue
			}
			if rods, pulsed := sense.probe.(*level.Loop); pulsed {
				return rods.Measure(&sense.signal), true
			}
		}
	}
	return m, false
}

// Level returns the level probe alone, for a loop that reads it between the
// ticks; nil unless the configuration asks for that.
func (b *Set) Level() Source { return b.level }

var (
	_ Source = (*analog)(nil)
	_ Source = (*registers)(nil)
	_ Source = (*oneWire)(nil)
	_ Source = (*contacts)(nil)
)
