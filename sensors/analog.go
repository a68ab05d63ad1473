package sensors

import (
	"context"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/physic"

	"bayward/agent/bay"
	"bayward/agent/reading"
	"bayward/sensors/converter"
)

// input is one channel of a converter and the meaning of its voltage.
type input struct {
	part    string // its key in the configuration, such as "voltage"
	of      reading.Sensor
	raw     reading.Reading
	dev     converter.Dev
	setting converter.Setting
	own     func(context.Context) (physic.ElectricPotential, error) // how it measures, if not by one conversion
	value   value
	teller
}

func (in *input) convert(ctx context.Context) (physic.ElectricPotential, error) {
	if in.own != nil {
		return in.own(ctx)
	}
	return in.dev.Measure(ctx, in.setting)
}

// value turns the voltage at an input into a field of the readings. On an error,
// its own included, the field gets a fault.
type value interface {
	put(out *bay.Readings, volts float64, at time.Duration, err error) (reading.Fault, error)
}

// analog samples a bay's inputs on one I²C bus or SPI port.
type analog struct {
	name   string
	now    func() time.Duration
	inputs []input
}

// Name returns the bus, such as "i2c 1" or "spi 0.0".
func (a *analog) Name() string { return a.name }

// Sample converts each input in turn, and leaves alone what was read within its
// sensor's interval. When the bus fails it skips the remaining
// inputs: each try would take the kernel's timeout.
func (a *analog) Sample(ctx context.Context, out *bay.Readings) {
	var stuck error
	for i := range a.inputs {
		in := &a.inputs[i]
		at, volts, err := a.now(), physic.ElectricPotential(0), stuck
		if !in.of.Due(out.Of(in.of), at) {
			continue
		}
		if err == nil {
			volts, err = in.convert(ctx)
		}
		in.raw = rawOf(volts, at, err)
		fault, err := in.value.put(out, float64(volts)/float64(physic.Volt), at, err)
		in.tell(err, fault, at)
		if fault == reading.BusStuck {
			stuck = err
		}
	}
}

// rawOf returns the voltage at an input, for checking the wiring.
func rawOf(volts physic.ElectricPotential, at time.Duration, err error) reading.Reading {
	if err != nil {
		return reading.Bad(faultOf(err), at)
	}
	return reading.Good(float64(volts)/float64(physic.Volt), at)
}

// linear is a sensor whose value is (volts − zero) × factor.
type linear struct {
	zero, factor float64
	low, high    float64 // range of the sensor
	sensor       reading.Sensor
}

func (l *linear) put(out *bay.Readings, volts float64, at time.Duration, err error) (reading.Fault, error) {
	v := (volts - l.zero) * l.factor
	if err == nil && !(v >= l.low && v <= l.high) {
		err = fmt.Errorf("%w: %.4g from %.4g V, must be %.4g to %.4g", errImplausible, v, volts, l.low, l.high)
	}
	if err != nil {
		fault := faultOf(err)
		*out.Place(l.sensor) = reading.Bad(fault, at)
		return fault, err
	}
	*out.Place(l.sensor) = reading.Good(v, at)
	return reading.None, nil
}

// unbounded is for sensors whose range is that of their converter.
var unbounded = math.MaxFloat64
