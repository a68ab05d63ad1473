package commission

import (
	"context"
	"fmt"
	"math"
	"time"

	"bayward/agent/reading"
)

// warmK is the least change in K that a hand must cause at a sensor. It is six times
// the noise of a 1-wire sensor, and more than a room drifts in minutes.
const warmK = 1.5

func (w *walk) temperature(ctx context.Context, s *Step) error {
	t := w.Bay.Wiring.Temperature
	l := w.look(ctx)
	before := l.PackC
	if !before.OK() {
		return failed("the pack's temperature cannot be read: %s", faultText(before.Fault))
	}
	w.say("Simplest with the sensor in the open; if it cannot be reached, lay something warm (not hot) or cold on it.")
	offset, measured, err := w.thermometer(ctx, s)
	if err != nil {
		return err
	}
	took, err := w.follow(ctx, task{
		says: "Close a warm hand around the pack's temperature sensor.", act: WarmPack, within: 4 * time.Minute, show: showPackC,
		followed: func(l *Look) bool { return moved(l.PackC, before) },
		instead:  w.otherWarmed(l, w.Rig.Others(ctx)),
		hint:     fmt.Sprintf("It must change by %.1f K from %s °C. Is this the sensor with the configured number %s?", warmK, reading.Digits(before.Value, 1), t.Pack),
	})
	if err != nil {
		return err
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("sensor %s: %s to %s °C in %s", t.Pack, reading.Digits(before.Value, 1), reading.Digits(w.here.PackC.Value, 1), seconds(took)))
	w.say("Let go of it.")
	w.act(LeavePack)
	if measured {
		w.found("temperature.offset_c", offset)
		w.uncertain("temperature", 2*math.Hypot(0.5/math.Sqrt(3), 0.0625)) // a thermometer of ±0.5 K and the sensor's step
	}
	return nil
}

func moved(now, before reading.Reading) bool {
	return now.OK() && before.OK() && math.Abs(now.Value-before.Value) >= warmK
}

// otherWarmed names the sensor that warmed up in place of the pack's.
func (w *walk) otherWarmed(before *Look, others map[string]*Look) func(map[string]*Look) string {
	return func(now map[string]*Look) string {
		if moved(w.here.AmbientC, before.AmbientC) {
			return "the air's sensor followed: the two are exchanged; exchange temperature.pack and temperature.ambient"
		}
		for name, l := range now {
			if o := others[name]; o != nil && moved(l.PackC, o.PackC) {
				return "the pack's sensor of " + name + " followed: the numbers of the two bays are exchanged"
			}
		}
		return ""
	}
}

// thermometer compares the pack's sensor with the person's thermometer; measured is
// false if there is none.
func (w *walk) thermometer(ctx context.Context, s *Step) (offset float64, measured bool, err error) {
	t := w.Bay.Wiring.Temperature
	if w.Hand != nil {
		w.say("Simulator: the reference thermometer shows %.1f.", w.Hand.Meter("temperature"))
	}
	f, skip, err := w.number(ctx, "Reference thermometer at the same place, °C, or \"skip\"", -30, 90)
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
			return 0, false, failed("the pack's temperature could not be read while it was compared: %s", faultText(l.PackC.Fault))
		}
		values = append(values, l.PackC.Value)
	}
	mean, _ := meanOf(values)
	offset = t.OffsetC + f.value - mean
	switch {
	case math.Abs(f.value-mean) > 3:
		return 0, false, failed("the thermometer says %s °C and the sensor %.1f °C; such sensors are good to 0.5 K, so more than 3 K apart is another place or another sensor", short(f.value), mean)
	case math.Abs(offset) > 5:
		return 0, false, failed("offset_c would be %s, and 5 is the most that is accepted", fixed(offset))
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("thermometer %s °C, sensor %s °C: temperature.offset_c %s (configured %s)", short(f.value), reading.Digits(mean, 2), reading.Digits(offset, 2), fixed(t.OffsetC)))
	return offset, true, nil
}

func (w *walk) ambient(ctx context.Context, s *Step) error {
	l := w.look(ctx)
	before, pack := l.AmbientC, l.PackC
	if !before.OK() {
		return failed("the air's temperature cannot be read: %s", faultText(before.Fault))
	}
	took, err := w.follow(ctx, task{
		says: "Close a warm hand around the sensor of the air.", act: WarmAir, within: 4 * time.Minute, show: showAir,
		followed: func(l *Look) bool { return moved(l.AmbientC, before) },
		instead: func(map[string]*Look) string {
			// The pack's sensor may still cool down after the hand, but it must not
			// warm up.
			if r := w.here.PackC; r.OK() && pack.OK() && r.Value-pack.Value >= warmK {
				return "the pack's sensor followed: the two are exchanged; exchange temperature.pack and temperature.ambient"
			}
			return ""
		},
		hint: fmt.Sprintf("It must change by %.1f K from %s °C.", warmK, reading.Digits(before.Value, 1)),
	})
	if err != nil {
		return err
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("%s to %s °C in %s", reading.Digits(before.Value, 1), reading.Digits(w.here.AmbientC.Value, 1), seconds(took)))
	w.say("Let go of it.")
	w.act(LeaveAir)
	return nil
}
