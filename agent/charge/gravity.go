package charge

import (
	"slices"
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
	// roundFor is how long the readings of one round of the cells may take.
	roundFor = 4 * time.Hour
	// gravitySoc is the error of a state of charge from gravity, see
	// electrolyte.StateOfChargeFromGravity.
	gravitySoc = 0.12
)

// gravities are the hydrometer readings of one round.
type gravities struct {
	round   GravityRound
	unmixed uint64  // bit n: cell n+1 was given water that is not mixed in yet
	mixedS  float64 // seconds of gassing charge since the last water
	any     bool    // a cell was read
}

// Watered records that a cell (1 is the positive end) was given water. Its gravity
// means nothing until an hour of gassing charge has mixed it: NAVEDTRA 14113,
// Correcting Specific Gravity; NAVEDTRA 14344, Battery Equalizing Charge.
func (t *Tracker) Watered(cell int) {
	if cell >= 1 && cell <= MaxCells {
		t.cells.unmixed |= 1 << (cell - 1)
		t.cells.mixedS = 0
	}
}

// mixFor is that hour.
const mixFor = time.Hour

// mix counts the gassing charge that mixes poured water in.
func (t *Tracker) mix(n *tick) {
	g := &t.cells
	if g.unmixed == 0 || !t.flow.on || !n.vOK || n.v25() < regulatedV {
		return
	}
	if g.mixedS += n.dtS; g.mixedS >= mixFor.Seconds() {
		g.unmixed, g.mixedS = 0, 0
	}
}

// CellGravity accepts a hydrometer reading of one cell, judges it and all others of
// the same round (see GravityRound), and returns the verdict on this cell. A reading
// that means nothing is shown, and changes nothing else. A cell that the pack does
// not have, or a reading that is not a number, is ignored.
//
// One sound cell that reads more than 0.015 below full makes the pack not full. To prove it
// full takes every cell, because the one that was not read may be the weak one:
// none more than 0.015 below full, the middle one within 0.005 of it, each as it
// would read at the fill mark. To call for an equalize charge takes half of the
// cells of a full pack, so that the middle one is the pack's and not that of a few
// odd cells.
func (t *Tracker) CellGravity(now time.Duration, h *Hydrometer) GravityVerdict {
	if h.Cell < 1 || h.Cell > t.cfg.Cells || !(h.SG > 0) {
		return NotRead
	}
	t.putGravity(now, h)
	round := &t.cells.round
	if verdict := round.Cells[h.Cell-1].Verdict; !verdict.Sound() {
		t.publish()
		return verdict
	}
	if round.Low < t.cfg.FullGravity-gravityLow-equalSG {
		t.lowGravity(round.Low)
	} else if t.allCellsFull() {
		t.s.Doubt = NoDoubt
		t.full(now, HandGravity)
	}
	round.Full = t.s.Full
	if round.Full && round.Sound >= round.SpreadNeeds() {
		t.s.Equalize.Spread, t.s.Equalize.SpreadKnown = round.High-round.Low, true
	}
	t.publish()
	return round.Cells[h.Cell-1].Verdict
}

// putGravity adds a reading to the round, or begins another one.
func (t *Tracker) putGravity(now time.Duration, h *Hydrometer) {
	g := &t.cells
	if g.any && now-g.round.Began > roundFor {
		t.dropGravity()
	}
	if !g.any {
		g.any, g.round = true, GravityRound{Began: now, Of: t.cfg.Cells}
	}
	i := h.Cell - 1
	c := &g.round.Cells[i]
	*c = CellGravity{SG25: electrolyte.GravityAt25(h.SG, h.AtC), AtC: h.AtC, PackC: h.PackC.Value}
	c.Verdict = h.flaw(g.unmixed&(1<<i) != 0)
	c.AtMark = h.atMark(c.SG25, t.cfg.ElectrolyteML)
	g.round.judge(t.cfg.FullGravity)
}

// Unread takes back the reading of one cell, which never was, and a full that it
// helped to prove.
func (t *Tracker) Unread(cell int) {
	if cell < 1 || cell > t.cfg.Cells {
		return
	}
	if t.s.Full && t.s.Evidence == HandGravity {
		t.neverFull()
		t.s.OutKnown = false
	}
	if !t.cells.any {
		return
	}
	t.cells.round.Cells[cell-1] = CellGravity{}
	t.cells.round.judge(t.cfg.FullGravity)
	t.publish()
}

// dropGravity forgets the round, but not which cells are unmixed.
func (t *Tracker) dropGravity() {
	t.cells = gravities{unmixed: t.cells.unmixed, mixedS: t.cells.mixedS}
	t.s.Gravity = nil
}

// publish gives the status a copy that is never changed again: pictures keep it.
func (t *Tracker) publish() { t.s.Gravity = new(t.cells.round) }

// lowGravity takes a full back.
func (t *Tracker) lowGravity(lowest float64) {
	if t.s.Full || t.s.Pending != NoEvidence {
		t.neverFull()
		t.s.Pending, t.s.OutKnown = NoEvidence, false
	}
	t.socByHand(lowest)
}

// allCellsFull reports whether every cell of the pack was read and the readings
// prove it full.
func (t *Tracker) allCellsFull() bool {
	round, full := &t.cells.round, t.cfg.FullGravity
	if round.Sound < t.cfg.Cells {
		return false
	}
	all := make([]float64, t.cfg.Cells)
	for i := range all {
		all[i] = round.Cells[i].AtMark
	}
	middle := medianOf(all)
	return all[0] >= full-gravityLow-equalSG && middle >= full-gravityTol-equalSG && middle <= full+gravityLow
}

// socByHand uses the lowest cell's state of charge where it is more certain.
func (t *Tracker) socByHand(sg25 float64) {
	soc, ok := electrolyte.StateOfChargeFromGravity(sg25, t.cfg.FullGravity)
	if ok && (!t.s.SocKnown || gravitySoc < t.s.SocPlus || t.s.Soc-t.s.SocPlus > soc) {
		t.s.Soc, t.s.SocPlus, t.s.SocKnown = soc, gravitySoc, true
	}
}

// medianOf sorts its argument, which is not empty.
func medianOf(x []float64) float64 {
	slices.Sort(x)
	n := len(x)
	return (x[(n-1)/2] + x[n/2]) / 2
}
