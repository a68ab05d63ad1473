package cooldown

import "math"

// Memory is what one night teaches the next. No decision rests on it: without
// it only the estimate comes later.
type Memory struct {
	PerH       float64 `json:"per_h"`        // 1/tau
	SpreadPerH float64 `json:"spread_per_h"` // its standard error
}

// Memory gives what must survive a restart; ok is false while nothing is
// known.
func (r *Rest) Memory() (m Memory, ok bool) {
	return Memory{PerH: r.learned, SpreadPerH: r.learnedSE}, r.learned > 0
}

// Restore goes on in the middle of a cool-down, with what was learned before it; nil
// is nothing. A figure that cannot be is left out.
func (r *Rest) Restore(m *Memory) {
	r.goesOn = true
	if m == nil {
		return
	}
	if m.PerH >= kLeast && m.PerH <= 10 && m.SpreadPerH > 0 && !math.IsInf(m.SpreadPerH, 0) {
		r.learned, r.learnedSE = m.PerH, min(m.SpreadPerH, kFirstSpread)
	}
}

// guess is what a new night starts from.
func (r *Rest) guess() (k, spread float64) {
	if !(r.learned > 0) {
		return kFirst, kFirstSpread
	}
	return r.learned, math.Hypot(r.learnedSE, nightSpread*r.learned)
}
