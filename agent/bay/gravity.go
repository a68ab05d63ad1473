package bay

import (
	"time"

	"bayward/agent/charge"
)

// readGravity passes on a hydrometer reading with what the bay knows of its cell.
func (b *Bay) readGravity(now time.Duration, cell int, sg, atC float64) {
	h := charge.Hydrometer{Cell: cell, SG: sg, AtC: atC, PackC: b.pic.Seen.PackC}
	h.Level, h.MissingML = b.cellLevel(cell)
	b.history.charge.CellGravity(now, &h)
}

// cellLevel returns what is known of the level of a cell, by its own estimate, and
// the water that it needs to its fill mark.
func (b *Bay) cellLevel(cell int) (level charge.CellLevel, missingML float64) {
	w, pack := &b.pic.Water, b.history.pack
	if w.Bare.Has(cell) {
		return charge.LevelBare, 0
	}
	if !w.Known || !w.RiseKnown {
		return charge.LevelUnknown, 0
	}
	settledMM := w.LevelMM[cell-1]
	missingML = max(pack.FillMarkMM-settledMM, 0) * pack.FreeSurfaceCM2 / 10
	switch nowMM := settledMM + w.RiseMM; {
	case nowMM <= 0:
		return charge.LevelBare, missingML
	case nowMM < pack.ChargeLevelMM:
		return charge.LevelLow, missingML
	}
	return charge.LevelGood, missingML
}
