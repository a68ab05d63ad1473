package main

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"bayward/sensors/sim"
)

// latePace shortens the stages after a charge. A pack counts as cool only after
// half an hour of known fall in temperature, whatever the configuration, and a power
// cut starts that half hour again. The board's clock and the pack run this much
// faster than real time; program, limits and kernel are those of every other
// scenario.
const latePace = 4

// latePatience is the limit for such a wait.
const latePatience = 30 * time.Minute

// lateConfig has the shortest rest and the greatest age of a reading that the
// configuration accepts. It has no air sensor, which makes the rule stricter: the
// 1-wire bus does not run faster, and two sensors would take too long.
var lateConfig = []string{
	"stale_seconds: 30", "stale_seconds: 60\n  rest_min_minutes: 10",
	"        ambient: " + airSensor + "\n", "",
}

// cool returns a full pack at air temperature.
func cool(levelMM float64) sim.Opts {
	o := fresh(levelMM)
	o.StateOfCharge, o.PackC = 1, o.AmbientC
	return o
}

func latePowerCuts(s *scene) {
	s.patience = latePatience
	s.begin(cool(6), lateConfig...)
	s.granted()
	s.isAt("charging")
	s.readsGravity()
	s.asks("hold", `{"action":"hold","by":"Ada"}`)
	s.recorded("the hold", raised("held"))
	s.isAt("cooling")
	s.cutPower()
	s.start(lateConfig...)
	s.finds("held")
	s.stays(15)
	s.releases()
	s.provenAgain()

	s.step("the charger loses its mains", func(context.Context) error {
		return s.with(func(y *sim.Stand) error { y.SetMains(false); return nil })
	})
	s.asks("hold", `{"action":"unhold","by":"Ada"}`)
	s.granted()
	s.readsGravity()
	s.isAt("cooling")
	s.isAt("ready-to-water")
	s.calls("ready-to-water")
	s.cutPower()
	s.resume(lateConfig...)
	s.provenAgain()
	s.calledBack("ready-to-water")

	s.asks("visit", `{"action":"open","by":"Ada"}`)
	s.step("water is poured into every cell", func(context.Context) error { return s.pour(7) })
	for cell := 1; cell <= 12; cell++ { // a cell without a recorded fill would keep the pack from rested
		s.asks("visit", fmt.Sprintf(`{"action":"fill","by":"Ada","cell":%d,"ml":91}`, cell))
	}
	given := func(p *picture) bool {
		return p.Stage == "watering" && p.Visit != nil && p.Visit.By == "Ada" && slices.Equal(p.Visit.GivenML, slices.Repeat([]float64{91}, 12))
	}
	s.shows("the visit of Ada with 91 ml for each cell", given)
	s.fillsRecorded(12)
	s.cutPower()
	s.start(lateConfig...)
	s.shows("the visit of Ada with 91 ml for each cell", given)
	s.stays(15)
	s.asks("visit", `{"action":"close","by":"Ada"}`)
	s.granted()

	s.readsGravity()
	s.isAt("rested")
	s.cutPower()
	s.resume(lateConfig...)
	s.provenAgain()
	s.inOrder()
}

// fillsRecorded waits until the event of each fill comes from the broker: until it is
// on the disk a power cut can lose it, even after the page has answered.
func (s *scene) fillsRecorded(cells int) {
	s.step("recorded: the fills", func(ctx context.Context) error {
		return s.site.await(ctx, func(all []message) bool {
			taken := map[uint64]bool{}
			for _, e := range events(all) {
				switch e.Kind {
				case "visit-opened":
					clear(taken)
				case "order-taken":
					taken[e.Seq] = true
				}
			}
			return len(taken) >= 1+cells // the first is the order that opened it
		})
	})
}

// readsGravity enters a hydrometer reading of a full cell.
func (s *scene) readsGravity() {
	s.asks("visit", `{"action":"gravity","by":"Ada","cell":1,"gravity":1.277,"at_c":25}`)
	s.shows("full", func(p *picture) bool { return p.Full })
}

// provenAgain checks everything that this run of the agent has published, until
// some ticks after it had checked its readings: it must not count time without
// power.
func (s *scene) provenAgain() {
	s.isAt("waiting")
	s.step("it never reported full, cooling, ready or rested", func(ctx context.Context) error {
		from := s.beginning()
		if _, err := s.await(ctx, func(n seen) bool { return n.beats >= from.beats+10 }); err != nil {
			return err
		}
		s.site.mu.Lock()
		defer s.site.mu.Unlock()
		for _, p := range pictures(s.site.all) {
			if p.Full || p.Stage == "cooling" || p.Stage == "ready-to-water" || p.Stage == "rested" {
				return fmt.Errorf("stage %s, full %t", p.Stage, p.Full)
			}
		}
		return nil
	})
}

// releases clears the finding of a contactor that does not open. On this board the
// wires from the relay's line to the pack and back do not run faster, so on a busy
// host the pack answers too late. A latched finding stays until a person releases it,
// which counts while the relay is ordered open and no current flows. It is refused while
// a pack is plugged in.
func (s *scene) releases() {
	s.step("a latched finding is released", func(ctx context.Context) error {
		s.site.mu.Lock()
		p := last(s.site.all)
		s.site.mu.Unlock()
		if !p.has("contactor-stuck") {
			return nil
		}
		if err := s.with(func(y *sim.Stand) error { y.Unplug(); return nil }); err != nil {
			return err
		}
		if err := s.site.await(ctx, func(all []message) bool { p := last(all); return p != nil && p.Stage == "vacant" }); err != nil {
			return err
		}
		if err := s.ask(ctx, "hold", `{"action":"release","by":"Ada"}`); err != nil {
			return err
		}
		if err := s.site.await(ctx, func(all []message) bool { p := last(all); return p != nil && !p.has("contactor-stuck") }); err != nil {
			return err
		}
		return s.with(func(y *sim.Stand) error { y.Connect(); return nil })
	})
}

// notice returns the bay's newest notice.
func notice(all []message) (n struct{ Kind, State string }) {
	for _, m := range all {
		if strings.HasSuffix(m.topic, "/bay-1/notice") {
			_ = json.Unmarshal([]byte(m.payload), &n) // on an error it stays as it was
		}
	}
	return n
}

// calls waits until the technician is called.
func (s *scene) calls(kind string) {
	s.step("the technician is called: "+kind, func(ctx context.Context) error {
		return s.site.await(ctx, func(all []message) bool { n := notice(all); return n.Kind == kind && n.State == "raised" })
	})
}

// calledBack waits until this run of the agent has sent another notice.
func (s *scene) calledBack(kind string) {
	s.step("the call is replaced: "+kind, func(ctx context.Context) error {
		return s.site.await(ctx, func(all []message) bool { n := notice(all); return n.Kind != "" && n.Kind != kind })
	})
}
