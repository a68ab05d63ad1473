package bay_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/water"
)

// worker is a bay with an open visit.
type worker struct{ *baytest.Driver }

// newWorker opens a visit to a pack whose level is that many millimetres.
func newWorker(levelMM float64) worker {
	w := worker{baytest.New(baytest.Setup("bay-1"))}
	w.Values.LevelMM = levelMM
	w.Run(2 * time.Minute)
	w.Ask(order.Order{Kind: order.VisitOpen})
	return w
}

// enter gives an entry and returns its answer.
func (w worker) enter(sure bool, cells ...order.CellEntry) (*bay.Picture, bay.Event) {
	p, events := w.Ask(order.Order{Kind: order.Entry, Cells: cells, Sure: sure})
	for _, e := range events {
		if e.Kind == bay.OrderTaken || e.Kind == bay.OrderRefused {
			return p, e
		}
	}
	panic("no answer")
}

// told lists the faults of an answer as cell, field and code.
func told(e bay.Event) (all [][3]any) {
	if e.Kind == bay.OrderRefused {
		for _, f := range e.Why.Faults() {
			all = append(all, [3]any{f.Cell, f.Field.Name, f.Code.String()})
		}
	}
	return all
}

// TestAllOrNothing: one wrong line, and no line is booked; every fault is named.
func TestAllOrNothing(t *testing.T) {
	w := newWorker(-2)
	before := w.Core.Memory()
	_, e := w.enter(true,
		order.CellEntry{Cell: 1, ML: new(40.0)}, order.CellEntry{Cell: 2, ML: new(40.0), LevelMM: new(200.0)},
		order.CellEntry{Cell: 3, Dry: true}, order.CellEntry{Cell: 4, ML: new(40.0), SeenML: new(30.0)})
	require.Equal(t, [][3]any{{2, "level_mm", "above-vent-well"}, {4, "seen_ml", "given-meanwhile"}}, told(e))
	after := w.Core.Memory()
	require.Equal(t, before.Visit.GivenML, after.Visit.GivenML)
	require.Equal(t, before.Visit.Cells, after.Visit.Cells)
	require.Equal(t, before.Water.Cells, after.Water.Cells)
	p, e := w.enter(true, order.CellEntry{Cell: 1, ML: new(40.0)}, order.CellEntry{Cell: 2, ML: new(40.0)})
	require.Equal(t, bay.OrderTaken, e.Kind)
	require.Equal(t, []float64{40, 40, 0}, p.Visit.GivenML[:3])
}

// TestBadInput are the slips of the people who tried it, all by one order.
func TestBadInput(t *testing.T) {
	for name, row := range map[string]struct {
		line order.CellEntry
		want [][3]any
	}{
		"200 mm":          {order.CellEntry{Cell: 4, ML: new(40.0), LevelMM: new(200.0)}, [][3]any{{4, "level_mm", "above-vent-well"}}},
		"-12 mm":          {order.CellEntry{Cell: 4, ML: new(40.0), LevelMM: new(-12.0)}, [][3]any{{4, "level_mm", "below-tops"}}},
		"0 ml on a bare":  {order.CellEntry{Cell: 4, ML: new(0.0)}, [][3]any{{4, "ml", "ask-bare"}}},
		"500 ml":          {order.CellEntry{Cell: 4, ML: new(500.0)}, [][3]any{{4, "ml", "ask-past-ceiling"}}},
		"3.7 fl oz as ml": {order.CellEntry{Cell: 4, ML: new(3.7)}, [][3]any{{4, "ml", "ask-little"}}},
		"a digit more":    {order.CellEntry{Cell: 4, ML: new(1170.0)}, [][3]any{{4, "ml", "ask-past-ceiling"}}},
		"30 mm, over":     {order.CellEntry{Cell: 4, LevelMM: new(30.0)}, [][3]any{{4, "level_mm", "ask-over-ceiling"}}},
	} {
		w := newWorker(-2)
		before := w.Core.Memory()
		_, e := w.enter(false, row.line)
		require.Equal(t, row.want, told(e), name)
		after := w.Core.Memory()
		require.Equal(t, before.Visit.GivenML, after.Visit.GivenML, name)
		require.Equal(t, before.Visit.Cells, after.Visit.Cells, name)
		asks := e.Why.Code.Asks()
		_, e = w.enter(true, row.line)
		require.Equal(t, asks, e.Kind == bay.OrderTaken, name)
	}
	w := newWorker(-2)
	_, events := w.Ask(order.Order{Kind: order.Entry, Cells: []order.CellEntry{{Cell: 4}}})
	require.Equal(t, order.NothingSaid, events[0].Why.Code, "empty")
	_, events = w.Ask(order.Order{Kind: order.Fill, Cell: 4, ML: 500})
	require.Equal(t, order.AskPastCeiling, events[0].Why.Code, "a single order is asked back in the same way")
}

