package bay

import (
	"time"

	"bayward/agent/order"
)

// correct replaces a value that a person recorded by mistake. In the open visit the
// level, the bare cells and the overfilled ones follow from it as if it had been
// right at once. Of a closed visit only what lowers an estimate counts here: to raise
// one, the level has to be read again.
func (b *Bay) correct(o *order.Order, now time.Duration) *order.Refusal {
	if o.Visit != 0 {
		return b.correctClosed(o)
	}
	if !b.pic.Visit.Open {
		return refuse(o, order.NoVisit)
	}
	field := order.FieldOf(o.Field)
	was := b.pic.Visit.value(o.Cell, field)
	switch {
	case was == nil && o.Value == nil, was == nil && field != order.DrawnField && field != order.MLField:
		return &order.Refusal{Code: order.NothingToCorrect, Kind: o.Kind, Cell: o.Cell, Field: field}
	case o.Was != nil && (was == nil && *o.Was != 0 || was != nil && *was != *o.Was):
		return &order.Refusal{Code: order.GivenMeanwhile, Kind: o.Kind, Cell: o.Cell, Field: order.WasField, Value: known(was)}
	}
	b.asked.old = was
	wasOver := b.isOver(o.Cell)
	switch field {
	case order.GravityField:
		b.correctGravity(o, now)
	case order.LevelField:
		b.correctLevel(o)
	default:
		b.correctWater(o, field)
	}
	b.settleCorrected(o, wasOver)
	return nil
}

// isOver reports whether the record puts a cell over its ceiling now.
func (b *Bay) isOver(cell int) bool {
	at := b.pic.Cell(cell)
	return at.LevelKnown && at.LevelMM > at.CeilingMM
}

func known(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

// value returns what the open visit has of a field of a cell, nil for nothing.
func (v *Visit) value(cell int, f *order.Field) *float64 {
	at := &v.Cells[cell-1]
	switch f {
	case order.MLField:
		if at.How != "" {
			return new(v.GivenML[cell-1])
		}
	case order.DrawnField:
		if at.DrawnML > 0 {
			return new(at.DrawnML)
		}
	case order.LevelField:
		return at.LevelMM
	case order.GravityField:
		return at.Gravity
	}
	return nil
}

// correctWater sets what a cell was given or what was drawn off in all. A level read
// since the water stays what was read.
func (b *Bay) correctWater(o *order.Order, field *order.Field) {
	v := &b.pic.Visit
	at := &v.Cells[o.Cell-1]
	before := v.net()[o.Cell-1]
	at.By = o.By
	if field == order.DrawnField {
		at.DrawnML = known(o.Value)
	} else {
		v.GivenML[o.Cell-1], at.How = known(o.Value), order.Measured
		if o.Value == nil {
			at.How = ""
		}
	}
	b.asked.visit.netML = v.net()
	if at.LevelMM != nil || at.Dry {
		b.history.water.Repoured(o.Cell, before, b.asked.visit.netML[o.Cell-1])
	}
}

// correctLevel sets the last level read, as if the wrong one had not been read.
func (b *Bay) correctLevel(o *order.Order) {
	at := &b.pic.Visit.Cells[o.Cell-1]
	at.By = o.By
	before := at.BeforeMM != nil && *at.BeforeMM == *at.LevelMM
	b.history.water.Unread(o.Cell)
	if o.Value != nil {
		at.LevelMM = new(*o.Value)
		b.history.water.Level(o.Cell, *o.Value)
	} else {
		at.LevelMM, at.LevelLast = nil, false
	}
	if before {
		at.BeforeMM = at.LevelMM
	}
}

// correctGravity sets what a hydrometer showed, at the temperature that was recorded.
func (b *Bay) correctGravity(o *order.Order, now time.Duration) {
	at := &b.pic.Visit.Cells[o.Cell-1]
	at.By = o.By
	b.history.charge.Unread(o.Cell)
	if o.Value == nil {
		at.Gravity, at.AtC = nil, nil
		return
	}
	at.Gravity = new(*o.Value)
	b.readGravity(now, o.Cell, *o.Value, known(at.AtC))
}

// settleCorrected works out again what follows from the record of the cell. A cell
// that only the mistake put over its ceiling was never overfilled.
func (b *Bay) settleCorrected(o *order.Order, wasOver bool) {
	v := &b.pic.Visit
	b.pic.Water = *b.history.water.Again()
	v.noteBare(b.pic.Water.Bare)
	at, now := &v.Cells[o.Cell-1], b.pic.Cell(o.Cell)
	at.Done = !now.Bare && (v.GivenML[o.Cell-1] > 0 || at.LevelMM != nil && *at.LevelMM >= b.enoughMM())
	switch {
	case b.isOver(o.Cell):
		b.history.water.Overfill(o.Cell)
	case wasOver && now.LevelKnown && order.FieldOf(o.Field) != order.DrawnField: // drawing off has to be followed by a level
		b.history.water.NotOver(o.Cell)
	}
	b.pic.Water = *b.history.water.Again()
}

// correctClosed corrects the water balance for a visit that is closed.
func (b *Bay) correctClosed(o *order.Order) *order.Refusal {
	if b.identity.open == none || o.Pack != b.history.pack.Name {
		return refuseFor(o, order.OtherPack, o.Pack)
	}
	b.asked.old = new(*o.Was)
	by := known(o.Value) - *o.Was
	switch order.FieldOf(o.Field) {
	case order.MLField:
		b.history.water.Correct(o.Cell, by)
	case order.DrawnField:
		b.history.water.Correct(o.Cell, -by)
	case order.LevelField:
		b.history.water.CorrectLevel(o.Cell, by, o.Value == nil)
	case order.GravityField:
		b.history.charge.Unread(o.Cell)
	}
	b.pic.Water = *b.history.water.Again()
	return nil
}
