package commission

import (
	"context"
	"math"
	"time"

	"bayward/agent/reading"
	"bayward/agent/words"
)

// noPackV is the highest voltage per cell that counts as no pack, as in the core.
const noPackV = 0.3

func (w *walk) voltage(ctx context.Context, s *Step) error {
	v := w.Bay.Wiring.Voltage
	read := func(l *Look) reading.Reading { return l.PackV }
	before, others := w.look(ctx).PackV, w.Rig.Others(ctx)
	w.say("walk.voltage.where")
	full, measured, err := w.withMeter(ctx, "voltage", "walk.ask.voltage", 0, 200, read)
	if err != nil {
		return err
	}
	if measured {
		s.prove(words.Of("walk.voltage.with", short(full.meter.value), w.packV(full), full.inputV))
	}
	took, err := w.follow(ctx, task{
		asks: words.Of("walk.voltage.unplug"), act: UnplugPack, within: 2 * time.Minute, show: showVoltage,
		followed: func(l *Look) bool { return l.PackV.OK() && l.PackV.Value < noPackV*w.cells() },
		instead:  otherFell(others),
		hint:     words.Of("walk.voltage.unplug.hint"),
	})
	if err != nil {
		return err
	}
	s.prove(words.Of("walk.voltage.unplugged", w.here.PackV.Value, took.Seconds()))
	var none point
	if measured {
		if none, measured, err = w.withMeter(ctx, "voltage", "walk.ask.voltage.zero", -2, 5, read); err != nil {
			return err
		}
	}
	took, err = w.follow(ctx, task{
		asks: words.Of("walk.voltage.plug"), act: PlugPack, within: 2 * time.Minute, show: showVoltage,
		followed: func(l *Look) bool {
			return l.PackV.OK() && math.Abs(l.PackV.Value-before.Value) < 0.03*math.Abs(before.Value)
		},
		hint: words.Of("walk.voltage.plug.hint", before.Value),
	})
	if err != nil {
		return err
	}
	s.prove(words.Of("walk.voltage.plugged", w.here.PackV.Value, took.Seconds()))
	if !measured {
		s.prove(words.Of("walk.not-calibrated"))
		return nil
	}
	if v == nil {
		return w.compared(s, "voltage", full, 0.01*full.meter.value)
	}
	return w.calibrate(s, calibration{
		part: "voltage", unit: "V", factorKey: "voltage.ratio", zeroKey: "voltage.offset_v", a: none, b: full,
		configured: linear{v.Ratio, v.OffsetV}, bounds: voltageBounds, stepV: v.StepV(), most: 0.01 * full.meter.value,
	})
}

// otherFell names the bay whose voltage fell when this bay's plug was pulled.
func otherFell(before map[string]*Look) func(map[string]*Look) *words.Sentence {
	return func(now map[string]*Look) *words.Sentence {
		for name, l := range now {
			if o := before[name]; o != nil && o.PackV.OK() && l.PackV.OK() && l.PackV.Value < o.PackV.Value/2 {
				return other("walk.voltage.other", name)
			}
		}
		return nil
	}
}

// other says that a part of another bay followed.
func other(key string, values ...any) *words.Sentence {
	s := words.Of(key, values...)
	return &s
}
