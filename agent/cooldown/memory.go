package cooldown

import "math"

// Memory is what one night teaches the next. No decision depends on it: without it
// only the estimate comes later.
type Memory struct {
	PerH       float64 `json:"per_h"`        // 1/tau
	SpreadPerH float64 `json:"spread_per_h"` // its standard error
}

// Memory returns what must survive a restart; ok is false while nothing is learned.
func (r *Rest) Memory() (m Memory, ok bool) {
	return Memory{PerH: r.learned, SpreadPerH: r.learnedSE}, r.learned > 0
}

// Restore continues in the middle of a cool-down with what was learned before; nil
// means nothing. It leaves out an impossible figure.
func (r *Rest) Restore(m *Memory) {
	r.goesOn = true
	if m == nil {
		return
	}
	if m.PerH >= kLeast && m.PerH <= 10 && m.SpreadPerH > 0 && !math.IsInf(m.SpreadPerH, 0) {
		r.learned, r.learnedSE = m.PerH, min(m.SpreadPerH, kFirstSpread)
	}
}

// guess returns the first guess of a new night.
func (r *Rest) guess() (k, spread float64) {
	if !(r.learned > 0) {
		return kFirst, kFirstSpread
	}
	return r.learned, math.Hypot(r.learnedSE, nightSpread*r.learned)
}
