package commission

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/words"
)

// Times and thresholds of the relay's steps.
const (
	pullIn     = 3 * time.Second        // a contactor must close within this; it takes 30 ms
	letGo      = 2 * time.Second        // it must open within this
	holdTime   = 30 * time.Second       // the longest that a watchdog relay may hold without a heartbeat
	permitWait = 4 * time.Minute        // for the core to grant: checking, clear times, off time
	riseV      = 0.05                   // rise per cell that shows a charger at work
	surge      = 5                      // multiple of the stray current that needs no second look
	slack      = 500 * time.Millisecond // of the timer that opens the relay in any case
	beatEvery  = time.Second            // as in the agent's loop
)

// needed lists the steps that must pass before the relay is closed; relaySteps lists
// those that close it.
var (
	needed     = []string{"rest", "voltage", "level", "temperature", "current", "airflow"}
	relaySteps = []string{"relay", "heartbeat", "death"}
)

// allow gets permission to close the relay from the proven steps, from the person
// and from the core that guards the bay. It returns that core, which is granting a
// charge.
func (w *walk) allow(ctx context.Context) (*bay.Bay, error) {
	for _, s := range w.steps() {
		if s.fitted && slices.Contains(needed, s.key) && !w.rec.passed(s.key) {
			return nil, failed("the relay stays open: \"%s\" has not been proven", s.title)
		}
	}
	w.say("The next steps close the charge-enable relay for seconds at a time. Nothing may be charged by that: the charger's supply must still be off and locked. The pack stays plugged in, its lid open, the fan on.")
	switch ok, err := w.confirm(ctx, "charger off"); {
	case err != nil:
		return nil, err
	case !ok:
		return nil, skipped{"the charger was not confirmed to be off"}
	}
	w.act(ChargerOff)
	return w.leave(ctx)
}

// leave waits until the core would grant a charge.
func (w *walk) leave(ctx context.Context) (*bay.Bay, error) {
	w.say("The core that will guard the bay decides whether a charge would be granted now. The relay is not closed without its leave. This takes a minute or two.")
	core, told := w.Core(), ""
	for start := w.Rig.Now(); ; {
		pic, _ := core.Step(&w.look(ctx).Readings)
		if pic.Permit.Granted {
			w.item("The core grants it.")
			return core, nil
		}
		if text := reasons(pic); text != told {
			w.item("blocked: %s", text)
			told = text
		}
		if w.Rig.Now()-start > permitWait {
			return nil, failed("the relay stays open, since the core blocks a charge: %s", told)
		}
		if err := w.pause(ctx); err != nil {
			return nil, err
		}
	}
}

// reasons lists the blocking findings.
func reasons(p *bay.Picture) string {
	var titles []string
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if p.Findings[c].Raised && interlock.Table[c].Blocks {
			titles = append(titles, words.EnglishSI().Title(c))
		}
	}
	if len(titles) == 0 {
		return "the contactor's off time is not over"
	}
	return strings.Join(titles, "; ")
}

// guard watches a closed relay.
type guard struct {
	*walk
	core    *bay.Bay
	beforeV float64 // voltage before closing
	over    int     // consecutive looks with current
	at      time.Duration
	beat    bool
}

func (w *walk) guard(core *bay.Bay) *guard {
	return &guard{walk: w, core: core, beforeV: w.here.PackV.Value, at: w.Rig.Now(), beat: true}
}

// check judges a look while the relay is closed. On an error the relay must be
// opened.
func (g *guard) check(l *Look) error {
	if g.Bay.Wiring.Current != nil {
		i := math.Abs(l.CurrentA.Value)
		switch {
		case !l.CurrentA.OK():
			return failed("the current could not be read while the relay was closed (%s); it was opened at once", faultText(l.CurrentA.Fault))
		case i > g.strayA():
			g.over++
		default:
			g.over = 0
		}
		if i > surge*g.strayA() || g.over > 1 {
			return failed("%.1f A flowed while the relay was closed, and none may: the charger is not off. It was opened at once", l.CurrentA.Value)
		}
	}
	switch {
	case !l.PackV.OK():
		return failed("the voltage could not be read while the relay was closed (%s); it was opened at once", faultText(l.PackV.Fault))
	case l.PackV.Value-g.beforeV > riseV*g.cells():
		return failed("the voltage rose from %.2f to %.2f V while the relay was closed: the charger is not off. It was opened at once", g.beforeV, l.PackV.Value)
	case !l.Level.Usable():
		return failed("the level could not be read while the relay was closed (%s); it was opened at once", faultText(l.Level.Fault))
	}
	return g.tick(l)
}

