package main

import (
	"bufio"
	"errors"
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
	Config string        `type:"path" placeholder:"FILE"`
	Bay    string        `placeholder:"NAME"`
	Pack   string        `placeholder:"NAME"`
	Hold   time.Duration `default:"15m"`
	Orders string        `type:"path" placeholder:"FILE.json"`
	Start  time.Time     `placeholder:"TIME"`
	Every  time.Duration `placeholder:"SPAN"`
	Events bool
	Plot   string `type:"path" placeholder:"FILE.svg"`
	Schema bool
	Traces []string `arg:"" optional:"" name:"TRACE.csv"`
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
		return wrong("flag", flag, err)
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
		return wrong("no-config")
	case len(c.Traces) == 0:
		return wrong("no-trace")
	case c.Hold < minHold || c.Hold > maxHold:
		return wrong("hold", c.Hold, minHold, maxHold)
	case c.Every < 0:
		return wrong("every", c.Every)
	}
	return c.several()
}

// several checks what can only be asked of one trace.
func (c *replayCmd) several() error {
	if c.Plot != "" && len(c.Traces) > 1 {
		return wrong("plot-one", len(c.Traces))
	}
	if c.Orders != "" && len(c.Traces) > 1 {
		return wrong("orders-one", len(c.Traces))
	}
	seen := map[string]bool{}
	for _, t := range c.Traces {
		if seen[t] {
			return wrong("trace-twice", t)
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
		return nil, wrong("orders-file", err)
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
		return wrong("plot-file", err)
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
		return "", nil, wrong("trace-file", err)
	}
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return "", nil, errors.Join(wrong("trace-folder", trace), f.Close())
	}
	return trace, f, nil
}
