package bay

import (
	"time"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// here says whether a pack is connected. The zero value is unknown.
type here uint8

const (
	unknownHere here = iota
	vacant
	present
)

const (
	// goneFor is how long no voltage must show before the contactor opens: two
	// readings, so that one disturbed conversion does not do it.
	goneFor = 2 * time.Second
	// leaveFor is how long no voltage must show before the pack counts as gone:
	// a plug that is wriggled is not another pack.
	leaveFor = 5 * time.Second
)

// seat follows whether a pack is connected and for how long its voltage has
// been good.
type seat struct {
	here    here
	since   time.Duration // of the good voltage of this pack
	settled bool
	left    bool // in this tick the pack went, or can no longer be the same
	goodAt  time.Duration
	emptyAt time.Duration // the last tick that showed a voltage
	empty   bool
	began   bool
}

func (s *seat) step(now time.Duration, cellV reading.Reading, currentA *reading.Reading, strayA float64, settleFor time.Duration) {
	s.left = false
	if !s.began {
		s.began, s.goodAt, s.emptyAt = true, now, now
	}
	if !cellV.OK() {
		s.unseen(now)
		return
	}
	flows := currentA.OK() && (currentA.Value > strayA || currentA.Value < -strayA)
	if cellV.Value < noPackV && cellV.Value > -noPackV && !flows {
		s.nothing(now)
		s.goodAt = now
		return
	}
	if s.here != vacant && now-s.goodAt > doubtAfter {
		s.leave(now) // too long unseen: it may be another one
	}
	s.empty, s.emptyAt, s.goodAt = false, now, now
	if s.here != present {
		s.here, s.since, s.settled = present, now, false
	}
	if now-s.since >= settleFor {
		s.settled = true
	}
}

// gone tells that no voltage has shown for long enough to open the contactor.
func (s *seat) gone(now time.Duration) bool { return s.empty && now-s.emptyAt >= goneFor }

func (s *seat) plug() interlock.Plug {
	switch {
	case s.here == vacant:
		return interlock.Unplugged
	case s.empty:
		return interlock.Fading
	}
	return interlock.Plugged
}

// unseen is a tick without a voltage: checking starts again, and after a long
// gap nothing is known.
func (s *seat) unseen(now time.Duration) {
	s.empty = false
	switch {
	case s.here == present && !s.settled:
		s.since = now
	case s.here == present && now-s.goodAt > doubtAfter:
		s.leave(now)
		s.here = unknownHere
	}
}

func (s *seat) nothing(now time.Duration) {
	s.empty = true
	if s.here == present && !s.settled {
		s.since = now
	}
	if s.here == vacant || now-s.emptyAt < leaveFor {
		return
	}
	s.leave(now) // also one that was never seen: a memory may be of it
	s.here = vacant
}

func (s *seat) leave(now time.Duration) {
	s.left, s.settled, s.here, s.since = true, false, unknownHere, now
}
