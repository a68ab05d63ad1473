package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/replay"
	"bayward/agent/replay/plot"
	"bayward/agent/terminal"
	"bayward/agent/usage"
)

type replayCmd struct {
	Config string        `required:"" type:"path" placeholder:"FILE" help:"Configuration; only its packs and limits are used."`
	Pack   string        `placeholder:"NAME" help:"Which pack the trace is of, when the configuration has several."`
	Hold   time.Duration `default:"15m" help:"How long a column holds its last value before it counts as stale."`
	Plot   string        `type:"path" placeholder:"FILE.svg" help:"Draw a picture of the replay into this file."`
	Traces []string      `arg:"" name:"TRACE.csv" help:"Traces, plain or gzip; - for standard input."`
}

// Help is the long text of --help.
func (replayCmd) Help() string {
	return `The trace is CSV with a header; lines that begin with # are comments. Columns, in any order: time_s (seconds, never falling), ` +
		`pack_v (V), current_a (A, positive while charging), pack_c and ambient_c (°C), level_mm (mm above the plate tops). ` +
		`An absent column or an empty field is no reading.

Printed is one JSON object for each change, and a summary at the end. With --plot a picture is drawn as well: voltage, current, ` +
		`temperature and level over time, with the stages, the findings and the moments of full.

Several traces are replayed side by side, one for each processor. Each starts afresh, with the same pack. Their output comes in the ` +
		`order in which they are named, and each line says in "trace" which one it is of; a trace that cannot be read is reported on ` +
		`standard error and does not stop the others. A terminal shows the progress.`
}

const minHold, maxHold = time.Second, 24 * time.Hour

// Run sends the trace through the core.
func (c *replayCmd) Run(p *program) error {
	if c.Hold < minHold || c.Hold > maxHold {
		return usage.Errorf("--hold: value %v is not accepted: %v to %v", c.Hold, minHold, maxHold)
	}
	cfg, err := config.Load(c.Config, config.PacksOnly())
	if err != nil {
		return usage.Error(err)
	}
	setup, err := cfg.PackSetup(c.Pack)
	if err != nil {
		return usage.Errorf("--pack: %w", err)
	}
	setup.Limits.StaleAfter = c.Hold
	if err := c.several(); err != nil {
		return usage.Error(err)
	}
	show := terminal.NewProgress(p.stderr, c.Traces)
	jobs := make([]func(io.Writer) error, len(c.Traces))
	for i, trace := range c.Traces {
		jobs[i] = func(w io.Writer) error { return c.one(p, show, trace, setup, w) }
	}
	errs := replay.Many(p.stdout, runtime.GOMAXPROCS(0), jobs)
	show.End()
	return worst(errs)
}

// several checks what can only be asked of one trace.
func (c *replayCmd) several() error {
	if c.Plot != "" && len(c.Traces) > 1 {
		return fmt.Errorf("--plot: a picture is of one trace, and %d are given", len(c.Traces))
	}
	seen := map[string]bool{}
	for _, t := range c.Traces {
		if seen[t] {
			return fmt.Errorf("trace: %s is given twice; accepted: each trace once", t)
		}
		seen[t] = true
	}
	return nil
}

// worst joins the errors: what failed counts more than input that is at fault.
func worst(errs []error) error {
	err := errors.Join(errs...)
	for _, e := range errs {
		if e != nil && !usage.Is(e) {
			return err
		}
	}
	return usage.Error(err)
}

// one replays one trace.
func (c *replayCmd) one(p *program, show *terminal.Progress, trace string, setup bay.Setup, w io.Writer) error {
	name, in, err := c.open(p, trace)
	if err != nil {
		return usage.Error(err)
	}
	defer func() { _ = in.Close() }()
	err = c.replay(w, name, show.Reader(in), setup)
	show.Done()
	if _, ok := errors.AsType[*replay.TraceError](err); ok {
		return usage.Error(err)
	}
	return err
}

func (c *replayCmd) replay(w io.Writer, name string, in io.Reader, setup bay.Setup) error {
	t, err := replay.Open(name, in)
	if err != nil {
		return err
	}
	t.Fit(&setup)
	if len(c.Traces) > 1 {
		t.Label = name
	}
	var picture *plot.Recorder
	var watchers []replay.Watcher
	if c.Plot != "" {
		picture = plot.New(name)
		watchers = append(watchers, picture)
	}
	out := bufio.NewWriterSize(w, 1<<16)
	_, err = replay.Run(t, setup, out, watchers...)
	if ferr := out.Flush(); err == nil {
		err = ferr
	}
	if err != nil || picture == nil {
		return err
	}
	return c.draw(picture)
}

// draw writes the picture to its file.
func (c *replayCmd) draw(picture *plot.Recorder) error {
	f, err := os.Create(c.Plot)
	if err != nil {
		return usage.Errorf("--plot: %w; accepted: a file that can be written", err)
	}
	err = picture.WriteSVG(f)
	return errors.Join(err, f.Close())
}

func (c *replayCmd) open(p *program, trace string) (name string, in io.ReadCloser, err error) {
	if trace == "-" {
		return "standard input", io.NopCloser(p.stdin), nil
	}
	f, err := os.Open(trace)
	if err != nil {
		return "", nil, fmt.Errorf("trace: %w; accepted: a readable CSV file, or - for standard input", err)
	}
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return "", nil, errors.Join(fmt.Errorf("trace: %s is a directory; accepted: a readable CSV file, or - for standard input", trace), f.Close())
	}
	return trace, f, nil
}
