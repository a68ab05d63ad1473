package bay_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/order"
)

// correct gives a correction and returns its answer; nil: it never happened.
func (w worker) correct(cell int, field string, value *float64) (*bay.Picture, bay.Event) {
	return w.ask(order.Order{Kind: order.Correct, Cell: cell, Field: field, Value: value, Reason: "a slip"})
}

func (w worker) ask(o order.Order) (*bay.Picture, bay.Event) {
	p, events := w.Ask(o)
	for _, e := range events {
		if e.Kind == bay.OrderTaken || e.Kind == bay.OrderRefused {
			return p, e
		}
	}
	panic("no answer")
}

// TestASlipIsCorrected as if it had been right at once, and the event has the old
// value: a slip of a digit, a wrong cell, a double booking.
func TestASlipIsCorrected(t *testing.T) {
	w, right := newWorker(6), newWorker(6)
	w.enter(true, order.CellEntry{Cell: 4, ML: new(1040.0)})
	p, e := w.correct(4, "ml", new(104.0))
	require.Equal(t, bay.OrderTaken, e.Kind, e.Why.Code)
	require.InDelta(t, 1040, *e.Old, 0)
	want, _ := right.enter(true, order.CellEntry{Cell: 4, ML: new(104.0)})
	require.Equal(t, want.Visit.GivenML, p.Visit.GivenML)
	require.InDelta(t, want.Water.LevelMM[3], p.Water.LevelMM[3], 1e-9)
	require.Zero(t, p.Water.Over, "it was never overfilled")
	require.True(t, p.Visit.Cells[3].Done)

	w.enter(true, order.CellEntry{Cell: 5, ML: new(90.0)}) // which went into cell 6
	p, e = w.correct(5, "ml", nil)
	require.InDelta(t, 90, *e.Old, 0)
	require.Zero(t, p.Visit.GivenML[4])
	require.False(t, p.Visit.Cells[4].Done)
	require.InDelta(t, 6, p.Water.LevelMM[4], 0.1)
	p, e = w.correct(6, "ml", new(90.0))
	require.Equal(t, bay.OrderTaken, e.Kind)
	require.Nil(t, e.Old, "nothing was recorded of it")
	require.InDelta(t, 90, p.Visit.GivenML[5], 0)

	w.enter(true, order.CellEntry{Cell: 7, ML: new(52.0)})
	w.enter(true, order.CellEntry{Cell: 7, ML: new(52.0)})
	p, _ = w.correct(7, "ml", new(52.0))
	require.InDelta(t, 10, p.Water.LevelMM[6], 0.1)
	w.Ask(order.Order{Kind: order.VisitClose})
	cells := w.Core.Memory().Water.Cells
	require.Equal(t, []float64{104, 0, 90, 52}, []float64{cells[3].FilledML, cells[4].FilledML, cells[5].FilledML, cells[6].FilledML})
}

// TestACorrectionOfACorrection: the last one counts, and each knows what it replaced.
func TestACorrectionOfACorrection(t *testing.T) {
	w := newWorker(6)
	w.enter(true, order.CellEntry{Cell: 4, ML: new(11.0)})
	_, e := w.correct(4, "ml", new(110.0))
	require.InDelta(t, 11, *e.Old, 0)
	p, e := w.correct(4, "ml", new(101.0))
	require.InDelta(t, 110, *e.Old, 0)
	require.InDelta(t, 101, p.Visit.GivenML[3], 0)
	_, e = w.ask(order.Order{Kind: order.Correct, Cell: 4, Field: "ml", Value: new(90.0), Was: new(110.0), Reason: "a slip"})
	require.Equal(t, order.GivenMeanwhile, e.Why.Code)
	require.InDelta(t, 101, e.Why.Value, 0)
}

// TestAWrongLevelIsUnread: the estimate is that of the right one, or of none.
func TestAWrongLevelIsUnread(t *testing.T) {
	w := newWorker(6)
	w.enter(true, order.CellEntry{Cell: 4, LevelMM: new(21.0)})
	p, e := w.correct(4, "level_mm", new(12.0))
	require.InDelta(t, 21, *e.Old, 0)
	require.Zero(t, p.Water.Over)
	mm, ok := p.Visit.Cells[3].ByRod()
	require.True(t, ok)
	require.InDelta(t, 12, mm, 0)
	p, _ = w.correct(4, "level_mm", nil)
	require.Nil(t, p.Visit.Cells[3].LevelMM)
	require.InDelta(t, 6, p.Water.LevelMM[3], 0.1, "as estimated before")
	require.Empty(t, p.Water.DoubtedCells())
	w.enter(true, order.CellEntry{Cell: 4, LevelMM: new(12.0)})
	p, _ = w.correct(4, "level_mm", new(21.0))
	require.Equal(t, []int{4}, p.Water.Over.Numbers(), "a correction over the ceiling is overfilled too")
}

