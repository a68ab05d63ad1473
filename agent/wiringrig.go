package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"sync"
	"time"

	"bayward/agent/bay"
	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/sensors"
	"bayward/sensors/sim"
)

// wiringRig is a Pi's hardware, or a simulated one, under the commissioning
// walk.
type wiringRig struct {
	cfg        *config.Config
	configPath string
	bay        string
	bays       map[string]*sensors.Bay
	bench      *sim.Bench // nil on real hardware
	sims       map[string]*sim.Bay
	speed      float64
	now        func() time.Duration
	slow       map[string]*slowSource

	mu    sync.Mutex // guards limit
	limit *time.Timer
}

// newWiringRig opens the bays of the machine, or simulated ones. All relays are
// open when it returns.
func newWiringRig(cfg *config.Config, path string, b *config.Bay, speed float64, log *slog.Logger) (*wiringRig, error) {
	if cfg.Sensors == "simulated" {
		bench, bays, err := hardware.Simulate(cfg, nil)
		if err != nil {
			return nil, err
		}
		r := &wiringRig{cfg: cfg, configPath: path, bay: b.Name, speed: speed, bench: bench, sims: bays}
		return r, r.open(hardware.OfBench(bench))
	}
	hw, _, err := hardware.Open(cfg, log)
	if err != nil {
		return nil, err
	}
	start := time.Now()
	hw.Now = func() time.Duration { return time.Since(start) }
	r := &wiringRig{cfg: cfg, configPath: path, bay: b.Name, speed: 1}
	return r, r.open(hw)
}

func (r *wiringRig) open(hw sensors.Hardware) error {
	opened, err := sensors.Open(r.cfg, hw)
	if err != nil {
		return err
	}
	r.now, r.bays, r.slow = hw.Now, map[string]*sensors.Bay{}, map[string]*slowSource{}
	for _, b := range opened {
		r.bays[b.Name()], r.slow[b.Name()] = b, &slowSource{}
	}
	return nil
}

// slowSource reads 1-wire sensors beside the looks: each takes most of a second.
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

func (r *wiringRig) lookAt(ctx context.Context, name string) *commission.Look {
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
func (r *wiringRig) Look(ctx context.Context) *commission.Look {
	return r.lookAt(ctx, r.bay)
}

// Others samples the other bays.
func (r *wiringRig) Others(ctx context.Context) map[string]*commission.Look {
	out := map[string]*commission.Look{}
	for name := range r.bays {
		if name != r.bay {
			out[name] = r.lookAt(ctx, name)
		}
	}
	return out
}

func (r *wiringRig) relay() *sensors.Relay { return r.bays[r.bay].Relay() }

// CloseFor closes the relay; a timer of its own opens it when the time is up,
// whatever the walk does then.
func (r *wiringRig) CloseFor(most time.Duration) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.limit != nil {
		r.limit.Stop()
	}
	relay := r.relay()
	r.limit = time.AfterFunc(most, func() { _ = relay.Set(false) })
	return relay.Set(true)
}

// Beat toggles the heartbeat.
func (r *wiringRig) Beat() error { return r.relay().Beat() }

// Open opens the relay.
func (r *wiringRig) Open() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.limit != nil {
		r.limit.Stop()
	}
	return r.relay().Set(false)
}

// halt opens all relays for good.
func (r *wiringRig) halt() error {
	var errs []error
	for _, b := range r.bays {
		errs = append(errs, b.Relay().Halt())
	}
	return errors.Join(errs...)
}

// Wait lets time pass: real time, or that of the simulated bays.
func (r *wiringRig) Wait(ctx context.Context, d time.Duration) error {
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

// Now is the clock that readings are stamped with.
func (r *wiringRig) Now() time.Duration { return r.now() }

// hand is the simulator's, nil on real hardware.
func (r *wiringRig) hand() commission.Hand {
	if r.bench == nil {
		return nil
	}
	return &simulatedHand{r.sims[r.bay]}
}

// simulatedHand does at a simulated bay what the walk asks a person for.
type simulatedHand struct{ bay *sim.Bay }

const (
	handK   = 6    // a hand of 30-odd °C around a sensor at room temperature
	loadA   = 20.0 // a machine's pump and lights
	testGas = 1.0  // % by volume
)

// Do does it.
func (h *simulatedHand) Do(a commission.Action) string {
	does := map[commission.Action]struct {
		do   func()
		says string
	}{
		commission.UnplugPack:     {h.bay.Unplug, "the plug is out."},
		commission.PlugPack:       {h.bay.Connect, "the plug is in."},
		commission.LiftProbe:      {func() { h.bay.LiftProbe(true) }, "the probe is out of the electrolyte."},
		commission.LowerProbe:     {func() { h.bay.LiftProbe(false) }, "the probe is back in its cell."},
		commission.OpenLoop:       {func() { h.bay.SetFault(sim.ProbeOpen, true) }, "the probe's plug is out."},
		commission.CloseLoop:      {func() { h.bay.SetFault(sim.ProbeOpen, false) }, "the probe's plug is in."},
		commission.ShortLoop:      {func() { h.bay.SetFault(sim.ProbeShort, true) }, "the clip is on."},
		commission.UnshortLoop:    {func() { h.bay.SetFault(sim.ProbeShort, false) }, "the clip is off."},
		commission.WarmPack:       {func() { h.bay.TouchPackSensor(handK) }, "a hand is around the pack's sensor."},
		commission.LeavePack:      {func() { h.bay.TouchPackSensor(0) }, "the hand has let go."},
		commission.WarmAir:        {func() { h.bay.TouchAirSensor(handK) }, "a hand is around the air's sensor."},
		commission.LeaveAir:       {func() { h.bay.TouchAirSensor(0) }, "the hand has let go."},
		commission.LoadOn:         {func() { h.bay.SetLoad(loadA) }, "the load is on."},
		commission.LoadOff:        {func() { h.bay.SetLoad(0) }, "the load is off."},
		commission.FanOff:         {func() { h.bay.SetAirflow(false) }, "the fan is off."},
		commission.FanOn:          {func() { h.bay.SetAirflow(true) }, "the fan runs."},
		commission.BridgeComplete: {func() { h.bay.BridgeComplete(true) }, "the bridge is on."},
		commission.OpenComplete:   {func() { h.bay.BridgeComplete(false) }, "the bridge is off."},
		commission.GasOn:          {func() { h.bay.GiveGas(testGas) }, "the gas is at the sensor."},
		commission.GasOff:         {func() { h.bay.GiveGas(0) }, "the gas is gone."},
		commission.ChargerOff:     {func() { h.bay.SetMains(false) }, "the charger has no supply."},
	}
	it, ok := does[a]
	if !ok {
		return fmt.Sprintf("cannot do this (%d).", a)
	}
	it.do()
	return it.says
}

// Meter is what a hand instrument shows.
func (h *simulatedHand) Meter(part string) float64 {
	t := h.bay.Truth()
	switch part {
	case "voltage":
		if !t.Connected {
			return 0
		}
		return t.PackV
	case "current":
		return t.CurrentA
	case "temperature":
		return t.PackC
	case "level":
		return t.Cells[h.bay.PilotCell()-1].LevelMM
	case "hydrogen":
		return testGas
	}
	return math.NaN()
}
