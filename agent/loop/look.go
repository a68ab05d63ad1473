package loop

import (
	"errors"
	"fmt"
	"time"

	"bayward/agent/bay"
)

func (l *Loop) countPanic() { l.panics.Add(1) }

// Panics returns the number of contained panics of drivers and outputs.
func (l *Loop) Panics() uint64 { return l.panics.Load() }

// Dropped returns the number of ticks with events that blocked outputs have lost.
func (l *Loop) Dropped() (n uint64) {
	for _, m := range l.boxes {
		n += m.dropped.Load()
	}
	return n
}

// GuardTrips returns how often a relay that the core had closed was opened by its
// keeper, because agent or keeper was late or because they lost each other.
func (l *Loop) GuardTrips() (n uint64) {
	for _, b := range l.bays {
		b.guard.mu.Lock()
		n += b.guard.trips
		b.guard.mu.Unlock()
	}
	return n
}

// Pictures returns the latest pictures, in the order of the bays, without bays that
// have not had their first tick. They must not be changed.
func (l *Loop) Pictures() []*bay.Picture {
	out := make([]*bay.Picture, 0, len(l.bays))
	for _, b := range l.bays {
		if p := b.latest.Load(); p != nil {
			out = append(out, p)
		}
	}
	return out
}

// RelayClosed reports whether a bay's relay is driven closed, by what its keeper
// answered; it is not known while the keeper is silent.
func (l *Loop) RelayClosed(bayName string) (closed, known bool) {
	b := l.find(bayName)
	if b == nil {
		return false, false
	}
	return b.guard.driven()
}

// Healthy returns nil while ticks are on time. It uses the monotonic clock: the
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
