package sensors

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/reading"
	"bayward/sensors/max31865"
	"bayward/sensors/wiring"
)

// rtd samples a platinum thermometer on SPI.
type rtd struct {
	name    string
	of      reading.Sensor
	dev     *max31865.Dev
	offsetC float64
	now     func() time.Duration
	teller
}

// Name returns the port, such as "spi 0.1".
func (r *rtd) Name() string { return r.name }

// Sample reads the thermometer, and blocks for the time of a conversion. It leaves alone
// what was read within the sensor's interval.
func (r *rtd) Sample(ctx context.Context, out *bay.Readings) {
	at := r.now()
	if !r.of.Due(out.Of(r.of), at) {
		return
	}
	t, err := r.dev.Read(ctx)
	fault := faultOf(err)
	*out.Place(r.of) = reading.Bad(fault, at)
	if err == nil {
		*out.Place(r.of) = reading.Good(t.Celsius()+r.offsetC, at)
	}
	r.tell(err, fault, at)
}

// rtds opens the platinum thermometers of a bay.
func (o *opener) rtds(b *config.Bay) ([]*rtd, error) {
	t := b.Wiring.Temperature
	if t == nil {
		return nil, nil
	}
	var all []*rtd
	for i := range t.RTD {
		field := fmt.Sprintf("temperature.rtd[%d]", i)
		r, err := o.rtd(&t.RTD[i])
		if err != nil {
			return nil, partError(b, field, err)
		}
		if r.teller = o.teller(b, field); r.of == reading.PackTemperature {
			r.offsetC = t.OffsetC
		}
		all = append(all, r)
	}
	return all, nil
}

func (o *opener) rtd(w *wiring.RTD) (*rtd, error) {
	of, ok := map[string]reading.Sensor{"pack": reading.PackTemperature, "ambient": reading.AmbientTemperature}[w.Of]
	switch {
	case !ok:
		return nil, fmt.Errorf("there is no temperature of %q", w.Of)
	case o.hw.SPI == nil:
		return nil, errors.New("this hardware has no SPI")
	}
	port, err := o.hw.SPI(w.SPI)
	if err != nil {
		return nil, fmt.Errorf("spi %q: %w", w.SPI, err)
	}
	dev, err := max31865.New(port, &max31865.Opts{
		NominalOhm: w.NominalOhm(), ReferenceOhm: w.ReferenceOhm, Wires: w.Wires, MainsHz: w.MainsHz, Wait: o.hw.Wait,
	})
	return &rtd{name: "spi " + wiring.PlainBus(w.SPI), of: of, dev: dev, now: o.hw.Now}, err
}

var _ Source = (*rtd)(nil)
