package charge

import "time"

const (
	// Weekly, or every 5 to 10 cycles, for 3 to 6 h more than the charge: traction
	// habit, from memory. TM 10-6140-200-14 has a long charge at the finish rate or
	// less; NAVEDTRA 14344 ends it when the gravity of every cell has not moved for
	// 4 h.
	equalizeCycles = 10
	equalizeEvery  = 7 * 24 * time.Hour
	equalizeFor    = 3 * time.Hour
)

// EqualizeReason is why an equalize charge is due. Zero means that none is.
type EqualizeReason uint8

// The reasons, the strongest last.
const (
	NotDue   EqualizeReason = iota
	ByTime                  // a week, with at least one charge in it
	ByCycles                // ten charges to full
	BySpread                // the entered gravities differ by 0.020 or more
)

// String returns the reason's name in messages, "" when none is due.
func (r EqualizeReason) String() string {
	switch r {
	case ByTime:
		return "time"
	case ByCycles:
		return "cycles"
	case BySpread:
		return "gravity-spread"
	case NotDue:
	}
	return ""
}

// Equalize advises when to bring the cells to the same charge. It grants and blocks
// nothing.
type Equalize struct {
	Due         EqualizeReason
	Cycles      int           // charges proven full since the last equalize charge
	Since       time.Duration // proven time since then
	Spread      float64       // specific gravity, highest less lowest cell, as last entered
	SpreadKnown bool
	Now         bool // the current charge has become one
}

// equalizer counts towards the next equalize charge.
type equalizer struct {
	cycles int
	at     time.Duration
	begun  bool
	afterS float64 // strong current after full in this charge
}

// watchEqualize detects an equalize charge: a finishing current that continues for
// three hours after the pack was proven full.
func (t *Tracker) watchEqualize(n *tick) {
	e, out := &t.equal, &t.s.Equalize
	if !e.begun {
		e.begun, e.at = true, n.now
	}
	switch {
	case !t.s.Active:
		e.afterS = 0
	case t.allGas() && t.flow.on && (!n.aOK || n.a >= startRate*t.cfg.CapacityAh):
		e.afterS += n.dtS
	}
	out.Now = e.afterS >= equalizeFor.Seconds()
	if out.Now {
		e.cycles, e.at = 0, n.now
		out.Spread, out.SpreadKnown = 0, false // must be read again
	}
	out.Cycles, out.Since = e.cycles, n.now-e.at
	out.Due = e.due(out)
}

func (e *equalizer) due(s *Equalize) EqualizeReason {
	switch {
	case s.SpreadKnown && s.Spread >= spreadDue-1e-9:
		return BySpread
	case e.cycles >= equalizeCycles:
		return ByCycles
	case s.Since >= equalizeEvery && e.cycles > 0:
		return ByTime
	}
	return NotDue
}