// TestTwoPhonesOnOneCell: the second learns what the first recorded.
func TestTwoPhonesOnOneCell(t *testing.T) {
	w := newWorker(-2)
	_, e := w.enter(false, order.CellEntry{Cell: 4, ML: new(45.0), SeenML: new(0.0)})
	require.Equal(t, bay.OrderTaken, e.Kind)
	p, e := w.enter(true, order.CellEntry{Cell: 4, ML: new(45.0), SeenML: new(0.0)})
	require.Equal(t, [][3]any{{4, "seen_ml", "given-meanwhile"}}, told(e))
	require.InDelta(t, 45, e.Why.Value, 0)
	require.InDelta(t, 45, p.Visit.GivenML[3], 0)
	p, _ = w.enter(true, order.CellEntry{Cell: 4, ML: new(5.0), SeenML: new(45.0)})
	require.InDelta(t, 50, p.Visit.GivenML[3], 0)
}

// TestTheSameSheetTwice: an ID is taken once.
func TestTheSameSheetTwice(t *testing.T) {
	w := newWorker(-2)
	sheet := order.Order{ID: "sheet-1", By: "A", Kind: order.Entry, Cells: []order.CellEntry{{Cell: 1, ML: new(45.0)}, {Cell: 2, ML: new(45.0)}}}
	w.Tick(sheet)
	p, events := w.Tick(sheet)
	require.Equal(t, order.Repeated, events[0].Why.Code)
	require.Equal(t, []float64{45, 45}, p.Visit.GivenML[:2])
}

// TestBareCellsKeepTheFinding: the probe is in one cell, and eleven others are still
// bare when it is filled.
func TestBareCellsKeepTheFinding(t *testing.T) {
	w := newWorker(-2)
	finding := func(p *bay.Picture) interlock.Evidence { return p.Findings[interlock.PlatesBare].Evidence }
	p := w.Run(time.Minute)
	require.Equal(t, 12, p.Visit.Bare.Len())
	require.Equal(t, interlock.CellsBare, finding(p).Reason)
	// 2 mm between the plates at three tenths of the section, and 4 mm above them.
	require.InDelta(t, 13*(2*0.3+4), p.Water.CoverPlatesML[0], 0.1)
	w.enter(false, order.CellEntry{Cell: 1, ML: new(59.0)})
	w.Values.LevelMM = 4 // cell 1 has the probe
	p = w.Run(time.Minute)
	require.True(t, p.Cell(1).LookAgain, "a first step of water proves no level between the plates")
	require.False(t, p.Visit.Cells[0].Done)
	p, _ = w.enter(false, order.CellEntry{Cell: 1, LevelMM: new(4.0)})
	require.True(t, p.Visit.Cells[0].Done)
	p = w.Run(time.Minute)
	require.True(t, p.Findings[interlock.PlatesBare].Raised, "eleven cells are bare")
	require.InDelta(t, 11, finding(p).Value, 0)
	for n := 2; n <= 12; n++ {
		require.True(t, p.Findings[interlock.PlatesBare].Raised)
		w.enter(false, order.CellEntry{Cell: n, ML: new(59.0), LevelMM: new(4.0)})
		p = w.Run(20 * time.Second)
	}
	require.Zero(t, p.Visit.Bare)
	require.False(t, p.Findings[interlock.PlatesBare].Raised)
	w.Ask(order.Order{Kind: order.VisitClose})
	require.False(t, w.Run(3 * time.Minute).Findings[interlock.PlatesBare].Raised)
}

