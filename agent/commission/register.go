package commission

import (
	"context"
	"math"

	"bayward/agent/reading"
	"bayward/agent/words"
)

// What is read from a register has been converted by its device, which has a calibration
// of its own. The walk compares it, and leaves a correction to the device or to the scale
// of the register.

// inRegister reports whether a reading of the walk comes from a register.
func (w *walk) inRegister(part string) bool {
	s := map[string]reading.Sensor{"voltage": reading.PackVoltage, "current": reading.PackCurrent, "level": reading.ElectrolyteLevel}[part]
	return w.Bay.Wiring.Register(s) != nil
}

// packV is the pack's voltage at a measured point.
func (w *walk) packV(p point) float64 {
	v := w.Bay.Wiring.Voltage
	if v == nil {
		return p.inputV
	}
	return (p.inputV - v.OffsetV) * v.Ratio
}

// compared proves that a device shows what an instrument shows, to within most.
func (w *walk) compared(s *Step, part string, p point, most float64) error {
	name := words.Of("walk.reading." + part)
	most = max(most, 2*p.meter.digit)
	if !(math.Abs(p.inputV-p.meter.value) <= most) {
		return failed("walk.register.far", name, short(p.meter.value), p.inputV, most)
	}
	s.prove(words.Of("walk.register.compared", name, short(p.meter.value), p.inputV, most))
	return nil
}

// deviceTasks are what the level probe of a device must respond to, after it was lifted
// out and put back.
func deviceTasks(swapped func(map[string]*Look) *words.Sentence, asBefore func(*Look) bool) []probeTask {
	return []probeTask{
		{"walk.level.device.opened", task{
			asks: words.Of("walk.level.device.open"), act: OpenLoop, instead: swapped, hint: words.Of("walk.level.device.open.hint"),
			followed: func(l *Look) bool { return !l.Level.Usable() },
		}},
		{"walk.level.device.closed", task{asks: words.Of("walk.level.device.close"), act: CloseLoop, followed: asBefore}},
	}
}

// deviceMM is how far the level of a device may be from the level rod: the rod's own
// accuracy, the probe's, and how the pack stands (the project's own).
const deviceMM = 3.0

func (w *walk) deviceHeight(ctx context.Context, s *Step) error {
	height := func(l *Look) reading.Reading {
		return reading.Reading{Value: l.Level.LowMM, At: l.Level.At, Fault: l.Level.Fault}
	}
	p, ok, err := w.withMeter(ctx, "level", "walk.ask.level", -50, 300, height)
	switch {
	case err != nil:
		return err
	case !ok:
		s.prove(words.Of("walk.level.not-compared"))
		return nil
	}
	return w.compared(s, "level", p, deviceMM)
}
