package charge

import "time"

const (
	// pauseEnds is the pause after which hours and ampere-hours of a charge count
	// from zero: the trade's 8 h of work or of cooling (common practice, no
	// source). A charger that trips and restarts all night stays one charge, and so
	// does one that the power comes and goes under.
	pauseEnds = 8 * time.Hour
	// overchargeFor is how long a charger may continue after full: an equalize
	// charge takes 3 to 6 h more (traction habit, from memory), that of a
	// stationary battery 8 to 24 h by a service task card, of which this is the
	// least.
	overchargeFor = 8 * time.Hour
)

// Overrun names the ceiling that a charge passed. The zero value is none.
type Overrun struct {
	Hours, AmpereHours bool
	AfterFull          bool    // the pack is full and the charger continues
	Value, Limit       float64 // h or Ah
}

// ceiling counts what a charge has delivered, across its pauses, across charges in
// close succession, across a pulled plug and across restarts, up to full and then
// again after full. It counts from the first second of current, before that is a
// charge. Only a proof ends it: full, a long enough pause on a clock that ran, or a
// pack that is seen to be discharged since it was full.
type ceiling struct {
	flowS, ah float64
	afterFull bool // counts since a proven full, of which a restart may know nothing any more
	onAt      time.Duration
	wasOn     bool // current flowed, last at onAt
	over      Overrun
}

// restart counts from zero.
func (c *ceiling) restart(afterFull bool) {
	*c = ceiling{afterFull: afterFull, onAt: c.onAt, wasOn: c.wasOn}
}

// Released starts the count of a charge again: a person has looked for the cause of
// its overrun and released it.
func (t *Tracker) Released() { t.ceiling.restart(false) }

// Unplugged notes that the pack's plug was seen pulled: it may have been used, so the
// short ceiling after full does not hold any more. The count goes on.
func (t *Tracker) Unplugged() { t.ceiling.afterFull = false }

// flows notes that current flows now.
func (c *ceiling) flows(now time.Duration) {
	if c.wasOn && now-c.onAt >= pauseEnds {
		c.restart(false)
	}
	c.onAt, c.wasOn = now, true
}

// Overrun returns the ceiling that the charge has passed: hours or ampere-hours
// without becoming full, or hours after full.
func (t *Tracker) Overrun() Overrun { return t.ceiling.over }

func (t *Tracker) ceilings(n *tick) {
	c := &t.ceiling
	if !t.flow.on {
		if !t.s.Active {
			c.over = Overrun{}
		}
		return
	}
	c.flows(n.now)
	t.countCeiling(n.dtS, n.a, n.aOK, t.floats())
	limit := t.cfg.MaxFor
	if c.afterFull {
		limit = min(limit, overchargeFor)
	}
	switch {
	case c.flowS > limit.Seconds():
		c.over = Overrun{Hours: true, AfterFull: c.afterFull, Value: c.flowS / 3600, Limit: limit.Hours()}
	case !c.afterFull && c.ah > t.cfg.MaxAh:
		c.over = Overrun{AmpereHours: true, Value: c.ah, Limit: t.cfg.MaxAh}
	}
}

// countCeiling adds seconds of flow. The tail of a charger that holds the voltage of
// a full pack does not count. Hours of a float do not, either, until it has put in as
// many ampere-hours as a charge may.
func (t *Tracker) countCeiling(s, a float64, aOK, floats bool) {
	if t.ceiling.afterFull && aOK && a < startRate*t.cfg.CapacityAh {
		return
	}
	if !floats || t.ceiling.ah > t.cfg.MaxAh {
		t.ceiling.flowS += s
	}
	if aOK {
		t.ceiling.ah += max(a, 0) * s / 3600
	}
}

// takesCharge ends the short ceiling after full for a pack that was used since: a
// full one does not stay below the gassing voltage at such a current. While the pack
// counts as full it stays.
func (t *Tracker) takesCharge(m *mark) {
	strong := !t.plateau.current || m.i >= startRate*t.cfg.CapacityAh
	if !t.s.Full && t.ceiling.afterFull && strong && m.v25 < regulatedV {
		t.ceiling.restart(false)
	}
}
