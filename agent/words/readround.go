package words

import (
	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// ReadFirst asks for the level readings that a visit begins with, the worst cell first;
// "" when none is needed.
func (v Voice) ReadFirst(p *bay.Picture) string {
	return v.readThese("read.first", p.ReadFirst(), p.Pack.Cells)
}

// Readings asks for all level readings of a visit: those that it begins with, and those
// of cells that have got their water.
func (v Voice) Readings(p *bay.Picture) string {
	return spaced(v.ReadFirst(p), v.readThese("read.after", p.ReadAfter(), p.Pack.Cells))
}

func (v Voice) readThese(key string, cells []int, of int) string {
	switch n := len(cells); n {
	case 0:
		return ""
	case 1:
		return v.Say(key+".one", cells[0])
	case of:
		return v.Say(key+".all", n)
	default:
		return v.Say(key, v.Cells(cells), n)
	}
}

// ReadDue announces a round of level readings, or asks for the one that is needed now;
// "" when nobody has to come for it.
func (v Voice) ReadDue(p *bay.Picture) string {
	w := &p.Water
	if asks := p.Visit.Open || p.Stage == bay.ReadyToWater || p.Findings[interlock.LevelDoubted].Raised; asks || !w.ReadDue {
		return when(asks, v.Readings(p))
	}
	return v.readRound(p)
}

// readRound says by when which cells must be read. None is named where water alone
// would do: an amount that is recorded counts from its cell's last reading.
func (v Voice) readRound(p *bay.Picture) string {
	known, span := p.Water.ReadDueOK && p.Water.ReadDueH >= 1, v.Hours(p.Water.ReadDueH)
	switch cells := p.ToRead(); {
	case len(cells) > 0 && known:
		return v.Say("read.due", span, v.readCells(p, cells))
	case len(cells) > 0:
		return v.Say("read.due.now", v.readCells(p, cells))
	case known:
		return v.Say("read.due.any", span)
	}
	return v.Say("read.due.any.now")
}

// readCells names the cells of a round, for use after a colon.
func (v Voice) readCells(p *bay.Picture, cells []int) string {
	switch len(cells) {
	case p.Pack.Cells:
		return v.Say("read.cells.all", len(cells))
	case 1:
		return v.Say("water.cell", cells[0])
	}
	return v.Say("read.cells", v.Cells(cells))
}

// Unread names the cells of an open visit that were to be read and are not; "" for none.
func (v Voice) Unread(p *bay.Picture) string {
	switch cells := p.ToRead(); len(cells) {
	case 0:
		return ""
	case 1:
		return v.Say("close.read.one", cells[0])
	default:
		return v.Say("close.read", v.Cells(cells))
	}
}
