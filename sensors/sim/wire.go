package sim

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"

	"bayward/sensors/wiring"
)

// wireInputs connects the bay's analogue signals.
func (y *Stand) wireInputs(w *wiring.Parts) error {
	var errs []error
	connect := func(what string, in wiring.Input, s signal) {
		if err := y.connect(w.I2C, in, s); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", what, err))
		}
	}
	if v := w.Voltage; v != nil {
		y.divider = *v
		errs = append(errs, above0("voltage ratio", v.Ratio))
		connect("voltage", v.Input, packVoltage)
	}
	if c := w.Current; c != nil {
		y.current = *c
		errs = append(errs, not0("amperes per volt", c.AmperesPerVolt))
		connect("current", c.Input, packCurrent)
		if c.Minus != nil {
			errs = append(errs, pair(c.Channel, *c.Minus))
			connect("current return", wiring.Input{ADC: c.ADC, Channel: *c.Minus}, shuntReturn)
		}
	}
	if h := w.Hydrogen; h != nil {
		y.hydrogen = *h
		errs = append(errs, not0("hydrogen per volt", h.PerVolt))
		connect("hydrogen", h.Input, hydrogenSensor)
	}
	if l := w.Level; l != nil {
		probe, err := newCircuit(l, rand.New(rand.NewPCG(y.opts.Seed, 0x9a7e)))
		y.probe = probe
		errs = append(errs, err)
		connect("level", l.Input, levelProbe)
	}
	return errors.Join(errs...)
}

// connect puts a signal on an input, and the converter on its bus.
func (y *Stand) connect(busName string, in wiring.Input, s signal) error {
	if in.ADC < 0x48 || in.ADC > 0x4b {
		return fmt.Errorf("converter address 0x%02x is not between 0x48 and 0x4b", in.ADC)
	}
	if in.Channel < 0 || in.Channel > 3 {
		return fmt.Errorf("channel %d is not between 0 and 3", in.Channel)
	}
	dev := y.converter(busName, uint16(in.ADC))
	if dev.in[in.Channel].bay != nil {
		return fmt.Errorf("bus %q, converter 0x%02x, channel %d: %w", busName, in.ADC, in.Channel, ErrTaken)
	}
	dev.in[in.Channel] = source{y, s}
	return nil
}

// converter returns a converter, and fits it if needed.
func (y *Stand) converter(busName string, addr uint16) *adc {
	name := plainBus(busName)
	u, ok := y.bench.buses[name]
	if !ok {
		u = &bus{bench: y.bench, name: name, adcs: map[uint16]*adc{}}
		y.bench.buses[name] = u
	}
	dev, ok := u.adcs[addr]
	if !ok {
		dev = newADC(y.bench, y.opts.Seed, addr)
		u.adcs[addr] = dev
	}
	if !slices.Contains(y.adcs, dev) {
		y.adcs = append(y.adcs, dev)
		dev.bays = append(dev.bays, y)
	}
	return dev
}

// wirePins connects the bay's lines.
func (y *Stand) wirePins(w *wiring.Parts) error {
	var errs []error
	connect := func(name string, role role) *line {
		l := newLine(y, name, role)
		if _, taken := y.bench.pins[name]; taken {
			errs = append(errs, fmt.Errorf("line %q: %w", name, ErrTaken))
			return l
		}
		y.bench.pins[name] = l
		return l
	}
	if r := w.Relay; r != nil {
		connect(r.Pin, relayLine)
		if r.Heartbeat != "" {
			connect(r.Heartbeat, heartbeatLine)
		}
	}
	for _, c := range w.Contacts() {
		if c.Contact != nil {
			l := connect(c.Contact.Pin, contactLine)
			l.key, l.activeLow, l.breaks = c.Key, c.Contact.ActiveLow, c.Contact.Breaks()
		}
	}
	return errors.Join(errs...)
}

// wireSensors puts the temperature sensors on the 1-wire bus. Bays may share only
// the air sensor.
func (y *Stand) wireSensors(w *wiring.Parts) error {
	t := w.Temperature
	if t == nil {
		t = &wiring.Temperature{}
	}
	var errs []error
	y.packBus, y.offsetC = t.Bus, t.OffsetC
	if y.packBus == "" {
		y.packBus = busMaster
	} else if !isMaster(y.packBus) {
		errs = append(errs, fmt.Errorf("1-wire bus %q is not the name of a bus, such as w1_bus_master2", t.Bus))
	}
	number := t.Pack
	if y.opts.OwnSensor != "" {
		number, y.ownSensor = y.opts.OwnSensor, true
	}
	if number != "" {
		s, err := y.bench.fit(number, y, false)
		errs = append(errs, err)
		y.packSensor = s
		s.offsetC, s.bus = t.OffsetC, y.packBus
		s.plug(y.now-forgetAfter, y.sensorPlugged())
	}
	if t.Ambient != "" {
		s, err := y.bench.fit(t.Ambient, y, true)
		errs = append(errs, err)
		y.airSensor = s
	}
	return errors.Join(errs...)
}

func above0(what string, value float64) error {
	if !(value > 0) {
		return fmt.Errorf("%s %v is not above 0", what, value)
	}
	return nil
}

func not0(what string, value float64) error {
	if value == 0 || value != value {
		return fmt.Errorf("%s is %v", what, value)
	}
	return nil
}

// pair refuses differential inputs that the multiplexer does not have.
func pair(plus, minus int) error {
	if minus == 3 && plus >= 0 && plus < 3 || plus == 0 && minus == 1 {
		return nil
	}
	return fmt.Errorf("channels %d and %d are not a differential pair: must be 0-1, 0-3, 1-3 or 2-3", plus, minus)
}
