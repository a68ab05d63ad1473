package water

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
)

const (
	// unrecordedMM is how far a settled level may rise without water: the acid that
	// comes back to a level with the state of charge moves it by 2 mm at most (see the
	// package), and a probe is off by 1 mm.
	unrecordedMM = 3.0
	// stillFor is how long a level must stay before it counts, and stillMM how far it may
	// move meanwhile: no wave and no bubble lasts so long.
	stillFor = 10 * time.Minute
	stillMM  = 1.0
	// openedFor is enough for a level that was raised before a visit is opened: no wave
	// lasts so long, and nobody types faster.
	openedFor = time.Minute
	// earlierMM is how much better water that was poured before the visit was opened must
	// explain the level than water poured in it.
	earlierMM = 1.0
)

// still finds water that nobody recorded: a level that was still, and is still again,
// higher, with no visit between.
type still struct {
	lowMM, highMM   float64 // the level that was still, settled
	known           bool
	resting         bool // and no charge has passed since
	step            step
	nextLow, nextUp float64 // the one that may be the next
	since           time.Duration
	seen            bool
}

// step is the last rise within a rest. Less than unrecordedMM may be no water: only water
// that is recorded then says so.
type step struct {
	fromMM, mm float64
	at         RisenAt
	known      bool
}

// RisenAt is when a level rose without a visit, as it is also stored: the gassing total,
// and how much higher heat made the level.
type RisenAt struct {
	Ah     float64 `json:"ah"`
	WarmMM float64 `json:"warm_mm"`
}

// look takes a settled level in calm electrolyte, and returns by how much water has
// raised it, 0 for not.
func (s *still) look(now time.Duration, lowMM, highMM float64, at RisenAt) (riseMM float64) {
	if !s.seen || lowMM > s.nextUp+stillMM || highMM < s.nextLow-stillMM {
		s.nextLow, s.nextUp, s.since, s.seen = lowMM, highMM, now, true
		return 0
	}
	if now-s.since < stillFor {
		return 0
	}
	rose := (lowMM + highMM - s.lowMM - s.highMM) / 2
	if s.known && lowMM > s.highMM+unrecordedMM {
		riseMM = rose
	}
	if s.known && s.resting && lowMM > s.highMM+stillMM {
		s.step = step{fromMM: (s.lowMM + s.highMM) / 2, mm: rose, at: at, known: true}
	}
	s.lowMM, s.highMM, s.known, s.resting = lowMM, highMM, true, true
	s.nextLow, s.nextUp = lowMM, highMM
	return riseMM
}

// opened returns the rise up to the moment in which a visit is opened.
func (s *still) opened(now time.Duration, lowMM, highMM float64) (riseMM float64) {
	if !s.known || !s.seen || now-s.since < openedFor || lowMM <= s.highMM+unrecordedMM || lowMM > s.nextUp+stillMM || highMM < s.nextLow-stillMM {
		return 0
	}
	riseMM = (lowMM + highMM - s.lowMM - s.highMM) / 2
	s.lowMM, s.highMM = lowMM, highMM
	return riseMM
}

// before returns the level that was calm before it last rose.
func (s *still) before() (mm float64, known bool) {
	if s.step.known {
		return s.step.fromMM, true
	}
	return (s.lowMM + s.highMM) / 2, s.known
}

// Opened takes that a visit is opened. People pour first and type later: a level that has
// risen since it was last calm has water that is not recorded yet.
func (b *Balance) Opened() {
	if b.probeCalm && !b.open && b.s.Known {
		b.unrecorded(b.still.opened(b.last, b.lowMM, b.lowMM+b.spanMM))
	}
}

// earlier returns how much of the pilot's water, mm, its level already showed when the
// visit was opened: what it has not risen by since. Without a rise on record the level
// before it rose must say so, and clearly better than that the water came in the visit.
func (b *Balance) earlier(beforeMM, pilotMM float64) float64 {
	if !b.s.Known || b.open || !(pilotMM > 0) {
		return 0
	}
	risen := b.risenMM
	if risen == 0 {
		calm, known := b.still.before()
		first, later := math.Abs(b.s.SettledMM-calm-pilotMM), math.Abs(b.s.SettledMM-beforeMM-pilotMM)
		if !known || first+earlierMM > later {
			return 0
		}
		risen = beforeMM - calm
	}
	return min(max(pilotMM-max(b.s.SettledMM-beforeMM, 0), 0), max(risen, 0))
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
	b.risenAt = new(b.nowAt())
	b.risen, b.risenMM = b.others(), b.s.UnrecordedMM
	b.diffs.outdated = true
}

func (b *Balance) nowAt() RisenAt { return RisenAt{Ah: b.gassingAh, WarmMM: b.riseMM} }

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
// taken as unrecorded before. One with water of its own ends it only as far as it was
// poured earlier.
func (b *Balance) recorded(pilotMM, earlierMM float64, later bool) (lateMM float64) {
	b.still = still{}
	left := max(b.s.UnrecordedMM-earlierMM, 0)
	if later {
		lateMM, left = min(b.s.UnrecordedMM, max(pilotMM, 0)), 0
	}
	if earlierMM > 0 && left < unrecordedMM || later {
		left, b.risen = 0, 0
	}
	b.s.UnrecordedMM = left
	b.risenMM = b.s.UnrecordedMM
	return lateMM
}

// rose returns the rise since the last recorded water, and when it was.
func (b *Balance) rose() (mm float64, at RisenAt, known bool) {
	switch {
	case b.s.UnrecordedMM > 0 && b.risenAt != nil:
		return b.s.UnrecordedMM, *b.risenAt, true
	case b.still.step.known && b.s.UnrecordedMM == 0:
		return b.still.step.mm, b.still.step.at, true
	}
	return 0, RisenAt{}, false
}

// LateMarkML works out the water of a cell (1 is the positive end) that was filled to the
// mark, as a sheet says that is handed in later. When that was, only the rise of the
// probe's level shows; ok is false without one, and for a cell that was read since.
func (b *Balance) LateMarkML(number int) (ml float64, ok bool) {
	mm, at, known := b.rose()
	if b.cell(number) == nil || !known || !b.s.Known || b.shown(true).Has(number) {
		return 0, false
	}
	if number == b.cfg.Pilot {
		return b.ml(mm), true
	}
	marked := b.cfg.FillMarkMM - at.WarmMM - b.mm(electrolyte.WaterML(b.gassingAh-at.Ah))
	was := b.likelyNow(number - 1)
	if b.s.UnrecordedMM == 0 && !b.fixed(number-1) { // it counts as risen with the pilot
		was -= mm
	}
	return max(b.ml(marked-was), 0), true
}

// MarkedLate takes that the water of such a sheet was worked out.
func (b *Balance) MarkedLate(cells CellSet) {
	for _, number := range cells.Numbers() {
		if b.cell(number) != nil {
			b.know.cells[number-1].Marked = true
		}
	}
}
