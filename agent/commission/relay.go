package commission

import (
	"context"
	"math"
	"slices"
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// Times and thresholds of the relay's steps.
const (
	pullIn     = 3 * time.Second        // a contactor must close within this; it takes 30 ms
	letGo      = 2 * time.Second        // it must open within this
	holdTime   = 12 * time.Second       // the longest that a watchdog relay may hold without a heartbeat: 10 s, and a tenth and a look more
	permitWait = 4 * time.Minute        // for the core to grant: checking, clear times, off time
	riseV      = 0.05                   // rise per cell that shows a charger at work
	surge      = 5                      // multiple of the stray current that needs no second look
	slack      = 500 * time.Millisecond // of the time after which the relay opens in any case
	beatEvery  = time.Second            // as in the agent's loop
)

// needed lists the steps that must pass before the relay is closed; relaySteps lists
// those that close it.
var (
	needed     = []string{"rest", "voltage", "level", "temperature", "current", "airflow"}
	relaySteps = []string{"relay", "heartbeat", "death", "charge"}
)

// allow gets permission to close the relay from the proven steps, from the person
// and from the core that guards the bay. It returns that core, which is granting a
// charge.
func (w *walk) allow(ctx context.Context) (*bay.Bay, error) {
	if err := w.unproven(); err != nil {
		return nil, err
	}
	w.say("walk.relay.next")
	switch ok, err := w.confirm(ctx, "walk.type.off"); {
	case err != nil:
		return nil, err
	case !ok:
		return nil, skipped{key: "walk.relay.not-off"}
	}
	w.act(ChargerOff)
	return w.leave(ctx)
}

// unproven names a step that must pass before the relay is closed.
func (w *walk) unproven() error {
	for _, s := range w.steps() {
		if s.fitted && slices.Contains(needed, s.key) && !w.rec.passed(s.key) {
			return failed("walk.relay.unproven", title(s.key))
		}
	}
	return nil
}

// leave waits until the core would grant a charge.
func (w *walk) leave(ctx context.Context) (*bay.Bay, error) {
	w.say("walk.relay.core")
	core, shown := w.Core(w.rec.passed("airflow")), ""
	for start := w.Rig.Now(); ; {
		pic, _ := core.Step(&w.look(ctx).Readings)
		if pic.Permit.Granted {
			w.item(words.Of("walk.relay.granted"))
			return core, nil
		}
		why := reasons(pic)
		if text := w.Voice.Word(words.Of("walk.relay.blocked", why)); text != shown {
			w.item(words.Of("walk.relay.blocked", why))
			shown = text
		}
		if w.Rig.Now()-start > permitWait {
			return nil, failed("walk.relay.refused", why)
		}
		if err := w.pause(ctx); err != nil {
			return nil, err
		}
	}
}

// reasons lists the blocking findings.
func reasons(p *bay.Picture) []words.Sentence {
	var titles []words.Sentence
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if p.Findings[c].Raised && interlock.Table[c].Blocks {
			titles = append(titles, words.Of("finding."+c.String()+".title"))
		}
	}
	if len(titles) == 0 {
		return []words.Sentence{words.Of("walk.relay.off-time")}
	}
	return titles
}

// guard watches a closed relay.
type guard struct {
	*walk
	core    *bay.Bay
	beforeV float64 // voltage before closing
	over    int     // consecutive looks with current
	at      time.Duration
	beat    bool
	renew   bool // the relay is the walk's own, and stays closed while the watch goes on

	charging bool // the charger is on, and current is what is waited for
}

func (w *walk) guard(core *bay.Bay) *guard {
	return &guard{walk: w, core: core, beforeV: w.here.PackV.Value, at: w.Rig.Now(), beat: true, renew: true}
}

// check judges a look while the relay is closed, and lets it stay closed. On an error
// the relay must be opened.
func (g *guard) check(l *Look) error {
	if err := g.flows(l); err != nil {
		return err
	}
	switch {
	case !l.PackV.OK():
		return failed("walk.relay.lost.voltage", words.OfFault(l.PackV.Fault))
	case !g.charging && l.PackV.Value-g.beforeV > riseV*g.cells():
		return failed("walk.relay.rose", g.beforeV, l.PackV.Value)
	case !l.Level.Usable():
		return failed("walk.relay.lost.level", words.OfFault(l.Level.Fault))
	}
	return g.tick(l)
}

