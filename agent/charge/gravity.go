package charge

import (
	"time"

	"bayward/agent/electrolyte"
)

const (
	// MaxCells is the highest number of cells of a pack here: an 80 V pack has 40.
	MaxCells   = 48
	gravityTol = 0.005 // within this of full: NAVEDTRA 14344, last equalize value
	// gravityLow is how far below full a cell may read before the pack no longer
	// counts as full: three times that.
	gravityLow = 3 * gravityTol
	// spreadDue is the difference between cells that calls for an equalize charge,
	// "may mean a dead cell": TM 55-2210-224-12. From 0.025 on TM 9-6140-200-14
	// rejects the battery, at 0.050 TM 5-3895-349-14&P.
	spreadDue = 0.020
	// roundFor is how long the readings of one round of the cells may take.
	roundFor = 4 * time.Hour
	// gravitySoc is the error of a state of charge from gravity, see
	// electrolyte.StateOfChargeFromGravity.
	gravitySoc = 0.12
)

// gravities are the hydrometer readings of one round.
type gravities struct {
	sg    [MaxCells]float64 // 0: not read
	n     int               // cells read
	lo    float64
	hi    float64
	began time.Duration
}

func (g *gravities) put(now time.Duration, cell int, sg25 float64) {
	if g.n > 0 && now-g.began > roundFor {
		*g = gravities{}
	}
	if g.n == 0 {
		g.began = now
	}
	g.sg[cell-1] = sg25
	g.n, g.lo, g.hi = 0, 2, 0
	for _, v := range g.sg {
		if v > 0 {
			g.n++
			g.lo, g.hi = min(g.lo, v), max(g.hi, v)
		}
	}
}

// CellGravity accepts a hydrometer reading of one cell (1 is the positive end)
// entered by the technician, corrected to 25 °C. It outranks all other evidence,
// both ways: one cell within 0.005 of full proves the pack full, if no cell read in
// the same four hours is more than 0.015 below; one cell that low makes it not
// full. Readings of several cells give their spread, which may call for an equalize
// charge. A cell out of range is ignored.
//
// It cannot know whether the acid is mixed: after water, an hour of gassing charge
// comes first (NAVEDTRA 14113). Nor can it know that a low level reads high.
func (t *Tracker) CellGravity(now time.Duration, cell int, sg25 float64) {
	if cell < 1 || cell > MaxCells || !(sg25 > 0) {
		return
	}
	t.cells.put(now, cell, sg25)
	lowest := t.cells.lo
	t.spread()
	if lowest < t.cfg.FullGravity-gravityLow {
		if t.s.Full || t.s.Pending != NoEvidence {
			t.notFull()
			t.s.Pending, t.s.OutKnown = NoEvidence, false
		}
		t.socByHand(lowest)
		return
	}
	if sg25 >= t.cfg.FullGravity-gravityTol {
		t.s.Doubt = NoDoubt
		t.full(now, HandGravity)
	}
}

// socByHand uses the lowest cell's state of charge where it is more certain.
func (t *Tracker) socByHand(sg25 float64) {
	soc, ok := electrolyte.StateOfChargeFromGravity(sg25, t.cfg.FullGravity)
	if ok && (!t.s.SocKnown || gravitySoc < t.s.SocPlus || t.s.Soc-t.s.SocPlus > soc) {
		t.s.Soc, t.s.SocPlus, t.s.SocKnown = soc, gravitySoc, true
	}
}

func (t *Tracker) spread() {
	if g := &t.cells; g.n >= 2 {
		t.s.Equalize.Spread, t.s.Equalize.SpreadKnown = g.hi-g.lo, true
	}
}
