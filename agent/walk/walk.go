// Package walk runs the commissioning walk on the hardware of the machine.
package walk

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/bootclock"
	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/restore"
	"bayward/agent/usage"
	"bayward/agent/words"
)

// Options selects the bay and configures the walk.
type Options struct {
	Config          *config.Config
	ConfigPath      string // the configuration file, for the process that is killed while it holds the relay
	Keeper          string // socket of the program that drives the relays, on real hardware
	Bay             *config.Bay
	Pack            config.Pack
	Fragment        string  // new file for the calibration; "" prints it at the end
	Resume          bool    // resume the last unfinished walk
	Speed           float64 // simulated sensors only: multiple of real time
	Version         string  // program version
	Voice           words.Voice
	In              io.Reader
	Out, Complaints io.Writer
}

// Choose finds a bay by name and its pack. The name may be "" if there is only one
// bay.
func Choose(cfg *config.Config, name string) (*config.Bay, config.Pack, error) {
	var names []string
	for i := range cfg.Bays {
		b := &cfg.Bays[i]
		if b.Name == name || name == "" && len(cfg.Bays) == 1 {
			pack, err := cfg.PackNamed(b.Serves()[0]) // all packs of a bay have the same cells
			return b, pack, err
		}
		names = append(names, b.Name)
	}
	return nil, config.Pack{}, words.Fail("usage.walk-bay", name, strings.Join(names, ", "))
}

// Run guides a person through the bay. When it returns, the relay is open and
// everything proven is on record. After an error the bay must not go into service.
func Run(ctx context.Context, o *Options) error {
	log := slog.New(slog.NewTextHandler(o.Complaints, &slog.HandlerOptions{Level: slog.LevelWarn}))
	book, err := logbook.Open(ctx, o.Config.Logbook.Path, log)
	if err != nil {
		return agentHasIt(err)
	}
	defer func() { _ = book.Close() }() // acknowledged records are safe without it
	resume, err := o.resumed(ctx, book)
	if err != nil {
		return err
	}
	if o.Fragment != "" {
		if _, err := os.Lstat(o.Fragment); err == nil {
			return usage.Error(words.Fail("usage.fragment", o.Fragment))
		}
	}
	r, err := newRig(ctx, o, log)
	if err != nil {
		return err
	}
	defer func() { _ = r.halt() }() // Walk has already opened the relay, and reported a failure to do so
	steps, err := o.steps(ctx, book, r)
	if err != nil {
		return err
	}
	steps.Resume = resume
	steps.Console = &commission.Console{Voice: o.Voice, Out: o.Out, Lines: typedLines(ctx, o.In)}
	rec, err := commission.Walk(ctx, steps)
	return o.end(rec, err)
}

// agentHasIt adds what to do while an agent is running.
func agentHasIt(err error) error {
	if errors.Is(err, logbook.ErrLocked) {
		return words.Fail("walk.needs-bays", err)
	}
	return err
}

func (o *Options) resumed(ctx context.Context, book *logbook.Book) (*commission.Record, error) {
	if !o.Resume {
		return nil, nil
	}
	r, err := lastRecord(ctx, book.Reader, o.Bay.Name)
	if err != nil {
		return nil, err
	}
	if !commission.MayResume(r, o.Bay, o.Pack, o.Config.Sensors == "simulated") {
		return nil, usage.Error(words.Fail("usage.resume", o.Bay.Name))
	}
	return r, nil
}

