package main

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"strconv"
	"sync"
	"syscall"
	"time"

	"bayward/deploy/emulated/control"
	"bayward/sensors/level"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// rodsPace: board and pack in slow motion. The bus goes over USB and TCP, so a test
// pulse, eight milliseconds on a Pi, takes 60 to 120 here. The board's own clock, by which
// the program judges its pulses, and the electrodes in the acid run so much slower that it
// is short again.
const rodsPace = 0.2

// rodsPatience is the limit of a step in slow motion.
const rodsPatience = 30 * time.Minute

// ladder is the wiring's level probe in this scenario: the ladder of the example, on a
// converter of its own.
var ladder = wiring.Level{
	Kind: level.Ladder, Input: wiring.Input{ADC: 0x4a, Channel: 0}, Expander: 0x20,
	Settings: level.Settings{
		ReferenceOhm: 10e3, EndOhm: 100e3,
		Rods: []level.Rod{{HeightMM: -5, SeriesOhm: 33e3}, {HeightMM: 4, SeriesOhm: 22e3}, {HeightMM: 13, SeriesOhm: 15e3}},
	},
}

// rodsConfig has that ladder in place of the transmitter.
var rodsConfig = []string{
	`        kind: 4-20ma
        adc: 0x48
        channel: 2
        range_v: 1.024
        shunt_ohm: 45
        low_mm: -20
        high_mm: 30
`, `        kind: ladder
        adc: 0x4a
        channel: 0
        expander: 0x20
        reference_ohm: 10000
        end_ohm: 100000
        rods:
          - height_mm: -5
            series_ohm: 33000
          - height_mm: 4
            series_ohm: 22000
          - height_mm: 13
            series_ohm: 15000
`,
}

// filmTicks is how long the film on a rod that has come out of the acid may conduct as
// acid does: it drains in a minute, and below 1 kΩ (level.MaxPathOhm) it is not told
// from crust on a wet rod.
const filmTicks = 30

// rods: the program reads simulated lead in simulated acid through the kernel, by pulses
// of both polarities.
func rods(s *scene) {
	s.patience, s.byPage = rodsPatience, true
	w := wired()
	w.Level = &ladder
	s.wiring = w
	defer func() { s.wiring = wired() }()
	s.hurries()
	s.begin(fresh(8), rodsConfig...)
	s.faultless()
	s.shows("the level is between the rods at 4 and 13 mm", func(p *picture) bool { return p.LevelMM != nil && *p.LevelMM >= 4 && *p.LevelMM <= 13 })
	s.granted()
	s.keeps(10)
	s.pulses()

	s.drops("the jar leaks", filmTicks+dropTicks, func(context.Context) error { return s.leak(16) })
	s.finds("plates-bare")
	s.stays(15)
	s.step("water covers the plates again", func(context.Context) error { return s.pour(16) })
	s.granted()
	for _, f := range []struct {
		kind  sim.FaultKind
		fault string
	}{{sim.ProbeOpen, "open"}, {sim.ProbeFormed, "two-metals"}, {sim.ExpanderAbsent, "no-answer"}} {
		s.drops(f.kind.String(), dropTicksBus, s.breaks(f.kind))
		s.named("level", f.fault)
		s.stays(5)
		s.repairs(f.kind)
		s.faultless()
		s.granted()
	}
	s.pulses()
	s.late()
	s.killedInAPulse()
}

// hurries gives all threads of the emulator and the bench real-time priority: on a busy
// host a message of the board's bus otherwise waits for a processor in each of the
// threads that it passes. A host that grants none may make every pulse late.
func (s *scene) hurries() {
	for _, pid := range []int{s.machine.PID(), os.Getpid()} {
		if out, err := exec.CommandContext(s.ctx, "chrt", "-a", "-r", "-p", "1", strconv.Itoa(pid)).CombinedOutput(); err != nil {
			s.log("no real-time priority, so the host's load may make pulses late: %v: %s", err, out)
		}
	}
}

// late: a bus that stretches every pulse beyond its bound leaves no level, and never a
// wrong one.
func (s *scene) late() {
	defer s.converts.SetDelay(0)
	s.drops("each message of the bus takes 5 ms of the board's time", dropTicksBus+lateTicks, func(context.Context) error {
		s.converts.SetDelay(time.Duration(float64(5*time.Millisecond) / s.pace))
		return nil
	})
	s.named("level", "timeout")
	s.stays(10)
	s.step("the bus is as before", func(context.Context) error { s.converts.SetDelay(0); return nil })
	s.granted()
	s.faultless()
}

// lateTicks is what three late pulses and their discharges take longer.
const lateTicks = 5

// killedInAPulse: the agent dies while a pin is driven. The capacitor ends the current, and
// the next agent reads the rods right.
func (s *scene) killedInAPulse() {
	s.drops("the agent is killed in a pulse", 3, func(ctx context.Context) error {
		if err := s.scope.await(ctx); err != nil {
			return err
		}
		_, err := s.guest.order(ctx, control.Order{Do: control.Signal, Unit: control.Agent, Signal: int(syscall.SIGKILL)})
		return err
	})
	s.granted()
	s.faultless()
}

// scope watches the pins of the expander from outside, in the board's time.
type scope struct {
	pace float64

	mu      sync.Mutex // guards the fields below
	high    byte
	since   time.Time // a pulse is on; zero for none
	count   int
	longest time.Duration
	began   chan struct{} // closed when a pulse begins
}

func newScope(pace float64) *scope { return &scope{pace: pace, began: make(chan struct{})} }

// The expander's address on the bus, and its registers (data sheet SCPS197).
const (
	scopeAddr   = 0x20
	scopeLevels = 1
	scopePins   = 3
)

// see follows a message on the bus. A pulse is on while both pins are driven and one of
// them is high.
func (o *scope) see(addr uint16, w []byte) {
	if addr != scopeAddr || len(w) != 2 {
		return
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if w[0] == scopeLevels {
		o.high = w[1]
	}
	ends := w[0] == scopePins && ^w[1]&3 != 3 || w[0] == scopeLevels
	if ends && !o.since.IsZero() {
		o.longest = max(o.longest, time.Duration(float64(time.Since(o.since))*o.pace))
		o.since = time.Time{}
	}
	if w[0] == scopePins && ^w[1]&3 == 3 && (o.high&3 == 1 || o.high&3 == 2) {
		o.since = time.Now()
		o.count++
		close(o.began)
		o.began = make(chan struct{})
	}
}

// await returns when a pulse begins.
func (o *scope) await(ctx context.Context) error {
	o.mu.Lock()
	began := o.began
	o.mu.Unlock()
	select {
	case <-began:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// pulses reports the pulses so far, and begins to count again.
func (s *scene) pulses() {
	s.step("the rods were read by pulses", func(context.Context) error {
		s.scope.mu.Lock()
		defer s.scope.mu.Unlock()
		n, longest := s.scope.count, s.scope.longest
		s.scope.count, s.scope.longest = 0, 0
		if n == 0 {
			return errors.New("there was none")
		}
		s.log("figure: %s %d pulses, the longest %v of the board's time", s.name, n, longest.Round(time.Millisecond))
		return nil
	})
}
