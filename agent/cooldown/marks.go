package cooldown

import "time"

const (
	markEvery  = 5 * time.Minute
	smoothOver = 2 * time.Minute
	fallMarks  = 7 // the fall is taken over half an hour
	// driftOver is the memory of the slow mean of the air that its drift is
	// taken from.
	driftOver = time.Hour
	// gapMost is the longest step over which a mean of both ends stands for
	// what was in between.
	gapMost = 20 * time.Minute
)

// marks smooths both temperatures and keeps the pack's at every five minutes
// of the clock. The grid is that of the clock and not of the first tick, so that
// a restart finds the same marks again.
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
	sumH        float64 // time that sumKH covers, h
}

// add takes in one tick; it tells whether a mark was set. None is set before
// settle has gone by since the first: that one's noise must have gone out of the
// mean, or a fall would look slower than it is.
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

// taken gives the excess over the air since the mark before and starts anew;
// whole is false when a part of that time is not known.
func (m *marks) taken() (kh, h float64, whole bool) {
	if m.n < 2 {
		return 0, 0, false
	}
	h = (m.at[m.n-1] - m.at[m.n-2]).Hours()
	kh, whole = m.sumKH, h-m.sumH < 1.0/3600
	m.sumKH, m.sumH = 0, 0
	return kh, h, whole
}

// fall is how fast the temperature falls, K/h, over the last half hour.
func (m *marks) fall() (kPerH float64, ok bool) {
	if m.n < fallMarks {
		return 0, false
	}
	dtH := (m.at[m.n-1] - m.at[0]).Hours()
	return (m.temps[0] - m.temps[m.n-1]) / dtH, true
}

// drift follows where the air is going.
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

// kPerH is the drift of the air: a mean over an hour lags a steady drift by
// one hour's worth.
func (d *drift) kPerH() float64 { return (d.nowC - d.slowC) / (driftOver - smoothOver).Hours() }

// part is the share that a first-order mean moves in dt.
func part(dt, over time.Duration) float64 { return float64(dt) / float64(dt+over) }
