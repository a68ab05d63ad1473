package demo

import (
	"context"
	"testing"
	"time"

	"bayward/agent/assembly"
	"bayward/agent/assembly/assemblytest"
	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/agent/loop"
	"bayward/sensors/sim"
)

// benchSite is the demo without its broker.
func benchSite(b *testing.B) (*config.Config, *sim.Bench, *loop.Loop) {
	b.Helper()
	cfg, err := config.Parse("demo.yaml", siteConfig)
	if err != nil {
		b.Fatal(err)
	}
	cfg.HTTP.Listen, cfg.Logbook.Path = "127.0.0.1:0", b.TempDir()+"/logbook.db"
	bench, _, err := hardware.Simulate(cfg, starts())
	if err != nil {
		b.Fatal(err)
	}
	keeper, err := hardware.KeepHere(cfg, bench, assemblytest.Unhurried)
	if err != nil {
		b.Fatal(err)
	}
	a, err := assembly.New(context.Background(), assembly.Parts{
		Config: cfg, Log: assemblytest.Quiet(), Hardware: hardware.OfBench(bench), Keeper: keeper, Mono: bench.Now,
		Wall:  func() (time.Time, bool) { return time.Now(), false },
		Every: time.Second, GuardAfter: assemblytest.Bound, Patience: func(loop.Source) time.Duration { return assemblytest.Bound },
	})
	if err != nil {
		b.Fatal(err)
	}
	a.Loop.Start(context.Background())
	b.Cleanup(func() {
		if err := a.Close(); err != nil {
			b.Error(err)
		}
	})
	return cfg, bench, a.Loop
}

// BenchmarkIteration runs one tick of the demo's four bays with everything around
// it: drivers on the simulated buses, core, relays, record, metrics, page.
func BenchmarkIteration(b *testing.B) {
	cfg, bench, l := benchSite(b)
	b.ReportAllocs()
	for b.Loop() {
		bench.Advance(time.Second)
		if err := l.Tick(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(cfg.Bays)), "bays")
}
