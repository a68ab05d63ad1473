package walk

import (
	"sync"
	"time"
)

// limit opens a relay when its time is up.
type limit struct {
	mu    sync.Mutex // guards timer; not held while the timer's function runs
	timer *time.Timer
}

// closeFor closes a relay and opens it after most. The timer starts before the relay
// is closed, in case that call never returns, and restarts when it has returned: on
// a busy machine the first timer may fire too early and open a relay that is not
// closed yet.
func (l *limit) closeFor(most time.Duration, closeRelay func() error, openRelay func()) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.timer != nil {
		l.timer.Stop()
	}
	l.timer = time.AfterFunc(most, openRelay)
	defer l.timer.Reset(most)
	return closeRelay()
}

// stop cancels the timer of a relay that was opened earlier.
func (l *limit) stop() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.timer != nil {
		l.timer.Stop()
	}
}
