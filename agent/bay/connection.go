package bay

import (
	"time"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// presence says whether a pack is connected. The zero value is unknown.
type presence uint8

const (
	presenceUnknown presence = iota
	absent
	present
)

const (
	// noPackV is the highest voltage of a cell that counts as no pack: leakage
	// of a charger's output filter, common practice, no source.
	noPackV = 0.3
	// strayRate is the current, in parts of the capacity per hour, that may be
	// the offset of a sensor.
	strayRate = 0.01
	// doubtAfter is how long the voltage may be unknown before another pack
	// may be in the bay.
	doubtAfter = 15 * time.Minute
	// goneFor is how long no voltage must show before the contactor opens: two
	// readings, so that one disturbed conversion does not do it.
	goneFor = 2 * time.Second
	// leaveFor is how long no voltage must show before the pack counts as gone:
	// a plug that is wiggled is not another pack.
	leaveFor = 5 * time.Second
)

// connection follows whether a pack is connected and for how long its voltage has
// been good.
type connection struct {
	pack    presence
	since   time.Duration // when the good voltage of this pack began
	checked bool          // it has been good for long enough
	left    bool          // in this tick the pack went, or can no longer be the same
	goodAt  time.Duration
	liveAt  time.Duration // the last tick that showed a voltage
	dead    bool          // this tick shows no voltage
	began   bool
}

// step takes in one tick's voltage of a cell; flows reports that a current does.
func (c *connection) step(now time.Duration, cellV reading.Reading, flows bool, checkFor time.Duration) {
	c.left = false
	if !c.began {
		c.began, c.goodAt, c.liveAt = true, now, now
	}
	if !cellV.OK() {
		c.unseen(now)
		return
	}
	if cellV.Value < noPackV && cellV.Value > -noPackV && !flows {
		c.noVoltage(now)
		c.goodAt = now
		return
	}
	if c.pack != absent && now-c.goodAt > doubtAfter {
		c.leave(now) // too long unseen: it may be another one
	}
	c.dead, c.liveAt, c.goodAt = false, now, now
	if c.pack != present {
		c.pack, c.since, c.checked = present, now, false
	}
	if now-c.since >= checkFor {
		c.checked = true
	}
}

// unseen is a tick without a reading of the voltage: checking starts again, and
// after a long gap nothing is known.
func (c *connection) unseen(now time.Duration) {
	c.dead = false
	switch {
	case c.pack == present && !c.checked:
		c.since = now
	case c.pack == present && now-c.goodAt > doubtAfter:
		c.leave(now)
		c.pack = presenceUnknown
	}
}

func (c *connection) noVoltage(now time.Duration) {
	c.dead = true
	if c.pack == present && !c.checked {
		c.since = now
	}
	if c.pack == absent || now-c.liveAt < leaveFor {
		return
	}
	c.leave(now) // also one that was never seen: a memory may be of it
	c.pack = absent
}

func (c *connection) leave(now time.Duration) {
	c.left, c.checked, c.pack, c.since = true, false, presenceUnknown, now
}

// checkAgain starts the check of the readings again, for another pack.
func (c *connection) checkAgain(now time.Duration) { c.checked, c.since = false, now }

// empty reports that no pack is connected, or that this tick shows no voltage.
func (c *connection) empty() bool { return c.pack == absent || c.dead }

// ready reports that the pack is there, its readings are checked, and it has not
// been without a voltage for long enough to open the contactor.
func (c *connection) ready(now time.Duration) bool {
	return c.pack == present && c.checked && (!c.dead || now-c.liveAt < goneFor)
}

// unready is why it is not ready, for when it is not: no pack, or the seconds that
// its readings have still to be good.
func (c *connection) unready(now, checkFor time.Duration) interlock.Evidence {
	switch {
	case c.empty():
		return interlock.Evidence{Reason: interlock.NoPack}
	case c.pack == present:
		checkFor = max(checkFor-(now-c.since), 0)
	}
	return interlock.Evidence{Value: checkFor.Seconds()}
}

// plug is what the rules are told of it.
func (c *connection) plug() interlock.Plug {
	switch {
	case c.pack == absent:
		return interlock.Unplugged
	case c.dead:
		return interlock.Fading
	}
	return interlock.Plugged
}