// steps returns everything that a walk needs except the person.
func (o *Options) steps(ctx context.Context, book *logbook.Book, r *rig) (commission.Options, error) {
	setup, err := setupOf(o.Config, o.Bay.Name)
	if err != nil {
		return commission.Options{}, err
	}
	boot := bootclock.New()
	quiet := slog.New(slog.DiscardHandler) // the core holds what it doubts, and reports it
	witness := restore.OpenWitness(o.Config.Logbook.Path, quiet)
	defer func() { _ = witness.Close() }() // a walk only compares
	steps := commission.Options{
		Bay: o.Bay, Pack: o.Pack, Setup: setup, Rig: r, Program: o.Version,
		ID: fmt.Sprintf("%s-%d-%d", o.Bay.Name, time.Now().Unix(), boot.Now()),
		Stamp: func() commission.Stamp {
			return commission.Stamp{Wall: time.Now().UTC(), Trusted: bootclock.WallTrusted(), BootID: boot.ID, MonoS: boot.Now().Seconds()}
		},
		Core: func(fanSeenOff bool) *bay.Bay {
			setup.Fan.SeenOff = fanSeenOff
			from := restore.Source{
				Book: book, Witness: witness, Walk: true, Wired: o.Config.Sensors != "simulated",
				Now: r.Now, Log: quiet,
				Gap: func(s logbook.Stamp) (time.Duration, bool) { return boot.Gap(s.BootID, s.Mono) },
			}
			return from.Core(ctx, &setup)
		},
		Keep: func(r *commission.Record) error { return keepRecord(ctx, book, r) },
	}
	if hand := r.hand(); hand != nil {
		steps.Hand = hand
	}
	return steps, nil
}

func setupOf(cfg *config.Config, name string) (bay.Setup, error) {
	setups, err := cfg.Setups()
	if err != nil {
		return bay.Setup{}, err
	}
	for i := range setups {
		if setups[i].Name == name {
			return setups[i], nil
		}
	}
	return bay.Setup{}, fmt.Errorf("bug: bay %s has no setup", name)
}

// end reports the result. Everything proven is on record in any case.
func (o *Options) end(rec *commission.Record, err error) error {
	v := o.Voice
	if err != nil {
		_, _ = fmt.Fprintln(o.Out) // the last question has no line end yet
		return worded{v.Say("walk.unfinished", rec.Bay, o.why(err)), err}
	}
	if text := rec.Fragment(v); text != "" {
		if o.Fragment == "" {
			_, err = fmt.Fprintf(o.Out, "\n%s\n\n%s", v.Say("walk.calibration"), text)
		} else if err = writeNew(o.Fragment, text); err == nil {
			_, err = fmt.Fprintf(o.Out, "\n%s\n", v.Say("walk.calibration.file", o.Fragment))
		}
		if err != nil {
			return words.Fail("walk.calibration.unwritten", err)
		}
	}
	_, err = fmt.Fprintf(o.Out, "\n%s\n", v.Word(words.Of("walk.signed", rec.Person, rec.Result().Sentence())))
	if rec.Result() != commission.Passed {
		return errors.Join(err, errors.New(v.Say("walk.not-passed", rec.Bay)))
	}
	return err
}

// why words the usual reasons why a walk ends early.
func (o *Options) why(err error) string {
	switch {
	case errors.Is(err, context.Canceled):
		return o.Voice.Say("walk.interrupted")
	case errors.Is(err, commission.ErrQuit):
		return o.Voice.Say("walk.quit")
	case errors.Is(err, commission.ErrEnded):
		return o.Voice.Say("walk.no-answer")
	}
	return o.Voice.Error(err)
}

// worded is an error with a text in the reader's language.
type worded struct {
	text  string
	cause error
}

// Error returns the text.
func (w worded) Error() string { return w.text }

// Unwrap returns the cause.
func (w worded) Unwrap() error { return w.cause }

// writeNew writes a file that must not exist yet.
func writeNew(path, text string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644) //nolint:gosec // a calibration is no secret
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Sync(), f.Close())
}

// typedLines forwards typed lines. The goroutine ends with the input. A blocked read
// from a terminal cannot be interrupted, so an interrupted walk leaves the goroutine
// behind.
func typedLines(ctx context.Context, in io.Reader) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		s := bufio.NewScanner(in)
		for s.Scan() {
			select {
			case lines <- s.Text():
			case <-ctx.Done():
				return
			}
		}
	}()
	return lines
}
