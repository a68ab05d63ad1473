package commission

import (
	"context"
	"math"
	"time"

	"bayward/agent/reading"
	"bayward/agent/words"
)

// warmK is the least change in K that a hand must cause at a sensor. It is six times
// the noise of a 1-wire sensor, and more than a room drifts in minutes.
const warmK = 1.5

func (w *walk) temperature(ctx context.Context, s *Step) error {
	t, name := w.Bay.Wiring.Temperature, w.Bay.Wiring.SensorLine(reading.PackTemperature)
	l := w.look(ctx)
	before := l.PackC
	if !before.OK() {
		return failed("walk.temperature.before", words.OfFault(before.Fault))
	}
	w.say("walk.temperature.how")
	offset, measured, err := w.thermometer(ctx, s)
	if err != nil {
		return err
	}
	took, err := w.follow(ctx, task{
		asks: words.Of("walk.temperature.warm"), act: WarmPack, within: 4 * time.Minute, show: showPackC,
		followed: func(l *Look) bool { return moved(l.PackC, before) },
		instead:  w.otherWarmed(l, w.Rig.Others(ctx)),
		hint:     words.Of("walk.temperature.warm.hint", warmK, before.Value, name),
	})
	if err != nil {
		return err
	}
	s.prove(words.Of("walk.temperature.evidence", name, before.Value, w.here.PackC.Value, took.Seconds()))
	w.say("walk.let-go")
	w.act(LeavePack)
	if measured && t != nil {
		w.found("temperature.offset_c", offset)
		w.uncertain("temperature", 2*math.Hypot(0.5/math.Sqrt(3), 0.0625)) // a thermometer of ±0.5 K and the sensor's step
	}
	return nil
}

func moved(now, before reading.Reading) bool {
	return now.OK() && before.OK() && math.Abs(now.Value-before.Value) >= warmK
}

// otherWarmed names the sensor that warmed up in place of the pack's.
func (w *walk) otherWarmed(before *Look, others map[string]*Look) func(map[string]*Look) *words.Sentence {
	return func(now map[string]*Look) *words.Sentence {
		if moved(w.here.AmbientC, before.AmbientC) {
			return other("walk.temperature.air")
		}
		for name, l := range now {
			if o := others[name]; o != nil && moved(l.PackC, o.PackC) {
				return other("walk.temperature.other", name)
			}
		}
		return nil
	}
}

// thermometer compares the pack's sensor with the person's thermometer; measured is
// false if there is none.
func (w *walk) thermometer(ctx context.Context, s *Step) (offset float64, measured bool, err error) {
	t := w.Bay.Wiring.Temperature
	if w.Hand != nil {
		w.say("walk.simulator.shows", w.Hand.Meter("temperature"))
	}
	f, skip, err := w.number(ctx, "walk.ask.thermometer", -30, 90)
	if err != nil || skip {
		return 0, false, err
	}
	looks, err := w.collect(ctx, 5)
	if err != nil {
		return 0, false, err
	}
	var values []float64
	for _, l := range looks {
		if !l.PackC.OK() {
			return 0, false, failed("walk.temperature.unread", words.OfFault(l.PackC.Fault))
		}
		values = append(values, l.PackC.Value)
	}
	mean, _ := meanOf(values)
	if t == nil {
		return 0, true, w.compared(s, "pack", point{inputV: mean, meter: f}, 3)
	}
	offset = t.OffsetC + f.value - mean
	switch {
	case math.Abs(f.value-mean) > 3:
		return 0, false, failed("walk.temperature.far", short(f.value), mean)
	case math.Abs(offset) > 5:
		return 0, false, failed("walk.temperature.offset", rounded(offset))
	}
	s.prove(words.Of("walk.temperature.calibrated", short(f.value), mean, offset, rounded(t.OffsetC)))
	return offset, true, nil
}

func (w *walk) ambient(ctx context.Context, s *Step) error {
	l := w.look(ctx)
	before, pack := l.AmbientC, l.PackC
	if !before.OK() {
		return failed("walk.ambient.before", words.OfFault(before.Fault))
	}
	took, err := w.follow(ctx, task{
		asks: words.Of("walk.ambient.warm"), act: WarmAir, within: 4 * time.Minute, show: showAir,
		followed: func(l *Look) bool { return moved(l.AmbientC, before) },
		instead: func(map[string]*Look) *words.Sentence {
			// The pack's sensor may still cool down after the hand, but it must not
			// warm up.
			if r := w.here.PackC; r.OK() && pack.OK() && r.Value-pack.Value >= warmK {
				return other("walk.temperature.pack")
			}
			return nil
		},
		hint: words.Of("walk.ambient.warm.hint", warmK, before.Value),
	})
	if err != nil {
		return err
	}
	s.prove(words.Of("walk.ambient.evidence", before.Value, w.here.AmbientC.Value, took.Seconds()))
	w.say("walk.let-go")
	w.act(LeaveAir)
	return nil
}
