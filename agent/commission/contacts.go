package commission

import (
	"context"
	"fmt"
	"math"
	"time"

	"bayward/agent/reading"
)

// toggled proves a contact in both directions.
func (w *walk) toggled(ctx context.Context, s *Step, name string, read func(*Look) reading.Reading, first, second task, firstV float64) error {
	for i, t := range []task{first, second} {
		want := firstV
		if i == 1 {
			want = 1 - firstV
		}
		t.within, t.show = 2*time.Minute, func(l *Look) string { return showContact(name, read(l)) }
		t.followed = func(l *Look) bool { return is(read(l), want) }
		t.hint = "Look at the contact, its wire and active_low."
		took, err := w.follow(ctx, t)
		if err != nil {
			return err
		}
		s.Evidence = append(s.Evidence, fmt.Sprintf("%s, after %s", showContact(name, read(w.here)), seconds(took)))
	}
	return nil
}

func (w *walk) airflow(ctx context.Context, s *Step) error {
	if !is(w.look(ctx).Airflow, 1) {
		w.say("Start the fan first.")
		w.act(FanOn)
	}
	return w.toggled(ctx, s, "fan's proof", func(l *Look) reading.Reading { return l.Airflow },
		task{says: "Switch the fan off.", act: FanOff}, task{says: "Switch it on again.", act: FanOn}, 0)
}

func (w *walk) complete(ctx context.Context, s *Step) error {
	return w.toggled(ctx, s, "charger's contact", func(l *Look) reading.Reading { return l.ChargerComplete },
		task{says: "Bridge the charger's \"complete\" contact at the charger's terminals (signal side only; its supply is locked off).", act: BridgeComplete},
		task{says: "Take the bridge off.", act: OpenComplete}, 1)
}

func (w *walk) hydrogen(ctx context.Context, s *Step) error {
	h := w.Bay.Wiring.Hydrogen
	before := w.look(ctx).HydrogenPct
	w.say("Test gas comes from a bottle with a known share of hydrogen below 2 %% in air, through a hood over the sensor. Without one, type \"skip\": breath and lighters prove nothing, and a flame has no place here.")
	if w.Hand != nil {
		w.say("Simulator: the bottle has %.1f %%.", w.Hand.Meter("hydrogen"))
	}
	gas, skip, err := w.number(ctx, "Hydrogen in the test gas, % by volume, or \"skip\"", 0.2, 2)
	if err != nil {
		return err
	}
	if skip {
		return w.reason(ctx)
	}
	took, err := w.follow(ctx, task{
		says: "Give the gas to the sensor.", act: GasOn, within: 3 * time.Minute, show: showHydrogen,
		// A quarter is the usual specification of such sensors after a year without
		// adjustment (from memory).
		followed: func(l *Look) bool {
			return l.HydrogenPct.OK() && math.Abs(l.HydrogenPct.Value-gas.value) <= 0.25*gas.value
		},
		hint: fmt.Sprintf("It must come within a quarter of %s %%. If it does not, the sensor is spent or per_volt (%s) is wrong.", short(gas.value), fixed(h.PerVolt)),
	})
	if err != nil {
		return err
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("test gas of %s %%: %s %% after %s", short(gas.value), reading.Digits(w.here.HydrogenPct.Value, 2), seconds(took)))
	took, err = w.follow(ctx, task{
		says: "Take the gas away.", act: GasOff, within: 5 * time.Minute, show: showHydrogen,
		followed: func(l *Look) bool { return l.HydrogenPct.OK() && l.HydrogenPct.Value <= before.Value+0.1 },
	})
	if err != nil {
		return err
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("in air: %s %% after %s", reading.Digits(w.here.HydrogenPct.Value, 2), seconds(took)))
	return nil
}
