package main

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"bayward/deploy/emulated/control"
	"bayward/sensors/sim"
)

// wiredConfig is the file that the agent gets.
//
//go:embed bayward.yaml
var wiredConfig string

// hydrogenPart is left out unless a scenario names it: once a reading of the
// gas was missing, no charge starts for minutes.
const hydrogenPart = `      hydrogen:
        adc: 0x48
        channel: 3
        zero_v: 0.5
        per_volt: 2
`

// patience is how long any one thing may take under an emulator on a busy
// host. It decides nothing: what counts is what happened before what.
const patience = 150 * time.Second

// scene is one scenario while it runs. After the first failure its methods do
// nothing, so that a scenario reads as what should happen.
type scene struct {
	*rig
	site *site
	ctx  context.Context //nolint:containedctx // a scene lives no longer than its scenario
	name string
	// managed tells that systemd runs the board.
	managed bool
	// short leaves out what other scenarios show as well.
	short bool
	// patience of the scenario's steps, where it is more than that of others.
	patience time.Duration
	// twist changes words of every configuration: a deliberate fault.
	twist []string
	err   error
	began atomic.Int64 // judgements that have looked at the beginning
	log   func(format string, a ...any)
}

func (s *scene) failed() bool { return s.err != nil }

func (s *scene) fail(format string, a ...any) {
	if s.err == nil {
		s.err = fmt.Errorf(format, a...)
		s.log("FAIL  %v", s.err)
	}
}

// step runs one thing that may fail.
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

// situation tells, for the report, how things stand.
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

// stop ends the agent of the scenario before.
func (s *scene) stop() {
	s.step("the agent is stopped", func(ctx context.Context) error {
		_, err := s.guest.order(ctx, control.Order{Do: control.Supervise, StopAction: true, Restart: true})
		if err != nil {
			return err
		}
		_, err = s.guest.order(ctx, control.Order{Do: control.Stop})
		return err
	})
}

// config is the agent's file with a logbook of its own and some words changed,
// each given before its replacement.
func (s *scene) config(changes ...string) string {
	text := wiredConfig
	if !strings.Contains(strings.Join(changes, " "), "hydrogen") {
		changes = append(changes, hydrogenPart, "")
	}
	if s.managed { // systemd is asked how things are, and answers late
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

// begin fits a pack, forgets what was before and starts the agent with a new
// logbook.
func (s *scene) begin(o sim.Opts, changes ...string) {
	s.stop()
	s.step("a pack is plugged in", func(context.Context) error { return s.refit(o) })
	s.site.forget()
	s.start(changes...)
}

// start starts the agent and waits for READY=1.
func (s *scene) start(changes ...string) {
	text := s.config(changes...)
	s.site.turn()
	s.step("the agent starts and is ready", func(ctx context.Context) error {
		mark := s.guest.mark()
		if _, err := s.guest.order(ctx, control.Order{Do: control.Start, Config: text}); err != nil {
			return err
		}
		_, err := s.guest.find(ctx, mark, func(e *control.Event) bool {
			return e.Kind == control.AgentReady || e.Kind == control.AgentEnded
		})
		return err
	})
}

// beginning is what was seen before something is judged.
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

// stays waits for some beats in which the relay must not close.
func (s *scene) stays(beats int) {
	s.step(fmt.Sprintf("the relay stays open for %d ticks", beats), func(ctx context.Context) error {
		from := s.beginning()
		now, err := s.await(ctx, func(n seen) bool { return n.relay || n.rises > from.rises || n.beats >= from.beats+beats })
		if err == nil && (now.relay || now.rises > from.rises) {
			err = fmt.Errorf("it closed after %d ticks", now.beats-from.beats)
		}
		return err
	})
}

// keeps waits for some beats in which the relay must not open.
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

// drops does something upon which the relay must open within a number of
// ticks, counted by the agent's own heartbeat.
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

// breaks is what drops takes to break a part.
func (s *scene) breaks(kind sim.FaultKind) func(context.Context) error {
	return func(context.Context) error { s.fault(kind, true); return nil }
}

// mends puts a part right.
func (s *scene) mends(kind sim.FaultKind) {
	s.step("mended: "+kind.String(), func(context.Context) error { s.fault(kind, false); return nil })
}

// shows waits for a picture over the broker that fulfils a condition.
func (s *scene) shows(what string, fulfilled func(*picture) bool) {
	s.step("over the broker: "+what, func(ctx context.Context) error {
		return s.site.await(ctx, func(all []message) bool { p := last(all); return p != nil && fulfilled(p) })
	})
}

// finds waits for a finding over the broker.
func (s *scene) finds(code string) {
	s.shows(code, func(p *picture) bool { return p.has(code) })
}

// gives orders the guest's init to do something.
func (s *scene) gives(what string, o control.Order) control.Event {
	var e control.Event
	s.step(what, func(ctx context.Context) (err error) {
		e, err = s.guest.order(ctx, o)
		return err
	})
	return e
}

// tells waits for something that the guest tells after a mark.
func (s *scene) tells(kind control.Kind, mark int) control.Event {
	var e control.Event
	s.step("the guest tells "+string(kind), func(ctx context.Context) (err error) {
		e, err = s.guest.await(ctx, kind, mark)
		return err
	})
	return e
}

// ask sends an order of a person to the page from inside. One that no tick of a
// stuttering board has taken in time is sent again, under the same number.
func (s *scene) ask(ctx context.Context, path, body string) error {
	numbered := fmt.Sprintf(`%s,"id":"bench-%d"}`, strings.TrimSuffix(body, "}"), time.Now().UnixNano())
	for again := false; ; again = true {
		e, err := s.guest.order(ctx, control.Order{Do: control.HTTP, Method: "POST", Path: "/api/v1/bays/bay-1/" + path, Body: numbered})
		switch taken := strings.HasPrefix(e.Text, "409"); {
		case err != nil || strings.HasPrefix(e.Text, "2") || taken && again:
			return err
		case !strings.HasPrefix(e.Text, "503"):
			return fmt.Errorf("the page answered %s", e.Text)
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("the page answered %s: %w", e.Text, ctx.Err())
		case <-time.After(time.Second):
		}
	}
}

// asks is the step of one order.
func (s *scene) asks(path, body string) {
	s.step("a person orders "+body, func(ctx context.Context) error { return s.ask(ctx, path, body) })
}

// metric asks the page from inside for a metric without labels.
func (s *scene) metric(ctx context.Context, name string) (float64, error) {
	e, err := s.guest.order(ctx, control.Order{Do: control.HTTP, Method: "GET", Path: "/metrics"})
	if err != nil {
		return 0, err
	}
	for line := range strings.Lines(e.Text) {
		if value, ok := strings.CutPrefix(line, name+" "); ok {
			return strconv.ParseFloat(strings.TrimSpace(value), 64)
		}
	}
	return 0, fmt.Errorf("the page has no metric %s: %.200s", name, e.Text)
}

// pins waits until the board's chip shows what it should of the relay's line:
// driven tells that the guest drives it at all.
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
