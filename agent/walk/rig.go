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
	"bayward/agent/lease"
	"bayward/agent/words"
	"bayward/sensors"
	"bayward/sensors/sim"
)

// rig is the hardware under the walk, a Pi's or simulated.
type rig struct {
	cfg        *config.Config
	configPath string
	socket     string // of the keeper, on real hardware
	bay        string
	bays       map[string]*sensors.Set
	bench      *sim.Bench // nil on real hardware
	sims       map[string]*sim.Stand
	speed      float64
	now        func() time.Duration
	slow       map[string]*slowSource

	connect func() (*hardware.Keeper, error) // to the keeper, again each time
	keeper  *hardware.Keeper
	relay   *lease.Relay  // of the bay under the walk
	until   time.Duration // when a closed relay opens at the latest, by the keeper's clock
}

// newRig opens the bays of the machine, or simulated bays. All relays are open when
// it returns.
func newRig(ctx context.Context, o *Options, log *slog.Logger) (*rig, error) {
	r := &rig{cfg: o.Config, configPath: o.ConfigPath, bay: o.Bay.Name, socket: o.Keeper, speed: 1}
	start := time.Now()
	clock := func() time.Duration { return time.Since(start) }
	if o.Config.Sensors == "simulated" {
		bench, sims, err := hardware.Simulate(o.Config, nil)
		if err != nil {
			return nil, err
		}
		r.speed, r.bench, r.sims = o.Speed, bench, sims
		return r, r.open(ctx, hardware.OfBench(bench), clock)
	}
	hw, _, err := hardware.Open(o.Config, log)
	if err != nil {
		return nil, err
	}
	hw.Now = clock
	return r, r.open(ctx, hw, clock)
}

// open opens the sensors and connects to the keeper; one within this program works by
// the clock now.
func (r *rig) open(ctx context.Context, hw sensors.Hardware, now func() time.Duration) error {
	r.connect = func() (*hardware.Keeper, error) { return hardware.OpenKeeper(r.cfg, r.bench, now, r.socket) }
	if err := r.reclaim(ctx); err != nil {
		return err
	}
	opened, err := sensors.Open(r.cfg, hw)
	if err != nil {
		return errors.Join(err, r.halt())
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
	l.Rods, l.RodsRead = b.Rods()
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

// CloseFor closes the relay.
func (r *rig) CloseFor(most time.Duration) error {
	r.until = r.keeper.Now() + most
	return r.Renew(true)
}

var errTimeIsUp = words.Fail("walk.time-is-up")

// Renew asks for another lease.
func (r *rig) Renew(beat bool) error {
	at := r.keeper.Now()
	left := r.until - at
	if left <= 0 {
		return errTimeIsUp
	}
	return r.relay.Lease(at, left, beat)
}

// Open opens the relay. One that has opened by itself is open.
func (r *rig) Open() error {
	r.until = 0
	if err := r.relay.Lease(r.keeper.Now(), 0, false); !errors.Is(err, lease.ErrTripped) {
		return err
	}
	return nil
}

// reclaim connects to the keeper, for which an earlier connection may have to end
// first, and opens the relay.
func (r *rig) reclaim(ctx context.Context) error {
	keeper, relay, err := joinKeeper(ctx, r.cfg, r.bay, r.connect)
	if err != nil {
		return words.Fail("walk.needs-keeper", err)
	}
	r.keeper, r.relay = keeper, relay
	return nil
}

// halt opens all relays for good.
func (r *rig) halt() error { return r.keeper.Close() }

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
