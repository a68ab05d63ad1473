package charge

import "time"

const (
	// pauseEnds is the pause after which hours and ampere-hours of a charge count
	// from zero: the trade's 8 h of work or of cooling (common practice, no
	// source). A charger that trips and restarts all night stays one charge.
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

// ceiling counts what a charge has delivered, across its pauses and across charges
// in close succession, up to full and then again after full.
type ceiling struct {
	flowS, ah float64
	over      Overrun
}

func (c *ceiling) begin(pause time.Duration, known bool) {
	if known && pause >= pauseEnds {
		*c = ceiling{}
	}
	c.over = Overrun{}
}

// Overrun returns the ceiling that the charge has passed: hours or ampere-hours
// without becoming full, or hours after full.
func (t *Tracker) Overrun() Overrun { return t.ceiling.over }

func (t *Tracker) ceilings(n *tick) {
	if !t.s.Active {
		return
	}
	c := &t.ceiling
	strong := !n.aOK || n.a >= startRate*t.cfg.CapacityAh
	if t.flow.on && (strong || !t.s.Full) {
		c.flowS += n.dtS
		if n.aOK {
			c.ah += max(n.a, 0) * n.dtH
		}
	}
	limit := t.cfg.MaxFor
	if t.s.Full {
		limit = min(limit, overchargeFor)
	}
	switch {
	case c.flowS > limit.Seconds():
		c.over = Overrun{Hours: true, AfterFull: t.s.Full, Value: c.flowS / 3600, Limit: limit.Hours()}
	case !t.s.Full && c.ah > t.cfg.MaxAh:
		c.over = Overrun{AmpereHours: true, Value: c.ah, Limit: t.cfg.MaxAh}
	}
}
