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
	// regulatedSpanV is what a regulator and its temperature drift may move.
	regulatedSpanV = 0.025
	// The current may move by a tenth, or by an amount that leaves little to
	// put in: a current that falls exponentially with a time constant of 2 h
	// and has lost 0.5 A for each 100 Ah in 90 min has some 1 % still to give.
	steadyShare, steadyRate = 0.10, 0.005
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

// mark is a smoothed reading: the voltage of a cell as it is, referred to
// 25 °C, and the current.
type mark struct{ v, v25, i float64 }

// plateau smooths voltage and current and keeps the marks.
type plateau struct {
	now     mark // smoothed
	primed  bool
	last    time.Duration // of the smoothing
	markAt  time.Duration
	marks   [marks]mark
	n       int // marks taken since the last reset, up to marks
	next    int
	current bool // the marks have a current
}

func (p *plateau) reset() { *p = plateau{} }

// add takes in one reading while current flows.
func (p *plateau) add(now time.Duration, m mark, hasCurrent bool) {
	if !p.primed || p.current != hasCurrent {
		*p = plateau{now: m, primed: true, last: now, markAt: now, current: hasCurrent}
	}
	if dt := now - p.last; dt > 0 {
		share := float64(dt) / float64(dt+smoothOver)
		p.now.v += share * (m.v - p.now.v)
		p.now.v25 += share * (m.v25 - p.now.v25)
		p.now.i += share * (m.i - p.now.i)
		p.last = now
	}
	// A sparse trace skips intervals: a mark stands for the time since the one
	// before, however long that was.
	for p.markAt+markEvery <= now {
		p.markAt += markEvery
		p.marks[p.next] = p.now
		p.next = (p.next + 1) % marks
		p.n = min(p.n+1, marks)
	}
}

// evidence judges the marks. A regulated voltage is judged as it is, since it
// is the charger that holds it; one that the cells set is referred to 25 °C.
func (p *plateau) evidence(capacityAh float64) Evidence {
	if p.n < marks {
		return NoEvidence
	}
	lo, hi := p.span()
	level := hi.v25-lo.v25 <= steadyV
	if !p.current {
		if level && lo.v25 >= rapidV {
			return SteadyVoltage
		}
		return NoEvidence
	}
	if hi.i-lo.i > max(steadyShare*hi.i, steadyRate*capacityAh) {
		return NoEvidence
	}
	switch {
	case hi.i <= taperRate*capacityAh && lo.v25 >= regulatedV && hi.v-lo.v <= regulatedSpanV:
		return SteadyTaper
	case level && hi.i <= finishRate*capacityAh && lo.v25 >= finishV:
		return SteadyVoltage
	}
	return NoEvidence
}

func (p *plateau) span() (lo, hi mark) {
	lo, hi = p.marks[0], p.marks[0]
	for _, m := range p.marks[1:] {
		lo = mark{min(lo.v, m.v), min(lo.v25, m.v25), min(lo.i, m.i)}
		hi = mark{max(hi.v, m.v), max(hi.v25, m.v25), max(hi.i, m.i)}
	}
	return lo, hi
}
