package bay

import (
	"maps"
	"math"
	"slices"
	"time"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// Latches are findings by name, as they are stored: those that latched, or the others
// that are raised.
type Latches map[string]Evidence

// Evidence is interlock.Evidence as it is stored.
type Evidence struct {
	Value  float64 `json:"value"`
	Limit  float64 `json:"limit"`
	Fault  uint8   `json:"fault"`
	Reason uint8   `json:"reason"`
}

// packLatch reports whether the pack may have caused a latch.
func packLatch(c interlock.Code) bool {
	return c == interlock.ChargeOverrun || c == interlock.Runaway
}

// latched returns an interlock's latches; none when lock is nil.
func latched(lock *interlock.Interlock) Latches { return raised(lock, true) }

// raised returns the findings of an interlock that are raised, those that latch or
// the others; none when lock is nil.
func raised(lock *interlock.Interlock, latches bool) Latches {
	var l Latches
	for c := interlock.NoCode + 1; lock != nil && c < interlock.NumCodes; c++ {
		if s := lock.Standing(c); s.Raised && s.Latched == latches {
			l = l.with(c.String(), storedEvidence(s.Evidence))
		}
	}
	return l
}

// badTimes returns how much bad time the findings have counted, s; none when lock is
// nil.
func badTimes(lock *interlock.Interlock) map[string]float64 {
	var all map[string]float64
	for c := interlock.NoCode + 1; lock != nil && c < interlock.NumCodes; c++ {
		if d := lock.BadFor(c); d > 0 {
			if all == nil {
				all = map[string]float64{}
			}
			all[c.String()] = d.Seconds()
		}
	}
	return all
}

func storedEvidence(e interlock.Evidence) Evidence {
	return Evidence{storable(e.Value), storable(e.Limit), uint8(e.Fault), uint8(e.Reason)}
}

// storable returns 0 for what JSON does not have: a finding about a reading that is
// not a number must not keep the memory from being stored.
func storable(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

func (l Latches) with(name string, e Evidence) Latches {
	if l == nil {
		l = Latches{}
	}
	l[name] = e
	return l
}

// Names returns the names of the latches, in order.
func (l Latches) Names() []string { return slices.Sorted(maps.Keys(l)) }

// only returns the latches with those names.
func (l Latches) only(names []string) (some Latches) {
	for _, name := range names {
		if e, ok := l[name]; ok {
			some = some.with(name, e)
		}
	}
	return some
}

// unknown reports whether there is a latch that this program does not know.
func (l Latches) unknown() bool {
	for name := range l {
		if c := interlock.Lookup(name); c == interlock.NoCode || !interlock.Table[c].Latches {
			return true
		}
	}
	return false
}

// raise raises those that are not raised yet. Before the first step there is no
// interlock; raise then returns one that only keeps them.
func (l Latches) raise(lock *interlock.Interlock, now time.Duration) *interlock.Interlock {
	if len(l) > 0 && lock == nil {
		lock = interlock.New(interlock.Limits{}, now)
	}
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if e, ok := l[c.String()]; ok && !lock.Standing(c).Raised {
			lock.Restore(c, interlock.Evidence{
				Value: e.Value, Limit: e.Limit, Fault: reading.Fault(e.Fault), Reason: interlock.Reason(e.Reason),
			}, now)
		}
	}
	return lock
}
