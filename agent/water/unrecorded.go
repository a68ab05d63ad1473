package water

import "time"

const (
	// unrecordedMM is how far a settled level may rise without water: the acid that
	// comes back to a level with the state of charge moves it by 2 mm at most (see the
	// package), and a probe is off by 1 mm.
	unrecordedMM = 3.0
	// stillFor is how long a level must stay before it counts, and stillMM how far it may
	// move meanwhile: no wave and no bubble lasts so long.
	stillFor = 10 * time.Minute
	stillMM  = 1.0
)

// still finds water that nobody recorded: a level that was still, and is still again,
// higher, with no visit between.
type still struct {
	lowMM, highMM   float64 // the level that was still, settled
	known           bool
	nextLow, nextUp float64 // the one that may be the next
	since           time.Duration
	seen            bool
}

// look takes a settled level in calm electrolyte, and returns by how much water has
// raised it, 0 for not.
func (s *still) look(now time.Duration, lowMM, highMM float64) (riseMM float64) {
	if !s.seen || lowMM > s.nextUp+stillMM || highMM < s.nextLow-stillMM {
		s.nextLow, s.nextUp, s.since, s.seen = lowMM, highMM, now, true
		return 0
	}
	if now-s.since < stillFor {
		return 0
	}
	if s.known && lowMM > s.highMM+unrecordedMM {
		riseMM = (lowMM + highMM - s.lowMM - s.highMM) / 2
	}
	s.lowMM, s.highMM, s.known = lowMM, highMM, true
	s.nextLow, s.nextUp = lowMM, highMM
	return riseMM
}

// unrecorded takes a rise of the pilot's level that no visit explains. It was poured
// into the pilot, so no other cell rises with it.
func (b *Balance) unrecorded(riseMM float64) {
	if riseMM == 0 {
		return
	}
	for i := range b.cfg.Cells {
		if i+1 != b.cfg.Pilot {
			b.cells[i].OffsetMM -= riseMM
		}
	}
	b.s.UnrecordedMM += riseMM
	b.diffs.outdated = true
}

// recorded returns how much of the pilot's water, mm, is a rise that was taken as
// unrecorded before, and ends it: its visit was recorded later.
func (b *Balance) recorded(pilotMM float64) float64 {
	was := min(b.s.UnrecordedMM, max(pilotMM, 0))
	b.s.UnrecordedMM, b.still = 0, still{}
	return was
}
