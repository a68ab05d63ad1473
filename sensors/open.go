package sensors

import (
	"errors"
	"fmt"

	"periph.io/x/conn/v3/i2c"

	"bayward/agent/config"
	"bayward/agent/reading"
	"bayward/sensors/converter"
	"bayward/sensors/modbus"
	"bayward/sensors/wiring"
)

// opener opens the parts of all bays and shares common ones.
type opener struct {
	hw           Hardware
	buses        map[string]i2c.Bus
	converters   map[string]converter.Dev // by place
	pulsers      map[string]*pulser       // by the place of their expander
	thermometers map[string]*thermometer
	lines        map[string]*modbus.Line // by name
}

// Open opens the sensors of every bay, in the order of the configuration. It drives
// no line: relays are their keeper's. Converters and thermometers that do not answer
// are not errors; bays on one converter share it. The error names the bay, the field
// and the part.
func Open(cfg *config.Config, hw Hardware) ([]*Set, error) {
	if hw.Now == nil || hw.Pin == nil || hw.Bus == nil {
		return nil, errors.New("bug: hardware without clock, pins or buses")
	}
	o := &opener{hw, map[string]i2c.Bus{}, map[string]converter.Dev{}, map[string]*pulser{}, map[string]*thermometer{}, map[string]*modbus.Line{}}
	var bays []*Set
	for i := range cfg.Bays {
		b := &cfg.Bays[i]
		sources, err := o.sources(cfg, b)
		if err != nil {
			return nil, err
		}
		level, err := o.level(b)
		if err != nil {
			return nil, err
		}
		bays = append(bays, &Set{b.Name, sources, level})
	}
	return bays, nil
}

// partError names the place in the configuration.
func partError(b *config.Bay, field string, err error) error {
	return fmt.Errorf("open bay %s: wiring.%s: %w", b.Name, field, err)
}

func (o *opener) sources(cfg *config.Config, b *config.Bay) ([]Source, error) {
	var sources []Source
	ports, err := o.analog(b)
	if err != nil {
		return nil, err
	}
	for _, a := range ports {
		sources = append(sources, a)
	}
	lines, err := o.registers(cfg, b)
	if err != nil {
		return nil, err
	}
	for _, r := range lines {
		sources = append(sources, r)
	}
	w, err := o.oneWire(b)
	if err != nil {
		return nil, err
	}
	if b.Recognises() {
		if w.packs, err = o.packFinder(cfg, b); err != nil {
			return nil, partError(b, "temperature", err)
		}
	}
	if len(w.probes) > 0 || w.packs != nil {
		sources = append(sources, w)
	}
	rtds, err := o.rtds(b)
	if err != nil {
		return nil, err
	}
	for _, r := range rtds {
		sources = append(sources, r)
	}
	c, err := o.contacts(b)
	if err != nil {
		return nil, err
	}
	if len(c.inputs) > 0 {
		sources = append(sources, c)
	}
	return sources, nil
}

// analog opens the inputs of a bay: a source for each bus.
func (o *opener) analog(b *config.Bay) ([]*analog, error) {
	w := &b.Wiring
	var ports []*analog
	add := func(field string, of reading.Sensor, in wiring.Input, minus int, v value) error {
		opened, err := o.input(w.I2C, in, minus)
		if err != nil {
			return partError(b, field, err)
		}
		opened.part, opened.of, opened.value, opened.teller = field, of, v, o.teller(b, field)
		ports = o.onBus(ports, portName(w.I2C, &in), opened)
		return nil
	}
	var err error
	if v := w.Voltage; v != nil {
		err = add("voltage", reading.PackVoltage, v.Input, converter.Ground, &linear{v.OffsetV, v.Ratio, -unbounded, unbounded, reading.PackVoltage})
	}
	if c := w.Current; c != nil {
		minus := converter.Ground
		if c.Kind == "shunt" && c.Minus != nil {
			minus = *c.Minus
		}
		err = errors.Join(err, add("current", reading.PackCurrent, c.Input, minus, currentOf(c)))
	}
	if w.Level != nil {
		in, levelErr := o.levelInput(w)
		if levelErr != nil {
			return nil, errors.Join(err, partError(b, "level", levelErr))
		}
		in.part, in.of, in.teller = "level", reading.ElectrolyteLevel, o.teller(b, "level")
		ports = o.onBus(ports, portName(w.I2C, &w.Level.Input), in)
	}
	if h := w.Hydrogen; h != nil {
		err = errors.Join(err, add("hydrogen", reading.Hydrogen, h.Input, converter.Ground, newGas(h)))
	}
	return ports, err
}

// onBus adds an input to the source of its bus.
func (o *opener) onBus(ports []*analog, name string, in input) []*analog {
	for _, a := range ports {
		if a.name == name {
			a.inputs = append(a.inputs, in)
			return ports
		}
	}
	return append(ports, &analog{name: name, now: o.hw.Now, inputs: []input{in}})
}

