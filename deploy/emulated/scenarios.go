package main

import (
	"context"
	"errors"
	"syscall"
	"time"

	"bayward/deploy/emulated/control"
	"bayward/sensors/sim"
)

// scenario is one row of the table.
type scenario struct {
	name  string
	short string // the architectures that run it in the short set
	says  string
	run   func(*scene)
	haste int // how much faster than life the board and the pack are; 0 stands for 1
	on    int // the boards that it is for
}

// The boards: with the init that plays the manager, with systemd, or both.
const (
	initOnly = iota
	systemdOnly
	everywhere
)

// installScenario comes before all others on the board with systemd.
const installScenario = "install"

func (sc *scenario) runsOn(arch string) bool {
	return sc.on == everywhere || (sc.on == systemdOnly) == (arch == managed)
}

// scenarios in the order in which they run.
var scenarios = []scenario{
	{installScenario, "", "dpkg installs the package: nothing is driven, and nothing starts before its example is made one's own", installed, 0, systemdOnly},
	{"boot", "arm64,armv6", "before the agent runs nothing drives the relay; it drives it low first; all readings are good", boot, 0, initOnly},
	{"bare", "arm64", "bare plates: no relay; covered: relay", bareThenCovered, 0, everywhere},
	{"level-lost", "armv6", "level lost in mid charge: the relay opens within the bound", levelLost, 0, everywhere},
	{"slow-wire", "", "a 1-wire reading that takes for ever does not delay the relay", slowWire, 0, initOnly},
	{"i2c-dead", "arm64", "I²C bus dead: the relay opens, and closes only after recovery and the clear time", busDead, 0, initOnly},
	{"converter", "", "each fault of a converter is named, blocks, and goes", converterFaults, 0, initOnly},
	{"adapter", "", "the I²C adapter is pulled and plugged in again: the relay opens, and the agent finds the new one by itself", adapterPulled, 0, initOnly},
	{"thermometer", "", "each fault of a 1-wire sensor is named, blocks, and goes", thermometerFaults, 0, initOnly},
	{"contacts", "", "fan, contactor and its feedback as the lines tell them", contactFaults, 0, initOnly},
	{"kill", "armv6", "kill -9: the heartbeat stops, the stop action drives the line low", killed, 0, initOnly},
	{"killed", "", "kill -9 under systemd: the stop action drives the line low, and it starts again", killedSupervised, 0, systemdOnly},
	{"frozen", "", "SIGSTOP: the manager's watchdog kills the agent, the line is low, it starts again", frozen, 0, everywhere},
	{"watchdog", "", "all of the machine hangs: the kernel's watchdog fires, and it comes back with the relay open", hung, 0, initOnly},
	{"power-cut", "", "power cut with no pack, checking, on charge, waiting on hold and with an open visit: the memory is there, no grant that was not", powerCuts, 0, everywhere},
	{"upgrade", "", "a newer package is installed during a charge: the relay opens, configuration and record stay, and it goes on", upgraded, 0, systemdOnly},
	{"network", "", "network down past the keep-alive, over a day of the wall clock and its events: each comes once it is back, in order", networkDown, 0, initOnly},
	{"clock", "", "wall clock at 1970, then set: the record tells, the relay does not care", clockSet, 0, initOnly},
	{"wrong-rule", "arm64", "the bench sees a wrong relay rule", wrongRule, 0, initOnly},
	{"power-cut-late", "", "power cut while cooling, ready to water, in that visit and rested: never called full, ready or rested without proof", latePowerCuts, lateHaste, initOnly},
}

// Bounds, in ticks of a second. The findings plates-bare and level-unknown rise
// after two seconds: three ticks, and three for a conversion that was under way,
// a reading used in the tick after, and an emulator that stutters. A dead bus is
// known only when the kernel has given a transfer up, after a second or two.
const (
	dropTicks    = 6
	dropTicksBus = 8
)

func boot(s *scene) {
	s.stop()
	s.pins("after the stop action the relay's line is low", s.chipKeeps(), false)
	before := s.look()
	s.begin(fresh(10), "hydrogen:", "hydrogen:")
	s.pins("the relay's line is driven low", true, false)
	s.step("the relay's line had no edge until the agent was ready", func(context.Context) error {
		if now := s.look(); now.rises != before.rises {
			return errors.New("it rose")
		}
		return nil
	})
	s.shows("all readings, none with a fault", func(p *picture) bool {
		return len(p.Faults) == 0 && p.LevelMM != nil && p.PackV != nil && p.CurrentA != nil &&
			p.PackC != nil && p.AmbientC != nil && p.HydrogenPct != nil
	})
	s.granted()
}

// chipKeeps tells whether the board's chip keeps a line an output when its
// program has gone. It does unless nothing has driven it since power came.
func (s *scene) chipKeeps() bool {
	driven, _, err := s.machine.Outputs()
	return err == nil && driven&(1<<relayLine) != 0
}

