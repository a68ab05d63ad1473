package main

import (
	"context"
	"testing"
	"time"

	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/agent/loop"
	"bayward/sensors/sim"
)

// benchYard is the demo without its broker.
func benchYard(b *testing.B) (*config.Config, *sim.Bench, *loop.Loop) {
	b.Helper()
	cfg, err := config.Parse("demo.yaml", demoConfig)
	if err != nil {
		b.Fatal(err)
	}
	cfg.HTTP.Listen, cfg.Logbook.Path = "127.0.0.1:0", b.TempDir()+"/logbook.db"
	bench, _, err := hardware.Simulate(cfg, demoStarts())
	if err != nil {
		b.Fatal(err)
	}
	a, err := assemble(context.Background(), parts{
		cfg: cfg, log: quiet(), hw: hardware.OfBench(bench), mono: bench.Now,
		wall:  func() (time.Time, bool) { return time.Now(), false },
		every: time.Second, guardAfter: bound, patience: func(loop.Source) time.Duration { return bound },
	})
	if err != nil {
		b.Fatal(err)
	}
	a.loop.Start(context.Background())
	b.Cleanup(func() {
		if err := a.close(); err != nil {
			b.Error(err)
		}
	})
	return cfg, bench, a.loop
}

// BenchmarkIteration is a tick of the demo's four bays with everything behind
// it: drivers on the simulated buses, core, relays, record, metrics, page.
func BenchmarkIteration(b *testing.B) {
	cfg, bench, l := benchYard(b)
	b.ReportAllocs()
	for b.Loop() {
		bench.Advance(time.Second)
		if err := l.Tick(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(cfg.Bays)), "bays")
}
