package ammeter

import (
	"math"
	"slices"
	"time"

	"bayward/agent/reading"
)

const (
	blockTicks = 15
	// unsureTicks is a block that the first minute cut short, and three whole ones.
	unsureTicks = 4 * blockTicks
	windowFor   = 5 * time.Minute
	windowMost  = time.Hour // a window that is noisier than wanted ends then
	// blockDev is the deviation of a block's median for noise of 1: 1.2533 over the root
	// of its size (asymptotic efficiency of the median, a textbook figure).
	blockDev = 0.324
	// noiseOf turns a median of differences between successive readings into a standard
	// deviation: 0.6745 times the root of 2 (the normal distribution).
	noiseOf = 1 / 0.9539
	// spread is how many deviations the blocks of a window may be apart: more is a load
	// that came or went.
	spread = 8
	// The zero rises after riseWindows that agree, and falls after fallWindows in
	// fallOpenings.
	riseWindows, fallWindows, fallOpenings = 3, 12, 3
	follow                                 = 1.0 / 8
)

// block is some successive readings. Medians keep single disturbed ones out.
type block struct {
	a [blockTicks]float64
	n int
}

// add reports whether the block is complete.
func (b *block) add(a float64) bool {
	b.a[b.n] = a
	b.n++
	return b.n == blockTicks
}

// judge returns the median and the noise of the readings.
func (b *block) judge() (midA, noiseA float64) {
	var apart [blockTicks - 1]float64
	for i := range apart {
		apart[i] = math.Abs(b.a[i+1] - b.a[i])
	}
	sorted := b.a
	slices.Sort(sorted[:])
	slices.Sort(apart[:])
	return sorted[blockTicks/2], noiseOf * (apart[len(apart)/2-1] + apart[len(apart)/2]) / 2
}

// window is a time in which the contactor was proven open.
type window struct {
	away          bool
	settled, span time.Duration
	sumA, noiseA  float64 // sums over the blocks
	lowA, highA   float64
	n             int
}

// judgeBlock adds a complete block of readings to the window.
func (m *Meter) judgeBlock(midA, noiseA float64) {
	w := &m.window
	if w.n == 0 {
		w.lowA, w.highA = midA, midA
	}
	w.lowA, w.highA = min(w.lowA, midA), max(w.highA, midA)
	w.sumA, w.noiseA, w.n = w.sumA+midA, w.noiseA+noiseA, w.n+1
	meanA, devA := w.sumA/float64(w.n), w.noiseA/float64(w.n)
	if w.highA-w.lowA > max(spread*blockDev*devA, sameRate*m.cfg.CapacityAh) {
		m.again()
		return
	}
	leftA := blockDev * devA / math.Sqrt(float64(w.n))
	wanted := sameRate / 2
	if !m.s.ZeroKnown {
		wanted = tellRate // better than none
	}
	if w.span < windowFor || leftA > wanted*m.cfg.CapacityAh && w.span < windowMost {
		return
	}
	m.judgeWindow(meanA, devA, leftA)
	m.again()
}

// again begins the next window of the same opening.
func (m *Meter) again() { m.window = window{away: m.window.away, settled: m.window.settled} }

// judgeWindow decides what the mean of a window is: a zero, a load, or a fault.
func (m *Meter) judgeWindow(meanA, devA, leftA float64) {
	most := m.mostA()
	switch {
	case meanA > most, meanA < -most && (m.window.away || m.steadyLoad(meanA)):
		m.fault(reading.ZeroOff, meanA)
		return
	case meanA < -most:
		return // a load
	}
	m.k.loadS = 0
	if devA > most {
		m.fault(reading.Noisy, devA)
		return
	}
	m.s.Fault, m.s.FarA = reading.None, 0
	m.learn(meanA, leftA)
}

func (m *Meter) fault(why reading.Fault, farA float64) { m.s.Fault, m.s.FarA = why, farA }

// steadyLoad reports whether a discharge has stayed the same for so long that it is none.
func (m *Meter) steadyLoad(meanA float64) bool {
	if m.k.loadS == 0 || math.Abs(meanA-m.k.loadA) > loadRate*m.cfg.CapacityAh {
		m.k.loadA, m.k.loadS = meanA, 0
	}
	m.k.loadS += m.window.span.Seconds()
	return m.k.loadS >= steadyFor.Seconds()
}

// learn follows the zero by a window within the bound.
func (m *Meter) learn(meanA, leftA float64) {
	same := max(3*leftA, sameRate*m.cfg.CapacityAh)
	switch apart := meanA - m.s.ZeroA; {
	case !m.s.ZeroKnown, m.window.away && math.Abs(apart) > same:
		m.zero(meanA)
	case math.Abs(apart) <= same:
		m.zero(m.s.ZeroA + follow*apart)
	default:
		m.differs(meanA, same, apart > 0)
	}
}

func (m *Meter) zero(a float64) {
	m.s.ZeroA, m.s.ZeroKnown, m.s.ZeroAt, m.s.ZeroAtKnown = a, true, m.now, true
	m.k.high, m.k.low, m.k.lowOpenings = 0, 0, 0
}

// differs counts windows of a pack in place that agree with each other and not with the
// zero.
func (m *Meter) differs(meanA, same float64, up bool) {
	k := &m.k
	if math.Abs(meanA-k.refA) > same {
		k.refA, k.high, k.low, k.lowOpenings, k.lowNew = meanA, 0, 0, 0, true
	}
	switch {
	case up:
		k.high, k.low, k.lowOpenings = k.high+1, 0, 0
	default:
		k.high, k.low = 0, k.low+1
		if k.lowNew {
			k.lowOpenings, k.lowNew = k.lowOpenings+1, false
		}
	}
	if k.high >= riseWindows || k.low >= fallWindows && k.lowOpenings >= fallOpenings {
		m.zero(meanA)
	}
}
