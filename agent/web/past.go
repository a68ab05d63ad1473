package web

import (
	"math"
	"sync"
	"time"

	"bayward/agent/bay"
)

const (
	// pastEvery and pastFor thin out the last hours to at most 1800 points a bay.
	pastEvery = 90 * time.Second
	pastFor   = 45 * time.Hour
	maxPoints = int(pastFor / pastEvery)
)

// point is the part of a picture that is kept; unknown values are NaN. Single
// precision is far finer than any plot.
type point struct {
	at                time.Duration
	v, a, c, mm, airC float32
	stage             bay.Stage
	granted           bool
}

// Past keeps the last hours of each bay in memory, thinned out, for the page. The
// zero value is ready to use. It is safe for concurrent use.
type Past struct {
	mu   sync.Mutex // guards what follows
	bays map[string][]point
	// events holds the last events of each bay, oldest first.
	events map[string][]Before
}

// Observe adds a picture.
func (h *Past) Observe(p *bay.Picture) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.bays == nil {
		h.bays = map[string][]point{}
	}
	kept := h.bays[p.Bay]
	if n := len(kept); n > 0 && p.Now-kept[n-1].at < pastEvery && p.Stage == kept[n-1].stage {
		return
	}
	if len(kept) >= maxPoints {
		kept = append(kept[:0], kept[len(kept)-maxPoints+1:]...)
	}
	h.bays[p.Bay] = append(kept, newPoint(p))
}

func newPoint(p *bay.Picture) point {
	nan := float32(math.NaN())
	x := point{at: p.Now, v: nan, a: nan, c: nan, mm: nan, airC: nan, stage: p.Stage, granted: p.Permit.Granted}
	if p.Seen.PackV.OK() {
		x.v = float32(p.Seen.PackV.Value)
	}
	if p.Seen.CurrentA.OK() {
		x.a = float32(p.Seen.CurrentA.Value)
	}
	if p.Seen.PackC.OK() {
		x.c = float32(p.Seen.PackC.Value)
	}
	if p.Seen.AmbientC.OK() {
		x.airC = float32(p.Seen.AmbientC.Value)
	}
	if p.Seen.Level.Usable() {
		x.mm = float32(p.Seen.Level.MidMM())
	}
	return x
}

// since copies the points of a bay from the given time on.
func (h *Past) since(bayName string, from time.Duration) []point {
	h.mu.Lock()
	defer h.mu.Unlock()
	kept := h.bays[bayName]
	i := 0
	for i < len(kept) && kept[i].at < from {
		i++
	}
	return append([]point{}, kept[i:]...)
}
