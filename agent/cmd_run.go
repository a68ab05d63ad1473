package main

import (
	"context"
	"log/slog"
	"time"

	"bayward/agent/assembly"
	"bayward/agent/bootclock"
	"bayward/agent/config"
	"bayward/agent/footprint"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/agent/logwriter"
	"bayward/agent/loop"
	"bayward/agent/ownfile"
	"bayward/agent/systemd"
	"bayward/agent/usage"
)

type runCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE" help:"Configuration."`
	Listen string `placeholder:"HOST:PORT" help:"Address of page and metrics, instead of the configuration's."`
	Keeper string `type:"path" placeholder:"PATH" help:"Socket of bayward-keeper, which drives the relays, instead of /run/bayward-keeper/socket."`
}

// Help is the long text of --help.
func (runCmd) Help() string {
	return `Runs until SIGTERM or an interrupt. Relays are open before the first tick, after the last one, when the program panics, ` +
		`when a tick is late and when readings stop. Whatever is unknown blocks the charge.

The relays are driven by another program, bayward-keeper, which closes one only as long as this one keeps asking for it. While it does not answer, ` +
		`every bay is blocked, and everything else goes on.

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
	hw.Now, hw.Log = func() time.Duration { return time.Since(start) }, log
	keeper, err := hardware.OpenKeeper(cfg, bench, hw.Now, c.Keeper)
	if err != nil {
		return err
	}
	defer func() { _ = keeper.Close() }() // the agent has opened the relays, and reported a failure to do so
	boot := bootclock.New()
	a, err := assembly.New(ctx, assembly.Parts{
		Config: cfg, Log: log, Hardware: hw, Keeper: keeper, Every: tickEvery, Manager: systemd.New(log, tickEvery), Version: version(),
		Wall:   func() (time.Time, bool) { return time.Now(), bootclock.WallTrusted() },
		BootID: boot.ID, Mono: boot.Now,
		Gap:      func(s logbook.Stamp) (time.Duration, bool) { return boot.Gap(s.BootID, s.Mono) },
		Patience: patience(cfg),
	})
	if err != nil {
		return err
	}
	log.Info("looking after the bays", "version", version(), "config", c.Config, "bays", len(cfg.Bays), "page", "http://"+a.Address())
	beside := []func(context.Context) error{
		func(ctx context.Context) error { return footprint.ReleaseStart(ctx, log) },
		func(ctx context.Context) error { return ownfile.Watch(ctx, log) },
	}
	if bench != nil {
		beside = append(beside, func(ctx context.Context) error { return hardware.Follow(ctx, bench) })
	}
	return a.Run(ctx, beside...)
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
