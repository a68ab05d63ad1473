package sensors

import (
	"context"
	"fmt"
	"sync"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
	"bayward/sensors/w1therm"
)

// thermometer is one 1-wire sensor, which several bays may share.
type thermometer struct {
	dev *w1therm.Dev
	now func() time.Duration

	mu   sync.Mutex // held over a read; guards the fields below
	last reading.Reading
	err  error
	read bool
}

// celsius reads the sensor, in °C.
func (t *thermometer) celsius(ctx context.Context) (reading.Reading, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := t.now()
	if t.read && now-t.last.At < reading.PackTemperature.Every() && ctx.Err() == nil {
		return t.last, t.err
	}
	temperature, err := t.dev.Read(ctx)
	if t.err = err; err != nil {
		t.last = reading.Bad(faultOf(err), now)
	} else {
		t.last = reading.Good(temperature.Celsius(), now)
	}
	t.read = true
	return t.last, err
}

// oneWire samples a bay's temperatures.
type oneWire struct {
	probes []warmth
	packs  *packFinder // nil if the configuration names the pack's sensor
}

// warmth is one temperature of a bay.
type warmth struct {
	of      reading.Sensor
	sensor  *thermometer
	offsetC float64
	teller
}

// Name returns "1-wire".
func (o *oneWire) Name() string { return "1-wire" }

// Sample reads each sensor in turn, and blocks for the time of a conversion each.
func (o *oneWire) Sample(ctx context.Context, out *bay.Readings) {
	if o.packs != nil {
		o.packs.sample(ctx, out)
	}
	for i := range o.probes {
		p := &o.probes[i]
		r, err := p.sensor.celsius(ctx)
		if r.OK() {
			r.Value += p.offsetC
		}
		*out.Place(p.of) = r
		p.tell(err, r.Fault, r.At)
	}
}

// thermometerFor finds or makes the sensor with a number.
func (o *opener) thermometerFor(id string) (*thermometer, error) {
	if t, ok := o.thermometers[id]; ok {
		return t, nil
	}
	if o.hw.OneWire == nil {
		return nil, fmt.Errorf("this hardware has no 1-wire bus")
	}
	dev, err := w1therm.New(o.hw.OneWire, id)
	if err != nil {
		return nil, err
	}
	t := &thermometer{dev: dev, now: o.hw.Now}
	o.thermometers[id] = t
	return t, nil
}
