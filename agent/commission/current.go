package commission

import (
	"context"
	"math"
	"time"

	"bayward/agent/reading"
	"bayward/agent/words"
)

func (w *walk) current(ctx context.Context, s *Step) error {
	c := w.Bay.Wiring.Current
	read := func(l *Look) reading.Reading { return l.CurrentA }
	least := math.Max(5, 0.02*w.Pack.CapacityAh)
	w.say("walk.current.how")
	none, measured, err := w.withMeter(ctx, "current", "walk.ask.current", -20, 20, read)
	if err != nil {
		return err
	}
	took, err := w.follow(ctx, task{
		asks: words.Of("walk.current.on", least), act: LoadOn, within: 3 * time.Minute, show: showCurrent,
		followed: func(l *Look) bool { return l.CurrentA.OK() && math.Abs(l.CurrentA.Value) >= least },
		hint:     words.Of("walk.current.on.hint", least),
	})
	if err != nil {
		return err
	}
	if v := w.here.CurrentA.Value; v > 0 {
		w.act(LoadOff)
		return failed("walk.current.sign", v)
	}
	s.prove(words.Of("walk.current.loaded", w.here.CurrentA.Value, took.Seconds()))
	var load point
	if measured {
		load, measured, err = w.withMeter(ctx, "current", "walk.ask.current.load", -5000, -1, read)
		if err != nil {
			return err
		}
	}
	took, err = w.follow(ctx, task{
		asks: words.Of("walk.current.off"), act: LoadOff, within: 2 * time.Minute, show: showCurrent,
		followed: func(l *Look) bool { return l.CurrentA.OK() && math.Abs(l.CurrentA.Value) <= w.strayA() },
	})
	if err != nil {
		return err
	}
	s.prove(words.Of("walk.current.unloaded", w.here.CurrentA.Value, took.Seconds()))
	if !measured {
		s.prove(words.Of("walk.not-calibrated"))
		return nil
	}
	if c == nil {
		return w.compared(s, "current", load, 0.05*math.Abs(load.meter.value))
	}
	limits := currentBounds
	if c.Kind == "shunt" {
		limits = shuntBounds
	}
	return w.calibrate(s, calibration{
		part: "current", unit: "A", factorKey: "current.amperes_per_volt", zeroKey: "current.zero_v", a: none, b: load,
		configured: linear{c.AmperesPerVolt, c.ZeroV}, bounds: limits, stepV: c.StepV(), most: 0.05 * math.Abs(load.meter.value),
	})
}
