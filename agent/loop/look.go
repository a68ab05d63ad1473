package loop

import (
	"errors"
	"fmt"
	"time"

	"bayward/agent/bay"
)

func (l *Loop) countPanic() { l.panics.Add(1) }

// Panics counts the panics of drivers and outputs that were contained.
func (l *Loop) Panics() uint64 { return l.panics.Load() }

// Dropped counts the ticks with events that a blocked output has lost.
func (l *Loop) Dropped() (n uint64) {
	for _, m := range l.boxes {
		n += m.dropped.Load()
	}
	return n
}

// GuardTrips counts how often a guard has opened a relay.
func (l *Loop) GuardTrips() (n uint64) {
	for _, b := range l.bays {
		b.guard.mu.Lock()
		n += b.guard.trips
		b.guard.mu.Unlock()
	}
	return n
}

// Pictures are the latest pictures, in the order of the bays; a bay that has
// not had its first tick has none. They must not be changed.
func (l *Loop) Pictures() []*bay.Picture {
	out := make([]*bay.Picture, 0, len(l.bays))
	for _, b := range l.bays {
		if p := b.board.Load(); p != nil {
			out = append(out, p)
		}
	}
	return out
}

// RelayClosed tells what is ordered of a bay's relay now.
func (l *Loop) RelayClosed(bayName string) bool {
	b := l.find(bayName)
	return b != nil && b.guard.isClosed()
}

// Healthy is nil while ticks are on time. It counts on the monotonic clock: the
// wall clock of a machine without a battery clock jumps.
func (l *Loop) Healthy() error {
	select {
	case <-l.ended:
		return ErrEnded
	default:
	}
	last := l.lastTick.Load()
	if last == 0 {
		return errors.New("no tick yet")
	}
	if ago := time.Since(l.born) - time.Duration(last); ago > l.o.GuardAfter {
		return fmt.Errorf("the last tick was %s ago, more than %s", ago.Round(time.Millisecond), l.o.GuardAfter)
	}
	return nil
}

func (l *Loop) find(name string) *runningBay {
	for _, b := range l.bays {
		if b.Name == name {
			return b
		}
	}
	return nil
}