// TestWaterCorrectedAfterALevel: what the rod showed after the water stays.
func TestWaterCorrectedAfterALevel(t *testing.T) {
	w := newWorker(6)
	w.enter(true, order.CellEntry{Cell: 4, ML: new(52.0), LevelMM: new(10.0)})
	for _, ml := range []float64{20, 100, 0} {
		p, _ := w.correct(4, "ml", new(ml))
		require.InDelta(t, 10, p.Water.LevelMM[3], 0.1, "%v ml", ml)
	}
	p, _ := w.correct(4, "drawn_ml", new(30.0))
	require.InDelta(t, 30, p.Visit.Cells[3].DrawnML, 0)
	require.InDelta(t, 10, p.Water.LevelMM[3], 0.1)
}

func TestAGravityIsCorrected(t *testing.T) {
	w := newWorker(6)
	w.enter(true, order.CellEntry{Cell: 4, Gravity: new(1.15), AtC: new(25.0)})
	p, e := w.correct(4, "gravity", new(1.25))
	require.InDelta(t, 1.15, *e.Old, 0)
	require.InDelta(t, 1.25, p.Charge.Gravity.Cells[3].SG25, 0.001)
	p, _ = w.correct(4, "gravity", nil)
	require.Zero(t, p.Charge.Gravity.Cells[3])
	require.Nil(t, p.Visit.Cells[3].Gravity)
	_, e = w.correct(4, "gravity", new(1.25))
	require.Equal(t, order.NothingToCorrect, e.Why.Code)
}

// TestACorrectionOfAClosedVisit lowers an estimate and raises none, whatever it says:
// it never grants.
func TestACorrectionOfAClosedVisit(t *testing.T) {
	closed := func(field string, was float64, value *float64) order.Order {
		return order.Order{Kind: order.Correct, Visit: 17, Pack: "lift-24v", Cell: 4, Field: field, Was: &was, Value: value, Reason: "a slip"}
	}
	w := newWorker(6)
	w.enter(true, order.CellEntry{Cell: 4, ML: new(104.0)})
	w.Ask(order.Order{Kind: order.VisitClose})
	before := w.Run(3 * time.Minute).Water.LevelMM[3]
	require.InDelta(t, 14, before, 0.1)
	p, e := w.ask(closed("ml", 104, new(130.0)))
	require.Equal(t, bay.OrderTaken, e.Kind, e.Why.Code)
	require.InDelta(t, 104, *e.Old, 0)
	require.InDelta(t, before, p.Water.LevelMM[3], 1e-9, "more water raises nothing")
	require.InDelta(t, 130, w.Core.Memory().Water.Cells[3].FilledML, 0)
	w.ask(closed("ml", 130, nil))
	p = w.Run(3 * time.Minute)
	require.InDelta(t, before-10, p.Water.LevelMM[3], 0.1, "less water lowers it")
	require.Zero(t, w.Core.Memory().Water.Cells[3].FilledML)
	w.ask(closed("drawn_ml", 0, new(130.0)))
	p = w.Run(10 * time.Minute)
	require.True(t, p.Findings[interlock.PlatesBare].Raised, "14 mm less 10 and 10 are below the tops")
	for _, o := range []order.Order{closed("ml", 0, new(2000.0)), closed("level_mm", 0, new(13.0)), closed("level_mm", 5, nil), closed("drawn_ml", 130, nil), closed("gravity", 1.2, nil)} {
		_, e := w.ask(o)
		require.Equal(t, bay.OrderTaken, e.Kind)
		p = w.Run(5 * time.Minute)
		require.True(t, p.Findings[interlock.PlatesBare].Raised && !p.Permit.Granted, o.Field)
	}
	_, e = w.ask(order.Order{Kind: order.Correct, Visit: 17, Pack: "lift-x", Cell: 4, Field: "ml", Was: new(1.0), Reason: "a slip"})
	require.Equal(t, order.OtherPack, e.Why.Code, "a visit of another pack")
	_, e = w.ask(order.Order{Kind: order.Correct, Visit: 17, Cell: 4, Field: "ml", Was: new(1.0), Reason: "a slip"})
	require.Equal(t, order.Missing, e.Why.Code)
	_, e = w.correct(4, "ml", new(5.0))
	require.Equal(t, order.NoVisit, e.Why.Code)
	_, e = w.ask(order.Order{Kind: order.Correct, Cell: 4, Field: "level_mm", Value: new(-12.0), Reason: "a slip"})
	require.True(t, e.Why.Code == order.BelowTops || e.Why.Code == order.OutOfRange)
}

