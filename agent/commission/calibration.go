package commission

import (
	"context"
	"math"

	"bayward/agent/reading"
	"bayward/agent/words"
)

// withMeter measures an input and asks for the meter's reading; ok is false if the
// person has no meter.
func (w *walk) withMeter(ctx context.Context, part, key string, low, high float64, read func(*Look) reading.Reading) (p point, ok bool, err error) {
	if p, err = w.measure(ctx, part, read); err != nil {
		return p, false, err
	}
	if w.Hand != nil {
		w.say("walk.simulator.shows", w.Hand.Meter(part))
	}
	f, skip, err := w.number(ctx, key, low, high)
	p.meter = f
	return p, !skip, err
}

// calibration is a calibration from two points.
type calibration struct {
	part, unit         string
	factorKey, zeroKey string
	a, b               point
	configured         linear
	bounds             bounds
	stepV              float64
	most               float64 // largest accepted uncertainty of a reading at point b, in unit
}

func (w *walk) calibrate(s *Step, c calibration) error {
	name := words.Of("walk.reading." + c.part)
	got, ok := through(c.a, c.b)
	if !ok {
		return failed("walk.calibrate.close", name)
	}
	if err := c.bounds.accept(got, c.configured, c.factorKey, c.zeroKey); err != nil {
		return err
	}
	budget := budgetAt(got, c.b, c.stepV)
	u := budget.total()
	s.prove(words.Of("walk.calibrate.found", c.factorKey, rounded(got.factor), rounded(c.configured.factor), c.zeroKey, got.zeroV, rounded(c.configured.zeroV)))
	s.prove(budget.says(c.unit))
	if u > c.most {
		return failed("walk.calibrate.uncertain", name, short(u), c.unit, short(c.most))
	}
	w.found(c.factorKey, got.factor)
	w.found(c.zeroKey, got.zeroV)
	w.uncertain(c.part, u)
	return nil
}

// finest is the resolution of each calibrated value. More digits than an instrument
// resolves only look exact. A key that is not listed gets five significant digits.
var finest = map[string]float64{"voltage.offset_v": 1e-4, "current.zero_v": 1e-5, "temperature.offset_c": 0.05, "level.offset_mm": 0.1}

func (w *walk) found(key string, v float64) {
	if w.rec.Calibration == nil {
		w.rec.Calibration = map[string]float64{}
	}
	if step, ok := finest[key]; ok {
		v = math.Round(v/step) * step
	}
	w.rec.Calibration[key] = rounded(v)
}

func (w *walk) uncertain(part string, u float64) {
	if w.rec.Uncertain == nil {
		w.rec.Uncertain = map[string]float64{}
	}
	w.rec.Uncertain[part] = u
}
