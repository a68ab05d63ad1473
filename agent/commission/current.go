package commission

import (
	"context"
	"fmt"
	"math"
	"time"

	"bayward/agent/reading"
)

func (w *walk) current(ctx context.Context, s *Step) error {
	c := w.Bay.Wiring.Current
	read := func(l *Look) reading.Reading { return l.CurrentA }
	least := math.Max(5, 0.02*w.Pack.CapacityAh)
	w.say("The pack feeds a load and nothing charges it: a load bank, or the machine's pump or lights. A clamp meter around the same lead shows the truth.")
	none, measured, err := w.withMeter(ctx, "current", "With no load: clamp meter, amperes, or \"skip\"", -20, 20, read)
	if err != nil {
		return err
	}
	took, err := w.follow(ctx, task{
		says: fmt.Sprintf("Switch the load on: %.0f A or more.", least), act: LoadOn, within: 3 * time.Minute, show: showCurrent,
		followed: func(l *Look) bool { return l.CurrentA.OK() && math.Abs(l.CurrentA.Value) >= least },
		hint:     fmt.Sprintf("It must pass %.1f A.", least),
	})
	if err != nil {
		return err
	}
	if v := w.here.CurrentA.Value; v > 0 {
		w.act(LoadOff)
		return failed("the pack gives current and the reading is %+.1f A, which means charging: exchange the leads of the sensor, or the sign of amperes_per_volt", v)
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("under load: %s A after %s", reading.Digits(w.here.CurrentA.Value, 1), seconds(took)))
	var load point
	if measured {
		load, measured, err = w.withMeter(ctx, "current", "Clamp meter now, amperes, negative since the pack gives, or \"skip\"", -5000, -1, read)
		if err != nil {
			return err
		}
	}
	took, err = w.follow(ctx, task{
		says: "Switch the load off.", act: LoadOff, within: 2 * time.Minute, show: showCurrent,
		followed: func(l *Look) bool { return l.CurrentA.OK() && math.Abs(l.CurrentA.Value) <= w.strayA() },
	})
	if err != nil {
		return err
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("load off: %s A after %s", reading.Digits(w.here.CurrentA.Value, 1), seconds(took)))
	if !measured {
		s.Evidence = append(s.Evidence, "not calibrated: no meter")
		return nil
	}
	limits := currentBounds
	if c.Kind == "shunt" {
		limits = shuntBounds
	}
	return w.calibrate(s, calibration{
		part: "current", unit: "A", factorKey: "current.amperes_per_volt", zeroKey: "current.zero_v", a: none, b: load,
		configured: linear{c.AmperesPerVolt, c.ZeroV}, bounds: limits, rangeV: c.RangeV, most: 0.05 * math.Abs(load.meter.value),
	})
}
