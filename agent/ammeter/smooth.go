package ammeter

import (
	"math"
	"time"
)

const (
	// averageMost is the longest that a current is averaged over.
	averageMost = 10 * time.Minute
	// stepDevs is how far two readings in a row must be off to be a step: it happens once
	// in ten million pairs by chance (normal distribution).
	stepDevs = 3.5
	bandDevs = 3
)

// smooth averages a noisy current. A step begins it again.
type smooth struct {
	a    float64
	n    int // readings in a, up to the number that is wanted
	offA float64
	off  int // the last reading was off: 1 above, -1 below
	open bool
	away bool
}

// noise follows the noise by a block of readings. The first ones count alike: one alone may
// show half of it.
func (m *Meter) noise(a float64) {
	if !m.s.NoiseKnown {
		m.s.NoiseKnown, m.blocks = true, 0
	} else if m.blocks == 0 {
		m.blocks = 1 / follow // restored
	}
	m.blocks++
	m.s.NoiseA += max(follow, 1/float64(m.blocks)) * (a - m.s.NoiseA)
}

// smoothed returns the current as it counts. A quiet one is not averaged.
func (m *Meter) smoothed(a float64, in *Inputs, dt time.Duration) float64 {
	c := m.cfg.CapacityAh
	if !m.s.NoiseKnown || m.s.NoiseA <= quietRate*c || dt <= 0 {
		m.smooth, m.s.BandA = smooth{}, 0
		return a
	}
	s, away := &m.smooth, m.away(in)
	if in.Open != s.open || away != s.away {
		*s = smooth{open: in.Open, away: away} // an order, or a plug: what flowed before says nothing
	}
	devA := min(m.s.NoiseA, m.mostA())
	s.take(a, stepDevs*devA, wanted(devA/(leftRate*c), dt))
	m.s.BandA = bandDevs * devA / math.Sqrt(float64(s.n))
	return s.a
}

// wanted returns how many readings are averaged for the noise to shrink by a factor:
// exponential weights of 1/n leave 1/√2n of it.
func wanted(times float64, dt time.Duration) int {
	return int(max(1, min(times*times/2, averageMost.Seconds()/dt.Seconds())))
}

func (s *smooth) take(a, stepA float64, most int) {
	off := 0
	switch apart := a - s.a; {
	case s.n == 0:
	case apart > stepA:
		off = 1
	case apart < -stepA:
		off = -1
	}
	switch {
	case off != 0 && off == s.off:
		s.a, s.n, s.off = (a+s.offA)/2, 2, 0
		return
	case off != 0:
		s.off, s.offA = off, a
		a = s.a + float64(off)*stepA // one reading alone may be disturbed
	default:
		s.off = 0
	}
	s.n = min(s.n+1, most)
	s.a += (a - s.a) / float64(s.n)
}
