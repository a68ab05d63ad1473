package bay

import "bayward/agent/order"

// loosens reports whether an order would make the bay less careful than it is. Of
// the orders whose row says that they can, some do not as they are given: one that
// takes a pack's name back, and an entry or a level that shows nothing better than
// what the bay goes by.
func (b *Bay) loosens(o *order.Order) bool {
	switch {
	case !o.Kind.Row().Loosens:
		return false
	case o.Kind == order.Pack:
		return o.Pack != ""
	case o.Kind != order.Entry && o.Kind != order.Level, o.Late():
		return true
	}
	for _, c := range o.Entries() {
		if b.lifts(&c) {
			return true
		}
	}
	return false
}

// lifts reports whether a line shows more than the bay goes by at the cell: a level
// where none is known, or over the plates of a bare cell, or higher, or in the room
// of one that was overfilled, or any of a cell that may be bare for want of a reading; or a gravity, which may prove the pack full. Water that
// was poured lifts nothing before its visit is closed.
func (b *Bay) lifts(c *order.CellEntry) bool {
	switch at := b.pic.Cell(c.Cell); {
	case c.Gravity != nil, c.How == order.ToMark:
		return true
	case c.LevelMM == nil:
		return false
	default:
		w := &b.pic.Water
		return at.Bare || !at.LevelKnown || *c.LevelMM > at.LevelMM || w.Over.Has(c.Cell) || w.Doubts.Has(c.Cell)
	}
}
