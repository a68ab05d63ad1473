package main

import (
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"bayward/deploy/emulated/control"
	"bayward/sensors/sim"
)

// wiredConfig is the agent's configuration file.
//
//go:embed bayward.yaml
var wiredConfig string

// hydrogenPart is left out unless a scenario names it: one missing reading of the
// gas blocks the charge for minutes.
const hydrogenPart = `      hydrogen:
        adc: 0x48
        channel: 3
        zero_v: 0.5
        per_volt: 2
`

// patience is the time limit of a step under an emulator on a busy host. It
// decides nothing else: only the order of events counts.
const patience = 150 * time.Second

// scene is a running scenario. After the first failure its methods do nothing, so
// that a scenario reads as the list of what should happen.
type scene struct {
	*rig
	site *site
	ctx  context.Context //nolint:containedctx // a scene ends with its scenario
	name string
	// managed is set when systemd runs the board.
	managed bool
	// short leaves out what other scenarios also show.
	short bool
	// patience for the scenario's steps, if longer than the default.
	patience time.Duration
	// byPage reads the bay's state on the page, from inside: in slow motion the broker gives
	// the agent up before it sends its next sign of life.
	byPage bool
	// twist changes words of every configuration: a deliberate fault.
	twist []string
	err   error
	began atomic.Int64 // steps that have recorded their starting state
	log   func(format string, a ...any)
}

func (s *scene) failed() bool { return s.err != nil }

func (s *scene) fail(format string, a ...any) {
	if s.err == nil {
		s.err = fmt.Errorf(format, a...)
		s.log("FAIL  %v", s.err)
	}
}

// step runs one step, which may fail.
func (s *scene) step(what string, do func(context.Context) error) {
	if s.failed() {
		return
	}
	most := max(patience, s.patience)
	ctx, cancel := context.WithTimeout(s.ctx, most)
	defer cancel()
	began := time.Now()
	if err := do(ctx); err != nil {
		if errors.Is(err, context.DeadlineExceeded) {
			err = fmt.Errorf("did not happen within %s", most)
		}
		s.fail("%s: %w; the bay: %s", what, err, s.situation())
		return
	}
	s.log("ok    %-58s %5.1f s", what, time.Since(began).Seconds())
}

// situation describes the state of the bay, for the report.
func (s *scene) situation() string {
	var p *picture
	s.site.mu.Lock()
	p = last(s.site.all)
	s.site.mu.Unlock()
	now := s.look()
	text := fmt.Sprintf("relay high %t, rises %d, beats %d", now.relay, now.rises, now.beats)
	if p != nil {
		text += fmt.Sprintf(", stage %s, permit %s, findings %v, faults %v", p.Stage, p.Permit, p.Findings, p.Faults)
	}
	return text
}

// stop ends the agent of the previous scenario.
func (s *scene) stop() {
	s.step("the agent is stopped", func(ctx context.Context) error {
		for _, unit := range []control.Unit{control.Agent, control.Keeper} {
			if _, err := s.guest.order(ctx, control.Order{Do: control.Supervise, Unit: unit, StopAction: true, Restart: true}); err != nil {
				return err
			}
		}
		_, err := s.guest.order(ctx, control.Order{Do: control.Stop})
		return err
	})
}

// config returns the agent's file with its own logbook and some changes, given as
// pairs of old and new text.
func (s *scene) config(changes ...string) string {
	text := wiredConfig
	if !strings.Contains(strings.Join(changes, " "), "hydrogen") {
		changes = append(changes, hydrogenPart, "")
	}
	if s.managed { // the state comes from systemd, with a delay
		changes = append(changes, "settle_seconds: 5", "settle_seconds: 20")
	}
	changes = append(changes, s.twist...)
	changes = append(changes, "BROKER_PORT", fmt.Sprint(s.site.port), "logbook.db", s.name+".db")
	for i := 0; i < len(changes); i += 2 {
		if !strings.Contains(text, changes[i]) {
			s.fail("the configuration has no %q", changes[i])
		}
		text = strings.ReplaceAll(text, changes[i], changes[i+1])
	}
	return text
}

