package bay

import (
	"time"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// presence is whether a pack is connected. The zero value is unknown.
type presence uint8

const (
	presenceUnknown presence = iota
	absent
	present
)

const (
	// noPackV is the highest cell voltage that counts as no pack: leakage of a
	// charger's output filter (common practice, no source).
	noPackV = 0.3
	// strayRate is the current, as a fraction of the capacity per hour, that may be
	// sensor offset.
	strayRate = 0.01
	// doubtAfter is how long the voltage may be unknown before the pack may have been
	// exchanged.
	doubtAfter = 15 * time.Minute
	// swapFor is how long nothing may show that the pack is there, neither its voltage
	// nor the probe in it nor a current: in less, nobody pulls a plug and puts in
	// another (common practice, no source).
	swapFor = 30 * time.Second
	// goneFor is how long the voltage must be missing before the contactor opens: two
	// readings, because one disturbed conversion must not open it. A voltage that comes
	// and goes counts, too: see goneDrain.
	goneFor = 2 * time.Second
	// goneDrain is how much faster the time without a voltage counts than the time with
	// one wears it off, as for the raise time of a finding.
	goneDrain = 4
	// leaveFor is how long the voltage must be missing before the pack counts as
	// gone: a wiggled plug is not another pack.
	leaveFor = 5 * time.Second
)

// connection tracks whether a pack is connected and how long its voltage has been
// good.
type connection struct {
	pack    presence
	since   time.Duration // when the good voltage of this pack began
	checked bool          // the voltage has been good for long enough
	left    bool          // in this tick the pack left, or may have been exchanged
	goodAt  time.Duration
	liveAt  time.Duration // the last tick that showed a voltage
	dead    bool          // this tick shows no voltage
	gone    time.Duration // leaky count of the time without a voltage, at most goneFor
	last    time.Duration // the tick before
	lost    bool          // the pack has left, and no voltage was read since
	shownAt time.Duration // the last tick in which something showed that the pack is there
	began   bool
}

// step processes one tick's cell voltage; flows reports whether a current flows, and
// probe whether the level probe, which is in the pack, gives a level.
func (c *connection) step(now time.Duration, cellV reading.Reading, flows, probe bool, checkFor time.Duration) {
	c.left = false
	if !c.began {
		c.began, c.goodAt, c.liveAt, c.last, c.shownAt = true, now, now, now, now
	}
	if flows || probe {
		c.shownAt = now
	}
	dt := now - c.last
	c.last = now
	if !cellV.OK() {
		c.unseen(now)
		return
	}
	if cellV.Value < noPackV && cellV.Value > -noPackV && !flows {
		c.noVoltage(now, dt)
		c.goodAt = now
		return
	}
	if c.pack != absent && now-c.goodAt > doubtAfter {
		c.leave(now) // unseen for too long: it may be another pack
	}
	c.dead, c.lost, c.liveAt, c.goodAt, c.gone = false, false, now, now, max(c.gone-dt/goneDrain, 0)
	c.shownAt = now
	if c.pack != present {
		c.pack, c.since, c.checked = present, now, false
	}
	if now-c.since >= checkFor {
		c.checked = true
	}
}

// unseenFor returns since when no voltage was read.
func (c *connection) unseenFor(now time.Duration) time.Duration {
	if !c.began {
		return 0
	}
	return now - c.goodAt
}

// restore continues a time without a reading over a restart.
func (c *connection) restore(now, unseen time.Duration) {
	c.began, c.goodAt, c.liveAt, c.last, c.shownAt = true, now-unseen, now, now, now
}

// unseen handles a tick without a voltage reading: checking starts again, and
// after a long gap the presence is unknown.
func (c *connection) unseen(now time.Duration) {
	c.dead = false
	switch {
	case c.pack == present && now-c.shownAt > swapFor:
		c.leave(now) // as if it was unplugged: what is here may be another
		c.pack = presenceUnknown
	case c.pack == present && !c.checked:
		c.since = now
	case c.pack != absent && !c.lost && now-c.goodAt > doubtAfter:
		c.leave(now) // also a pack not seen since a restart: there is a memory of it
		c.pack = presenceUnknown
	}
}

// noVoltage handles a tick without a voltage. A plug that is pulled or wiggled once
// needs no new check when it is back; one whose voltage keeps coming and going does.
func (c *connection) noVoltage(now, dt time.Duration) {
	c.dead, c.gone = true, min(c.gone+dt, goneFor)
	if c.gone >= goneFor && now-c.liveAt < goneFor {
		c.checked = false
	}
	if c.pack == present && !c.checked {
		c.since = now
	}
	if c.pack == absent || now-c.liveAt < leaveFor {
		return
	}
	c.leave(now) // also a pack never seen: there may be a memory of it
	c.pack = absent
}

func (c *connection) leave(now time.Duration) {
	c.left, c.lost, c.checked, c.pack, c.since = true, true, false, presenceUnknown, now
}

// checkAgain restarts the check of the readings, for another pack.
func (c *connection) checkAgain(now time.Duration) { c.checked, c.since = false, now }

// empty reports whether no pack is connected or this tick shows no voltage.
func (c *connection) empty() bool { return c.pack == absent || c.dead }

// ready reports whether the pack is connected, its readings are checked, and its
// voltage has not been missing long enough to open the contactor.
func (c *connection) ready(now time.Duration) bool {
	return c.pack == present && c.checked && (!c.dead || now-c.liveAt < goneFor)
}

// unready explains why the connection is not ready: no pack, or the seconds for
// which the readings must still be good.
func (c *connection) unready(now, checkFor time.Duration) interlock.Evidence {
	switch {
	case c.empty():
		return interlock.Evidence{Reason: interlock.NoPack}
	case c.pack == present:
		checkFor = max(checkFor-(now-c.since), 0)
	}
	return interlock.Evidence{Value: checkFor.Seconds()}
}

// plug is the connection as the rules see it.
func (c *connection) plug() interlock.Plug {
	switch {
	case c.pack == absent:
		return interlock.Unplugged
	case c.dead:
		return interlock.Fading
	}
	return interlock.Plugged
}