// tick runs the core once a second and beats as the agent would.
func (g *guard) tick(l *Look) error {
	if g.Rig.Now()-g.at < beatEvery {
		return nil
	}
	g.at = g.Rig.Now()
	pic, _ := g.core.Step(&l.Readings)
	if !pic.Permit.Granted {
		return failed("the core withdrew its leave (%s); the relay was opened at once", reasons(pic))
	}
	if g.beat {
		return g.Rig.Beat()
	}
	return nil
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
	seen := streak{}
	for start := w.Rig.Now(); took < letGo; {
		if err := w.Rig.Wait(ctx, quickEvery); err != nil {
			return 0, false, err
		}
		w.here = w.Rig.Look(ctx)
		took = w.Rig.Now() - start
		if seen.add(open(w.here), took) {
			return seen.first, true, nil
		}
	}
	return took, false, nil
}

func closed(l *Look) bool { return is(l.ContactorClosed, 1) }
func open(l *Look) bool   { return is(l.ContactorClosed, 0) }
func never(*Look) bool    { return false }

func (w *walk) hasFeedback() bool { return w.Bay.Wiring.Relay.Feedback != nil }

// close closes the relay under guard until the feedback shows it closed, or for the
// whole time if there is no feedback. The caller must open it.
func (g *guard) close(ctx context.Context, most time.Duration) error {
	w := g.walk
	if err := w.Rig.Beat(); err != nil {
		return err
	}
	if err := w.Rig.CloseFor(most); err != nil {
		return err
	}
	w.item("The relay is closed.")
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
		err = failed("the contactor did not close within %s: look at the coil's supply, the watchdog relay in its circuit, and the feedback contact's wire", pullIn)
	}
	return err
}

const welded = "the feedback still says closed %s after the order to open: the contacts are welded or the feedback wire is shorted. " +
	"The bay must not be used; the charger stays locked off until that is repaired"

func (w *walk) relayObeys(ctx context.Context, s *Step) (err error) {
	core, err := w.allow(ctx)
	if err != nil {
		return err
	}
	if w.hasFeedback() && !open(w.here) {
		return failed("the feedback says closed before the relay was closed: welded contacts, a shorted wire, or active_low the wrong way round")
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
	w.item("The relay is open.")
	return w.judgeOpening(ctx, s, held)
}

// judgeOpening proves that the contactor has opened.
func (w *walk) judgeOpening(ctx context.Context, s *Step, held time.Duration) error {
	if w.Bay.Wiring.Current != nil {
		s.Evidence = append(s.Evidence, fmt.Sprintf("closed for %s: current stayed within %.1f A", seconds(held), w.strayA()))
	}
	if !w.hasFeedback() {
		return w.witness(ctx, s, "it closed and opened", "Did the contactor, or the charger's enable, close and open again? Look at its flag or listen at it.")
	}
	took, inTime, err := w.opened(ctx)
	if err != nil {
		return err
	}
	if !inTime {
		return failed(welded, letGo)
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("feedback closed on order and opened %s after the order to open", seconds(took)))
	return nil
}

// witness accepts a person's word where no sensor could show it.
func (w *walk) witness(ctx context.Context, s *Step, phrase, question string) error {
	w.say("%s", question)
	ok, err := w.confirm(ctx, phrase)
	if err != nil {
		return err
	}
	if !ok {
		return failed("nobody saw that %s", phrase)
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("no feedback contact is fitted: %s saw that %s", w.rec.Person, phrase))
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
	w.item("The heartbeat has stopped, the relay's line stays high.")
	if !w.hasFeedback() {
		if _, _, err := g.watch(ctx, holdTime, never); err != nil {
			return err
		}
		return w.witness(ctx, s, "it opened by itself", "Did the watchdog relay open by itself in these "+holdTime.String()+"?")
	}
	took, inTime, err := g.watch(ctx, holdTime, open)
	if err != nil {
		return err
	}
	if !inTime {
		return failed("without heartbeat the contactor stayed closed for %s: the watchdog relay is bridged, set too long, or not in the coil's circuit", holdTime)
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("the contactor opened %s after the last heartbeat, with the line still high", seconds(took)))
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
	g.beat = false // the other process has both lines
	w.item("Another process holds the relay closed.")
	if err := g.pulled(ctx); err != nil {
		return err
	}
	if err := kill(); err != nil {
		return err
	}
	w.item("That process was killed, as by a crash.")
	if !w.hasFeedback() {
		return w.witness(ctx, s, "it opened when killed", "Did the contactor, or the charger's enable, open at that moment?")
	}
	took, inTime, err := w.opened(ctx)
	if err != nil {
		return err
	}
	if !inTime {
		return failed("the contactor stayed closed for %s after the program was killed: the kernel keeps the line high. "+
			"Set dtparam=strict_gpiod in the Pi's config.txt, fit the pull-down resistor, and see that the service has its ExecStopPost", letGo)
	}
	s.Evidence = append(s.Evidence, fmt.Sprintf("the contactor opened %s after the process that held it was killed", seconds(took)))
	return nil
}