// TestClosingNamesTheBareCells: in the answer and in the event, and the charge stays
// blocked after it, whatever the probe reads.
func TestClosingNamesTheBareCells(t *testing.T) {
	w := newWorker(-2)
	for _, n := range []int{1, 2, 3, 6} {
		w.enter(true, order.CellEntry{Cell: n, ML: new(59.0), LevelMM: new(4.0)})
	}
	w.Values.LevelMM = 4
	w.Run(time.Minute)
	_, events := w.Ask(order.Order{Kind: order.VisitClose})
	named := map[bay.EventKind][]int{}
	for _, e := range events {
		named[e.Kind] = e.Bare.Numbers()
	}
	want := []int{4, 5, 7, 8, 9, 10, 11, 12}
	require.Equal(t, want, named[bay.VisitClosed])
	require.Equal(t, want, named[bay.OrderTaken])
	p := w.Run(10 * time.Minute)
	require.True(t, p.Findings[interlock.PlatesBare].Raised)
	require.False(t, p.Permit.Granted)
	require.Zero(t, p.Visit.Bare)
}

// TestADryCellIsBareUntilALevelIsRead: no amount of water and no probe ends it, and
// it survives a restart.
func TestADryCellIsBareUntilALevelIsRead(t *testing.T) {
	w := newWorker(10)
	p, e := w.enter(false, order.CellEntry{Cell: 7, Dry: true})
	require.Equal(t, bay.OrderTaken, e.Kind)
	require.Equal(t, water.CellSet(1<<6), p.Visit.Bare)
	require.InDelta(t, 13*4, p.Cell(7).AddML, 0, "no more than covers the plates")
	p, _ = w.enter(false, order.CellEntry{Cell: 7, ML: new(52.0)})
	require.False(t, p.Visit.Cells[6].Done)
	require.True(t, p.Cell(7).LookAgain && !p.Cell(7).AddKnown)
	w.Ask(order.Order{Kind: order.VisitClose})
	p = w.Run(10 * time.Minute)
	require.True(t, p.Findings[interlock.PlatesBare].Raised)
	require.False(t, p.Permit.Granted)

	m := w.Core.Memory()
	w.Core = bay.New(baytest.Setup("bay-1"))
	require.NoError(t, w.Core.Restore(&m, w.Now, 0, true))
	p = w.Run(10 * time.Minute)
	require.True(t, p.Findings[interlock.PlatesBare].Raised, "after a restart")
	w.Ask(order.Order{Kind: order.Level, Cell: 7, LevelMM: 0})
	require.True(t, w.Run(time.Minute).Findings[interlock.PlatesBare].Raised, "at the plate tops is bare")
	w.Ask(order.Order{Kind: order.Level, Cell: 7, LevelMM: 8, Sure: true}, order.Order{Kind: order.Level, Cell: 7, LevelMM: 8, Sure: true})
	p = w.Run(10 * time.Minute)
	require.False(t, p.Findings[interlock.PlatesBare].Raised)
	require.True(t, p.Permit.Granted)
}

// TestToTheMark: the millilitres are worked out, the rod has shown the mark.
func TestToTheMark(t *testing.T) {
	w := newWorker(5)
	p, e := w.enter(false, order.CellEntry{Cell: 3, How: order.ToMark})
	require.Equal(t, bay.OrderTaken, e.Kind)
	require.InDelta(t, 13*8, p.Visit.GivenML[2], 0.1, "from 5 mm to the mark at 13")
	require.InDelta(t, 13*8, *e.Asked.Cells[0].ML, 0.1, "the event has what was worked out")
	at := p.Visit.Cells[2]
	require.Equal(t, order.ToMark, at.How)
	require.True(t, at.Done)
	mm, ok := at.ByRod()
	require.True(t, ok)
	require.InDelta(t, 13, mm, 0)
	p, _ = w.enter(false, order.CellEntry{Cell: 4, LevelMM: new(3.0)})
	require.False(t, p.Findings[interlock.PlatesBare].Raised)
	p, _ = w.enter(false, order.CellEntry{Cell: 4, How: order.ToMark, LevelMM: new(12.0)})
	require.InDelta(t, 13*9, p.Visit.GivenML[3], 0.1, "from the level read before to the one read after")
	require.InDelta(t, 3, *p.Visit.Cells[3].BeforeMM, 0)
	// Between the plates about two thirds of the section are liquid.
	p, _ = w.enter(false, order.CellEntry{Cell: 5, Dry: true, How: order.ToMark})
	require.InDelta(t, 13*13, p.Visit.GivenML[4], 13*5, "from somewhere below the tops")
	require.Zero(t, p.Visit.Bare)
}

