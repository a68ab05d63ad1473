package commission

import (
	"context"
	"math"
	"time"

	"bayward/agent/reading"
	"bayward/agent/words"
)

// toggled proves a contact in both directions.
func (w *walk) toggled(ctx context.Context, s *Step, name string, read func(*Look) reading.Reading, first, second task, firstV float64) error {
	for i, t := range []task{first, second} {
		want := firstV
		if i == 1 {
			want = 1 - firstV
		}
		t.within, t.show = 2*time.Minute, func(l *Look) words.Sentence { return showContact(name, read(l)) }
		t.followed = func(l *Look) bool { return is(read(l), want) }
		t.hint = words.Of("walk.contact.hint")
		took, err := w.follow(ctx, t)
		if err != nil {
			return err
		}
		s.prove(words.Of("walk.contact.evidence", showContact(name, read(w.here)), took.Seconds()))
	}
	return nil
}

func (w *walk) airflow(ctx context.Context, s *Step) error {
	if !is(w.look(ctx).Airflow, 1) {
		w.say("walk.airflow.start")
		w.act(FanOn)
	}
	return w.toggled(ctx, s, "fan", func(l *Look) reading.Reading { return l.Airflow },
		task{asks: words.Of("walk.airflow.off"), act: FanOff}, task{asks: words.Of("walk.airflow.on"), act: FanOn}, 0)
}

// mirror proves that the broken wire of a mirror contact is an alarm: it reads as a
// closed contactor. A make contact that is taken for one would read open.
func (w *walk) mirror(ctx context.Context, s *Step) error {
	return w.toggled(ctx, s, "feedback", feedback,
		task{asks: words.Of("walk.mirror.open"), act: OpenFeedback}, task{asks: words.Of("walk.mirror.close"), act: CloseFeedback}, 1)
}

func (w *walk) complete(ctx context.Context, s *Step) error {
	on, off := "walk.complete.bridge", "walk.complete.unbridge"
	if w.Bay.Wiring.Complete.Breaks() {
		on, off = "walk.complete.disconnect", "walk.complete.reconnect"
	}
	return w.toggled(ctx, s, "complete", func(l *Look) reading.Reading { return l.ChargerComplete },
		task{asks: words.Of(on), act: BridgeComplete},
		task{asks: words.Of(off), act: OpenComplete}, 1)
}

func (w *walk) hydrogen(ctx context.Context, s *Step) error {
	perUnit := 1.0
	if h := w.Bay.Wiring.Hydrogen; h != nil {
		perUnit = h.PerVolt
	} else if r := w.Bay.Wiring.Register(reading.Hydrogen); r != nil {
		perUnit = r.Scale
	}
	before := w.look(ctx).HydrogenPct
	w.say("walk.hydrogen.how")
	if w.Hand != nil {
		w.say("walk.hydrogen.bottle", w.Hand.Meter("hydrogen"))
	}
	gas, skip, err := w.number(ctx, "walk.ask.hydrogen", 0.2, 2)
	if err != nil {
		return err
	}
	if skip {
		return w.reason(ctx)
	}
	took, err := w.follow(ctx, task{
		asks: words.Of("walk.hydrogen.on"), act: GasOn, within: 3 * time.Minute, show: showHydrogen,
		// A quarter is the usual specification of such sensors after a year without
		// adjustment (from memory).
		followed: func(l *Look) bool {
			return l.HydrogenPct.OK() && math.Abs(l.HydrogenPct.Value-gas.value) <= 0.25*gas.value
		},
		hint: words.Of("walk.hydrogen.on.hint", short(gas.value), rounded(perUnit)),
	})
	if err != nil {
		return err
	}
	s.prove(words.Of("walk.hydrogen.gas", short(gas.value), w.here.HydrogenPct.Value, took.Seconds()))
	took, err = w.follow(ctx, task{
		asks: words.Of("walk.hydrogen.off"), act: GasOff, within: 5 * time.Minute, show: showHydrogen,
		followed: func(l *Look) bool { return l.HydrogenPct.OK() && l.HydrogenPct.Value <= before.Value+0.1 },
	})
	if err != nil {
		return err
	}
	s.prove(words.Of("walk.hydrogen.air", w.here.HydrogenPct.Value, took.Seconds()))
	return nil
}
