package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"bayward/deploy/emulated/control"
	"bayward/sensors/sim"
)

// comesBack waits for the end of a boot that has begun.
func (s *scene) comesBack(mark int) {
	s.pins("without power the line is not driven", false, false)
	s.hears("", control.Up, mark)
	s.step("the relay's line had no edge during the boot", func(context.Context) error {
		if s.look().relay {
			return errors.New("it is high")
		}
		return nil
	})
}

func hung(s *scene) {
	s.begin(fresh(10))
	s.granted()
	resets, fired := s.counts()
	mark := s.guest.mark()
	s.gives("agent, keeper and init hang", control.Order{Do: control.Hang})
	s.step("the contactor drops out without a heartbeat", func(ctx context.Context) error {
		return s.until(ctx, func(t sim.Truth) bool { return !t.ContactorClosed })
	})
	s.step("the watchdog fires and resets the machine", func(ctx context.Context) error {
		for {
			if r, f := s.counts(); f > fired && r > resets {
				return nil
			}
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-time.After(50 * time.Millisecond):
			}
		}
	})
	s.comesBack(mark)
	s.resume()
}

// cutPower cuts the power for a moment.
func (s *scene) cutPower() {
	mark := s.guest.mark()
	s.step("the power is cut", func(context.Context) error { return s.machine.PowerCut() })
	s.comesBack(mark)
}

// recorded waits until an event comes from the broker: then it is in the record
// and must survive.
func (s *scene) recorded(what string, fits func(event) bool) {
	s.step("recorded: "+what, func(ctx context.Context) error {
		return s.site.await(ctx, func(all []message) bool {
			for _, e := range events(all) {
				if fits(e) {
					return true
				}
			}
			return false
		})
	})
}

func raised(code string) func(event) bool {
	return func(e event) bool { return e.Kind == "finding-raised" && e.Code == code }
}

func powerCuts(s *scene) {
	before := s.look().rises
	s.begin(fresh(10))
	s.cutPower() // while it checks its readings
	s.step("the relay never closed", func(context.Context) error {
		if s.look().rises > before {
			return errors.New("it did")
		}
		return nil
	})
	s.resume()

	s.shows("on charge", func(p *picture) bool { return p.Stage == "charging" })
	s.keeps(3)
	s.cutPower()
	s.resume()

	s.asks("hold", `{"action":"hold","by":"Ada"}`)
	s.recorded("the hold", raised("held"))
	s.cutPower()
	s.start()
	s.finds("held")
	s.stays(15)
	s.asks("hold", `{"action":"unhold","by":"Ada"}`)
	s.granted()

	s.asks("visit", `{"action":"open","by":"Ada"}`)
	s.recorded("the visit", raised("visit-open"))
	s.cutPower()
	s.start()
	s.shows("the visit of Ada", func(p *picture) bool { return p.has("visit-open") && p.Visit != nil && p.Visit.By == "Ada" })
	s.stays(15)
	s.asks("visit", `{"action":"close","by":"Ada"}`)
	s.granted()

	s.step("the pack is unplugged", func(context.Context) error {
		return s.with(func(y *sim.Stand) error { y.Unplug(); return nil })
	})
	s.isAt("vacant")
	s.cutPower()
	s.start()
	s.isAt("vacant")
	s.stays(15)
	s.step("a pack is plugged in again", func(context.Context) error {
		return s.with(func(y *sim.Stand) error { y.Connect(); return nil })
	})
	s.granted()
	s.inOrder()
}

// isAt waits until the bay is at a stage.
func (s *scene) isAt(stage string) {
	s.shows("at the stage "+stage, func(p *picture) bool { return p.Stage == stage })
}

// inOrder checks the numbers of all events, over all runs of the agent.
func (s *scene) inOrder() {
	s.step("no event is missing, no number was used twice, and they came in order", func(context.Context) error {
		return contiguous(s.site.numbered())
	})
}

// dayEvents is how many events the outage must leave in the outbox. The busiest bay
// of the demo has 55 in two days.
const dayEvents = 100