// TestAMarkIsReadAfterTheWater: a cell that was filled to the mark in a visit is not to be
// read before its water any more: it has it. It stays on the list until a rod shows the mark.
func TestAMarkIsReadAfterTheWater(t *testing.T) {
	w := newWorker(9)
	p, _ := w.enter(false, order.CellEntry{Cell: 1, LevelMM: new(9.0)})
	require.Contains(t, p.ToRead(), 3, "never read")
	require.NotContains(t, p.ReadAfter(), 3)
	p, _ = w.enter(false, order.CellEntry{Cell: 3, How: order.ToMark})
	require.NotContains(t, p.ReadFirst(), 3)
	require.Contains(t, p.ReadAfter(), 3)
	p, _ = w.enter(false, order.CellEntry{Cell: 3, LevelMM: new(13.0)})
	require.NotContains(t, p.ToRead(), 3)
}

// TestDoneIsProven: a tick means that the cell has its water.
func TestDoneIsProven(t *testing.T) {
	w := newWorker(-2)
	done := func(cell int, sure bool, c order.CellEntry) bool {
		c.Cell = cell
		p, e := w.enter(sure, c)
		require.Equal(t, bay.OrderTaken, e.Kind, e.Why.Code)
		return p.Visit.Cells[cell-1].Done
	}
	require.False(t, done(1, true, order.CellEntry{ML: new(0.0)}), "0 ml on a bare cell")
	require.False(t, done(2, false, order.CellEntry{Dry: true}))
	require.False(t, done(3, false, order.CellEntry{ML: new(59.0)}), "a first step")
	require.True(t, done(3, false, order.CellEntry{LevelMM: new(4.0)}), "and the look after it")
	require.False(t, done(4, false, order.CellEntry{LevelMM: new(2.0)}), "below the lowest level for charging")
	require.False(t, done(5, false, order.CellEntry{LevelMM: new(3.5)}), "5 mm from the estimate: a second reading must agree")
	require.True(t, done(5, false, order.CellEntry{LevelMM: new(3.5)}))
	require.False(t, done(6, false, order.CellEntry{Gravity: new(1.2), AtC: new(25.0)}))
	w = newWorker(6)
	require.True(t, done(1, false, order.CellEntry{ML: new(0.0)}), "this visit only covers plates, and they are covered")
}

// TestDrawnOff: what was taken out is not in the cell.
func TestDrawnOff(t *testing.T) {
	w := newWorker(6)
	w.enter(true, order.CellEntry{Cell: 4, ML: new(104.0)})
	p, e := w.enter(false, order.CellEntry{Cell: 4, DrawnML: new(52.0)})
	require.Equal(t, bay.OrderTaken, e.Kind)
	require.InDelta(t, 104, p.Visit.GivenML[3], 0)
	require.InDelta(t, 52, p.Visit.Cells[3].DrawnML, 0)
	require.InDelta(t, 10, p.Water.LevelMM[3], 0.1)
	w.Ask(order.Order{Kind: order.VisitClose})
	require.InDelta(t, 10, w.Run(time.Minute).Water.LevelMM[3], 0.1)
	require.InDelta(t, 52, w.Core.Memory().Water.Cells[3].FilledML, 0)
}

// TestJustEnoughMayBeShort: a rod that shows the lowest level for charging to the
// millimetre does not prove it, and the probe would go on blocking the charge: as much
// is proposed as from half a millimetre less, 1.5 mm or 19 ml on 130 cm², and as ends the
// doubt about a cell that was read so low, 25 ml. At 4 mm it is not over yet.
func TestJustEnoughMayBeShort(t *testing.T) {
	for _, read := range []struct{ mm, wantML float64 }{{3, 25}, {4, 18}, {5, 0}} {
		w := newWorker(-5)
		w.enter(true, order.CellEntry{Cell: 4, ML: new(70.0)})
		w.enter(true, order.CellEntry{Cell: 4, LevelMM: &read.mm})
		p, _ := w.enter(true, order.CellEntry{Cell: 4, LevelMM: &read.mm})
		require.InDelta(t, read.wantML, p.Cell(4).AddML, 0.5, "%v mm", read.mm)
		require.Equal(t, read.wantML > 0, p.Water.Doubts.Has(4), "%v mm", read.mm)
	}
}
