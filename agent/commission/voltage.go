package commission

import (
	"context"
	"fmt"
	"math"
	"time"

	"bayward/agent/reading"
)

// noPackV is the highest voltage per cell that counts as no pack, as in the core.
const noPackV = 0.3

func (w *walk) voltage(ctx context.Context, s *Step) error {
	v := w.Bay.Wiring.Voltage
	read := func(l *Look) reading.Reading { return l.PackV }
	before, others := w.look(ctx).PackV, w.Rig.Others(ctx)
	w.say("Measure at the pack's terminals, where the fused sense leads are, with insulated probes.")
	full, measured, err := w.withMeter(ctx, "voltage", "Hand meter, volts, or \"skip\"", 0, 200, read)
	if err != nil {
		return err
	}
	if measured {
		s.Evidence = append(s.Evidence, fmt.Sprintf("with the pack: meter %s V, reading %.3f V, input %.5f V", short(full.meter.value), (full.inputV-v.OffsetV)*v.Ratio, full.inputV))
	}
	took, err := w.follow(ctx, task{
		says: "Now pull the pack's plug (by its handle; no current flows).", act: UnplugPack, within: 2 * time.Minute, show: showVoltage,
		followed: func(l *Look) bool { return l.PackV.OK() && l.PackV.Value < noPackV*w.cells() },
		instead:  otherFell(others),
		hint:     "Are the sense leads on the pack's side of the plug, and of this bay?",
	})
	if err != nil {
		return err
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("unplugged: %s V after %s", reading.Digits(w.here.PackV.Value, 2), seconds(took)))
	var none point
	if measured {
		if none, measured, err = w.withMeter(ctx, "voltage", "The meter across the same sense leads now, volts (near 0), or \"skip\"", -2, 5, read); err != nil {
			return err
		}
	}
	took, err = w.follow(ctx, task{
		says: "Plug the pack in again.", act: PlugPack, within: 2 * time.Minute, show: showVoltage,
		followed: func(l *Look) bool {
			return l.PackV.OK() && math.Abs(l.PackV.Value-before.Value) < 0.03*math.Abs(before.Value)
		},
		hint: fmt.Sprintf("Before, it was %.2f V.", before.Value),
	})
	if err != nil {
		return err
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("plugged in: %.2f V after %s", w.here.PackV.Value, seconds(took)))
	if !measured {
		s.Evidence = append(s.Evidence, "not calibrated: no meter")
		return nil
	}
	return w.calibrate(s, calibration{
		part: "voltage", unit: "V", factorKey: "voltage.ratio", zeroKey: "voltage.offset_v", a: none, b: full,
		configured: linear{v.Ratio, v.OffsetV}, bounds: voltageBounds, rangeV: v.RangeV, most: 0.01 * full.meter.value,
	})
}

// otherFell names the bay whose voltage fell when this bay's plug was pulled.
func otherFell(before map[string]*Look) func(map[string]*Look) string {
	return func(now map[string]*Look) string {
		for name, l := range now {
			if o := before[name]; o != nil && o.PackV.OK() && l.PackV.OK() && l.PackV.Value < o.PackV.Value/2 {
				return "the voltage of " + name + " fell: the sense leads of the two bays are exchanged"
			}
		}
		return ""
	}
}
