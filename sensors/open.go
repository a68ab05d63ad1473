package sensors

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"bayward/agent/config"
	"bayward/agent/reading"
	"bayward/sensors/ads1115"
	"bayward/sensors/wiring"
)

// opener opens the parts of all bays and shares common ones.
type opener struct {
	hw           Hardware
	buses        map[string]i2c.Bus
	converters   map[chip]*ads1115.Dev
	thermometers map[string]*thermometer
}

// chip is a converter's place.
type chip struct {
	bus  string
	addr wiring.Address
}

// Open opens the sensors of every bay, in the order of the configuration. It drives
// no line: relays are their keeper's. Converters and thermometers that do not answer
// are not errors; bays on one converter share it. The error names the bay, the field
// and the part.
func Open(cfg *config.Config, hw Hardware) ([]*Set, error) {
	if hw.Now == nil || hw.Pin == nil || hw.Bus == nil {
		return nil, errors.New("bug: hardware without clock, pins or buses")
	}
	o := &opener{hw, map[string]i2c.Bus{}, map[chip]*ads1115.Dev{}, map[string]*thermometer{}}
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
	a, err := o.analog(b)
	if err != nil {
		return nil, err
	}
	if len(a.inputs) > 0 {
		sources = append(sources, a)
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
	c, err := o.contacts(b)
	if err != nil {
		return nil, err
	}
	if len(c.inputs) > 0 {
		sources = append(sources, c)
	}
	return sources, nil
}

func (o *opener) analog(b *config.Bay) (*analog, error) {
	w := &b.Wiring
	a := &analog{name: "i2c " + w.I2C, now: o.hw.Now}
	add := func(field string, of reading.Sensor, in wiring.Input, minus int, v value) error {
		opened, err := o.input(w.I2C, in, minus)
		if err != nil {
			return partError(b, field, err)
		}
		opened.part, opened.of, opened.value, opened.teller = field, of, v, o.teller(b, field)
		a.inputs = append(a.inputs, opened)
		return nil
	}
	var err error
	if v := w.Voltage; v != nil {
		err = add("voltage", reading.PackVoltage, v.Input, ads1115.Ground, &linear{v.OffsetV, v.Ratio, -unbounded, unbounded, reading.PackVoltage})
	}
	if c := w.Current; c != nil {
		minus := ads1115.Ground
		if c.Kind == "shunt" && c.Minus != nil {
			minus = *c.Minus
		}
		err = errors.Join(err, add("current", reading.PackCurrent, c.Input, minus, currentOf(c)))
	}
	if l := w.Level; l != nil {
		probe, levelErr := newLevelSense(l)
		if levelErr != nil {
			return nil, errors.Join(err, partError(b, "level", levelErr))
		}
		err = errors.Join(err, add("level", reading.ElectrolyteLevel, l.Input, ads1115.Ground, probe))
	}
	if h := w.Hydrogen; h != nil {
		err = errors.Join(err, add("hydrogen", reading.Hydrogen, h.Input, ads1115.Ground, newGas(h)))
	}
	return a, err
}

// level opens the level probe alone if it is to be read between the ticks. The
// ticks' own sampling logs its faults.
func (o *opener) level(b *config.Bay) (Source, error) {
	w := &b.Wiring
	if w.Level == nil || w.Level.FastMS == 0 {
		return nil, nil
	}
	probe, err := newLevelSense(w.Level)
	if err != nil {
		return nil, partError(b, "level", err)
	}
	in, err := o.input(w.I2C, w.Level.Input, ads1115.Ground)
	if err != nil {
		return nil, partError(b, "level", err)
	}
	in.of, in.value = reading.ElectrolyteLevel, probe
	return &analog{name: "level on i2c " + w.I2C, now: o.hw.Now, inputs: []input{in}}, nil
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
func (o *opener) input(bus string, in wiring.Input, minus int) (input, error) {
	mux, ok := ads1115.MuxFor(in.Channel, minus)
	if !ok {
		return input{}, fmt.Errorf("the converter cannot measure channel %d against %d", in.Channel, minus)
	}
	gain, ok := ads1115.GainFor(physic.ElectricPotential(math.Round(in.RangeV*1000)) * physic.MilliVolt)
	if !ok {
		return input{}, fmt.Errorf("range_v %g is not one of 6.144, 4.096, 2.048, 1.024, 0.512, 0.256", in.RangeV)
	}
	rate, ok := ads1115.RateFor(in.Rate)
	if !ok {
		return input{}, fmt.Errorf("rate %d is not one of 8, 16, 32, 64, 128, 250, 475, 860", in.Rate)
	}
	dev, err := o.converter(bus, in.ADC)
	return input{dev: dev, mux: mux, gain: gain, rate: rate}, err
}

// converter finds or makes the driver of a chip. There must be only one per chip,
// whichever name of the bus is used.
func (o *opener) converter(name string, addr wiring.Address) (*ads1115.Dev, error) {
	at := chip{plainBus(name), addr}
	if dev, ok := o.converters[at]; ok {
		return dev, nil
	}
	bus, ok := o.buses[at.bus]
	if !ok {
		var err error
		if bus, err = o.hw.Bus(name); err != nil {
			return nil, fmt.Errorf("i2c %q: %w", name, err)
		}
		o.buses[at.bus] = bus
	}
	dev, err := ads1115.New(bus, &ads1115.Opts{Addr: uint16(addr), Wait: o.hw.Wait})
	if err != nil {
		return nil, err
	}
	o.converters[at] = dev
	return dev, nil
}

// plainBus treats "1", "I2C1" and "/dev/i2c-1" as the same bus, as periph does.
func plainBus(name string) string {
	for _, prefix := range []string{"/dev/i2c-", "I2C"} {
		if rest, ok := strings.CutPrefix(name, prefix); ok {
			return rest
		}
	}
	return name
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