// networkDown is an outage far longer than the keep-alive of 30 s. The wall clock
// moves on by a day, and more happens than in a day, but no real day passes.
func networkDown(s *scene) {
	s.patience = 5 * time.Minute // a hundred orders, each in its own tick
	s.begin(fresh(10))
	s.granted()
	s.step("the cable is pulled", func(context.Context) error { return s.machine.Cable(false) })
	s.drops("the jar leaks", dropTicks, func(context.Context) error { return s.leak(16) })
	s.step("water covers the plates", func(context.Context) error { return s.pour(16) })
	s.granted()
	s.gives("a day passes on the wall clock", control.Order{Do: control.Clock, Unix: time.Now().Add(24 * time.Hour).Unix(), Trusted: true})
	s.fillsADay()
	s.asks("hold", `{"action":"hold","by":"Ada"}`)
	s.stays(10)
	s.asks("hold", `{"action":"unhold","by":"Ada"}`)
	s.asks("visit", `{"action":"open","by":"Bo"}`)
	s.step("the agent gave up the connection, and the outbox holds a day's events", s.outboxFull)
	s.step("nothing came from the broker meanwhile", func(context.Context) error {
		s.site.mu.Lock()
		defer s.site.mu.Unlock()
		for _, e := range events(s.site.all) {
			if raised("visit-open")(e) {
				return errors.New("an event came")
			}
		}
		return nil
	})
	s.step("the cable is plugged in again", func(context.Context) error { return s.machine.Cable(true) })
	s.recorded("the last event", raised("visit-open"))
	s.inOrder()
	s.step("as many events came as had waited", func(context.Context) error {
		if n := len(s.site.numbered()); n < dayEvents {
			return fmt.Errorf("%d", n)
		}
		return nil
	})
	s.gives("the wall clock is right again", control.Order{Do: control.Clock, Unix: time.Now().Unix(), Trusted: true})
}

// fillsADay holds and releases the bay until there are a day's events: each hold
// raises a finding and clears it.
func (s *scene) fillsADay() {
	s.step("a person holds and releases the bay many times", func(ctx context.Context) error {
		for range dayEvents / 2 {
			for _, action := range []string{"hold", "unhold"} {
				if err := s.ask(ctx, "hold", `{"action":"`+action+`","by":"Ada"}`); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// outboxFull waits until the agent reports no connection and a day's events to
// send.
func (s *scene) outboxFull(ctx context.Context) error {
	for {
		connected, err1 := s.metric(ctx, "bayward_mqtt_connected")
		waiting, err2 := s.metric(ctx, "bayward_mqtt_outbox_events")
		if err1 != nil || err2 != nil || connected == 0 && waiting >= dayEvents {
			return errors.Join(err1, err2)
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("connected %g, waiting %g: %w", connected, waiting, ctx.Err())
		case <-time.After(time.Second):
		}
	}
}

// contiguous returns an error unless the events begin with number 1 and continue
// without a gap. The same event may come twice, as the broker's quality of service
// allows, but no other event with its number.
func contiguous(all []event) error {
	next, known := uint64(1), map[uint64]event{}
	for _, e := range all {
		switch was, again := known[e.Seq]; {
		case again && was != e:
			return fmt.Errorf("number %d is on both %+v and %+v", e.Seq, was, e)
		case e.Seq > next:
			return fmt.Errorf("number %d came after %d events", e.Seq, next-1)
		case e.Seq == next:
			next++
		}
		known[e.Seq] = e
	}
	if next == 1 {
		return errors.New("no event came")
	}
	return nil
}

func clockSet(s *scene) {
	s.stop()
	// The kernel refuses a wall clock below the time since boot.
	s.gives("the wall clock is at 1970", control.Order{Do: control.Clock, Unix: 24 * 3600})
	s.begin(fresh(10))
	s.shows("a time of 1970, not trusted", func(p *picture) bool { return p.Time.Year() == 1970 && !p.TimeTrusted })
	s.granted()
	s.gives("the wall clock is set", control.Order{Do: control.Clock, Unix: time.Now().Unix(), Trusted: true})
	s.keeps(8)
	s.asks("hold", `{"action":"hold","by":"Ada"}`)
	s.shows("today's time, trusted", func(p *picture) bool { return p.TimeTrusted && time.Since(p.Time).Abs() < time.Hour })
	s.recorded("an event of 1970, not trusted", func(e event) bool { return !e.TimeTrusted && e.Time.Year() == 1970 })
	s.recorded("an event of today, trusted", func(e event) bool { return e.TimeTrusted && e.Time.Year() > 1970 })
	text := s.gives("the page's records", control.Order{Do: control.HTTP, Method: "GET", Path: "/healthz"}).Text
	if !s.failed() && !strings.HasPrefix(text, "200") {
		s.fail("the agent is not healthy: %s", text)
	}
}