// TestRightsOfACorrection: that of a closed visit needs the highest.
func TestRightsOfACorrection(t *testing.T) {
	require.Equal(t, order.MayVisit, (&order.Order{Kind: order.Correct}).Needs())
	require.Equal(t, order.MayRelease, (&order.Order{Kind: order.Correct, Visit: 1}).Needs())
	require.Equal(t, order.MayLook, (&order.Order{Kind: order.Hold}).Needs())
	require.Greater(t, (&order.Order{}).Needs(), order.MayRelease)
}

// TestACorrectionEndsNoEarlierOverfill: a cell that was overfilled before the visit
// needs acid drawn off and a level read, whatever is typed and corrected in it.
func TestACorrectionEndsNoEarlierOverfill(t *testing.T) {
	for name, slip := range map[string]func(w worker){
		"drawn off, then more by a correction": func(w worker) {
			w.enter(true, order.CellEntry{Cell: 4, DrawnML: new(10.0)})
			w.correct(4, "drawn_ml", new(300.0))
		},
		"a level taken back": func(w worker) {
			w.enter(true, order.CellEntry{Cell: 4, DrawnML: new(300.0)})
			w.enter(true, order.CellEntry{Cell: 4, LevelMM: new(25.0)})
			w.correct(4, "level_mm", nil)
		},
		"water taken back": func(w worker) {
			w.enter(true, order.CellEntry{Cell: 4, DrawnML: new(300.0)})
			w.enter(true, order.CellEntry{Cell: 4, ML: new(500.0)})
			w.correct(4, "ml", nil)
		},
	} {
		w := newWorker(6)
		w.enter(true, order.CellEntry{Cell: 4, LevelMM: new(21.0)})
		require.True(t, w.closed(t).Findings[interlock.Overfilled].Raised, name)
		w.Ask(order.Order{Kind: order.VisitOpen})
		slip(w)
		p := w.closed(t)
		require.True(t, p.Findings[interlock.Overfilled].Raised, name)
		require.False(t, p.Permit.Granted, name)
	}
}

// TestADryCellStaysDryWithoutTheLevel: a level that was read in another cell proves
// nothing of this one, which the rod showed dry before, whatever water it was given.
func TestADryCellStaysDryWithoutTheLevel(t *testing.T) {
	dryButRead := func() worker {
		w := newWorker(-5)
		w.enter(true, order.CellEntry{Cell: 4, Dry: true})
		w.enter(true, order.CellEntry{Cell: 4, ML: new(130.0)})
		w.enter(true, order.CellEntry{Cell: 4, LevelMM: new(5.0)})
		return w
	}
	w := dryButRead()
	p, e := w.correct(4, "level_mm", nil)
	require.Equal(t, bay.OrderTaken, e.Kind)
	require.True(t, p.Visit.Bare.Has(4))
	require.True(t, w.closed(t).Water.Bare.Has(4))

	w = dryButRead()
	require.False(t, w.closed(t).Water.Bare.Has(4))
	_, e = w.ask(order.Order{Kind: order.Correct, Visit: 1, Pack: w.Core.Memory().Pack, Cell: 4, Field: "level_mm", Was: new(5.0), Reason: "another cell"})
	require.Equal(t, bay.OrderTaken, e.Kind, e.Why.Code)
	require.True(t, w.Run(time.Minute).Water.Bare.Has(4))
}

// TestAGravityOfAClosedVisitTakesFullBack: all cells together proved it.
func TestAGravityOfAClosedVisitTakesFullBack(t *testing.T) {
	w := newWorker(13)
	var lines []order.CellEntry
	for cell := 1; cell <= 12; cell++ {
		lines = append(lines, order.CellEntry{Cell: cell, Gravity: new(1.277), AtC: new(25.0)})
	}
	p, e := w.enter(false, lines...)
	require.Equal(t, bay.OrderTaken, e.Kind, e.Why.Code)
	require.True(t, p.Charge.Full)
	require.True(t, w.closed(t).Charge.Full)
	p, e = w.ask(order.Order{Kind: order.Correct, Visit: 1, Pack: w.Core.Memory().Pack, Cell: 3, Field: "gravity", Was: new(1.277), Reason: "not read"})
	require.Equal(t, bay.OrderTaken, e.Kind, e.Why.Code)
	require.False(t, p.Charge.Full)
}
