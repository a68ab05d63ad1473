package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"bayward/sensors/sim"
)

// scenario is one row of the table.
type scenario struct {
	name  string
	short string // the architectures that run it in the short set
	about string
	run   func(*scene)
	pace  float64 // seconds of board and pack in a second of real time; 0 means 1
	on    int     // the boards that it runs on
}

// The boards: with the init in systemd's role, with systemd, or both.
const (
	initOnly = iota
	systemdOnly
	everywhere
)

// installScenario runs before all others on the board with systemd.
const installScenario = "install"

func (sc *scenario) runsOn(arch string) bool {
	return sc.on == everywhere || (sc.on == systemdOnly) == (arch == managed)
}

// scenarios in the order in which they run.
var scenarios = []scenario{
	{installScenario, "", "dpkg installs the package: nothing is driven, and nothing starts before its example is adapted", installed, 0, systemdOnly},
	{"boot", "arm64,armv6", "nothing drives the relay before the keeper runs; the keeper first drives it low; all readings are good", boot, 0, initOnly},
	{"bare", "arm64", "bare plates: no relay; covered: relay", bareThenCovered, 0, everywhere},
	{"level-lost", "", "level lost during a charge: the relay opens within the bound", levelLost, 0, everywhere},
	{"slow-wire", "", "a 1-wire reading that never ends does not delay the relay", slowWire, 0, initOnly},
	{"i2c-dead", "arm64", "I²C bus dead: the relay opens, and closes only after recovery and the clear time", busDead, 0, initOnly},
	{"frozen", "arm64", "SIGSTOP: the relay opens when the lease ends, before the manager's watchdog kills the agent", frozen, 0, everywhere},
	{"kill", "armv6", "kill -9: the keeper opens the relay before the agent starts again", killed, 0, everywhere},
	{"disk-frozen", "armv6", "the record's disk hangs on charge: ticks and decisions go on, and nothing is lost when it answers again", diskFrozen, 0, initOnly},
	{"keeper-kill", "arm64", "kill -9 of the keeper: the heartbeat is silent; the stop action opens the relay; the agent finds the next keeper", keeperKilled, 0, initOnly},
	{"converter", "", "each fault of a converter is reported, blocks the charge, and clears", converterFaults, 0, initOnly},
	{"adapter", "", "the I²C adapter is pulled and plugged in again: the relay opens, and the agent finds the new adapter by itself", adapterPulled, 0, initOnly},
	{"thermometer", "", "each fault of a 1-wire sensor is reported, blocks the charge, and clears", thermometerFaults, 0, initOnly},
	{"contacts", "", "fan, contactor and feedback, as read from the lines", contactFaults, 0, initOnly},
	{"keeper-killed", "", "kill -9 of the keeper under systemd: the stop action opens the relay, and the agent goes on", keeperRestarted, 0, systemdOnly},
	{"keeper-frozen", "", "SIGSTOP of the keeper: its unit opens the relay; without the unit the heartbeat's silence opens the contactor", keeperFrozen, 0, initOnly},
	{"disk-gone", "", "the record's disk is pulled on charge: ticks and decisions go on", diskGone, 0, initOnly},
	{"card", "armv6", "the card with record and programs is pulled on charge: the relay opens, the agent ends, the keeper stays", cardPulled, 0, initOnly},
	{"watchdog", "", "the whole machine hangs: the kernel's watchdog fires, and the machine restarts with the relay open", hung, 0, initOnly},
	{"power-cut", "", "power cut with no pack, while checking, on charge, on hold and with an open visit: the memory survives, and nothing is granted that was not", powerCuts, 0, everywhere},
	{"upgrade", "", "a newer package is installed during a charge: the relay opens, configuration and record are kept, and the charge continues", upgraded, 0, systemdOnly},
	{"network", "", "network down past the keep-alive, over a day of the wall clock and its events: all arrive in order once it is back", networkDown, 0, initOnly},
	{"clock", "", "wall clock at 1970, then set: the record shows it, the relay is not affected", clockSet, 0, initOnly},
	{"wrong-rule", "arm64", "the bench detects a wrong relay rule", wrongRule, 0, initOnly},
	{"rods", "", "a ladder of lead in acid, read by test pulses: levels, faults of the probe, a bus that is too slow, an agent killed in a pulse", rods, rodsPace, initOnly},
	{"power-cut-late", "", "power cut while cooling, ready to water, in that visit and rested: never reported full, ready or rested without proof", latePowerCuts, latePace, initOnly},
}

