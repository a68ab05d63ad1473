// Package hardware gives what a configuration is wired to, real or simulated.
package hardware

import (
	"context"
	"log/slog"
	"time"

	"bayward/agent/config"
	"bayward/sensors"
	"bayward/sensors/sim"
)

// Open gives the machine's own hardware, or a simulated bench with what is on it
// when the configuration asks for that; the bench is nil otherwise. Nothing is
// driven yet.
func Open(cfg *config.Config, log *slog.Logger) (sensors.Hardware, *sim.Bench, error) {
	if cfg.Sensors == "simulated" {
		bench, _, err := Simulate(cfg, nil)
		if err != nil {
			return sensors.Hardware{}, nil, err
		}
		return OfBench(bench), bench, nil
	}
	hw, warnings, err := sensors.Pi()
	for _, w := range warnings {
		log.Warn("a host driver did not load", "driver", w)
	}
	return hw, nil, err
}

// OfBench gives simulated hardware, whose clock is the bench's.
func OfBench(b *sim.Bench) sensors.Hardware {
	return sensors.Hardware{Bus: b.Bus, Pin: b.Pin, OneWire: b.OneWire(), Wait: b.Wait, Now: b.Now}
}

// Follow lets the simulated physics follow real time: often enough for the ticks,
// and seldom, because each time wakes the program up. It ends with ctx.
func Follow(ctx context.Context, bench *sim.Bench) error {
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