// begin plugs a pack in, forgets earlier messages and starts the agent with a new
// logbook.
func (s *scene) begin(o sim.Opts, changes ...string) {
	s.stop()
	s.step("a pack is plugged in, the fan is off", func(context.Context) error {
		if err := s.refit(o); err != nil {
			return err
		}
		return s.fan(false)
	})
	s.site.forget()
	s.start(changes...)
	s.letsGo()
}

func (s *scene) fan(on bool) error {
	return s.with(func(y *sim.Stand) error { y.SetAirflow(on); return nil })
}

// letsGo does what a person does at a new bay, which is on hold until it is
// commissioned: looks at it, starts the fan that was off, and removes the hold. What was
// heard until then is of an earlier run.
func (s *scene) letsGo() {
	s.step("a person starts the fan and lets the new bay go", func(ctx context.Context) error {
		var p *picture
		err := s.site.await(ctx, func(all []message) bool { p = last(all); return p != nil })
		if err == nil {
			err = s.fan(true)
		}
		if err != nil || !p.has("held") { // a program from before there was this hold
			return err
		}
		const order = `{"action":"lock-remove","by":"Ada","lock":"hold","of":"","reason":"looked at the bay","nobody_at_pack":true}`
		if err := s.ask(ctx, "hold", order); err != nil {
			return err
		}
		return s.site.await(ctx, func(all []message) bool {
			return slices.ContainsFunc(events(all), func(e event) bool { return e.Kind == "finding-cleared" && e.Code == "held" })
		})
	})
	s.site.turn()
}

// start starts the agent and waits for READY=1.
func (s *scene) start(changes ...string) {
	text := s.config(changes...)
	s.plain = len(changes) == 0
	s.site.turn()
	s.step("the agent starts and is ready", func(ctx context.Context) error {
		mark := s.guest.mark()
		if _, err := s.guest.order(ctx, control.Order{Do: control.Start, Config: text}); err != nil {
			return err
		}
		_, err := s.guest.find(ctx, mark, func(e *control.Event) bool {
			return e.Unit == control.Agent && (e.Kind == control.Ready || e.Kind == control.Ended)
		})
		return err
	})
}

// beginning returns what was seen before a step judges anything.
func (s *scene) beginning() seen {
	defer s.began.Add(1)
	return s.look()
}

// granted waits until the relay is closed.
func (s *scene) granted() {
	s.step("the relay closes", func(ctx context.Context) error {
		_, err := s.await(ctx, func(n seen) bool { return n.relay })
		return err
	})
}

// charging leads to a bay on charge. The short set takes the one that the scenario
// before has left, unless its configuration was changed.
func (s *scene) charging() {
	if s.short && s.plain && s.look().relay {
		return
	}
	s.begin(fresh(10))
	s.granted()
}

// stays waits for a number of beats, during which the relay must not close. The
// heartbeat stops while a contactor is reported that does not open.
func (s *scene) stays(beats int) {
	s.releases()
	s.step(fmt.Sprintf("the relay stays open for %d ticks", beats), func(ctx context.Context) error {
		from := s.beginning()
		now, err := s.await(ctx, func(n seen) bool { return n.relay || n.rises > from.rises || n.beats >= from.beats+beats })
		if err == nil && (now.relay || now.rises > from.rises) {
			err = fmt.Errorf("it closed after %d ticks", now.beats-from.beats)
		}
		return err
	})
}

// keeps waits for a number of beats, during which the relay must not open.
func (s *scene) keeps(beats int) {
	s.step(fmt.Sprintf("the relay stays closed for %d ticks", beats), func(ctx context.Context) error {
		from := s.beginning()
		now, err := s.await(ctx, func(n seen) bool { return !n.relay || n.drops > from.drops || n.beats >= from.beats+beats })
		if err == nil && (!now.relay || now.drops > from.drops) {
			err = fmt.Errorf("it opened after %d ticks", now.beats-from.beats)
		}
		return err
	})
}

