package charge

import "time"

// A plateau is proven by readings that do not change over three half-hour
// intervals: TM 5-4320-258-12, full charge. Marks are taken every ten minutes,
// so that what happens between the half-hours counts as well.
const (
	markEvery = 10 * time.Minute
	marks     = 10 // nine intervals: 90 minutes
	// steadyV is how far the compensated voltage of a cell may move over the
	// plateau: the last digit of a two-decimal voltmeter.
	steadyV = 0.010
	// The current may move by a tenth, or by what a sensor's noise and a
	// regulator's pulses amount to.
	steadyShare, steadyRate = 0.10, 0.004
	// taperRate is the highest current of a full vented battery at a
	// regulated 2.40 V: 2 A for each 100 Ah, EN 62485-3 (quoted), and a
	// quarter for age and sensor.
	taperRate = 0.025
	// finishRate is twice the usual finish rate of 5 A for each 100 Ah (from
	// memory): a constant current above it is the bulk of a charge.
	finishRate = 0.10
	// regulatedV is the least compensated voltage at which a tapered current
	// says something: just below the gassing onset of 2.37 V, TM 10-6140-200-14.
	regulatedV = 2.33
	// A charger without regulation takes a full cell beyond 2.45 V; rapid
	// gassing is at 2.50 V, TM 10-6140-200-14. Without a current reading only
	// the latter excludes a regulated charger that is still in its bulk.
	finishV, rapidV = 2.45, 2.50
	smoothOver      = 3 * time.Minute
)

// plateau smooths voltage and current and keeps the marks.
type plateau struct {
	v, i    float64 // smoothed: compensated V of a cell, A
	primed  bool
	last    time.Duration // of the smoothing
	markAt  time.Duration
	vs, is  [marks]float64
	n       int // marks taken since the last reset, up to marks
	next    int
	current bool // the marks have a current
}

func (p *plateau) reset() { *p = plateau{} }

// add takes in one reading while current flows.
func (p *plateau) add(now time.Duration, v25, currentA float64, hasCurrent bool) {
	if !p.primed || p.current != hasCurrent {
		*p = plateau{v: v25, i: currentA, primed: true, last: now, markAt: now, current: hasCurrent}
	}
	if dt := now - p.last; dt > 0 {
		share := float64(dt) / float64(dt+smoothOver)
		p.v += share * (v25 - p.v)
		p.i += share * (currentA - p.i)
		p.last = now
	}
	if now-p.markAt >= markEvery {
		p.mark(now)
	}
}

// mark skips whole intervals of a sparse trace: a mark stands for the time
// since the one before, however long that was.
func (p *plateau) mark(now time.Duration) {
	for p.markAt+markEvery <= now {
		p.markAt += markEvery
		p.vs[p.next], p.is[p.next] = p.v, p.i
		p.next = (p.next + 1) % marks
		p.n = min(p.n+1, marks)
	}
}

// evidence judges the marks.
func (p *plateau) evidence(capacityAh float64) Evidence {
	if p.n < marks {
		return NoEvidence
	}
	vLo, vHi := span(&p.vs)
	if vHi-vLo > steadyV {
		return NoEvidence
	}
	if !p.current {
		if vLo >= rapidV {
			return SteadyVoltage
		}
		return NoEvidence
	}
	iLo, iHi := span(&p.is)
	if iHi-iLo > max(steadyShare*iHi, steadyRate*capacityAh) {
		return NoEvidence
	}
	switch {
	case iHi <= taperRate*capacityAh && vLo >= regulatedV:
		return SteadyTaper
	case iHi <= finishRate*capacityAh && vLo >= finishV:
		return SteadyVoltage
	}
	return NoEvidence
}

func span(a *[marks]float64) (lo, hi float64) {
	lo, hi = a[0], a[0]
	for _, x := range a[1:] {
		lo, hi = min(lo, x), max(hi, x)
	}
	return lo, hi
}
