package commission

import (
	"context"

	"bayward/agent/reading"
	"bayward/agent/words"
)

const (
	knownOhm = 100e3 // of the resistor that the voltages are measured over
	leastOhm = 1e6   // from the pack to the Pi's ground, as in the wiring guide
)

// insulation finds the leak from a live pack to the Pi's ground. An ohmmeter cannot:
// the pack drives its own current through the leak. Two voltages over a known
// resistor, from plus and from minus, give the conductance of both leaks.
func (w *walk) insulation(ctx context.Context, s *Step) error {
	w.say("walk.insulation.how", knownOhm/1000)
	plus, skip, err := w.leak(ctx, "plus")
	if err != nil {
		return err
	}
	if skip {
		return w.reason(ctx)
	}
	minus, skip, err := w.leak(ctx, "minus")
	if err != nil {
		return err
	}
	if skip {
		return w.reason(ctx)
	}
	p, err := w.measure(ctx, "voltage", func(l *Look) reading.Reading { return l.PackV })
	if err != nil {
		return err
	}
	ohm := leakOhm(w.packV(p), plus, minus)
	if !(ohm >= leastOhm) {
		return failed("walk.insulation.low", short(ohm/1000), leastOhm/1000, plus.value, minus.value)
	}
	s.prove(words.Of("walk.insulation.good", plus.value, minus.value, short(ohm/1000)))
	return nil
}

// leak asks for the voltage over the resistor at one pole.
func (w *walk) leak(ctx context.Context, pole string) (f figure, skip bool, err error) {
	if w.Hand != nil {
		w.say("walk.simulator.shows", w.Hand.Meter("leak-"+pole))
	}
	return w.number(ctx, "walk.ask.insulation."+pole, 0, 200)
}

// leakOhm returns the resistance of both leaks together, Ω. With the conductances G
// of the resistor and p, m of the leaks at plus and minus, the measured voltages are
// V·m/(G+p+m) and V·p/(G+p+m). Each is taken a step of its last digit too high: the
// answer is what the insulation has at least. It is 0 if the voltages contradict
// the pack's.
func leakOhm(packV float64, plus, minus figure) float64 {
	sum := plus.value + minus.value + plus.digit + minus.digit
	return max(0, knownOhm*(packV-sum)/sum)
}
