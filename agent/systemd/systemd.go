// Package systemd reports the agent's state to the service manager.
package systemd

import (
	"context"
	"log/slog"
	"os"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
)

// Manager is the service manager. The agent reports that it is ready after its first
// good tick, that it is alive after later ones, what it is doing, and that it stops.
// The manager's watchdog must notice a missing tick. A manager that does not take a
// message must not delay a tick.
type Manager struct {
	log      *slog.Logger
	every    time.Duration // between ticks
	interval time.Duration // of the watchdog, 0 for none
	ticks    chan struct{}
	states   chan string // newest status
}

// notifyWithin is how long one message may take.
const notifyWithin = 2 * time.Second

// New returns nil when no service manager asks for messages. Every is the time
// between two ticks.
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

// Ticked is called after each good tick of all bays. A nil manager ignores it.
func (m *Manager) Ticked() {
	if m == nil {
		return
	}
	select {
	case m.ticks <- struct{}{}:
	default:
	}
}

// Status sets the text that systemctl status shows. A newer text replaces one that
// was not sent yet. Only one goroutine may call it.
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
			m.log.Warn("cannot reach the service manager", "state", state, "err", err)
		}
	case <-t.C:
		m.log.Warn("the service manager does not take a message", "state", state)
	}
}
