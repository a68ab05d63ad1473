package bay

import (
	"math"

	"bayward/agent/order"
)

const (
	// askTimes is how many times more or less than what was proposed is asked back: a
	// slip of a digit or of the unit. The project's own.
	askTimes = 3
	// askLeastML is the least proposal that is compared with: for less, a drop more is
	// three times as much.
	askLeastML = 10
	// askApartMM is how far a level may be from what the water and the level before
	// give: both readings of a rod are good to 1 or 2 mm (common practice, no source).
	askApartMM = 3.0
	// askShare adds to it a share of the rise: the free surface of a cell is a nominal
	// figure.
	askShare = 0.3
	// askGuessMM is added when the level before is an estimate.
	askGuessMM = 3.0
)

// asks returns what a person is asked to look at again before a line is taken: a
// level or an amount over the ceiling, one that contradicts the other, no water for
// a bare cell, and an amount far from the proposed one. An order that is Sure is not
// asked.
func (b *Bay) asks(c *order.CellEntry) (faults []order.Refusal) {
	if !b.pic.Visit.Open && c.LevelMM == nil {
		return nil
	}
	at := b.pic.Cell(c.Cell)
	if c.Dry {
		at.Bare, at.LevelMM = true, min(at.LevelMM, 0)
	}
	if mark := b.history.pack.FillMarkMM; c.How == order.ToMark && c.LevelMM == nil && mark > at.CeilingMM {
		faults = append(faults, order.Refusal{Code: order.AskOverCeiling, Field: order.HowField, Value: mark, High: at.CeilingMM})
	}
	if c.LevelMM != nil && *c.LevelMM > at.CeilingMM {
		faults = append(faults, order.Refusal{Code: order.AskOverCeiling, Field: order.LevelField, Value: *c.LevelMM, High: at.CeilingMM})
	} else if why := b.askApart(c, &at); why != nil {
		faults = append(faults, *why)
	}
	if c.ML != nil && c.How != order.ToMark {
		if why := b.askML(c, &at); why != nil {
			faults = append(faults, *why)
		}
	}
	return faults
}

// askML asks about an amount.
func (b *Bay) askML(c *order.CellEntry, at *CellNow) *order.Refusal {
	ask := func(code order.Code, low, high float64) *order.Refusal {
		return &order.Refusal{Code: code, Field: order.MLField, Value: *c.ML, Low: low, High: high}
	}
	ml, room := *c.ML-b.earlierML(c.Cell), b.roomML(at)
	switch proposed := max(at.AddML, askLeastML); {
	case *c.ML == 0 && at.Bare:
		return ask(order.AskBare, at.AddML, 0)
	case ml > room && c.LevelMM == nil:
		return ask(order.AskPastCeiling, 0, math.Floor(room))
	case !at.AddKnown:
	case at.AddML >= askLeastML && *c.ML*askTimes < at.AddML:
		return ask(order.AskLittle, at.AddML, at.AddML)
	case ml > proposed*askTimes:
		return ask(order.AskMuch, at.AddML, at.AddML)
	}
	return nil
}

// earlierML returns how much of the water of a cell may have been poured before the visit
// was opened: what the level of its probe has risen by, and nobody has recorded yet.
func (b *Bay) earlierML(cell int) float64 {
	if cell != b.history.pack.ProbeCell {
		return 0
	}
	return max(b.pic.Water.UnrecordedMM*b.history.pack.FreeSurfaceCM2/10-b.pic.Visit.GivenML[cell-1], 0)
}

// askApart asks about a level read after water that the level before and the amount
// do not give.
func (b *Bay) askApart(c *order.CellEntry, at *CellNow) *order.Refusal {
	if c.LevelMM == nil || c.ML == nil || !at.LevelKnown || at.Bare || c.How == order.ToMark {
		return nil
	}
	riseMM := *c.ML / b.history.pack.FreeSurfaceCM2 * 10
	tolMM := askApartMM + askShare*riseMM
	if !at.ByRod {
		tolMM += askGuessMM
	}
	low, high := at.LevelMM+riseMM-tolMM, at.LevelMM+riseMM+tolMM
	if *c.LevelMM >= low && *c.LevelMM <= high {
		return nil
	}
	return &order.Refusal{Code: order.AskContradicts, Field: order.LevelField, Value: *c.LevelMM, Low: math.Round(low), High: math.Round(high)}
}
