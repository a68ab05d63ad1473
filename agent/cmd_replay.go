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
	Config string        `type:"path" placeholder:"FILE" help:"Configuration; its packs and limits are used, and where the bay's sensor sits."`
	Bay    string        `placeholder:"NAME" help:"Which bay the trace is of; without it, the bays that serve the pack decide."`
	Pack   string        `placeholder:"NAME" help:"Which pack the trace is of, when the configuration has several."`
	Hold   time.Duration `default:"15m" help:"How long a column holds its last value before it counts as stale."`
	Orders string        `type:"path" placeholder:"FILE.json" help:"What people did meanwhile: visits, water, level readings, gravity, holds."`
	Start  time.Time     `placeholder:"TIME" help:"The time, RFC 3339, at which time_s was 0, for orders that have a time of day."`
	Every  time.Duration `placeholder:"SPAN" help:"Also print a line when this much time has passed since the last one."`
	Events bool          `help:"Also print each event."`
	Plot   string        `type:"path" placeholder:"FILE.svg" help:"Draw a picture of the replay into this file."`
	Schema bool          `help:"Print the JSON Schema of everything that a replay reads and prints, and exit."`
	Traces []string      `arg:"" optional:"" name:"TRACE.csv" help:"Traces, plain or gzip; - for standard input."`
}

// Help is the long text of --help.
func (replayCmd) Help() string {
	return `The trace is CSV with a header; lines that begin with # are comments. Columns, in any order: time_s (seconds, never falling), ` +
		`pack_v (V), current_a (A, positive while charging), pack_c and ambient_c (°C), level_mm (mm above the plate tops; with level_high_mm, of a probe with rods, the least and the most), ` +
		`hydrogen_pct (% by volume), airflow, contactor_closed and charger_complete (0 or 1), pack (the pack whose own sensor answers). ` +
		`An absent column or an empty field is no reading; a field may also name the sensor's fault, such as open. A column that the trace has is a sensor that the bay has, any other optional sensor is not fitted.

The core is the one of bayward run, set up from the same file. With --bay it serves all packs of that bay, with --pack that one; ` +
		`the sensor sits where bays[].wiring.temperature.on says, and in the electrolyte when no bay serves the pack.

--orders has a JSON object on each line: time_s (or time, with --start), by, order, and the fields of the order as in an MQTT command. ` +
		`bayward records export --table orders --format json --bay NAME writes such a file from the record. Rights are not checked, and each order is carried out at its time, also between two rows.

Printed is one JSON object for each change, and a summary at the end; --schema describes each key. With --plot a picture is drawn as well: voltage, current, ` +
		`temperature and level over time, with the stages, the findings and the moments of full.

Several traces are replayed side by side, one for each processor. Each starts afresh, with the same pack. Their output comes in the ` +
		`order in which they are named, and each line says in "trace" which one it is of; a trace that cannot be read is reported on ` +
		`standard error and does not stop the others. A terminal shows the progress.`
}

const minHold, maxHold = time.Second, 24 * time.Hour

// Run sends the trace through the core.
func (c *replayCmd) Run(p *program) error {
	if c.Schema {
		_, err := p.stdout.Write(replay.Schema())
		return err
	}
	if err := c.flags(); err != nil {
		return usage.Error(err)
	}
	cfg, err := config.Load(c.Config, config.PacksOnly())
	if err != nil {
		return usage.Error(err)
	}
	setup, err := cfg.ReplaySetup(c.Bay, c.Pack)
	if err != nil {
		flag := "--pack"
		if c.Bay != "" {
			flag = "--bay"
		}
		return usage.Errorf("%s: %w", flag, err)
	}
	setup.Limits.StaleAfter = c.Hold
	show := terminal.NewProgress(p.stderr, c.Traces)
	jobs := make([]func(io.Writer) error, len(c.Traces))
	for i, trace := range c.Traces {
		jobs[i] = func(w io.Writer) error { return c.one(p, show, trace, setup, w) }
	}
	errs := replay.Many(p.stdout, runtime.GOMAXPROCS(0), jobs)
	show.End()
	return worst(errs)
}

// flags checks what the command line's own rules do not.
func (c *replayCmd) flags() error {
	switch {
	case c.Config == "":
		return errors.New("missing flags: --config=FILE; see bayward --help")
	case len(c.Traces) == 0:
		return errors.New("expected \"<TRACE.csv> ...\"; see bayward --help")
	case c.Hold < minHold || c.Hold > maxHold:
		return fmt.Errorf("--hold: value %v is not accepted: %v to %v", c.Hold, minHold, maxHold)
	case c.Every < 0:
		return fmt.Errorf("--every: value %v is not accepted: a span such as 1h", c.Every)
	}
	return c.several()
}

// several checks what can only be asked of one trace.
func (c *replayCmd) several() error {
	if c.Plot != "" && len(c.Traces) > 1 {
		return fmt.Errorf("--plot: a picture is of one trace, and %d are given", len(c.Traces))
	}
	if c.Orders != "" && len(c.Traces) > 1 {
		return fmt.Errorf("--orders: orders are of one trace, and %d are given", len(c.Traces))
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
	if err := t.Fit(&setup); err != nil {
		return err
	}
	if len(c.Traces) > 1 {
		t.Label = name
	}
	o := replay.Options{Every: c.Every, Events: c.Events}
	if o.Orders, err = c.orders(&setup); err != nil {
		return err
	}
	var picture *plot.Recorder
	if c.Plot != "" {
		picture = plot.New(name)
		o.Watchers = append(o.Watchers, picture)
	}
	out := bufio.NewWriterSize(w, 1<<16)
	_, err = replay.Run(t, setup, out, o)
	if ferr := out.Flush(); err == nil {
		err = ferr
	}
	if err != nil || picture == nil {
		return err
	}
	return c.draw(picture)
}

// orders reads what people did, nil without a file.
func (c *replayCmd) orders(setup *bay.Setup) (*replay.Orders, error) {
	if c.Orders == "" {
		return nil, nil
	}
	f, err := os.Open(c.Orders)
	if err != nil {
		return nil, usage.Errorf("--orders: %w; accepted: a file with a JSON object on each line", err)
	}
	defer f.Close() //nolint:errcheck // only read from
	packs := setup.Packs
	if len(packs) == 0 {
		packs = []bay.Pack{setup.Pack}
	}
	return replay.ReadOrders(c.Orders, f, replay.OrderOptions{Start: c.Start, Packs: packs})
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
