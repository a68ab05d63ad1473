package bay

import (
	"time"

	"bayward/agent/order"
	"bayward/agent/water"
)

// enter records what an order says was done at cells: all of it, or nothing when any
// line of it is refused.
func (b *Bay) enter(o *order.Order, now time.Duration) *order.Refusal {
	lines := append([]order.CellEntry{}, o.Entries()...)
	var faults []order.Refusal
	for i := range lines {
		found := b.judgeLine(&lines[i])
		if !o.Sure && len(found) == 0 {
			found = append(found, b.asks(&lines[i])...)
		}
		for _, why := range found {
			why.Kind, why.Cell = o.Kind, lines[i].Cell
			faults = append(faults, why)
		}
	}
	if len(faults) > 0 {
		return order.Joined(faults)
	}
	for i := range lines {
		over := b.overfills(&lines[i])
		b.record(&lines[i], o.By, now)
		b.follow(&lines[i], over)
	}
	b.pic.Water = *b.history.water.Again()
	b.settle(lines)
	if o.Kind == order.Entry {
		o.Cells = lines // with what was worked out
	}
	return nil
}

// fits refuses an order that records something of a pack that is not there, or water
// outside a visit.
func (b *Bay) fits(o *order.Order) *order.Refusal {
	if o.Late() {
		return b.fitsLate(o)
	}
	for _, c := range o.Entries() {
		switch {
		case c.Gravity != nil && !b.identity.sure(), (c.LevelMM != nil || c.Dry) && b.identity.open == none:
			return refuse(o, order.PackUnknown)
		case c.Gravity != nil && b.conn.empty():
			return refuse(o, order.NoPack)
		case c.Pours() && !b.pic.Visit.Open:
			return refuse(o, order.NoVisit)
		}
	}
	return nil
}

// judgeLine returns the faults of one line against what is known of the pack and
// the visit.
func (b *Bay) judgeLine(c *order.CellEntry) (faults []order.Refusal) {
	v := &b.pic.Visit
	if given := v.GivenML[c.Cell-1]; c.SeenML != nil && *c.SeenML != given {
		faults = append(faults, order.Refusal{Code: order.GivenMeanwhile, Field: order.SeenField, Value: given})
	}
	if c.LevelMM != nil {
		if why := b.judgeLevel(*c.LevelMM, c.Cell); why != nil {
			faults = append(faults, *why)
		}
	}
	if c.How == order.ToMark {
		if _, ok := b.markML(c); !ok {
			faults = append(faults, order.Refusal{Code: order.LevelUnknown, Field: order.HowField})
		}
	}
	return faults
}

// rejected are the codes for the water balance's verdicts on a level reading.
var rejected = [...]order.Code{
	water.NotRejected: order.NoCode, water.NoSuchCell: order.OutOfRange, water.AboveVentWell: order.AboveVentWell,
	water.NoTemperature: order.TemperatureUnknown, water.NoPilotLevel: order.LevelUnknown,
}

// judgeLevel refuses a level that cannot be used. In a visit with nothing to compare
// it with, it still guides the technician at the cell.
func (b *Bay) judgeLevel(mm float64, cell int) *order.Refusal {
	wellMM := b.history.pack.VentWellMM
	why := rejected[b.history.water.Judge(cell, mm)]
	blind := !b.pic.Water.Known || !b.pic.Water.RiseKnown
	if why == order.NoCode || (b.pic.Visit.Open || b.checksProbe(cell)) && blind && mm <= wellMM+water.OverWellMM {
		return nil
	}
	return &order.Refusal{Code: why, Field: order.LevelField, Value: mm, High: wellMM}
}

// record applies one line that nothing is wrong with.
func (b *Bay) record(c *order.CellEntry, by string, now time.Duration) {
	marked := c.How == order.ToMark && c.LevelMM == nil
	if c.LevelMM != nil { // read, not worked out
		b.handRead(c.Cell, *c.LevelMM)
	}
	if b.pic.Visit.Open {
		b.recordVisit(c, by)
	}
	switch w := b.history.water; {
	case marked && c.LevelMM != nil:
		w.Mark(c.Cell, *c.LevelMM)
	case c.LevelMM != nil:
		w.Level(c.Cell, *c.LevelMM)
	case c.Dry:
		w.Dry(c.Cell)
	}
	if c.Gravity != nil {
		b.readGravity(now, c.Cell, *c.Gravity, *c.AtC)
	}
}

// overfills reports whether a line, which the person has confirmed, takes the cell
// over its ceiling: by the level read, or by an amount without a level after it.
func (b *Bay) overfills(c *order.CellEntry) bool {
	at := b.pic.Cell(c.Cell)
	if c.Dry {
		at.LevelMM = min(at.LevelMM, 0)
	}
	switch {
	case c.LevelMM != nil:
		return *c.LevelMM > at.CeilingMM
	case c.How == order.ToMark:
		return b.history.pack.FillMarkMM > at.CeilingMM
	case c.ML == nil:
		return false
	}
	ml := *c.ML - b.earlierML(c.Cell)
	if c.DrawnML != nil {
		ml -= *c.DrawnML
	}
	return ml > 0 && ml > b.roomML(&at)
}

