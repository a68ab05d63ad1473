package commission

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// Options configures a walk. All fields but Hand and Resume are required.
type Options struct {
	Bay   *config.Bay
	Pack  config.Pack
	Setup bay.Setup
	// Core starts the core as the agent would, with the state in the logbook: a
	// hold, an open visit or a latch keeps the relay open here too. It knows from the
	// walk whether the airflow switch was seen off.
	Core    func(fanSeenOff bool) *bay.Bay
	Rig     Rig
	Hand    Hand // nil on real hardware
	Console *Console
	Stamp   func() Stamp
	// Keep stores the record after each step, so an interrupted walk loses nothing
	// that was proven.
	Keep    func(*Record) error
	Program string // the program's version
	ID      string // of the record, unique
	Resume  *Record
}

// walk is a walk in progress.
type walk struct {
	Options
	*Console
	rec  *Record
	here *Look // the newest look
}

// step is one thing to prove.
type step struct {
	key     string
	fitted  bool
	missing bool // if it is not fitted, the record gives the consequence
	always  bool // run again even if an earlier walk has proven it
	run     func(*walk, context.Context, *Step) error
}

// problem is why a step failed: a fault of the bay, not of the program.
type problem struct{ why words.Sentence }

// Error returns the reason in English.
func (p problem) Error() string { return words.EnglishSI().Word(p.why) }

func failed(key string, values ...any) error { return problem{words.Of(key, values...)} }

// skipped is a step that was left out, with a reason by the person or by the walk.
type skipped struct {
	why string
	key string // of the walk's own reason
}

// Error returns the reason.
func (s skipped) Error() string { return "skipped: " + s.why + s.key }

// Walk guides a person through a bay. The record is never nil. An error gives the
// reason why the walk ended early: ErrQuit, ErrEnded, or an error of the context or
// the hardware. The relay is open when it returns.
func Walk(ctx context.Context, o Options) (rec *Record, err error) {
	w := &walk{Options: o, Console: o.Console, rec: o.Resume}
	defer func() { err = errors.Join(err, o.Rig.Open()) }()
	if w.rec == nil {
		w.rec = &Record{V: 1, ID: o.ID, Bay: o.Bay.Name, Pack: o.Pack.Name, Simulated: o.Hand != nil,
			Wiring: Fingerprint(o.Bay, o.Pack), Begun: o.Stamp()}
	}
	if r := o.Bay.Wiring.Relay; r != nil {
		w.rec.Watchdog = r.Heartbeat // of a resumed walk too: its wiring is the same
	}
	w.rec.Fan = o.Bay.Wiring.SensorLine(reading.Airflow)
	w.rec.Program = o.Program
	if err := w.greet(ctx); err != nil {
		return w.rec, err
	}
	for i, s := range w.steps() {
		if err := w.do(ctx, i+1, s); err != nil {
			return w.rec, err
		}
	}
	return w.rec, w.sign(ctx)
}

func (w *walk) greet(ctx context.Context) error {
	w.say("walk.begin", w.Bay.Name, w.Pack.Name, w.cells(), w.Pack.CapacityAh)
	if w.Hand != nil {
		w.gap()
		w.say("walk.simulated")
	}
	w.gap()
	w.say("walk.caution", words.Of("app.cautions"))
	w.gap()
	w.say("walk.ready")
	w.gap()
	w.say("walk.how")
	w.gap()
	who, err := w.name(ctx)
	if err != nil {
		return err
	}
	w.rec.Person = who
	ok, err := w.confirm(ctx, "walk.type.locked")
	if err != nil {
		return err
	}
	if !ok {
		w.say("walk.not-now")
		return ErrQuit
	}
	w.act(ChargerOff)
	return w.keepRecord()
}

func (w *walk) name(ctx context.Context) (string, error) {
	for {
		who, err := w.ask(ctx, "walk.ask.name")
		if err != nil {
			return "", err
		}
		who = oneLine(strings.Map(withoutControl, who))
		if n := len([]rune(who)); n >= 2 && n <= 80 {
			return who, nil
		}
		w.say("walk.name.length")
	}
}

// withoutControl drops characters that could move a terminal's cursor or forge a
// line.
func withoutControl(r rune) rune {
	if r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 {
		return -1
	}
	return r
}

func (w *walk) keepRecord() error {
	if err := w.Keep(w.rec); err != nil {
		return fmt.Errorf("keep the record: %w", err)
	}
	return nil
}

// do repeats a step until it passes or the person continues without it.
func (w *walk) do(ctx context.Context, number int, s step) error {
	if !s.fitted {
		return w.leaveOut(number, s)
	}
	w.heading(number, s)
	if old := w.rec.step(s.key); old != nil && old.Result == Passed && !s.always {
		w.say("walk.proven", old.Ended.text(), old.By)
		return nil
	}
	for {
		out := w.begin(s)
		err := s.run(w, ctx, &out)
		out.Ended = w.Stamp()
		again, err := w.judge(ctx, &out, err)
		w.rec.keep(out)
		if keepErr := w.keepRecord(); err != nil || keepErr != nil {
			return errors.Join(err, keepErr)
		}
		if !again {
			return nil
		}
	}
}

