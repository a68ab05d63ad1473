package main

import (
	"context"
	"log/slog"
	"strings"
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
	"bayward/agent/web"
)

type runCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE"`
	Listen string `placeholder:"HOST:PORT"`
	Keeper string `type:"path" placeholder:"PATH"`
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
	if err := assembly.Refusals(ctx, cfg, false); err != nil {
		return err
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
	log.Info("looking after the bays", "version", version(), "config", c.Config, "bays", len(cfg.Bays), "page", web.Scheme(cfg.HTTP.WebConfigFile)+"://"+a.Address())
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
		if slow := s.Name() == "1-wire" || strings.HasPrefix(s.Name(), "modbus "); slow && !simulated {
			return 0
		}
		return tickEvery / 4
	}
}
