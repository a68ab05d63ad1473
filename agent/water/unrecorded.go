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
	b.risen, b.risenMM = b.others(), b.s.UnrecordedMM
	b.diffs.outdated = true
}

// others are the cells whose level no probe shows.
func (b *Balance) others() (set CellSet) {
	for i := range b.cfg.Cells {
		if i+1 != b.cfg.Pilot {
			set |= 1 << i
		}
	}
	return set
}

// seen takes that a cell's level was read since the rise. Once each was, it no longer
// matters who watered.
func (b *Balance) seen(number int) {
	if b.risen &^= 1 << (number - 1); b.risen == 0 {
		b.s.UnrecordedMM = 0
	}
}

// unseen takes a reading back. Until the visit in which it was made is closed, it may be
// the one that ended the question.
func (b *Balance) unseen(number int) {
	if b.risenMM > 0 {
		b.risen |= 1 << (number - 1) & b.others()
		b.s.UnrecordedMM = b.risenMM
	}
}

// shown are the cells whose readings since the rise already show the water of a visit
// that is recorded later.
func (b *Balance) shown(later bool) CellSet {
	if !later || b.s.UnrecordedMM == 0 {
		return 0
	}
	return b.others() &^ b.risen
}

// without returns the water of all cells but these.
func without(ml *[MaxCells]float64, cells CellSet) *[MaxCells]float64 {
	out := *ml
	for i := range out {
		if cells.Has(i + 1) {
			out[i] = 0
		}
	}
	return &out
}

// recorded takes the water of a visit. A visit that was recorded later ends the question
// of who watered, and it returns how much of the pilot's water, mm, is the rise that was
// taken as unrecorded before. One with water of its own does not.
func (b *Balance) recorded(pilotMM float64, later bool) (lateMM float64) {
	b.still = still{}
	if later {
		lateMM = min(b.s.UnrecordedMM, max(pilotMM, 0))
		b.s.UnrecordedMM, b.risen = 0, 0
	}
	b.risenMM = b.s.UnrecordedMM
	return lateMM
}
