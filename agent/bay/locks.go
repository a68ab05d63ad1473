package bay

import (
	"slices"
	"strings"
	"time"

	"bayward/agent/order"
)

// Lock is one person's lock on the charge: a hold, or a place in a visit. As with
// padlocks on one hasp, everybody has their own, and the charge stays blocked until
// the last one is removed.
type Lock struct {
	By     string // "" for a person who is not known any more
	Since  time.Duration
	Reason string // of a hold; "" for none
}

// mostLocks is how many people can hold, or be in a visit, by name. A lock beyond
// that blocks too, without a name.
const mostLocks = 16

// Locks are those of one kind, the oldest first. They are replaced and never
// changed in place: pictures share them.
type Locks []Lock

// Of returns the lock of that person; ok is false when there is none.
func (l Locks) Of(by string) (lock Lock, ok bool) {
	i := l.index(by)
	if i < 0 {
		return Lock{}, false
	}
	return l[i], true
}

// Names returns the people who are known, joined by commas.
func (l Locks) Names() string {
	var names []string
	for i := range l {
		if l[i].By != "" {
			names = append(names, l[i].By)
		}
	}
	return strings.Join(names, ", ")
}

func (l Locks) index(by string) int {
	return slices.IndexFunc(l, func(x Lock) bool { return x.By == by })
}

// with returns the locks with one more. A person has one lock: a later reason
// replaces the earlier one.
func (l Locks) with(x Lock) Locks {
	if l.index(x.By) < 0 && len(l) >= mostLocks {
		x.By = ""
	}
	i := l.index(x.By)
	if i < 0 {
		return append(slices.Clip(l), x)
	}
	all := slices.Clone(l)
	if x.Reason != "" {
		all[i].Reason = x.Reason
	}
	return all
}

// without returns the locks without that person's.
func (l Locks) without(by string) Locks {
	var left Locks
	for _, x := range l {
		if x.By != by {
			left = append(left, x)
		}
	}
	return left
}

// leave is the time that the bay gives people to step back after the last lock is
// removed. The zero value is over.
type leave struct {
	until time.Duration
	known bool
}

// left returns what is left of it, 0 when it is over.
func (l leave) left(now time.Duration) time.Duration {
	if !l.known {
		return 0
	}
	return max(l.until-now, 0)
}

// unlocked starts the delay before the charge when no lock is left.
func (b *Bay) unlocked(now time.Duration) {
	if len(b.asked.holds) == 0 && !b.pic.Visit.Open {
		b.asked.leave = leave{now + b.setup.Limits.CloseDelay, true}
	}
}

// judgeLocks returns why an order about locks is refused, nil when it is not.
func (b *Bay) judgeLocks(o *order.Order) *order.Refusal {
	holds, people := b.asked.holds, b.pic.Visit.People
	_, mine := people.Of(o.By)
	switch o.Kind {
	case order.Unhold:
		return noLock(o, holds, o.By)
	case order.LockRemove:
		if o.Lock == order.LockHold {
			return noLock(o, holds, o.Of)
		}
		return noLock(o, people, o.Of)
	case order.VisitJoin:
		if mine {
			return refuseFor(o, order.InVisit, o.By)
		}
	case order.VisitLeave:
		if mine && len(people) == 1 {
			return refuse(o, order.LastInVisit)
		}
		return noLock(o, people, o.By)
	case order.VisitClose:
		if others := people.without(o.By); len(others) > 0 {
			return refuseFor(o, order.OthersInVisit, others.Names())
		}
	default:
	}
	return nil
}

// noLock refuses an order about a lock that is not there.
func noLock(o *order.Order, locks Locks, by string) *order.Refusal {
	_, there := locks.Of(by)
	switch {
	case there:
		return nil
	case o.Kind == order.Unhold && len(locks) > 0:
		return refuseFor(o, order.NotYourLock, locks.Names())
	}
	return refuseFor(o, order.NoSuchLock, by)
}

// removeLock removes another person's lock. A visit stays open without anybody in
// it until somebody closes it: caps and record are still to be confirmed.
func (b *Bay) removeLock(o *order.Order, now time.Duration) {
	if o.Lock == order.LockVisit {
		b.pic.Visit.People = b.pic.Visit.People.without(o.Of)
		return
	}
	b.removeHold(o.Of, now)
}

func (b *Bay) removeHold(by string, now time.Duration) {
	b.asked.holds = b.asked.holds.without(by)
	b.asked.forgot = b.asked.forgot && by != ""
	b.asked.isNew = b.asked.isNew && by != ""
	b.unlocked(now)
}

// forget holds the bay for people whose orders cannot be read.
func (b *Bay) forget(now time.Duration) {
	b.asked.holds, b.asked.forgot, b.asked.isNew = b.asked.holds.with(Lock{Since: now}), true, false
}

// holdNew holds a bay until it is commissioned.
func (b *Bay) holdNew(now time.Duration) {
	b.asked.holds, b.asked.forgot, b.asked.isNew = b.asked.holds.with(Lock{Since: now}), false, true
}

// LockMemory is a lock as stored.
type LockMemory struct {
	By     string  `json:"by,omitempty"`
	AgoS   float64 `json:"ago_s"`
	Reason string  `json:"reason,omitempty"`
}

func storedLocks(locks Locks, now time.Duration) []LockMemory {
	all := []LockMemory{} // never null: nobody in a visit is not the same as not known who
	for _, l := range locks {
		all = append(all, LockMemory{l.By, (now - l.Since).Seconds(), l.Reason})
	}
	return all
}

// restoredLocks returns them without texts that nobody can have given.
func restoredLocks(all []LockMemory, at time.Duration) (locks Locks) {
	for _, m := range all {
		if !order.Printable(m.By, int(order.OfField.High)) {
			m.By = ""
		}
		if !order.Printable(m.Reason, order.MaxNoteRunes) {
			m.Reason = ""
		}
		locks = locks.with(Lock{m.By, at - agoOf(m.AgoS), m.Reason})
	}
	return locks
}
