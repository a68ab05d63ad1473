package walk

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"bayward/agent/bay"
	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/sensors"
	"bayward/sensors/sim"
)

// rig is the hardware under the walk, a Pi's or simulated.
type rig struct {
	cfg        *config.Config
	configPath string
	bay        string
	bays       map[string]*sensors.Set
	bench      *sim.Bench // nil on real hardware
	sims       map[string]*sim.Stand
	speed      float64
	now        func() time.Duration
	slow       map[string]*slowSource
	limit      limit
}

// newRig opens the bays of the machine, or simulated bays. All relays are open when
// it returns.
func newRig(o *Options, log *slog.Logger) (*rig, error) {
	cfg := o.Config
	if cfg.Sensors == "simulated" {
		bench, bays, err := hardware.Simulate(cfg, nil)
		if err != nil {
			return nil, err
		}
		r := &rig{cfg: cfg, configPath: o.ConfigPath, bay: o.Bay.Name, speed: o.Speed, bench: bench, sims: bays}
		return r, r.open(hardware.OfBench(bench))
	}
	hw, _, err := hardware.Open(cfg, log)
	if err != nil {
		return nil, err
	}
	start := time.Now()
	hw.Now = func() time.Duration { return time.Since(start) }
	r := &rig{cfg: cfg, configPath: o.ConfigPath, bay: o.Bay.Name, speed: 1}
	return r, r.open(hw)
}

func (r *rig) open(hw sensors.Hardware) error {
	opened, err := sensors.Open(r.cfg, hw)
	if err != nil {
		return err
	}
	r.now, r.bays, r.slow = hw.Now, map[string]*sensors.Set{}, map[string]*slowSource{}
	for _, b := range opened {
		r.bays[b.Name()], r.slow[b.Name()] = b, &slowSource{}
	}
	return nil
}

// slowSource reads the 1-wire sensors in the background: each takes most of a
// second.
type slowSource struct {
	mu   sync.Mutex // guards what follows
	last bay.Readings
	busy bool
}

func (s *slowSource) sample(ctx context.Context, src sensors.Source, inline bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if inline {
		src.Sample(ctx, &s.last)
		return
	}
	if s.busy {
		return
	}
	s.busy = true
	go func() {
		var out bay.Readings
		src.Sample(ctx, &out)
		s.mu.Lock()
		defer s.mu.Unlock()
		s.last, s.busy = out, false
	}()
}

func (s *slowSource) into(out *bay.Readings) {
	s.mu.Lock()
	defer s.mu.Unlock()
	out.PackC, out.AmbientC = s.last.PackC, s.last.AmbientC
}

const oneWireName = "1-wire"

func (r *rig) lookAt(ctx context.Context, name string) *commission.Look {
	l := &commission.Look{}
	b, slow := r.bays[name], r.slow[name]
	for _, s := range b.Sources() {
		if s.Name() == oneWireName {
			slow.sample(ctx, s, r.bench != nil)
		} else {
			s.Sample(ctx, &l.Readings)
		}
	}
	slow.into(&l.Readings)
	l.Now = r.now()
	stale := r.cfg.Limits.Core().StaleAfter
	l.PackC, l.AmbientC = l.PackC.Aged(l.Now, stale), l.AmbientC.Aged(l.Now, stale)
	l.Volts = b.Volts()
	return l
}

// Look samples the bay under the walk.
func (r *rig) Look(ctx context.Context) *commission.Look {
	return r.lookAt(ctx, r.bay)
}

// Others samples the other bays.
func (r *rig) Others(ctx context.Context) map[string]*commission.Look {
	out := map[string]*commission.Look{}
	for name := range r.bays {
		if name != r.bay {
			out[name] = r.lookAt(ctx, name)
		}
	}
	return out
}

func (r *rig) relay() *sensors.Relay { return r.bays[r.bay].Relay() }

// CloseFor closes the relay. A separate timer opens it when the time is up, whatever
// the walk does then.
func (r *rig) CloseFor(most time.Duration) error {
	relay := r.relay()
	return r.limit.closeFor(most, func() error { return relay.Set(true) }, func() { _ = relay.Set(false) })
}

// Beat toggles the heartbeat.
func (r *rig) Beat() error { return r.relay().Beat() }

// Open opens the relay.
func (r *rig) Open() error {
	r.limit.stop()
	return r.relay().Set(false)
}

// halt opens all relays for good.
func (r *rig) halt() error {
	var errs []error
	for _, b := range r.bays {
		errs = append(errs, b.Relay().Halt())
	}
	return errors.Join(errs...)
}

// Wait waits for d of real time, or advances the simulated bays by d.
func (r *rig) Wait(ctx context.Context, d time.Duration) error {
	if pause := time.Duration(float64(d) / r.speed); pause > 0 {
		t := time.NewTimer(pause)
		defer t.Stop()
		select {
		case <-ctx.Done():
		case <-t.C:
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if r.bench != nil {
		r.bench.Advance(d)
	}
	return nil
}

// Now returns the clock that stamps readings.
func (r *rig) Now() time.Duration { return r.now() }
