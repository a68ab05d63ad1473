package main

import (
	"context"
	"log/slog"
	"slices"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/bootclock"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/agent/loop"
	"bayward/agent/words"
	"bayward/sensors/sim"
)

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

// yard is an agent on simulated bays whose ticks a test runs as fast as it can.
type yard struct {
	*agent
	t     *testing.T
	bench *sim.Bench
	bays  map[string]*sim.Bay
}

func newYard(t *testing.T, cfg *config.Config, starts map[string]sim.Opts, change func(*parts)) *yard {
	t.Helper()
	y := &yard{t: t}
	var err error
	if y.bench, y.bays, err = hardware.Simulate(cfg, starts); err != nil {
		t.Fatal(err)
	}
	boot := bootclock.New()
	p := parts{
		cfg: cfg, log: quiet(), hw: hardware.OfBench(y.bench),
		wall:   func() (time.Time, bool) { return time.Now(), false },
		bootID: boot.ID, mono: boot.Now, gap: func(logbook.Stamp) (time.Duration, bool) { return 0, false },
		every: time.Second, guardAfter: bound, patience: func(loop.Source) time.Duration { return bound },
	}
	if change != nil {
		change(&p)
	}
	if y.agent, err = assemble(context.Background(), p); err != nil {
		t.Fatal(err)
	}
	y.loop.Start(context.Background())
	return y
}

func (y *yard) tick() *bay.Picture {
	y.t.Helper()
	y.bench.Advance(time.Second)
	if err := y.loop.Tick(context.Background()); err != nil {
		y.t.Fatal(err)
	}
	return y.loop.Pictures()[0]
}

// until runs ticks until the first bay is as wanted, for at most a simulated
// time.
func (y *yard) until(what string, within time.Duration, is func(*bay.Picture) bool) {
	y.t.Helper()
	for range int(within / time.Second) {
		if is(y.tick()) {
			return
		}
	}
	y.t.Fatalf("%s did not come within %s: %s", what, within, words.EnglishSI().Says(y.loop.Pictures()[0]))
}

// order gives an order and runs the tick that takes it.
func (y *yard) order(o bay.Order) {
	y.t.Helper()
	y.orderAt("bay-1", o)
}

func (y *yard) orderAt(bayName string, o bay.Order) {
	y.t.Helper()
	o.By = "Ann"
	answer := make(chan bay.Event, 1)
	go func() {
		e, err := y.submit(context.Background(), bayName, o)
		if err != nil {
			y.t.Error(err)
		}
		answer <- e
	}()
	for {
		select {
		case e := <-answer:
			if e.Kind != bay.OrderTaken {
				y.t.Fatalf("%s: %s", o.Kind, e.Text)
			}
			return
		default:
			y.tick()
		}
	}
}

// resting leaves a logbook as of an agent that has just been killed: the pack
// is proven full and has rested for half of its hour, its contactor was found
// stuck, the bay is held, and Ann's visit is open.
func resting(t *testing.T, path, bootID string) {
	t.Helper()
	starts := map[string]sim.Opts{"bay-1": {StateOfCharge: 0.97, LevelMM: 8, PackC: 26, Charger: sim.TwoStage, Connected: true}}
	y := newYard(t, configtest.Parse(t, configtest.OneBay(t, "LOGBOOK", path)), starts, func(p *parts) { p.bootID = bootID })
	y.until("full", 24*time.Hour, func(p *bay.Picture) bool { return p.Charge.Full })
	y.bays["bay-1"].SetFault(sim.ContactorWelded, true)
	y.order(bay.Order{ID: "hold-1", Kind: bay.OrderHold})
	y.until("a stuck contactor", time.Minute, func(p *bay.Picture) bool { return slices.Contains(p.Codes(), "contactor-stuck") })
	y.bays["bay-1"].SetFault(sim.ContactorWelded, false)
	y.until("rest", 4*time.Hour, func(p *bay.Picture) bool {
		return p.Charge.Ended && !p.Charge.Active && p.Now-p.Charge.EndedAt >= 30*time.Minute
	})
	y.order(bay.Order{ID: "visit-1", Kind: bay.OrderVisitOpen})
	if err := y.close(); err != nil {
		t.Fatal(err)
	}
}
