package main

import (
	"context"
	"log/slog"
	"os"
	"strings"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"bayward/agent/bay"
	"bayward/agent/loop"
)

// systemd tells the service manager that the agent is ready after its first
// good tick, that it lives after later ones, what it does, and that it stops.
// A tick that does not come is what the manager's watchdog must notice; a
// manager that does not take the message must not hold up a tick.
type systemd struct {
	log      *slog.Logger
	interval time.Duration // of the watchdog, 0 for none
	ticks    chan struct{}
	states   chan string // newest status
}

// notifyWithin is how long one message may take.
const notifyWithin = 2 * time.Second

// newSystemd returns nil when no service manager asks for messages; nil can be
// used and says nothing.
func newSystemd(log *slog.Logger) *systemd {
	if os.Getenv("NOTIFY_SOCKET") == "" {
		return nil
	}
	interval, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		log.Warn("the watchdog's setting cannot be read", "err", err)
	}
	return &systemd{log: log, interval: interval, ticks: make(chan struct{}, 1), states: make(chan string, 1)}
}

// ticked is called after each good tick of all bays.
func (s *systemd) ticked() {
	if s == nil {
		return
	}
	select {
	case s.ticks <- struct{}{}:
	default:
	}
}

// run sends messages until ctx ends; the last one says that the agent stops.
func (s *systemd) run(ctx context.Context) error {
	ready, beat := false, time.Time{}
	for {
		select {
		case <-ctx.Done():
			s.send(daemon.SdNotifyStopping)
			return nil
		case status := <-s.states:
			s.send("STATUS=" + status)
		case <-s.ticks:
			if !ready {
				ready = true
				s.send(daemon.SdNotifyReady)
			}
			if s.interval > 0 && time.Since(beat) >= s.interval/2-tickEvery/2 {
				beat = time.Now()
				s.send(daemon.SdNotifyWatchdog)
			}
		}
	}
}

// send gives up on a manager that does not take the message.
func (s *systemd) send(state string) {
	done := make(chan error, 1)
	go func() {
		_, err := daemon.SdNotify(false, state)
		done <- err
	}()
	t := time.NewTimer(notifyWithin)
	defer t.Stop()
	select {
	case err := <-done:
		if err != nil {
			s.log.Warn("the service manager cannot be told", "state", state, "err", err)
		}
	case <-t.C:
		s.log.Warn("the service manager does not take a message", "state", state)
	}
}

// statusLine is the output behind "systemctl status": one phrase for each bay.
type statusLine struct {
	to   *systemd
	says map[string]string
	bays []string
	last string
}

func newStatusLine(to *systemd) *statusLine { return &statusLine{to: to, says: map[string]string{}} }

// Name implements loop.Output.
func (*statusLine) Name() string { return "systemd" }

// Take implements loop.Output.
func (l *statusLine) Take(_ context.Context, n *loop.News) {
	if _, seen := l.says[n.Bay]; !seen {
		l.bays = append(l.bays, n.Bay)
	}
	l.says[n.Bay] = phrase(n.Picture)
	all := make([]string, len(l.bays))
	for i, name := range l.bays {
		all[i] = name + " " + l.says[name]
	}
	line := strings.Join(all, "; ")
	if line == l.last {
		return
	}
	l.last = line
	select { // only the newest counts
	case <-l.to.states:
	default:
	}
	l.to.states <- line // has room: this is the only sender
}

func phrase(p *bay.Picture) string {
	text := p.Stage.String() + ", charge " + p.Permit.String()
	if codes := p.Codes(); len(codes) > 0 {
		text += " (" + strings.Join(codes, ", ") + ")"
	}
	return text
}
