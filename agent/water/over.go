package water

// Overfill records that a cell (1 is the positive end) was filled over its ceiling,
// by a level read there or by an amount for which it had no room. Only a level at or
// below the ceiling, read after electrolyte was drawn off, ends it, or Accept.
func (b *Balance) Overfill(number int) {
	if c := b.cell(number); c != nil {
		if b.visit && !c.Over {
			b.overHere |= 1 << (number - 1)
		}
		c.Over, c.Drawn = true, false
	}
}

// DrawOff records that electrolyte was drawn off from a cell.
func (b *Balance) DrawOff(number int) {
	if c := b.cell(number); c != nil {
		c.Drawn = c.Over
	}
}

// InRoom records a level at or below the ceiling.
func (b *Balance) InRoom(number int) {
	if c := b.cell(number); c != nil && c.Drawn {
		c.Over, c.Drawn = false, false
	}
}

// Accept ends it for all cells: a person has taken it on.
func (b *Balance) Accept() {
	for i := range b.cells {
		b.cells[i].Over, b.cells[i].Drawn = false, false
	}
}

// Over returns the cells that were filled over their ceiling.
func (b *Balance) Over() (cells CellSet) {
	for i := range b.cfg.Cells {
		if b.cells[i].Over {
			cells |= 1 << i
		}
	}
	return cells
}

// cell returns a cell, nil for one that the pack does not have.
func (b *Balance) cell(number int) *Cell {
	if number < 1 || number > b.cfg.Cells {
		return nil
	}
	return &b.cells[number-1]
}
