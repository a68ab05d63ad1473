package charge

import (
	"math"
	"time"
)

// Thermal runaway: at constant voltage the current rises because the pack warms,
// and the pack warms because the current rises. Windows of ten minutes are
// compared; in each of three the current must rise while the voltage holds. Linden,
// Handbook of Batteries: from memory; the figures are the project's own.
const (
	runWindow  = 10 * time.Minute
	runWindows = 4 // three rises
	runV       = 0.010
	runShare   = 0.03 // least rise of each window
	runTotal   = 0.15 // least total rise
	runRate    = 0.02 // the same as a share of the capacity
	runK       = 1.5  // least total warming, K
)

type window struct{ v, i, c float64 }

type runaway struct {
	at    time.Duration
	sum   window
	n     int
	last  [runWindows]window
	count int

	riseA, riseK float64
	is           bool
	on           bool // in the last tick a current flowed
	flows        bool // a charging current is shown, believed or not
	ended        bool // the charge ended while it was
}

// add processes one tick with all three readings shown.
func (r *runaway) add(now time.Duration, cellV, currentA, packC float64) {
	if r.n == 0 {
		r.at = now
	}
	r.sum.v += cellV
	r.sum.i += currentA
	r.sum.c += packC
	r.n++
	if now-r.at < runWindow {
		return
	}
	n := float64(r.n)
	copy(r.last[:], r.last[1:])
	r.last[runWindows-1] = window{r.sum.v / n, r.sum.i / n, r.sum.c / n}
	r.count = min(r.count+1, runWindows)
	r.sum, r.n = window{}, 0
}

// found returns the rise of current, A, and of temperature, K.
func (r *runaway) found(capacityAh float64) (riseA, riseK float64, ok bool) {
	if r.count < runWindows {
		return 0, 0, false
	}
	first, end := r.last[0], r.last[runWindows-1]
	for k := 1; k < runWindows; k++ {
		a, b := r.last[k-1], r.last[k]
		if b.i < a.i*(1+runShare) || math.Abs(b.v-first.v) > runV {
			return 0, 0, false
		}
	}
	riseA, riseK = end.i-first.i, end.c-first.c
	ok = riseA >= runTotal*first.i && riseA >= runRate*capacityAh && riseK >= runK
	return riseA, riseK, ok
}
