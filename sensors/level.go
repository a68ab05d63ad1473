package sensors

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"bayward/agent/bay"
	"bayward/agent/reading"
	"bayward/sensors/converter"
	"bayward/sensors/level"
	"bayward/sensors/tca9534"
	"bayward/sensors/wiring"
)

// filmLasts is longer than a film on a rod that has come out of the acid: it drains
// within a minute or two. What still conducts is crust.
const filmLasts = 5 * time.Minute

// levelSense is the level probe's input.
type levelSense struct {
	probe  level.Probe
	pulses *pulser // nil for a probe with a voltage of its own
	signal level.Signal
	filmAt time.Duration // when a film was first seen
	film   bool
}

func newLevelSense(l *wiring.Level) (*levelSense, error) {
	probe, err := level.New(l.Kind, l.Settings)
	return &levelSense{probe: probe}, err
}

// inDoubt is how many readings are averaged where one fits no state of the probe: noise
// and the hum of a charger are averaged away, a film and crust are not.
const inDoubt = 3

// measure gives the probe its pulses. The voltage is for checking the wiring.
func (c *levelSense) measure(ctx context.Context) (physic.ElectricPotential, error) {
	var all []level.Signal
	for len(all) < inDoubt {
		s, err := c.pulses.measure(ctx)
		if err != nil {
			return 0, err
		}
		all = append(all, s)
		if len(all) == 1 && !c.doubtful(&s) {
			break
		}
	}
	s := level.Mean(all)
	c.signal = s
	return physic.ElectricPotential(math.Round(s.Forward.ProbeV * float64(physic.Volt))), nil
}

// doubtful reports whether a signal fits no state. A broken and a shorted wire are sure.
func (c *levelSense) doubtful(s *level.Signal) bool {
	_, err := c.probe.Read(s)
	return err != nil && !errors.Is(err, level.ErrOpen) && !errors.Is(err, level.ErrShort)
}

func (c *levelSense) put(out *bay.Readings, volts float64, at time.Duration, err error) (reading.Fault, error) {
	if c.pulses == nil {
		c.signal.Volts = volts
	}
	var span level.Span
	if err == nil {
		span, err = c.probe.Read(&c.signal)
		err = c.crust(err, at)
	}
	if err != nil {
		fault := faultOf(err)
		out.Level = reading.Level{At: at, Fault: fault}
		return fault, err
	}
	out.Level = reading.LevelBetween(span.LowMM, span.HighMM, at)
	return reading.None, nil
}

// crust names a film that does not drain. A failed measurement is no evidence.
func (c *levelSense) crust(err error, at time.Duration) error {
	if !errors.Is(err, level.ErrFilm) {
		c.film = false
		return err
	}
	if !c.film {
		c.film, c.filmAt = true, at
	}
	if at-c.filmAt < filmLasts {
		return err
	}
	return level.ErrCrust
}

// levelInput opens the level probe.
func (o *opener) levelInput(w *wiring.Parts) (input, error) {
	l := w.Level
	sense, err := newLevelSense(l)
	if err != nil {
		return input{}, err
	}
	if l.Kind.Pulses() == level.NoPulses {
		in, err := o.input(w.I2C, l.Input, converter.Ground)
		in.value = sense
		return in, err
	}
	sense.pulses, err = o.pulser(w.I2C, l)
	return input{value: sense, own: sense.measure}, err
}

// pulser opens the expander of a probe and the inputs beside it, once for each
// expander.
func (o *opener) pulser(busName string, l *wiring.Level) (*pulser, error) {
	at := fmt.Sprintf("%s 0x%x", wiring.PlainBus(busName), uint16(l.Expander))
	if p, ok := o.pulsers[at]; ok {
		return p, nil
	}
	p := &pulser{kind: l.Kind.Pulses(), wait: o.hw.Wait, now: o.hw.Now, busy: make(chan struct{}, 1)}
	if p.wait == nil {
		p.wait = realWait
	}
	in, minus := l.Input, converter.Ground
	in.Rate = pulseRate
	if p.kind == level.BothPulses {
		in.Channel, minus = probePlus, probeMinus
	}
	var err error
	if p.probe, err = o.input(busName, in, minus); err != nil {
		return nil, err
	}
	if p.kind == level.BothPulses {
		in.Channel = probeMinus
		if p.reference, err = o.input(busName, in, pulseReturn); err != nil {
			return nil, err
		}
		in.Channel, in.RangeV = probePlus, restRangeV
		if p.own, err = o.input(busName, in, probeMinus); err != nil {
			return nil, err
		}
	}
	bus, err := o.bus(busName)
	if err != nil {
		return nil, err
	}
	if p.expander, err = tca9534.New(bus, &tca9534.Opts{Addr: uint16(l.Expander)}); err != nil {
		return nil, fmt.Errorf("expander: %w", err)
	}
	o.pulsers[at] = p
	return p, nil
}

// bus opens an I²C bus once, whichever of its names is used.
func (o *opener) bus(name string) (i2c.Bus, error) {
	at := wiring.PlainBus(name)
	if bus, ok := o.buses[at]; ok {
		return bus, nil
	}
	bus, err := o.hw.Bus(name)
	if err != nil {
		return nil, fmt.Errorf("i2c %q: %w", name, err)
	}
	o.buses[at] = bus
	return bus, nil
}
