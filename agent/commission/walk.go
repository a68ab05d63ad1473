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
	"bayward/agent/words"
)

// Options configures a walk. All fields but Hand and Resume are required.
type Options struct {
	Bay   *config.Bay
	Pack  config.Pack
	Setup bay.Setup
	// Core starts the core as the agent would, with the state in the logbook: a
	// hold, an open visit or a latch keeps the relay open here too.
	Core    func() *bay.Bay
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
	key, title string
	fitted     bool
	missing    string // message if the step is not fitted; "" for none
	always     bool   // run again even if an earlier walk has proven it
	run        func(*walk, context.Context, *Step) error
}

// problem is why a step failed: a fault of the bay, not of the program.
type problem struct{ why string }

// Error returns the reason.
func (p problem) Error() string { return p.why }

func failed(format string, args ...any) error { return problem{fmt.Sprintf(format, args...)} }

// skipped is a step that the person left out.
type skipped struct{ why string }

// Error returns the reason.
func (s skipped) Error() string { return "skipped: " + s.why }

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
	w.say("Commissioning of bay %s with pack %s (%d cells, %g Ah).", w.Bay.Name, w.Pack.Name, w.Pack.Cells, w.Pack.CapacityAh)
	if w.Hand != nil {
		w.gap()
		w.say("SIMULATED sensors: this is for learning. At each task press Enter, and the simulator does it. The record is marked as simulated.")
	}
	w.gap()
	w.say("CAUTION. %s", words.EnglishSI().Cautions())
	w.gap()
	w.say("Before you go on: the charger's supply is switched off, locked and tagged, by whoever is allowed to. Work on mains is for a licensed electrician. A second person knows that you are here. No charge is running, and none ran in the last hour. The lead between charger and pack is not under anybody's hands.")
	w.gap()
	w.say("The walk asks for one thing at a time and watches whether the reading follows. You can type \"skip\" to leave a step out, with a reason, and \"quit\" to end; what was proven is kept. The relay stays open until a step says that it closes it.")
	w.gap()
	who, err := w.name(ctx, "Your name, for the record")
	if err != nil {
		return err
	}
	w.rec.Person = who
	ok, err := w.confirm(ctx, "charger locked off")
	if err != nil {
		return err
	}
	if !ok {
		w.say("Then not now. Nothing was done.")
		return ErrQuit
	}
	w.act(ChargerOff)
	return w.keepRecord()
}

func (w *walk) name(ctx context.Context, question string) (string, error) {
	for {
		who, err := w.ask(ctx, question)
		if err != nil {
			return "", err
		}
		who = oneLine(strings.Map(withoutControl, who))
		if n := len([]rune(who)); n >= 2 && n <= 80 {
			return who, nil
		}
		w.say("A name has 2 to 80 characters.")
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
		if s.missing != "" {
			w.heading(number, s)
			w.say("%s", s.missing)
			w.rec.keep(Step{Key: s.key, Title: s.title, Result: NotFitted, Why: s.missing, Begun: w.Stamp(), Ended: w.Stamp(), By: w.rec.Person})
			return w.keepRecord()
		}
		return nil
	}
	w.heading(number, s)
	if old := w.rec.step(s.key); old != nil && old.Result == Passed && !s.always {
		w.say("Already proven on %s by %s.", old.Ended.text(), old.By)
		return nil
	}
	for {
		out := Step{Key: s.key, Title: s.title, Begun: w.Stamp(), By: w.rec.Person}
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

func (w *walk) heading(number int, s step) {
	w.gap()
	w.say("Step %d. %s", number, s.title)
}

// judge sets the result of a step and asks what to do after a failure.
func (w *walk) judge(ctx context.Context, out *Step, err error) (again bool, fatal error) {
	if err == nil {
		out.Result = Passed
		for _, e := range out.Evidence {
			w.item("%s", e)
		}
		w.say("PASSED: %s", out.Title)
		return false, nil
	}
	if s, ok := errors.AsType[skipped](err); ok {
		out.Result, out.Why = Skipped, s.why
		w.say("SKIPPED: %s. Reason: %s", out.Title, s.why)
		return false, nil
	}
	p, ok := errors.AsType[problem](err)
	if !ok {
		return false, err // not the bay's fault: the step stays "not done"
	}
	out.Result, out.Why = Failed, p.why
	w.say("FAILED: %s.", p.why)
	for {
		answer, err := w.ask(ctx, "Type \"again\" to try again after the repair, \"next\" to go on with the failure on record, or \"quit\"")
		switch {
		case err != nil:
			return false, err
		case strings.EqualFold(answer, "again"):
			return true, nil
		case strings.EqualFold(answer, "next"):
			return false, nil
		}
	}
}

// sign asks for the name once more and closes the record.
func (w *walk) sign(ctx context.Context) error {
	w.gap()
	w.say("The walk is at its end. What came of it:")
	for i := range w.rec.Steps {
		s := &w.rec.Steps[i]
		text := fmt.Sprintf("%s: %s", s.Title, orNotDone(s.Result))
		if s.Why != "" {
			text += " (" + strings.TrimSuffix(s.Why, ".") + ")"
		}
		w.item("%s", text)
	}
	w.gap()
	w.say("By signing you say that you did this yourself and saw it so. It does not make bayward a certified safety device: the charger's own protection and the independent cut-off stay, and local rules on inspection come first.")
	for {
		who, err := w.ask(ctx, "Type your name once more to sign ("+w.rec.Person+")")
		if err != nil {
			return err
		}
		if oneLine(who) == w.rec.Person {
			break
		}
		w.say("That is not the name from the beginning. Type it the same way, or \"quit\" to leave it unsigned.")
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
	if says := w.Hand.Do(a); says != "" {
		w.say("Simulator: %s", says)
	}
}

// reason asks why a step is left out.
func (w *walk) reason(ctx context.Context) error {
	for {
		why, err := w.ask(ctx, "Why is it left out")
		if err != nil {
			return err
		}
		if why = oneLine(strings.Map(withoutControl, why)); len(why) >= 3 {
			return skipped{why}
		}
		w.say("Say it in a few words; it goes on record.")
	}
}

// before asks whether the step may begin. Enter is enough, because it proves
// nothing.
func (w *walk) before(ctx context.Context, question string) error {
	answer, err := w.ask(ctx, question+" Press Enter, or type \"skip\"")
	if err != nil {
		return err
	}
	if strings.EqualFold(answer, "skip") {
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