// roomML returns how much water a cell has room for; when its level is not known,
// at least from the plate tops up.
func (b *Bay) roomML(at *CellNow) float64 {
	return waterOf(b.history.pack).RoomML(at.LevelMM, at.CeilingMM)
}

// follow keeps which cells are over their ceiling.
func (b *Bay) follow(c *order.CellEntry, over bool) {
	w := b.history.water
	if c.DrawnML != nil {
		w.DrawOff(c.Cell)
	}
	switch {
	case over:
		w.Overfill(c.Cell)
	case c.LevelMM != nil && *c.LevelMM <= b.pic.Water.CeilingNowMM():
		w.InRoom(c.Cell)
	}
}

// recordVisit puts one line into the open visit. A cell that was filled to the mark
// gets its millilitres and its level from that.
func (b *Bay) recordVisit(c *order.CellEntry, by string) {
	v := &b.pic.Visit
	at := &v.Cells[c.Cell-1]
	at.By = by
	if c.Dry {
		at.see(nil, v.untouched(c.Cell))
	}
	if c.How == order.ToMark {
		ml, _ := b.markML(c)
		c.ML = new(ml)
		if c.LevelMM == nil {
			c.LevelMM = new(b.history.pack.FillMarkMM)
		}
	}
	if c.ML != nil {
		v.pour(c)
		if *c.ML > 0 {
			b.history.charge.Watered(c.Cell)
		}
	}
	if c.DrawnML != nil {
		at.DrawnML += *c.DrawnML
		at.LevelLast = false
	}
	b.asked.visit.netML = v.net()
	if c.LevelMM != nil {
		at.see(c.LevelMM, v.untouched(c.Cell))
	}
	if c.Gravity != nil {
		at.Gravity, at.AtC = new(*c.Gravity), new(*c.AtC)
	}
}

// pour records water given.
func (v *Visit) pour(c *order.CellEntry) {
	at := &v.Cells[c.Cell-1]
	v.GivenML[c.Cell-1] += *c.ML
	at.LevelLast = at.LevelLast && *c.ML == 0
	how := c.How
	if how == "" {
		how = order.Measured
	}
	if at.How != order.AsProposed {
		at.How = how
	}
}

// settle marks the cells that are done: water was given, or the level needs none. A
// cell that is bare by the record is not.
func (b *Bay) settle(lines []order.CellEntry) {
	v := &b.pic.Visit
	if !v.Open {
		return
	}
	enoughMM := b.enoughMM()
	v.noteBare(b.pic.Water.Bare)
	for i := range lines {
		c := &lines[i]
		at := &v.Cells[c.Cell-1]
		switch {
		case v.Bare.Has(c.Cell):
			at.Done = false
		case c.ML != nil, c.LevelMM != nil && *c.LevelMM >= enoughMM:
			at.Done = true
		}
	}
}

// enoughMM returns the level at which a cell needs no more water in the open visit.
func (b *Bay) enoughMM() float64 {
	if b.pic.Visit.OnlyCoverPlates {
		return b.history.pack.ChargeLevelMM
	}
	return b.history.pack.FillMarkMM
}

// untouched reports whether a cell was given nothing and nothing was drawn off.
func (v *Visit) untouched(cell int) bool {
	return v.GivenML[cell-1] == 0 && v.Cells[cell-1].DrawnML == 0
}

// see records a look with the level rod; nil: it shows the plates.
func (c *CellVisit) see(mm *float64, before bool) {
	c.LevelMM, c.LevelLast, c.Dry = nil, mm != nil, mm == nil
	if mm != nil {
		c.LevelMM = new(*mm)
	}
	if before {
		c.BeforeMM, c.WasDry = c.LevelMM, c.Dry
	}
}

// guessed returns the cells whose water was, at least in part, poured as proposed and
// not measured.
func (v *Visit) guessed() (cells water.CellSet) {
	for i := range v.Cells {
		if v.Cells[i].How == order.AsProposed {
			cells |= 1 << i
		}
	}
	return cells
}

// net returns what each cell was given less what was drawn off, ml.
func (v *Visit) net() (ml [water.MaxCells]float64) {
	for i := range ml {
		ml[i] = v.GivenML[i] - v.Cells[i].DrawnML
	}
	return ml
}

// markML works out the water of a cell that was filled to the mark: from the level
// before, by the rod or estimated, to the level read after or the fill mark. ok is
// false when the level before is not known.
func (b *Bay) markML(c *order.CellEntry) (ml float64, ok bool) {
	at := b.pic.Cell(c.Cell)
	before, ok := at.LevelMM, at.LevelKnown
	if c.Dry {
		before, ok = min(before, 0), true
	}
	after := b.history.pack.FillMarkMM
	if c.LevelMM != nil {
		after = *c.LevelMM
	}
	return b.history.water.BetweenML(before, after), ok
}
