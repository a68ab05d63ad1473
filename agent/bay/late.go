package bay

import (
	"bayward/agent/order"
	"bayward/agent/water"
)

// fitsLate refuses a sheet that is typed in after its visit while another visit is
// open, whose water it would mix with, and while it is not known whose water it is.
func (b *Bay) fitsLate(o *order.Order) *order.Refusal {
	switch {
	case !b.identity.sure():
		return refuse(o, order.PackUnknown)
	case b.pic.Visit.Open:
		return refuseFor(o, order.VisitIsOpen, b.pic.Visit.By)
	}
	return nil
}

// enterLate takes a sheet that is typed in after its visit: its water goes into the
// balance. Its readings are of that day and are only recorded: they show nothing of
// the level or the gravity now. Cells that were filled to the mark were there when the
// level of the probe rose; without such a rise their water is not known.
func (b *Bay) enterLate(o *order.Order) {
	var net [water.MaxCells]float64
	var guessed, marked water.CellSet
	some := false
	for i := range o.Cells {
		c := &o.Cells[i]
		ml, worked, known := b.lateML(c)
		net[c.Cell-1] += ml
		some = some || known
		if worked {
			marked |= 1 << (c.Cell - 1)
		}
		if c.ML != nil && *c.ML > 0 || c.How == order.ToMark {
			b.history.charge.Watered(c.Cell)
		}
		if c.How == order.AsProposed || c.How == order.ToMark {
			guessed |= 1 << (c.Cell - 1)
		}
	}
	if some {
		b.history.water.Filled(&net, guessed, 0, false, b.pic.Charge.GassedAh())
		b.history.water.MarkedLate(marked)
	}
}

// lateML returns what a line gave its cell less what was drawn off, whether that was
// worked out from the fill mark, and whether it is known.
func (b *Bay) lateML(c *order.CellEntry) (ml float64, worked, known bool) {
	switch {
	case c.ML != nil:
		ml, known = *c.ML, true
	case c.How == order.ToMark:
		ml, worked = b.history.water.LateMarkML(c.Cell)
		known = worked
	}
	if c.DrawnML != nil {
		ml, known = ml-*c.DrawnML, true
	}
	return ml, worked, known
}