// Bounds, in ticks of one second. The findings plates-bare and level-unknown are
// raised after two seconds. That is three ticks, plus three for a conversion under
// way, a reading used one tick later, and an emulator that stutters. A dead bus is
// noticed only when the kernel gives up a transfer, after a second or two.
const (
	dropTicks    = 6
	dropTicksBus = 8
)

func boot(s *scene) {
	s.stop()
	s.pins("the relay's line is low", s.chipKeeps(), false)
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

// chipKeeps reports whether the board's chip keeps a line as an output after its
// program is gone. It does, unless nothing has driven the line since power-on.
func (s *scene) chipKeeps() bool {
	driven, _, err := s.machine.Outputs()
	return err == nil && driven&(1<<relayLine) != 0
}

// resume ends the scenarios that interrupt an agent: a new start checks its
// readings before it grants.
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
	s.stays(12) // nobody recorded it, so it proves one cell
	s.finds("level-doubted")
	s.asks("visit", readings(10))
	s.asks("visit", readings(10)) // one reading against what was known is asked for again
	s.granted()
	s.shows("granted", func(p *picture) bool { return p.Permit == "granted" && !p.has("plates-bare") })
	s.step("the contactor has closed and current flows", func(ctx context.Context) error {
		return s.until(ctx, func(t sim.Truth) bool { return t.ContactorClosed && t.CurrentA > 1 })
	})
}

// readings is the order that records the same level for every cell.
func readings(mm float64) string {
	var cells []string
	for cell := 1; cell <= 12; cell++ {
		cells = append(cells, fmt.Sprintf(`{"cell":%d,"level_mm":%g}`, cell, mm))
	}
	return `{"action":"entry","by":"Ada","sure":true,"cells":[` + strings.Join(cells, ",") + `]}`
}

// pour raises the level of every cell by some millimetres, as measured above the
// plates.
func (s *scene) pour(mm float64) error {
	return s.with(func(y *sim.Stand) error {
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
	return s.with(func(y *sim.Stand) error {
		for cell := 1; cell <= 12; cell++ {
			if err := y.Leak(cell, mm*13); err != nil {
				return err
			}
		}
		return nil
	})
}

// until waits until the physics meets a condition.
func (s *scene) until(ctx context.Context, fulfilled func(sim.Truth) bool) error {
	for {
		var t sim.Truth
		_ = s.with(func(y *sim.Stand) error { t = y.Truth(); return nil }) // returns none
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
	s.charging()
	s.drops("the data line is held low", dropTicksBus, s.breaks(sim.BusStuck))
	s.finds("level-unknown")
	s.stays(6)
	s.repairs(sim.BusStuck)
	// Ten seconds must pass without a finding before it clears.
	s.stays(9)
	s.granted()
}

// wrongRule shows that this bench can fail: the configuration reads the level so
// much too high that the agent grants on bare plates. The check that passes in the
// scenario "bare" must fail here.
func wrongRule(s *scene) {
	s.begin(fresh(-4), "offset_mm: 0", "offset_mm: 20")
	if s.failed() {
		return
	}
	quiet := &scene{rig: s.rig, site: s.site, ctx: s.ctx, name: s.name, log: func(string, ...any) {}}
	quiet.stays(60)
	if !quiet.failed() {
		s.fail("the bench did not detect a charge on bare plates; the bay: %s", s.situation())
		return
	}
	s.log("ok    detected: %v", quiet.err)
}
