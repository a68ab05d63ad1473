// Package hardware opens the hardware of a configuration, real or simulated.
package hardware

import (
	"context"
	"log/slog"
	"time"

	"bayward/agent/config"
	"bayward/sensors"
	"bayward/sensors/modbus"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// Open returns the hardware of the machine, or simulated hardware and its bench if
// the configuration asks for it. Otherwise the bench is nil. It drives no line: see
// [OpenKeeper].
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

// OfBench returns the hardware of a bench. Its clock is the bench's.
func OfBench(b *sim.Bench) sensors.Hardware {
	return sensors.Hardware{Bus: b.Bus, SPI: b.SPI, Pin: b.Input, OneWire: b.OneWire(), Wait: b.Wait, Now: b.Now,
		Modbus: func(l *wiring.Line) (modbus.Master, error) { return b.Modbus(l) },
	}
}

// Follow advances the simulated physics in real time until ctx ends. It steps often
// enough for the ticks but no more often, because each step wakes the program.
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
