package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/replay"
	"bayward/agent/replay/plot"
)

type replayCmd struct {
	Config string        `required:"" type:"path" placeholder:"FILE" help:"Configuration; only its packs and limits are used."`
	Pack   string        `placeholder:"NAME" help:"Which pack the trace is of, when the configuration has several."`
	Hold   time.Duration `default:"15m" help:"How long a column holds its last value before it counts as stale."`
	Plot   string        `type:"path" placeholder:"FILE.svg" help:"Draw a picture of the replay into this file."`
	Trace  string        `arg:"" name:"TRACE.csv" help:"Trace, plain or gzip; - for standard input."`
}

// Help is the long text of --help.
func (replayCmd) Help() string {
	return `The trace is CSV with a header; lines that begin with # are comments. Columns, in any order: time_s (seconds, never falling), ` +
		`pack_v (V), current_a (A, positive while charging), pack_c and ambient_c (°C), cover_mm (mm above the plate tops). ` +
		`An absent column or an empty field is no reading.

Printed is one JSON object for each change, and a summary at the end. With --plot a picture is drawn as well: voltage, current, ` +
		`temperature and cover over time, with the stages, the findings and the moments of full.`
}

const minHold, maxHold = time.Second, 24 * time.Hour

// Run sends the trace through the core.
func (c *replayCmd) Run(p *program) error {
	if c.Hold < minHold || c.Hold > maxHold {
		return inputError{fmt.Errorf("--hold: value %v is not accepted: %v to %v", c.Hold, minHold, maxHold)}
	}
	cfg, err := config.Load(c.Config, config.PacksOnly())
	if err != nil {
		return inputError{err}
	}
	setup, err := cfg.PackSetup(c.Pack)
	if err != nil {
		return inputError{fmt.Errorf("--pack: %w", err)}
	}
	setup.StaleAfter = c.Hold
	name, in, err := c.open(p)
	if err != nil {
		return inputError{err}
	}
	defer func() { _ = in.Close() }()
	err = c.replay(p, name, in, setup)
	if _, ok := errors.AsType[*replay.TraceError](err); ok {
		return inputError{err}
	}
	return err
}

func (c *replayCmd) replay(p *program, name string, in io.Reader, setup bay.Setup) error {
	t, err := replay.Open(name, in)
	if err != nil {
		return err
	}
	t.Fit(&setup)
	var picture *plot.Recorder
	var watchers []replay.Watcher
	if c.Plot != "" {
		picture = plot.New(name)
		watchers = append(watchers, picture)
	}
	out := bufio.NewWriterSize(p.stdout, 1<<16)
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
		return inputError{fmt.Errorf("--plot: %w; accepted: a file that can be written", err)}
	}
	err = picture.WriteSVG(f)
	return errors.Join(err, f.Close())
}

func (c *replayCmd) open(p *program) (name string, in io.ReadCloser, err error) {
	if c.Trace == "-" {
		return "standard input", io.NopCloser(p.stdin), nil
	}
	f, err := os.Open(c.Trace)
	if err != nil {
		return "", nil, fmt.Errorf("trace: %w; accepted: a readable CSV file, or - for standard input", err)
	}
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return "", nil, errors.Join(fmt.Errorf("trace: %s is a directory; accepted: a readable CSV file, or - for standard input", c.Trace), f.Close())
	}
	return c.Trace, f, nil
}