// resume is what the scenarios that interrupt an agent end with: a new start
// proves its readings before it grants.
func (s *scene) resume(changes ...string) {
	s.start(changes...)
	s.stays(4) // settle_seconds is 5
	s.granted()
}

func bareThenCovered(s *scene) {
	s.begin(fresh(-4))
	s.stays(12)
	s.finds("plates-bare")
	s.step("water covers the plates", func(context.Context) error { return s.pour(14) })
	s.granted()
	s.shows("granted", func(p *picture) bool { return p.Permit == "granted" && !p.has("plates-bare") })
	s.step("the contactor has closed and current flows", func(ctx context.Context) error {
		return s.until(ctx, func(t sim.Truth) bool { return t.ContactorClosed && t.CurrentA > 1 })
	})
}

// pour raises the level of every cell by some millimetres of liquid above the
// plates.
func (s *scene) pour(mm float64) error {
	return s.with(func(y *sim.Bay) error {
		for cell := 1; cell <= 12; cell++ {
			if err := y.AddWater(cell, mm*13); err != nil { // 130 cm²
				return err
			}
		}
		return nil
	})
}

// leak lowers the level of every cell.
func (s *scene) leak(mm float64) error {
	return s.with(func(y *sim.Bay) error {
		for cell := 1; cell <= 12; cell++ {
			if err := y.Leak(cell, mm*13); err != nil {
				return err
			}
		}
		return nil
	})
}

// until waits for a truth of the physics.
func (s *scene) until(ctx context.Context, fulfilled func(sim.Truth) bool) error {
	for {
		var t sim.Truth
		_ = s.with(func(y *sim.Bay) error { t = y.Truth(); return nil }) // gives none
		if fulfilled(t) {
			return nil
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(50 * time.Millisecond):
		}
	}
}

func levelLost(s *scene) {
	s.begin(fresh(10))
	s.granted()
	s.keeps(5)
	s.drops("the jar leaks", dropTicks, func(context.Context) error { return s.leak(16) })
	s.finds("plates-bare")
	if s.short {
		return
	}
	s.stays(15)
	s.step("water covers the plates again", func(context.Context) error { return s.pour(16) })
	s.granted()
	s.drops("the probe's wire breaks", dropTicks, s.breaks(sim.ProbeOpen))
	s.finds("level-unknown")
}

func busDead(s *scene) {
	s.begin(fresh(10))
	s.granted()
	s.drops("the data line is held low", dropTicksBus, s.breaks(sim.BusStuck))
	s.finds("level-unknown")
	s.stays(6)
	s.mends(sim.BusStuck)
	// Ten seconds must pass without a finding before it clears.
	s.stays(9)
	s.granted()
}

func killed(s *scene) {
	s.begin(fresh(10))
	s.granted()
	s.gives("supervision is off", control.Order{Do: control.Supervise})
	mark := s.guest.mark()
	s.gives("kill -9", control.Order{Do: control.Signal, Signal: int(syscall.SIGKILL)})
	s.tells(control.AgentEnded, mark)
	s.step("the contactor drops out, as no heartbeat comes", func(ctx context.Context) error {
		return s.until(ctx, func(t sim.Truth) bool { return !t.ContactorClosed })
	})
	s.pins("the kernel leaves the line driven high", true, true)
	s.gives("the stop action", control.Order{Do: control.Run, Args: []string{"outputs-safe", "--config", control.ConfigPath}})
	s.pins("the line is low", true, false)
	if s.short {
		return
	}
	killedSupervised(s)
}

func killedSupervised(s *scene) {
	s.begin(fresh(10))
	s.granted()
	mark := s.guest.mark()
	s.gives("kill -9 under supervision", control.Order{Do: control.Signal, Signal: int(syscall.SIGKILL)})
	e := s.tells(control.StopActionRan, mark)
	if !s.failed() && (e.Exit != 0 || e.Error != "") {
		s.fail("the stop action ended with %d %s: %s", e.Exit, e.Error, e.Text)
	}
	s.pins("the line is low", true, false)
	s.tells(control.AgentReady, mark)
	s.granted()
}

// wrongRule shows that this bench can fail: the configuration takes the level
// for so much higher than it is that the agent grants on bare plates. The check
// that holds in the scenario "bare" must not hold here.
func wrongRule(s *scene) {
	s.begin(fresh(-4), "offset_mm: 0", "offset_mm: 20")
	if s.failed() {
		return
	}
	quiet := &scene{rig: s.rig, site: s.site, ctx: s.ctx, name: s.name, log: func(string, ...any) {}}
	quiet.stays(60)
	if !quiet.failed() {
		s.fail("a charge on bare plates was not seen; the bay: %s", s.situation())
		return
	}
	s.log("ok    seen: %v", quiet.err)
}
