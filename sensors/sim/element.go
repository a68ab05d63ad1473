package sim

import (
	"fmt"

	registers "bayward/sensors/max31865/chip"

	"bayward/sensors/converter"
	"bayward/sensors/wiring"
)

// brokenOhm is a broken wire, as the chip sees it.
const brokenOhm = 1e6

// platinum is the chip of a platinum thermometer: its input is a resistance, which no
// supply limits.
var platinum = converter.Family{
	Name: "max31865", Title: "MAX31865", Bus: converter.SPI, Channels: []converter.Channel{{TopV: brokenOhm}}, Chip: registers.New,
}

// wireElements puts the platinum thermometers on their ports.
func (y *Stand) wireElements(w *wiring.Parts) error {
	if w.Temperature == nil {
		return nil
	}
	for i := range w.Temperature.RTD {
		r := &w.Temperature.RTD[i]
		what := packElement
		switch r.Of {
		case "pack":
			y.packSensor = &thermometer{bay: y, plugged: true, nominalOhm: r.NominalOhm(), offsetC: w.Temperature.OffsetC}
		case "ambient":
			what, y.airSensor = airElement, &thermometer{bay: y, ambient: true, plugged: true, nominalOhm: r.NominalOhm()}
		default:
			return fmt.Errorf("there is no temperature of %q", r.Of)
		}
		name := wiring.PlainBus(r.SPI)
		if _, taken := y.bench.ports[name]; taken {
			return fmt.Errorf("SPI port %q: %w", r.SPI, ErrTaken)
		}
		dev := newADC(y.bench, &platinum, y.opts.Seed, uint64(len(y.bench.ports))|spiSeed)
		dev.bays, dev.in[0] = []*Stand{y}, source{y, what, r.ReferenceOhm}
		y.adcs = append(y.adcs, dev)
		y.bench.ports[name] = &port{bench: y.bench, name: name, dev: dev}
	}
	return nil
}

// elementOhm is the resistance of a platinum element by IEC 60751: two terms above 0 °C,
// one more below.
func (y *Stand) elementOhm(s *thermometer, open, short bool) float64 {
	switch {
	case short:
		return 0.2
	case open || s == nil:
		return brokenOhm
	}
	c := s.degreesC()
	r := 1 + c*(3.9083e-3-5.775e-7*c)
	if c < 0 {
		r -= 4.183e-12 * (c - 100) * c * c * c
	}
	return s.nominalOhm * r
}
