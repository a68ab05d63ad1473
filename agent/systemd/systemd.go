// Package systemd tells the service manager how the agent fares.
package systemd

import (
	"context"
	"log/slog"
	"os"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
)

// Manager is the service manager. It is told that the agent is ready after its
// first good tick, that it lives after later ones, what it does, and that it stops.
// A tick that does not come is what the manager's watchdog must notice; a
// manager that does not take the message must not hold up a tick.
type Manager struct {
	log      *slog.Logger
	every    time.Duration // between ticks
	interval time.Duration // of the watchdog, 0 for none
	ticks    chan struct{}
	states   chan string // newest status
}

// notifyWithin is how long one message may take.
const notifyWithin = 2 * time.Second

// New returns nil when no service manager asks for messages; nil can be used and
// says nothing. A tick is expected every so often.
func New(log *slog.Logger, every time.Duration) *Manager {
	if os.Getenv("NOTIFY_SOCKET") == "" {
		return nil
	}
	interval, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		log.Warn("the watchdog's setting cannot be read", "err", err)
	}
	return &Manager{log: log, every: every, interval: interval, ticks: make(chan struct{}, 1), states: make(chan string, 1)}
}

// Ticked is called after each good tick of all bays.
func (m *Manager) Ticked() {
	if m == nil {
		return
	}
	select {
	case m.ticks <- struct{}{}:
	default:
	}
}

// Status says what the agent does, for a person who asks the manager. Only the
// newest counts. One goroutine may call it.
func (m *Manager) Status(line string) {
	select {
	case <-m.states:
	default:
	}
	m.states <- line // has room: this is the only sender
}

// Run sends messages until ctx ends; the last one says that the agent stops.
func (m *Manager) Run(ctx context.Context) error {
	ready, beat := false, time.Time{}
	for {
		select {
		case <-ctx.Done():
			m.send(daemon.SdNotifyStopping)
			return nil
		case status := <-m.states:
			m.send("STATUS=" + status)
		case <-m.ticks:
			if !ready {
				ready = true
				m.send(daemon.SdNotifyReady)
			}
			if m.interval > 0 && time.Since(beat) >= m.interval/2-m.every/2 {
				beat = time.Now()
				m.send(daemon.SdNotifyWatchdog)
			}
		}
	}
}

// send gives up on a manager that does not take the message.
func (m *Manager) send(state string) {
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
			m.log.Warn("the service manager cannot be told", "state", state, "err", err)
		}
	case <-t.C:
		m.log.Warn("the service manager does not take a message", "state", state)
	}
}
