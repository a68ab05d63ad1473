package charge_test

import (
	"math"
	"time"

	"bayward/agent/charge"
	"bayward/agent/reading"
)

// hands feeds single readings to a tracker. Its pack has 1,000 Ah, so that shares of the
// capacity are numbers that a float has exactly; ticks of minutes are not averaged.
type hands struct {
	tr                *charge.Tracker
	now               time.Duration
	v, a, c, complete float64 // NaN: no reading
}

// newHands has a pack at rest at half of its charge.
func newHands(change ...func(*charge.Config)) *hands {
	h := untouched(change...)
	h.tick(0)
	return h
}

// restored is a pack of which a memory tells, saved now.
func restored(m charge.Memory, change ...func(*charge.Config)) *hands {
	h := untouched(change...)
	h.tr.Restore(&m, h.now, 0, true)
	return h
}

// untouched is a pack before its first tick.
func untouched(change ...func(*charge.Config)) *hands {
	cfg := config(1000, 1.285)
	for _, f := range change {
		f(&cfg)
	}
	h := &hands{tr: charge.New(cfg), v: 2.06, c: 25, complete: math.NaN()}
	if !cfg.HasCurrent {
		h.a = math.NaN()
	}
	return h
}

// blind has no current sensor.
func blind(c *charge.Config) { c.HasCurrent = false }

// tick passes one tick of a length.
func (h *hands) tick(d time.Duration) *charge.Status {
	h.now += d
	in := charge.Inputs{Now: h.now, CellV: h.good(h.v), CurrentA: h.good(h.a), PackC: h.good(h.c), Complete: h.good(h.complete)}
	h.tr.Step(&in)
	return h.tr.Status()
}

func (h *hands) good(v float64) reading.Reading {
	if math.IsNaN(v) {
		return reading.Bad(reading.Missing, h.now)
	}
	return reading.Good(v, h.now)
}

// pass passes a time in ticks of a length.
func (h *hands) pass(d, each time.Duration) *charge.Status {
	for end := h.now + d; h.now < end; {
		h.tick(min(each, end-h.now))
	}
	return h.tr.Status()
}

// provenFull is a pack that a hydrometer shows to be full.
func (h *hands) provenFull() *hands {
	for cell := 1; cell <= 12; cell++ {
		h.tr.CellGravity(h.now, sound(cell, 1.285))
	}
	return h
}

// take gives the pack some readings.
func (h *hands) take(v, a float64) *hands {
	h.v, h.a = v, a
	return h
}
