package cooldown

import (
	"math"
	"time"
)

const (
	markEvery  = 5 * time.Minute
	smoothOver = 2 * time.Minute
	fallMarks  = 7 // the fall is taken over half an hour
	// driftOver is the time constant of the slow mean of the air, from which its
	// drift is taken.
	driftOver = time.Hour
	// gapMost is the longest step over which the mean of both ends may stand in for
	// the time between.
	gapMost = 20 * time.Minute
)

// marks smooths both temperatures and stores the pack's every five minutes of the
// clock. The grid follows the clock, not the first tick, so a restart finds the
// same marks again.
type marks struct {
	packC, airC float64 // smoothed
	hasAir      bool
	last        time.Duration
	primed      bool
	since       time.Duration // of the first reading
	number      int64         // of the last mark
	at          [fallMarks]time.Duration
	temps       [fallMarks]float64
	n           int
	sumKH       float64 // excess over the air since the last mark, K h
	sumH        float64 // time that sumKH spans, h
}

// add processes one tick and reports whether a mark was set. It sets none before
// settle has passed since the first reading: that reading's noise must have left
// the mean, or a fall would look slower than it is.
func (m *marks) add(now time.Duration, packC, airC float64, hasAir bool, settle time.Duration) bool {
	number := int64(now / markEvery)
	if !m.primed {
		*m = marks{primed: true, packC: packC, airC: airC, hasAir: hasAir, last: now, since: now, number: number}
		return false
	}
	dt := now - m.last
	share := part(dt, smoothOver)
	before, knew := m.packC-m.airC, m.hasAir
	m.packC += share * (packC - m.packC)
	switch {
	case hasAir && m.hasAir:
		m.airC += share * (airC - m.airC)
	case hasAir:
		m.airC = airC
	}
	m.hasAir, m.last = hasAir, now
	if knew && hasAir && dt <= gapMost {
		m.sumKH += (before + m.packC - m.airC) / 2 * dt.Hours()
		m.sumH += dt.Hours()
	}
	if now-m.since < settle {
		m.number = number
		return false
	}
	if number == m.number {
		return false
	}
	m.push(now, number)
	return true
}

func (m *marks) push(now time.Duration, number int64) {
	if m.n == fallMarks {
		copy(m.at[:], m.at[1:])
		copy(m.temps[:], m.temps[1:])
		m.n--
	}
	m.at[m.n], m.temps[m.n], m.number = now, m.packC, number
	m.n++
}

// taken returns the excess over the air since the previous mark and starts again;
// whole is false when part of that time is unknown.
func (m *marks) taken() (kh, h float64, whole bool) {
	sumKH, sumH := m.sumKH, m.sumH
	m.sumKH, m.sumH = 0, 0
	if m.n < 2 {
		return 0, 0, false
	}
	h = (m.at[m.n-1] - m.at[m.n-2]).Hours()
	return sumKH, h, math.Abs(h-sumH) < 1.0/3600
}

// fall returns how fast the temperature fell over the last half hour, K/h.
func (m *marks) fall() (kPerH float64, ok bool) {
	if m.n < fallMarks {
		return 0, false
	}
	dtH := (m.at[m.n-1] - m.at[0]).Hours()
	return (m.temps[0] - m.temps[m.n-1]) / dtH, true
}

// drift follows the trend of the air temperature.
type drift struct {
	nowC, slowC float64
	last        time.Duration
	known       bool
}

func (d *drift) add(now time.Duration, airC float64, ok bool) {
	if !ok {
		return
	}
	if !d.known || now-d.last > driftOver {
		*d = drift{nowC: airC, slowC: airC, last: now, known: true}
		return
	}
	d.nowC += part(now-d.last, smoothOver) * (airC - d.nowC)
	d.slowC += part(now-d.last, driftOver) * (airC - d.slowC)
	d.last = now
}

// kPerH returns the drift of the air: a mean over an hour lags a steady drift by
// one hour's worth.
func (d *drift) kPerH() float64 { return (d.nowC - d.slowC) / (driftOver - smoothOver).Hours() }

// part returns the share by which a first-order mean moves in dt.
func part(dt, over time.Duration) float64 { return float64(dt) / float64(dt+over) }
