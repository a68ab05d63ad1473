package water

import (
	"math"
	"time"
)

// A jar that leaks loses water by the day, charged or not. Its readings come lower than
// gassing explains; the rate of loss alone forgets that where little is charged, and a
// reading that contradicts teaches no rate at all.
const (
	// leakZ is how many standard errors a reading must be too low, and leakVar the
	// variance, mm², of a slip of a mark in either of the two readings.
	leakZ, leakVar = 2.4, 1.0
	// leastLeak is a leak that is forgotten, and mostLeak more than any pack is charged
	// with, mm a day.
	leastLeak, mostLeak = 0.2, 20.0
	// leakDays is the least time between two readings that show a leak, or its end.
	leakDays = 0.25
)

// days returns the days since the cell was last read.
func (c *KnownCell) days(now time.Duration) float64 { return max((now-c.readAt).Hours()/24, 0) }

// leak takes a reading that is so far off what gassing and recorded water leave, with
// the variance of both. What comes too low beyond their errors, even without the water
// that no look has shown, leaks; what then comes no lower than a leak must, leaks less.
func (c *KnownCell) leak(offMM, spread float64, now time.Duration) {
	days, tol := max(c.days(now), 1), leakZ*math.Sqrt(spread+leakVar)
	if c.Lost || c.Marked || c.days(now) < leakDays || offMM > tol { // water that nobody recorded shows no leak
		return
	}
	switch under := -offMM - c.UnseenMM; {
	case under > tol:
		c.LeakMM = max(c.LeakMM, under/days)
	case -2*offMM < c.LeakMM*days: // less than half of it leaked
		c.LeakMM /= 2
	}
	c.LeakMM = min(c.LeakMM, max(tol-offMM, 0)/days, mostLeak)
	if c.LeakMM < leastLeak {
		c.LeakMM = 0
	}
}

// leakedMM returns how much may have leaked since the last reading.
func (b *Balance) leakedMM(c *KnownCell) float64 { return c.LeakMM * c.days(b.last) }

// lowIn returns the lowest level of a cell when so many millimetres more were lost by
// Faraday's law. A leak goes on for the days that this takes.
func (b *Balance) lowIn(c *KnownCell, moreMM float64) float64 {
	low := c.lowAfter(b.lostSince(c)+moreMM) - b.leakedMM(c)
	if mean, _ := b.use.rate(); c.LeakMM > 0 && moreMM > 0 {
		low -= c.LeakMM * moreMM / max(b.mm(mean), leastLeak)
	}
	return low
}

// leaking reports whether the bound of any cell follows the clock.
func (b *Balance) leaking() bool {
	for i := range b.cfg.Cells {
		if b.know.cells[i].LeakMM > 0 {
			return true
		}
	}
	return false
}
