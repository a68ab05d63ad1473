package water

import "math/bits"

// CellSet is a set of cells: bit n stands for cell n+1.
type CellSet uint64

// Has reports whether a cell (1 is the positive end) is in the set.
func (s CellSet) Has(number int) bool { return number >= 1 && s>>(number-1)&1 != 0 }

// Len returns how many cells are in the set.
func (s CellSet) Len() int { return bits.OnesCount64(uint64(s)) }

// First returns the first cell of the set, 0 for none.
func (s CellSet) First() int {
	if s == 0 {
		return 0
	}
	return bits.TrailingZeros64(uint64(s)) + 1
}

// Numbers lists the cells in order.
func (s CellSet) Numbers() (cells []int) {
	for left := uint64(s); left != 0; left &= left - 1 {
		cells = append(cells, bits.TrailingZeros64(left)+1)
	}
	return cells
}

// Bare returns the cells that are bare by the record: those that the level rod
// showed dry and no reading above the plate tops since; and, in a visit, those that
// needed covering and have not reached the lowest level for charging, by the water
// recorded and the readings. The probe proves the pilot cell alone.
func (b *Balance) Bare() CellSet {
	var dry CellSet
	for i := range b.cfg.Cells {
		if b.cells[i].Dry {
			dry |= 1 << i
		}
	}
	b.followBare()
	return dry | b.short
}

// followBare keeps the set of cells that need covering in the open visit. A cell
// enters it at the plate tops, or below the lowest level for charging while bare
// plates block the charge, and leaves it at that level.
func (b *Balance) followBare() {
	if !b.visit || !b.s.RiseKnown {
		if !b.visit {
			b.short = 0
		}
		return
	}
	for i := range b.cfg.Cells {
		switch mm := b.surelyMM(i); {
		case mm >= b.cfg.ChargeLevelMM:
			b.short &^= 1 << i
		case b.blocked || !(mm > 0):
			b.short |= 1 << i
		}
	}
}

// surelyMM returns the level, as measured, that the record of the open visit
// supports for a cell: with the water recorded, if any, and otherwise the lowest
// estimate.
func (b *Balance) surelyMM(i int) float64 {
	now := b.pilotFor(i) + b.riseMM + b.gasMM
	if b.fixed(i) {
		return b.likelyNow(i) + b.know.cells[i].LowMM + b.riseMM + b.gasMM
	}
	if b.given[i] != 0 {
		return now + b.likelyMM(i) + b.cells[i].LowMM
	}
	return now + b.lowestMM(i)
}
