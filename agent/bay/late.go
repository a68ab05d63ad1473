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
// the level or the gravity now. An amount that was filled to the mark is not known.
func (b *Bay) enterLate(o *order.Order) {
	var net [water.MaxCells]float64
	var guessed water.CellSet
	some := false
	for i := range o.Cells {
		c := &o.Cells[i]
		if c.ML != nil {
			net[c.Cell-1] += *c.ML
		}
		if c.DrawnML != nil {
			net[c.Cell-1] -= *c.DrawnML
		}
		if c.ML != nil && *c.ML > 0 || c.How == order.ToMark {
			b.history.charge.Watered(c.Cell)
		}
		if c.How == order.AsProposed || c.How == order.ToMark {
			guessed |= 1 << (c.Cell - 1)
		}
		some = some || c.ML != nil || c.DrawnML != nil
	}
	if some {
		b.history.water.Filled(&net, guessed, 0, false, b.pic.Charge.TotalGassingAh)
	}
}