// portName names the bus of an input, as in [Source.Name].
func portName(i2c string, in *wiring.Input) string {
	if in.SPI != "" {
		return "spi " + wiring.PlainBus(in.SPI)
	}
	return "i2c " + i2c
}

// level opens the level probe alone if it is to be read between the ticks. The
// ticks' own sampling logs its faults.
func (o *opener) level(b *config.Bay) (Source, error) {
	w := &b.Wiring
	if w.Level == nil || w.Level.FastMS == 0 {
		return nil, nil
	}
	in, err := o.levelInput(w)
	if err != nil {
		return nil, partError(b, "level", err)
	}
	in.of = reading.ElectrolyteLevel
	return &analog{name: "level on " + portName(w.I2C, &w.Level.Input), now: o.hw.Now, inputs: []input{in}}, nil
}

// deadShare is the fraction of its zero below which a Hall sensor's output is not a
// measurement: its lead or its supply is off (the linear range of such parts ends
// at about a tenth of the supply, a fifth of the zero; from memory).
const deadShare = 0.05

// currentOf returns a shunt's or a Hall sensor's current. A disconnected shunt
// cannot be detected: it reads no current.
func currentOf(c *wiring.Current) *linear {
	l := &linear{c.ZeroV, c.AmperesPerVolt, -unbounded, unbounded, reading.PackCurrent}
	dead := (deadShare - 1) * c.ZeroV * c.AmperesPerVolt
	switch {
	case c.Kind != "hall" || !(c.ZeroV > 0):
	case c.AmperesPerVolt > 0:
		l.low = dead
	default:
		l.high = dead
	}
	return l
}

// input opens one channel of a converter.
func (o *opener) input(i2c string, in wiring.Input, minus int) (input, error) {
	f, ok := in.Family()
	if !ok {
		return input{}, fmt.Errorf("there is no converter %q", in.Converter)
	}
	setting := converter.Setting{Channel: in.Channel, Minus: minus, RangeV: in.RangeV, Rate: in.Rate}
	if err := f.Check(setting); err != nil {
		return input{}, err
	}
	dev, err := o.converter(i2c, &in, f)
	return input{dev: dev, setting: setting}, err
}

// converter finds or makes the driver of a chip. There must be only one per chip,
// whichever name of the bus is used.
func (o *opener) converter(i2c string, in *wiring.Input, f *converter.Family) (converter.Dev, error) {
	at := f.Name + " " + in.Place(i2c)
	if dev, ok := o.converters[at]; ok {
		return dev, nil
	}
	port, err := o.port(i2c, in, f)
	if err != nil {
		return nil, err
	}
	dev, err := f.Open(port)
	if err != nil {
		return nil, err
	}
	o.converters[at] = dev
	return dev, nil
}

// port opens what a converter is connected to.
func (o *opener) port(i2c string, in *wiring.Input, f *converter.Family) (p converter.Port, err error) {
	p.Addr, p.Wait = uint16(in.ADC), o.hw.Wait
	if f.Bus == converter.SPI {
		if o.hw.SPI == nil {
			return p, errors.New("this hardware has no SPI")
		}
		if p.SPI, err = o.hw.SPI(in.SPI); err != nil {
			return p, fmt.Errorf("spi %q: %w", in.SPI, err)
		}
		return p, nil
	}
	p.Bus, err = o.bus(i2c)
	return p, err
}

func (o *opener) oneWire(b *config.Bay) (*oneWire, error) {
	w := &oneWire{}
	t := b.Wiring.Temperature
	if t == nil {
		return w, nil
	}
	for _, p := range []struct {
		field, id string
		offsetC   float64
		of        reading.Sensor
	}{{"temperature.pack", t.Pack, t.OffsetC, reading.PackTemperature}, {"temperature.ambient", t.Ambient, 0, reading.AmbientTemperature}} {
		if p.id == "" {
			continue
		}
		sensor, err := o.thermometerFor(p.id)
		if err != nil {
			return nil, partError(b, p.field, err)
		}
		w.probes = append(w.probes, warmth{p.of, sensor, p.offsetC, o.teller(b, p.field)})
	}
	return w, nil
}

func (o *opener) contacts(b *config.Bay) (*contacts, error) {
	c := &contacts{now: o.hw.Now}
	for _, p := range b.Wiring.Contacts() {
		if p.Contact == nil {
			continue
		}
		pin, err := o.hw.Pin(p.Contact.Pin)
		if err != nil {
			return nil, partError(b, p.Key, fmt.Errorf("pin %q: %w", p.Contact.Pin, err))
		}
		in, err := newContact(pin, p.Contact, p.Sensor, o.teller(b, p.Key))
		if err != nil {
			return nil, partError(b, p.Key, fmt.Errorf("pin %q: %w", p.Contact.Pin, err))
		}
		c.inputs = append(c.inputs, in)
	}
	return c, nil
}

func (o *opener) teller(b *config.Bay, sensor string) teller {
	if o.hw.Log == nil {
		return teller{}
	}
	return teller{log: o.hw.Log.With("bay", b.Name, "sensor", sensor)}
}
