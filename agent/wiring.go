package main

import (
	"bufio"
	"context"
	"encoding/json"
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
)

type wiringCmd struct {
	Config   string  `required:"" type:"path" placeholder:"FILE" help:"Configuration of the bays."`
	Bay      string  `placeholder:"NAME" help:"Bay to walk through; may be left out when there is only one."`
	Fragment string  `type:"path" placeholder:"FILE" help:"Write the calibration there as YAML, a new file; otherwise it is printed at the end."`
	Resume   bool    `help:"Go on with the last walk of this bay that was not finished; what it has proven is not asked for again."`
	Last     bool    `help:"Print the newest commissioning record of the bay and leave."`
	JSON     bool    `name:"json" help:"With --last: print it as JSON."`
	Speed    float64 `default:"1" placeholder:"N" help:"With simulated sensors: how many times faster than life, 1 to 1000."`
}

// Help is the long text of --help.
func (wiringCmd) Help() string {
	return `Walks a technician through a bay before it goes to work: shows each sensor live, asks for one thing at a time ` +
		`(pull the plug, lift the probe, short the test clip, warm the sensor) and proves that the reading follows; compares voltage, current, ` +
		`temperature and level with hand instruments; then proves that the relay obeys, that the watchdog relay opens without heartbeat, ` +
		`and that the relay opens when the program dies.

The charger's supply must be locked off for all of it. The relay is closed for seconds only, with your word that the charger is off, ` +
		`while the core that guards the bay would grant a charge, and under a watch that opens it at once. Stop the agent first (systemctl stop bayward).

The record goes to the logbook, step by step and signed at the end; the calibration is printed, or written to --fragment, and never put ` +
		`into your configuration. Interrupted at any point (Ctrl-C, a lost connection), the relay is open and what was proven is kept (--resume). Ctrl-Z does nothing: ` +
		`it would leave the relay as it is.

With "sensors: simulated" it is for learning: the simulator does what is asked. The guide is deploy/wiring.md.

Work on mains is for a licensed electrician. bayward is not a certified safety device.`
}