// flows judges the current: none may flow, or, with the charger on, none out of the
// pack.
func (g *guard) flows(l *Look) error {
	if !g.Bay.Wiring.Has(reading.PackCurrent) {
		return nil
	}
	i := math.Abs(l.CurrentA.Value)
	if g.charging {
		i = -l.CurrentA.Value
	}
	switch {
	case !l.CurrentA.OK():
		return failed("walk.relay.lost.current", words.OfFault(l.CurrentA.Fault))
	case i > g.strayA():
		g.over++
	default:
		g.over = 0
	}
	switch {
	case i <= surge*g.strayA() && g.over <= 1:
		return nil
	case g.charging:
		return failed("walk.charge.sign", l.CurrentA.Value)
	}
	return failed("walk.relay.flowed", l.CurrentA.Value)
}

// tick runs the core once a second and beats as the agent would.
func (g *guard) tick(l *Look) error {
	due := g.Rig.Now()-g.at >= beatEvery
	if due {
		g.at = g.Rig.Now()
		pic, _ := g.core.Step(&l.Readings)
		if !pic.Permit.Granted {
			return failed("walk.relay.withdrew", reasons(pic))
		}
	}
	if !g.renew {
		return nil
	}
	return g.Rig.Renew(due && g.beat)
}

// streak counts consecutive looks that agree, and keeps the time of the first.
type streak struct {
	good  int
	first time.Duration
}

// add counts one more look and reports whether enough agree.
func (s *streak) add(yes bool, at time.Duration) bool {
	switch {
	case !yes:
		s.good = 0
	case s.good == 0:
		s.good, s.first = 1, at
	default:
		s.good++
	}
	return s.good >= agree
}

// watch looks at a quick pace until done is true in three consecutive looks. It
// returns how long that took and whether it happened in time.
func (g *guard) watch(ctx context.Context, within time.Duration, done func(*Look) bool) (took time.Duration, inTime bool, err error) {
	seen := streak{}
	for start := g.Rig.Now(); took < within; {
		if err := g.Rig.Wait(ctx, quickEvery); err != nil {
			return 0, false, err
		}
		g.here = g.Rig.Look(ctx)
		took = g.Rig.Now() - start
		if err := g.check(g.here); err != nil {
			return took, false, err
		}
		if seen.add(done(g.here), took) {
			return seen.first, true, nil
		}
		if _, _, err := g.typed(); err != nil {
			return took, false, err
		}
	}
	return took, false, nil
}

// opened watches an opened relay until the feedback shows it open.
func (w *walk) opened(ctx context.Context) (took time.Duration, inTime bool, err error) {
	return w.ended(ctx, letGo, open)
}

// ended watches an opened relay until done is true in three consecutive looks.
func (w *walk) ended(ctx context.Context, within time.Duration, done func(*Look) bool) (took time.Duration, inTime bool, err error) {
	seen := streak{}
	for start := w.Rig.Now(); took < within; {
		if err := w.Rig.Wait(ctx, quickEvery); err != nil {
			return 0, false, err
		}
		w.here = w.Rig.Look(ctx)
		took = w.Rig.Now() - start
		if seen.add(done(w.here), took) {
			return seen.first, true, nil
		}
	}
	return took, false, nil
}

func closed(l *Look) bool { return is(l.ContactorClosed, 1) }
func open(l *Look) bool   { return is(l.ContactorClosed, 0) }
func never(*Look) bool    { return false }

func (w *walk) hasFeedback() bool { return w.Bay.Wiring.Has(reading.ContactorFeedback) }

// close closes the relay under guard until the feedback shows it closed, or for the
// whole time if there is no feedback. The caller must open it.
func (g *guard) close(ctx context.Context, most time.Duration) error {
	w := g.walk
	if err := w.Rig.CloseFor(most); err != nil {
		return err
	}
	w.item(words.Of("walk.relay.is-closed"))
	return g.pulled(ctx)
}

