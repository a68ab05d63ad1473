package campaign

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"sync/atomic"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/hardware"
	"bayward/agent/interlock"
	"bayward/agent/loop"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/words"
	"bayward/sensors"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

const tick = time.Second

// rig is a simulated bay behind the drivers and the loop, ticked by hand. It runs
// in a synctest bubble, where waiting costs no time.
type rig struct {
	t     *testing.T
	bench *sim.Bench
	truth *sim.Stand
	loop  *loop.Loop
	hangs atomic.Pointer[chan struct{}] // while set, samples of the I²C bus hang on it
	plays atomic.Pointer[play]          // while set, what the drivers read is changed
	full  atomic.Bool                   // the disk: the logbook cannot be written
	ids   int
}

var pack = config.Pack{
	Name: "lift-24v", Cells: 12, CapacityAh: 225, RateHours: 20, FullGravity: 1.277, ChargeLevelMM: 3,
	FillMarkMM: 13, VentWellMM: 22, FreeSurfaceCM2: 130, ElectrolyteML: 1350, ChargeFactor: 1.15,
}

// play is what the simulated pack cannot do by itself, such as a runaway.
type play func(*bay.Readings)

// newRig wires a bay, set up as configured except for what change does. miswire
// changes only the configuration, not the bench: the wires are exchanged.
func newRig(t *testing.T, miswire func(*wiring.Parts), change func(*bay.Setup)) *rig {
	t.Helper()
	return newRigOf(t, config.DefaultWiring(0, pack), miswire, change)
}

// newRigOf is newRig with other wiring.
func newRigOf(t *testing.T, w wiring.Parts, miswire func(*wiring.Parts), change func(*bay.Setup)) *rig {
	t.Helper()
	r := &rig{t: t, bench: sim.NewBench()}
	var err error
	r.truth, err = r.bench.Add(sim.Opts{
		Name: "bay-1", Cells: pack.Cells, CapacityAh: pack.CapacityAh, VentWellMM: pack.VentWellMM,
		FreeSurfaceCM2: pack.FreeSurfaceCM2, ElectrolyteML: pack.ElectrolyteML, StateOfCharge: 0.5, LevelMM: 10,
		AmbientC: 20, PackC: 27, Connected: true, Seed: 1, FanRunUp: 2 * time.Second,
	}, w)
	if err != nil {
		t.Fatal(err)
	}
	if miswire != nil {
		miswire(&w)
	}
	cfg := &config.Config{Modbus: []wiring.Line{configtest.Meters}, Packs: []config.Pack{pack}, Bays: []config.Bay{{Name: "bay-1", Pack: pack.Name, Wiring: w}}}
	bays, err := sensors.Open(cfg, hardware.OfBench(r.bench))
	if err != nil {
		t.Fatal(err)
	}
	setups, err := cfg.Setups()
	if err != nil {
		t.Fatal(err)
	}
	if change != nil {
		change(&setups[0])
	}
	start := time.Now()
	keeper, err := hardware.KeepHere(cfg, r.bench, func() time.Duration { return time.Since(start) })
	if err != nil {
		t.Fatal(err)
	}
	b := loop.Place{Name: "bay-1", Core: bay.New(setups[0]), Relay: keeper.Relay(&cfg.Bays[0])}
	for _, s := range bays[0].Sources() {
		b.Sources = append(b.Sources, &source{s, r})
	}
	r.loop = loop.New(loop.Options{
		Bays: []loop.Place{b}, Log: slog.New(slog.DiscardHandler), Every: tick, Now: r.bench.Now, KeeperNow: keeper.Now, RecordFailing: r.full.Load,
	})
	r.loop.Start(t.Context())
	return r
}

// source can be made to hang, like a driver whose kernel call does not return.
type source struct {
	sensors.Source
	r *rig
}

func (s *source) Sample(ctx context.Context, out *bay.Readings) {
	if hangs := s.r.hangs.Load(); hangs != nil && s.Name() != "contacts" && s.Name() != "1-wire" {
		<-*hangs
	}
	s.Source.Sample(ctx, out)
	if p := s.r.plays.Load(); p != nil {
		(*p)(out)
	}
}

// runaway is a play that lets the current rise by 7 % and the pack warm by 0.7 K
// every ten minutes, at constant voltage.
func runaway(now func() time.Duration) play {
	from := now()
	set := func(r *reading.Reading, v float64) {
		if r.OK() {
			r.Value = v
		}
	}
	return func(out *bay.Readings) {
		n := float64(now()-from) / float64(10*time.Minute)
		set(&out.PackV, 2.4*float64(pack.Cells))
		set(&out.CurrentA, 20*math.Pow(1.07, n))
		set(&out.PackC, 28+0.7*n)
	}
}

// tick lets a second pass and runs one tick.
func (r *rig) tick() *bay.Picture {
	r.t.Helper()
	r.pass()
	if err := r.loop.Tick(r.t.Context()); err != nil {
		r.t.Fatal(err)
	}
	return r.loop.Pictures()[0]
}

// pass lets a second pass without a tick.
func (r *rig) pass() {
	time.Sleep(tick)
	r.bench.Advance(tick)
}

// until ticks until something is so, and returns how long that took.
func (r *rig) until(most time.Duration, so func(*bay.Picture) bool) (after time.Duration, ok bool) {
	r.t.Helper()
	for after = tick; after <= most; after += tick {
		if so(r.tick()) {
			return after, true
		}
	}
	return most, false
}

// charge starts a charge.
func (r *rig) charge() {
	r.t.Helper()
	_, ok := r.until(10*time.Minute, func(p *bay.Picture) bool {
		return p.Stage == bay.Charging && p.Permit.Granted && r.truth.Truth().ContactorClosed
	})
	if !ok {
		p := r.loop.Pictures()[0]
		r.t.Fatalf("no charge starts: %s, %v", words.EnglishSI().Says(p), p.Codes())
	}
	for range 60 {
		r.tick()
	}
}

// order submits an order; the next tick takes it.
func (r *rig) order(kind order.Kind, pack string) { r.give(order.Order{Kind: kind, Pack: pack}) }

// give gives an order of a person.
func (r *rig) give(o order.Order) {
	r.ids++
	o.ID, o.By = fmt.Sprint("o", r.ids), "a person"
	ctx, cancel := context.WithCancel(r.t.Context())
	cancel() // do not wait for the answer
	_, _ = r.loop.Submit(ctx, "bay-1", o)
}

// pour adds water to the pilot cell, or lets electrolyte out of it.
func (r *rig) pour(ml float64) {
	r.t.Helper()
	do := r.truth.AddWater
	if ml < 0 {
		do, ml = r.truth.Leak, -ml
	}
	if err := do(r.truth.PilotCell(), ml); err != nil {
		r.t.Fatal(err)
	}
}

// said is what a picture gives as its reason for a code.
func said(p *bay.Picture, c interlock.Code) string {
	if c == interlock.NoCode {
		return ""
	}
	return words.EnglishSI().Evidence(c, p.Findings[c].Evidence)
}
