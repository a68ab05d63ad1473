package charge

import (
	"math"
	"time"
)

// RunMemory is the windows of the runaway rule as stored.
type RunMemory struct {
	AgoS  float64      `json:"ago_s"` // since the open window began
	N     int          `json:"n"`
	Sum   [3]float64   `json:"sum"` // V, A, °C
	Means [][3]float64 `json:"means"`
}

func (w *window) stored() [3]float64 { return [3]float64{w.v, w.i, w.c} }

// memory returns nil when there is nothing to store.
func (r *runaway) memory(now time.Duration) *RunMemory {
	if r.n == 0 && r.count == 0 {
		return nil
	}
	m := &RunMemory{N: r.n, Sum: r.sum.stored(), Means: [][3]float64{}}
	if r.n > 0 {
		m.AgoS = (now - r.at).Seconds()
	}
	for i := runWindows - r.count; i < runWindows; i++ {
		m.Means = append(m.Means, r.last[i].stored())
	}
	return m
}

func (m *RunMemory) valid() bool {
	if m == nil {
		return true
	}
	ok := m.N >= 0 && len(m.Means) <= runWindows && m.AgoS >= 0 && allFinite(m.AgoS) && allFinite(m.Sum[:]...)
	for i := range m.Means {
		ok = ok && allFinite(m.Means[i][:]...)
	}
	return ok
}

// restore continues the windows, whatever the gap: nothing in it proves that a
// runaway has ended. A pause cools the pack, which the next windows show.
func (r *runaway) restore(m *RunMemory, now time.Duration) {
	if m == nil {
		return
	}
	r.at, r.n, r.sum = now-time.Duration(m.AgoS*float64(time.Second)), m.N, window{m.Sum[0], m.Sum[1], m.Sum[2]}
	r.count = len(m.Means)
	for i, w := range m.Means {
		r.last[runWindows-r.count+i] = window{w[0], w[1], w[2]}
	}
}

// allFinite reports whether values of a memory are possible.
func allFinite(values ...float64) bool {
	for _, x := range values {
		if math.IsNaN(x) || x > most || x < -most {
			return false
		}
	}
	return true
}

// unsaved returns for how long current may have flowed after the memory was saved.
// A charge that began in that time would have been saved as an event.
func (m *Memory) unsaved(gap time.Duration, proven bool) time.Duration {
	longest := time.Duration(0)
	switch {
	case m.Flowing || m.Active:
		longest = SavedWithin
	case m.MayFlow:
		longest = confirm
	}
	if proven {
		return min(gap, longest)
	}
	return longest
}

// restoreCeiling continues the ceiling over any gap, and adds what may have flowed
// after the memory was saved. gap is 0 unless it is proven.
func (t *Tracker) restoreCeiling(m *Memory, now, gap time.Duration, proven bool) {
	lost := m.unsaved(gap, proven)
	t.ceiling = ceiling{flowS: m.CeilingS, ah: m.CeilingAh, afterFull: m.CeilingFull || m.Full, wasOn: true, onAt: now}
	switch {
	case lost > 0:
		t.ceiling.onAt = now - max(gap-lost, 0)
	case m.FlowAgoS != nil:
		t.ceiling.onAt = now - gap - time.Duration(*m.FlowAgoS*float64(time.Second))
	}
	a := finishRate * t.cfg.CapacityAh // where it is not known
	if m.Flowing {
		a = m.FlowA
	}
	t.countCeiling(lost.Seconds(), a, t.cfg.HasCurrent, false)
	t.s.UnsavedGasAh = m.UnsavedGasAh + m.GasA*lost.Hours()
}

// restoreRest continues a rest over a gap that cannot have ended it.
func (t *Tracker) restoreRest(m *Memory, now, gap time.Duration) {
	t.rest.selfOut = m.SelfShare
	if !m.Resting {
		return
	}
	at := func(agoS float64) time.Duration { return now - gap - time.Duration(agoS*float64(time.Second)) }
	r := &t.rest
	r.resting, r.since, r.v, r.agedH = true, at(m.RestAgoS), m.RestV, m.AgedH+gap.Hours()
	r.markV, r.markAt = r.v, now
	if m.LowForS != nil {
		r.low, r.lowAt = true, at(*m.LowForS)
	}
}
