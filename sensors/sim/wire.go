package sim

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"

	"bayward/sensors/converter"
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
			errs = append(errs, pair(&c.Input, *c.Minus))
			other := c.Input
			other.Channel = *c.Minus
			connect("current return", other, shuntReturn)
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
		errs = append(errs, y.wirePulses(w, connect))
	}
	return errors.Join(errs...)
}

// wirePulses connects the expander of a probe with test pulses, and the other inputs of
// one in two wires, which are fixed.
func (y *Stand) wirePulses(w *wiring.Parts, connect func(string, wiring.Input, signal)) error {
	l := w.Level
	if _, ok := y.probe.(pulsed); !ok {
		return nil
	}
	if _, ok := y.probe.(*rodLoop); ok {
		connect("level, second wire", wiring.Input{Converter: l.Converter, ADC: l.ADC, SPI: l.SPI, Channel: 1}, levelReturn)
		connect("level, end of the reference", wiring.Input{Converter: l.Converter, ADC: l.ADC, SPI: l.SPI, Channel: 3}, levelDrive)
	}
	u, ok := y.bench.buses[wiring.PlainBus(w.I2C)]
	if !ok {
		return nil // connect has refused the input
	}
	addr := uint16(l.Expander)
	if _, taken := u.expanders[addr]; taken || addr == 0 {
		return fmt.Errorf("level: expander 0x%02x: %w", addr, ErrTaken)
	}
	u.expanders[addr] = newExpander(y)
	return nil
}

// connect puts a signal on an input, and the converter on its bus.
func (y *Stand) connect(busName string, in wiring.Input, s signal) error {
	f, ok := in.Family()
	if !ok {
		return fmt.Errorf("there is no converter %q", in.Converter)
	}
	if f.Bus == converter.I2C && (uint16(in.ADC) < f.FirstAddr || uint16(in.ADC) > f.LastAddr) {
		return fmt.Errorf("address 0x%02x of the %s is not between 0x%02x and 0x%02x", in.ADC, f.Title, f.FirstAddr, f.LastAddr)
	}
	if in.Channel < 0 || in.Channel >= len(f.Channels) {
		return fmt.Errorf("channel %d of the %s is not between 0 and %d", in.Channel, f.Title, len(f.Channels)-1)
	}
	dev := y.converter(busName, &in, f)
	if dev.family != f {
		return fmt.Errorf("an %s where there is an %s: %s: %w", f.Title, dev.family.Title, in.Place(busName), ErrTaken)
	}
	if dev.in[in.Channel].bay != nil {
		return fmt.Errorf("converter %s, channel %d: %w", in.Place(busName), in.Channel, ErrTaken)
	}
	dev.in[in.Channel] = source{y, s, in.RangeV}
	return nil
}

// converter returns a converter, and fits it if needed.
func (y *Stand) converter(busName string, in *wiring.Input, f *converter.Family) *adc {
	dev := y.bench.converter(busName, in, f, y.opts.Seed)
	if !slices.Contains(y.adcs, dev) {
		y.adcs = append(y.adcs, dev)
		dev.bays = append(dev.bays, y)
	}
	return dev
}

// converter finds a converter at its place, or fits it.
func (b *Bench) converter(busName string, in *wiring.Input, f *converter.Family, seed uint64) *adc {
	if f.Bus == converter.SPI {
		name := wiring.PlainBus(in.SPI)
		p, ok := b.ports[name]
		if !ok {
			p = &port{bench: b, name: name, dev: newADC(b, f, seed, uint64(len(b.ports))|spiSeed)}
			b.ports[name] = p
		}
		return p.dev
	}
	name, addr := wiring.PlainBus(busName), uint16(in.ADC)
	u, ok := b.buses[name]
	if !ok {
		u = &bus{bench: b, name: name, adcs: map[uint16]*adc{}, expanders: map[uint16]*expander{}}
		b.buses[name] = u
	}
	dev, ok := u.adcs[addr]
	if !ok {
		dev = newADC(b, f, seed, uint64(addr))
		u.adcs[addr] = dev
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
			y.bridged[c.Key] = c.Sensor.Well() == 1
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
	// A device's own sensors, on no bus of the Pi.
	for i := range w.Registers {
		switch w.Registers[i].Reading {
		case "pack-temperature":
			y.packSensor = &thermometer{bay: y, plugged: true}
		case "ambient-temperature":
			y.airSensor = &thermometer{bay: y, ambient: true, plugged: true}
		}
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
func pair(in *wiring.Input, minus int) error {
	if f, ok := in.Family(); ok && !f.HasPair(in.Channel, minus) {
		return fmt.Errorf("channels %d and %d are not a differential pair of an %s", in.Channel, minus, f.Title)
	}
	return nil
}