// drops does something after which the relay must open within a number of ticks,
// counted by the agent's own heartbeat.
func (s *scene) drops(what string, ticks int, do func(context.Context) error) {
	s.step(fmt.Sprintf("%s: the relay opens within %d ticks", what, ticks), func(ctx context.Context) error {
		from := s.beginning()
		if !from.relay {
			return errors.New("it was not closed before")
		}
		if err := do(ctx); err != nil {
			return err
		}
		now, err := s.await(ctx, func(n seen) bool { return n.drops > from.drops || n.beats > from.beats+ticks })
		if err == nil && now.drops == from.drops {
			return fmt.Errorf("it is still closed after %d", now.beats-from.beats)
		}
		if err == nil {
			s.log("figure: %s %s opens after %d ticks", s.name, what, now.beatsAtOff-from.beats)
		}
		return err
	})
}

// breaks returns a function for drops that breaks a part.
func (s *scene) breaks(kind sim.FaultKind) func(context.Context) error {
	return func(context.Context) error { s.fault(kind, true); return nil }
}

// repairs ends the fault of a part.
func (s *scene) repairs(kind sim.FaultKind) {
	s.step("repaired: "+kind.String(), func(context.Context) error { s.fault(kind, false); return nil })
}

// shows waits for a picture from the broker that meets a condition.
func (s *scene) shows(what string, fulfilled func(*picture) bool) {
	if s.byPage {
		s.step("on the page: "+what, func(ctx context.Context) error { return s.reads(ctx, fulfilled) })
		return
	}
	s.step("over the broker: "+what, func(ctx context.Context) error {
		return s.site.await(ctx, func(all []message) bool { p := last(all); return p != nil && fulfilled(p) })
	})
}

// reads waits until the page shows a bay that meets a condition.
func (s *scene) reads(ctx context.Context, fulfilled func(*picture) bool) error {
	for {
		e, err := s.guest.order(ctx, control.Order{Do: control.HTTP, Method: "GET", Path: "/api/v1/bays/bay-1"})
		if err != nil {
			return err
		}
		p := &picture{}
		if at := strings.Index(e.Text, "{"); at >= 0 && json.Unmarshal([]byte(e.Text[at:]), p) == nil && fulfilled(p) {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("the page answered %.300s: %w", e.Text, ctx.Err())
		case <-time.After(time.Second):
		}
	}
}

// finds waits for a finding from the broker.
func (s *scene) finds(code string) {
	s.shows(code, func(p *picture) bool { return p.has(code) })
}

// gives sends an order to the guest's init.
func (s *scene) gives(what string, o control.Order) control.Event {
	var e control.Event
	s.step(what, func(ctx context.Context) (err error) {
		e, err = s.guest.order(ctx, o)
		return err
	})
	return e
}

// hears waits for a report of the guest about a unit after a mark.
func (s *scene) hears(unit control.Unit, kind control.Kind, mark int) control.Event {
	var e control.Event
	s.step("the guest reports "+string(kind)+" of "+string(unit), func(ctx context.Context) (err error) {
		e, err = s.guest.await(ctx, unit, kind, mark)
		return err
	})
	return e
}

// signals sends a signal to the program of a unit.
func (s *scene) signals(unit control.Unit, sig syscall.Signal) {
	s.gives(fmt.Sprintf("%s: %s", unit, sig), control.Order{Do: control.Signal, Unit: unit, Signal: int(sig)})
}

// pins waits until the board's chip shows the relay's line in the given state;
// driven means that the guest drives it at all.
func (s *scene) pins(what string, driven, high bool) {
	s.step("the chip itself: "+what, func(ctx context.Context) error {
		for {
			d, h, err := s.machine.Outputs()
			if err != nil {
				return err
			}
			const bit = 1 << relayLine
			if (d&bit != 0) == driven && (h&bit != 0) == high {
				return nil
			}
			select {
			case <-ctx.Done():
				return fmt.Errorf("driven %08b, high %08b", d, h)
			case <-time.After(20 * time.Millisecond):
			}
		}
	})
}
