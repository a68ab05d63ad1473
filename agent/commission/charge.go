package commission

import (
	"context"
	"math"
	"time"

	"bayward/agent/words"
)

const (
	chargeWait = time.Minute     // for a charger to give current after its enable
	goneWait   = 5 * time.Second // for the current to end after the relay has opened
)

// chargeStops proves with the charger on what the steps before could not: that a
// charge reads as one, and that its current ends when the relay opens.
func (w *walk) chargeStops(ctx context.Context, s *Step) (err error) {
	if err := w.unproven(); err != nil {
		return err
	}
	if !w.rec.passed("relay") || !w.rec.passed("death") {
		return skipped{key: "walk.charge.unproven"}
	}
	w.say("walk.charge.next")
	switch ok, err := w.confirm(ctx, "walk.type.on"); {
	case err != nil:
		return err
	case !ok:
		return skipped{key: "walk.charge.not-on"}
	}
	w.act(ChargerOn)
	defer func() { err = joined(err, w.Rig.Open(), w.chargerOff(ctx)) }()
	if err := w.chargeFlows(ctx, s); err != nil {
		return err
	}
	return w.chargeEnds(ctx, s)
}

// chargerOff asks for the charger's supply to be locked off again.
func (w *walk) chargerOff(ctx context.Context) error {
	w.say("walk.charge.off")
	w.act(ChargerOff)
	for {
		if ok, err := w.confirm(ctx, "walk.type.locked"); ok || err != nil {
			return err
		}
	}
}

// chargeFlows closes the relay until current flows into the pack.
func (w *walk) chargeFlows(ctx context.Context, s *Step) error {
	core, err := w.leave(ctx)
	if err != nil {
		return err
	}
	looks, err := w.collect(ctx, agree)
	if err != nil {
		return err
	}
	for _, l := range looks {
		if !l.CurrentA.OK() || math.Abs(l.CurrentA.Value) > w.strayA() {
			return failed("walk.charge.before", showCurrent(l))
		}
	}
	g := w.guard(core)
	g.charging = true
	if err := g.close(ctx, pullIn+chargeWait+2*beatEvery+slack); err != nil {
		return err
	}
	took, inTime, err := g.watch(ctx, chargeWait, func(l *Look) bool { return l.CurrentA.Value > w.strayA() })
	switch {
	case err != nil:
		return err
	case !inTime:
		return failed("walk.charge.none", chargeWait.Seconds(), w.strayA())
	}
	s.prove(words.Of("walk.charge.flows", w.here.CurrentA.Value, took.Seconds()))
	return nil
}

// chargeEnds opens the relay and watches the current, not only the contact.
func (w *walk) chargeEnds(ctx context.Context, s *Step) error {
	if err := w.Rig.Open(); err != nil {
		return err
	}
	w.item(words.Of("walk.relay.is-open"))
	took, inTime, err := w.ended(ctx, goneWait, func(l *Look) bool {
		return l.CurrentA.OK() && math.Abs(l.CurrentA.Value) <= w.strayA() && (!w.hasFeedback() || open(l))
	})
	switch {
	case err != nil:
		return err
	case !inTime:
		return failed("walk.charge.stays", goneWait.Seconds(), showCurrent(w.here))
	}
	s.prove(words.Of("walk.charge.ended", took.Seconds(), w.strayA()))
	return nil
}
