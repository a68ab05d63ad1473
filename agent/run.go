package main

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"golang.org/x/sync/errgroup"

	"bayward/agent/bootclock"
	"bayward/agent/config"
	"bayward/agent/footprint"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/agent/logwriter"
	"bayward/agent/loop"
	"bayward/agent/safestop"
	"bayward/agent/systemd"
	"bayward/agent/usage"
	"bayward/sensors/sim"
)

type runCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE" help:"Configuration."`
	Listen string `placeholder:"HOST:PORT" help:"Address of page and metrics, instead of the configuration's."`
}

// Help is the long text of --help.
func (runCmd) Help() string {
	return `Runs until SIGTERM or an interrupt. Relays are open before the first tick, after the last one, when the program panics, ` +
		`when a tick is late and when readings stop. Whatever is unknown blocks the charge.

With "sensors: simulated" in the configuration it runs anywhere, on simulated bays in real time.`
}

const tickEvery = time.Second

// Run looks after the bays.
func (c *runCmd) Run(ctx context.Context, p *program) error {
	cfg, err := config.Load(c.Config)
	if err != nil {
		return usage.Error(err)
	}
	if c.Listen != "" {
		cfg.HTTP.Listen = c.Listen
	}
	outliveReaders()
	outliveKeys()
	start := time.Now()
	out := logwriter.New(p.stderr)
	defer out.Close()
	log := slog.New(slog.NewTextHandler(out, nil))
	hw, bench, err := hardware.Open(cfg, log)
	if err != nil {
		return err
	}
	if bench == nil {
		safestop.NoteLines(cfg, log)
	}
	hw.Now, hw.Log = func() time.Duration { return time.Since(start) }, log
	boot := bootclock.New()
	manager := systemd.New(log, tickEvery)
	a, err := assemble(ctx, parts{
		cfg: cfg, log: log, hw: hw, every: tickEvery, manager: manager,
		wall:   func() (time.Time, bool) { return time.Now(), bootclock.WallTrusted() },
		bootID: boot.ID, mono: boot.Now,
		gap:      func(s logbook.Stamp) (time.Duration, bool) { return boot.Gap(s.BootID, s.Mono) },
		patience: patience(cfg),
	})
	if err != nil {
		return err
	}
	footprint.KeepHeapSmall() // not earlier: a collection would hold up the relays
	log.Info("looking after the bays", "version", version(), "config", c.Config, "bays", len(cfg.Bays), "page", "http://"+a.listener.Addr().String())
	return a.run(ctx, bench)
}

// patience lets a tick wait for converters and contacts, which answer in
// milliseconds, but not for 1-wire sensors, which take most of a second each:
// their answer is used in the tick after.
func patience(cfg *config.Config) func(loop.Source) time.Duration {
	simulated := cfg.Sensors == "simulated"
	return func(s loop.Source) time.Duration {
		if s.Name() == "1-wire" && !simulated {
			return 0
		}
		return tickEvery / 4
	}
}

// run ticks in real time until ctx ends. The relays are open when it returns.
func (a *agent) run(ctx context.Context, bench *sim.Bench) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	g, ctx := errgroup.WithContext(ctx)
	if err := a.serve(ctx, g); err != nil {
		cancel()
		return errors.Join(err, g.Wait(), a.close())
	}
	g.Go(func() error {
		defer cancel()
		return a.loop.Run(ctx)
	})
	g.Go(func() error { return footprint.ReleaseStart(ctx, a.log) })
	if a.manager != nil {
		g.Go(func() error { return a.manager.Run(ctx) })
	}
	if bench != nil {
		g.Go(func() error { return advance(ctx, bench) })
	}
	err := g.Wait()
	if err == nil {
		a.log.Info("stopping: all relays are open")
	}
	return errors.Join(err, a.close())
}

// advance lets the simulated physics follow real time: often enough for the ticks,
// and seldom, because each time wakes the program up.
func advance(ctx context.Context, bench *sim.Bench) error {
	const step = 500 * time.Millisecond
	t := time.NewTicker(step)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
			bench.Advance(step)
		}
	}
}
