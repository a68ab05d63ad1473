package cooldown

import (
	"math"
	"time"
)

const (
	markEvery  = 5 * time.Minute
	smoothOver = 2 * time.Minute
	fallMarks  = 7 // the fall is taken over half an hour
	forget     = 0.97
	leastMarks = 4
	leastXK    = 1.0 // K above ambient below which a fit says nothing
)

// fit estimates the time constant of Newton's law while the pack cools: least
// squares through the origin of -dT/dt on T - Ta, with forgetting, so that a
// drifting ambient and a door that opens are followed.
type fit struct {
	packC, airC float64 // smoothed
	hasAir      bool
	last        time.Duration
	primed      bool
	at          [fallMarks]time.Duration
	temps       [fallMarks]float64
	n           int
	markAirC    float64
	xx, xy, yy  float64
	w           float64
}

func (f *fit) reset() { *f = fit{} }

func (f *fit) add(now time.Duration, packC, airC float64, hasAir bool) {
	if !f.primed {
		*f = fit{primed: true, packC: packC, airC: airC, hasAir: hasAir, last: now}
		f.push(now)
		return
	}
	share := float64(now-f.last) / float64(now-f.last+smoothOver)
	f.packC += share * (packC - f.packC)
	if hasAir && f.hasAir {
		f.airC += share * (airC - f.airC)
	} else if hasAir {
		f.airC = airC
	}
	f.hasAir, f.last = hasAir, now
	if now-f.at[f.n-1] >= markEvery {
		f.learn(now)
		f.push(now)
	}
}

// learn takes one step between two marks into the sums.
func (f *fit) learn(now time.Duration) {
	prev := f.n - 1
	dtH := (now - f.at[prev]).Hours()
	if !f.hasAir || dtH > 1 {
		return
	}
	x := (f.packC+f.temps[prev])/2 - (f.airC+f.markAirC)/2
	y := (f.temps[prev] - f.packC) / dtH
	if x < leastXK {
		return
	}
	f.xx = forget*f.xx + x*x
	f.xy = forget*f.xy + x*y
	f.yy = forget*f.yy + y*y
	f.w = forget*f.w + 1
}

func (f *fit) push(now time.Duration) {
	if f.n == fallMarks {
		copy(f.at[:], f.at[1:])
		copy(f.temps[:], f.temps[1:])
		f.n--
	}
	f.at[f.n], f.temps[f.n] = now, f.packC
	f.n++
	f.markAirC = f.airC
}

// fall is how fast the temperature falls, K/h, over the last half hour.
func (f *fit) fall() (kPerH float64, ok bool) {
	if f.n < fallMarks {
		return 0, false
	}
	dtH := (f.at[f.n-1] - f.at[0]).Hours()
	return (f.temps[0] - f.temps[f.n-1]) / dtH, true
}

// tau is the time constant in hours with its standard error.
func (f *fit) tau() (tauH, se float64, ok bool) {
	if f.w < leastMarks*forget*forget || f.xy <= 0 {
		return 0, 0, false
	}
	k := f.xy / f.xx
	res := max(f.yy-k*f.xy, 0) / max(f.w-1, 1)
	seK := math.Sqrt(res / f.xx)
	return 1 / k, seK / (k * k), true
}
