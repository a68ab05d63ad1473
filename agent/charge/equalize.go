package charge

import "time"

const (
	// Weekly, or every 5 to 10 cycles, for 3 to 6 h more than the charge:
	// traction habit, from memory. TM 10-6140-200-14 has a long charge at the
	// finish rate or less; NAVEDTRA 14344 ends it when the gravity of every cell
	// has stood for 4 h.
	equalizeCycles = 10
	equalizeEvery  = 7 * 24 * time.Hour
	equalizeFor    = 3 * time.Hour
)

// EqualizeReason says why an equalize charge is due. Zero means that none is.
type EqualizeReason uint8

// The reasons, the strongest last.
const (
	NotDue   EqualizeReason = iota
	ByTime                  // a week, with at least one charge in it
	ByCycles                // ten charges to full
	BySpread                // the gravities handed in lie 0.020 or more apart
)

// String is the reason's name in messages, "" when none is due.
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

// Equalize is advice: when the cells should be brought to the same charge. It
// grants and blocks nothing.
type Equalize struct {
	Due         EqualizeReason
	Cycles      int           // charges proven full since the last equalize charge
	Since       time.Duration // time since then, as far as it is proven
	Spread      float64       // specific gravity, highest less lowest cell, as last handed in
	SpreadKnown bool
	Now         bool // the charge under way has become one
}

// equalizer counts towards the next one.
type equalizer struct {
	cycles int
	at     time.Duration
	begun  bool
	afterS float64 // strong current after full in this charge
}

// watchEqualize sees an equalize charge in a finishing current that goes on for
// three hours after the pack was proven full.
func (t *Tracker) watchEqualize(n *tick) {
	e, out := &t.equal, &t.s.Equalize
	if !e.begun {
		e.begun, e.at = true, n.now
	}
	switch {
	case !t.s.Active:
		e.afterS = 0
	case t.s.Full && t.flow.on && (!n.aOK || n.a >= startRate*t.cfg.CapacityAh):
		e.afterS += n.dtS
	}
	out.Now = e.afterS >= equalizeFor.Seconds()
	if out.Now {
		e.cycles, e.at = 0, n.now
		out.Spread, out.SpreadKnown = 0, false // to be read anew
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