// leaveOut records that a part is not fitted, if that has a consequence.
func (w *walk) leaveOut(number int, s step) error {
	if !s.missing {
		return nil
	}
	w.heading(number, s)
	out := w.begin(s)
	out.Result, out.Ended = NotFitted, w.Stamp()
	out.because(words.Of("walk.missing." + s.key))
	w.item(*out.Reason)
	w.rec.keep(out)
	return w.keepRecord()
}

func (w *walk) begin(s step) Step {
	return Step{Key: s.key, Title: words.EnglishSI().Word(title(s.key)), Begun: w.Stamp(), By: w.rec.Person}
}

// title names a step.
func title(key string) words.Sentence { return words.Of("walk.title." + key) }

func (w *walk) heading(number int, s step) {
	w.gap()
	w.say("walk.heading", float64(number), title(s.key))
}

// judge sets the result of a step and asks what to do after a failure.
func (w *walk) judge(ctx context.Context, out *Step, err error) (again bool, fatal error) {
	if err == nil {
		out.Result = Passed
		for _, e := range out.Proof {
			w.item(e)
		}
		w.say("walk.passed", title(out.Key))
		return false, nil
	}
	if s, ok := errors.AsType[skipped](err); ok {
		out.Result, out.Why = Skipped, s.why
		if s.key != "" {
			out.because(words.Of(s.key))
		}
		w.say("walk.skipped", title(out.Key), out.reason(w.Voice))
		return false, nil
	}
	p, ok := errors.AsType[problem](err)
	if !ok {
		return false, err // not the bay's fault: the step stays "not done"
	}
	out.Result = Failed
	out.because(p.why)
	w.say("walk.failed", p.why)
	for {
		answer, err := w.ask(ctx, "walk.ask.again")
		switch {
		case err != nil:
			return false, err
		case w.is(answer, typedAgain):
			return true, nil
		case w.is(answer, typedNext):
			return false, nil
		}
	}
}

// sign asks for the name once more and closes the record.
func (w *walk) sign(ctx context.Context) error {
	w.gap()
	w.say("walk.end")
	for i := range w.rec.Steps {
		w.item(w.rec.Steps[i].outcome(w.Voice))
	}
	w.gap()
	w.say("walk.sign")
	for {
		who, err := w.ask(ctx, "walk.ask.sign", w.rec.Person)
		if err != nil {
			return err
		}
		if oneLine(who) == w.rec.Person {
			break
		}
		w.say("walk.sign.other")
	}
	end := w.Stamp()
	w.rec.Signed, w.rec.Ended = true, &end
	return w.keepRecord()
}

// act lets the simulator perform an action, if there is one.
func (w *walk) act(a Action) {
	if w.Hand == nil || a == NoAction {
		return
	}
	w.Hand.Do(a)
	w.say("walk.simulator", words.Of("walk.did."+a.String()))
}

// reason asks why a step is left out.
func (w *walk) reason(ctx context.Context) error {
	for {
		why, err := w.ask(ctx, "walk.ask.why")
		if err != nil {
			return err
		}
		if why = oneLine(strings.Map(withoutControl, why)); len(why) >= 3 {
			return skipped{why: why}
		}
		w.say("walk.why.short")
	}
}

// before asks whether the step may begin. Enter is enough, because it proves
// nothing.
func (w *walk) before(ctx context.Context, question string) error {
	answer, err := w.ask(ctx, "walk.ask.enter", words.Of(question))
	if err != nil {
		return err
	}
	if w.is(answer, typedSkip) {
		return w.reason(ctx)
	}
	return nil
}

// cells returns the number of cells as a float.
func (w *walk) cells() float64 { return float64(w.Pack.Cells) }

// strayA is the current up to which there is none, as in the core: a hundredth of
// the capacity.
func (w *walk) strayA() float64 { return 0.01 * w.Pack.CapacityAh }

// MayResume reports whether a walk can be resumed: the record is not signed, and the
// wiring has not changed since.
func MayResume(r *Record, b *config.Bay, p config.Pack, simulated bool) bool {
	return r != nil && !r.Signed && r.Bay == b.Name && r.Simulated == simulated && r.Wiring == Fingerprint(b, p) &&
		slices.ContainsFunc(r.Steps, func(s Step) bool { return s.Result == Passed })
}

// lookEvery is the interval between looks at a sensor; quickEvery is the interval
// while the relay is closed.
const (
	lookEvery  = time.Second
	quickEvery = 100 * time.Millisecond
)

// joined returns a step's own error unchanged if everything after it succeeded. If
// the hardware then fails, the walk ends instead of the step failing.
func joined(err error, after ...error) error {
	rest := errors.Join(after...)
	switch {
	case rest == nil:
		return err
	case err == nil:
		return rest
	}
	return fmt.Errorf("%w (after: %v)", rest, err) //nolint:errorlint // the step's reason must not count any more
}
