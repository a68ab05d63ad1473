package sim

import "time"

// Times of a contactor (common practice, no source).
const (
	pullIn  = 25 * time.Millisecond
	dropOut = 15 * time.Millisecond

	defaultHold = 10 * time.Second // of the timer relay
)

// contactor is the charge-enable contactor with its relay and the timer relay that a
// heartbeat holds. Their contacts are in series with its coil.
type contactor struct {
	ordered   bool // the relay's line is driven high
	relayOn   bool // the relay stays closed by itself
	timed     bool // a timer relay is in series
	timerOn   bool // it stays closed by itself
	hold      time.Duration
	timeLeft  time.Duration // of the timer relay
	armature  bool          // closed, apart from faults
	moving    time.Duration // since the coil and the armature disagree
	closedNow bool
	makes     bool // the auxiliary make contact is closed
}

// auxiliary reports whether an auxiliary contact is closed. A make contact follows
// the armature, which a welded pole need not hold. A mirror contact is a break
// contact that cannot close while a pole is closed (IEC 60947-4-1, annex F).
func (c *contactor) auxiliary(breaks bool) bool {
	if breaks {
		return !c.closedNow
	}
	return c.makes
}

// coil reports whether the coil has current.
func (c *contactor) coil() bool {
	return (c.ordered || c.relayOn) && (!c.timed || c.timerOn || c.timeLeft > 0)
}

// beat is an edge on the heartbeat line.
func (c *contactor) beat() { c.timeLeft = c.hold }

// next returns the time to the next event, 0 if there is none soon.
func (c *contactor) next() time.Duration {
	if c.coil() != c.armature {
		return max(c.delay()-c.moving, time.Nanosecond)
	}
	if c.timed && c.coil() && c.timeLeft > 0 {
		return c.timeLeft
	}
	return 0
}

func (c *contactor) delay() time.Duration {
	if c.coil() {
		return pullIn
	}
	return dropOut
}

// settle advances the bay's contactor by dt, with its faults.
func (y *Stand) settle(dt time.Duration) {
	y.contactor.relayOn, y.contactor.timerOn = y.faults[RelayStuck], y.faults[WatchdogStuck]
	y.contactor.settle(dt, y.faults[ContactorWelded], y.faults[ContactorStuckOpen])
}

// settle advances the contactor by dt, which ends no later than next.
func (c *contactor) settle(dt time.Duration, welded, stuckOpen bool) {
	if c.coil() == c.armature {
		c.moving = 0
	} else if c.moving += dt; c.moving >= c.delay() {
		c.armature, c.moving = c.coil(), 0
	}
	c.timeLeft = max(c.timeLeft-dt, 0)
	c.closedNow = (c.armature || welded) && !stuckOpen
	c.makes = c.armature && !stuckOpen
}