// pulled waits for the contactor to close.
func (g *guard) pulled(ctx context.Context) error {
	w := g.walk
	if !w.hasFeedback() {
		_, _, err := g.watch(ctx, pullIn, never)
		return err
	}
	_, inTime, err := g.watch(ctx, pullIn, closed)
	if err == nil && !inTime {
		err = failed("walk.relay.not-closing", pullIn.Seconds())
	}
	return err
}

func (w *walk) relayObeys(ctx context.Context, s *Step) (err error) {
	core, err := w.allow(ctx)
	if err != nil {
		return err
	}
	if w.hasFeedback() && !open(w.here) {
		return failed("walk.relay.closed-before")
	}
	defer func() { err = joined(err, w.Rig.Open()) }()
	g := w.guard(core)
	began := w.Rig.Now()
	if err := g.close(ctx, pullIn+time.Second+slack); err != nil {
		return err
	}
	if _, _, err := g.watch(ctx, time.Second/2, never); err != nil {
		return err
	}
	held := w.Rig.Now() - began
	if err := w.Rig.Open(); err != nil {
		return err
	}
	w.item(words.Of("walk.relay.is-open"))
	return w.judgeOpening(ctx, s, held)
}

// judgeOpening proves that the contactor has opened.
func (w *walk) judgeOpening(ctx context.Context, s *Step, held time.Duration) error {
	if w.Bay.Wiring.Has(reading.PackCurrent) {
		s.prove(words.Of("walk.relay.stray", held.Seconds(), w.strayA()))
	}
	if !w.hasFeedback() {
		return w.witness(ctx, s, "walk.type.saw-relay", "walk.relay.saw")
	}
	took, inTime, err := w.opened(ctx)
	if err != nil {
		return err
	}
	if !inTime {
		return failed("walk.relay.welded", letGo.Seconds())
	}
	s.prove(words.Of("walk.relay.opened", took.Seconds()))
	return nil
}

// witness accepts a person's word where no sensor could show it.
func (w *walk) witness(ctx context.Context, s *Step, phrase, question string, values ...any) error {
	w.say(question, values...)
	ok, err := w.confirm(ctx, phrase)
	if err != nil {
		return err
	}
	if !ok {
		return failed("walk.unseen", words.Of(phrase))
	}
	s.prove(words.Of("walk.seen", w.rec.Person, words.Of(phrase)))
	return nil
}

func (w *walk) watchdog(ctx context.Context, s *Step) (err error) {
	core, err := w.allow(ctx)
	if err != nil {
		return err
	}
	defer func() { err = joined(err, w.Rig.Open()) }()
	g := w.guard(core)
	if err := g.close(ctx, pullIn+holdTime+2*beatEvery+slack); err != nil {
		return err
	}
	g.beat = false
	w.item(words.Of("walk.heartbeat.stopped"))
	if !w.hasFeedback() {
		if _, _, err := g.watch(ctx, holdTime, never); err != nil {
			return err
		}
		return w.witness(ctx, s, "walk.type.saw-watchdog", "walk.heartbeat.saw", holdTime.Seconds())
	}
	took, inTime, err := g.watch(ctx, holdTime, open)
	if err != nil {
		return err
	}
	if !inTime {
		return failed("walk.heartbeat.bridged", holdTime.Seconds())
	}
	s.prove(words.Of("walk.heartbeat.opened", took.Seconds()))
	return nil
}

func (w *walk) programDies(ctx context.Context, s *Step) (err error) {
	core, err := w.allow(ctx)
	if err != nil {
		return err
	}
	kill, reclaim, err := w.Rig.HoldAndDie(ctx)
	if err != nil {
		return err
	}
	defer func() { err = joined(err, kill(), reclaim(), w.Rig.Open()) }()
	g := w.guard(core)
	g.renew = false // the other process does
	w.item(words.Of("walk.death.holds"))
	if err := g.pulled(ctx); err != nil {
		return err
	}
	if err := kill(); err != nil {
		return err
	}
	w.item(words.Of("walk.death.killed"))
	if !w.hasFeedback() {
		return w.witness(ctx, s, "walk.type.saw-death", "walk.death.saw")
	}
	took, inTime, err := w.opened(ctx)
	if err != nil {
		return err
	}
	if !inTime {
		return failed("walk.death.stayed", letGo.Seconds())
	}
	s.prove(words.Of("walk.death.opened", took.Seconds()))
	return nil
}