// Run walks a person through a bay.
func (c *wiringCmd) Run(ctx context.Context, p *program) error {
	cfg, b, pack, err := c.load()
	if err != nil {
		return usage.Error(err)
	}
	if c.Last {
		return c.last(ctx, p, cfg.Logbook.Path, b.Name)
	}
	log := slog.New(slog.NewTextHandler(p.stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
	book, err := logbook.Open(ctx, cfg.Logbook.Path, log)
	if err != nil {
		return agentHasIt(err)
	}
	defer func() { _ = book.Close() }() // what was acknowledged is safe without it
	resume, err := c.resumed(ctx, book, cfg, b, pack)
	if err != nil {
		return err
	}
	if c.Fragment != "" {
		if _, err := os.Lstat(c.Fragment); err == nil {
			return usage.Errorf("--fragment %s: the file is there already and is not overwritten; name a new one", c.Fragment)
		}
	}
	outliveReaders()
	outliveKeys()
	rig, err := newWiringRig(cfg, c.Config, b, c.Speed, log)
	if err != nil {
		return err
	}
	defer func() { _ = rig.halt() }() // Walk has opened it already, and said so if it could not
	return c.walk(ctx, p, cfg, b, pack, book, rig, resume)
}

func (c *wiringCmd) load() (*config.Config, *config.Bay, config.Pack, error) {
	if !(c.Speed >= 1 && c.Speed <= 1000) {
		return nil, nil, config.Pack{}, fmt.Errorf("--speed %g is not accepted: must be 1 to 1000", c.Speed)
	}
	if c.JSON && !c.Last {
		return nil, nil, config.Pack{}, errors.New("--json needs --last: a walk is for a person")
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return nil, nil, config.Pack{}, err
	}
	if c.Speed != 1 && cfg.Sensors != "simulated" {
		return nil, nil, config.Pack{}, fmt.Errorf("--speed %g is for simulated sensors only", c.Speed)
	}
	var names []string
	for i := range cfg.Bays {
		b := &cfg.Bays[i]
		if b.Name == c.Bay || c.Bay == "" && len(cfg.Bays) == 1 {
			pack, err := cfg.PackNamed(b.Serves()[0]) // of several each has the same cells
			return cfg, b, pack, err
		}
		names = append(names, b.Name)
	}
	return nil, nil, config.Pack{}, fmt.Errorf("--bay %q is not accepted: must be one of %s", c.Bay, strings.Join(names, ", "))
}

// agentHasIt adds what to do when an agent is at work.
func agentHasIt(err error) error {
	if errors.Is(err, logbook.ErrLocked) {
		return fmt.Errorf("%w. The walk needs the bays for itself: systemctl stop bayward", err)
	}
	return err
}

// last prints the newest record; an agent may be at work meanwhile.
func (c *wiringCmd) last(ctx context.Context, p *program, path, bayName string) error {
	book, err := logbook.OpenReadOnly(ctx, path)
	if err != nil {
		return err
	}
	r, err := lastRecord(ctx, book, bayName)
	if err = errors.Join(err, book.Close()); err != nil {
		return err
	}
	if r == nil {
		return fmt.Errorf("no commissioning of %s is on record in %s", bayName, path)
	}
	if c.JSON {
		e := json.NewEncoder(p.stdout)
		e.SetIndent("", "  ")
		return e.Encode(r)
	}
	_, err = io.WriteString(p.stdout, r.Text())
	return err
}

func lastRecord(ctx context.Context, book *logbook.Reader, bayName string) (*commission.Record, error) {
	raw, ok, err := book.LastCommissioning(ctx, bayName)
	if err != nil || !ok {
		return nil, err
	}
	r := &commission.Record{}
	if err := json.Unmarshal(raw, r); err != nil {
		return nil, fmt.Errorf("read the commissioning record of %s: %w", bayName, err)
	}
	return r, nil
}

func (c *wiringCmd) resumed(ctx context.Context, book *logbook.Book, cfg *config.Config, b *config.Bay, pack config.Pack) (*commission.Record, error) {
	if !c.Resume {
		return nil, nil
	}
	r, err := lastRecord(ctx, book.Reader, b.Name)
	if err != nil {
		return nil, err
	}
	if !commission.MayResume(r, b, pack, cfg.Sensors == "simulated") {
		return nil, usage.Errorf("--resume: there is no unfinished walk of %s with this wiring; start one without --resume", b.Name)
	}
	return r, nil
}

func (c *wiringCmd) walk(ctx context.Context, p *program, cfg *config.Config, b *config.Bay, pack config.Pack,
	book *logbook.Book, rig *wiringRig, resume *commission.Record,
) error {
	o, err := walkOptions(ctx, cfg, b, pack, book, rig)
	if err != nil {
		return err
	}
	o.Resume = resume
	o.Console = &commission.Console{Out: p.stdout, Lines: typedLines(ctx, p.stdin)}
	rec, err := commission.Walk(ctx, o)
	return c.end(p, rec, err)
}

// walkOptions is everything that a walk needs but the person.
func walkOptions(ctx context.Context, cfg *config.Config, b *config.Bay, pack config.Pack, book *logbook.Book, rig *wiringRig) (commission.Options, error) {
	setup, err := setupOf(cfg, b.Name)
	if err != nil {
		return commission.Options{}, err
	}
	boot := bootclock.New()
	o := commission.Options{
		Bay: b, Pack: pack, Setup: setup, Rig: rig, Program: version(),
		ID: fmt.Sprintf("%s-%d-%d", b.Name, time.Now().Unix(), boot.Now()),
		Stamp: func() commission.Stamp {
			return commission.Stamp{Wall: time.Now().UTC(), Trusted: bootclock.WallTrusted(), BootID: boot.ID, MonoS: boot.Now().Seconds()}
		},
		Core: func() *bay.Bay {
			from := restore.Source{
				Book: book, Now: rig.Now, Log: slog.New(slog.DiscardHandler), // what it doubts it holds, and reports
				Gap: func(s logbook.Stamp) (time.Duration, bool) { return boot.Gap(s.BootID, s.Mono) },
			}
			return from.Core(ctx, &setup)
		},
		Keep: func(r *commission.Record) error { return keepCommissioning(ctx, book, r) },
	}
	if hand := rig.hand(); hand != nil {
		o.Hand = hand
	}
	return o, nil
}

// end says how the walk came out. What was proven is on record in any case.
func (c *wiringCmd) end(p *program, rec *commission.Record, err error) error {
	if err != nil {
		if errors.Is(err, context.Canceled) {
			err = errors.New("interrupted")
		}
		_, _ = fmt.Fprintln(p.stdout) // the last question stands there without an end
		return fmt.Errorf("the walk of %s is not finished: %w. The relay is open. What was proven is on record; go on with: bayward wiring --resume", rec.Bay, err)
	}
	if text := rec.Fragment(); text != "" {
		if c.Fragment == "" {
			_, err = fmt.Fprintf(p.stdout, "\nCalibration:\n\n%s", text)
		} else if err = writeNew(c.Fragment, text); err == nil {
			_, err = fmt.Fprintf(p.stdout, "\nThe calibration is in %s.\n", c.Fragment)
		}
		if err != nil {
			return fmt.Errorf("the record is signed, but the calibration could not be written: %w", err)
		}
	}
	_, err = fmt.Fprintf(p.stdout, "\nSigned by %s: %s. Read it again with: bayward wiring --last\n", rec.Person, rec.Result())
	if rec.Result() != commission.Passed {
		return errors.Join(err, fmt.Errorf("bay %s has not passed: it must not go to work before each step that failed or was left out is proven by another walk", rec.Bay))
	}
	return err
}

// writeNew writes a file that must not be there yet.
func writeNew(path, text string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644) //nolint:gosec // a calibration is no secret
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Sync(), f.Close())
}

func keepCommissioning(ctx context.Context, book *logbook.Book, r *commission.Record) error {
	body, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("bug: %w", err)
	}
	s := logbook.Stamp{
		Wall: r.Begun.Wall, Trusted: r.Begun.Trusted, BootID: r.Begun.BootID,
		Mono: time.Duration(r.Begun.MonoS * float64(time.Second)),
	}
	// An interrupted walk still gets its last step down.
	return book.SaveCommissioning(context.WithoutCancel(ctx), logbook.Commissioning{Bay: r.Bay, ID: r.ID, Begun: s, Signed: r.Signed, Body: body})
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

var _ commission.Rig = (*wiringRig)(nil)

// typedLines hands on what is typed. The goroutine ends with the input; a read
// from a terminal cannot be woken, so an interrupted walk leaves it behind.
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
