package bay_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
)

// lateSheet is a sheet on which each of the cells was given 100 ml, but one.
func lateSheet(cells int, odd int, ml float64) order.Order {
	o := order.Order{Kind: order.Entry, DoneBy: "Ramón", DoneAt: "2026-03-01T14:30:00Z"}
	for cell := 1; cell <= cells; cell++ {
		amount := 100.0
		if cell == odd {
			amount = ml
		}
		o.Cells = append(o.Cells, order.CellEntry{Cell: cell, ML: new(amount)})
	}
	return o
}

// refusedAs returns the code of the refusal in a tick's events.
func refusedAs(events []bay.Event) order.Code {
	for _, e := range events {
		if e.Kind == bay.OrderRefused {
			return e.Why.Code
		}
	}
	return order.NoCode
}

// TestLateSheetIsInTheBalance: the water of paper sheets counts as if it had been
// recorded during the visit: a cell that takes three times as much is odd after the
// third one.
func TestLateSheetIsInTheBalance(t *testing.T) {
	d := baytest.New(baytest.Setup("bay-1"))
	d.Run(time.Minute)
	for n := range 3 {
		p, events := d.Ask(lateSheet(12, 7, 300))
		require.Equal(t, order.NoCode, refusedAs(events))
		require.False(t, p.Visit.Open)
		require.Equal(t, n+1, p.Water.Visits)
	}
	p := d.Run(time.Minute)
	odd := p.Water.OddCells()
	require.Len(t, odd, 1)
	require.Equal(t, 7, odd[0].Cell)
	// The water was not mixed in by any charge since.
	p, _ = d.Ask(order.Order{Kind: order.Gravity, Cell: 3, Gravity: 1.26, AtC: 25})
	require.Equal(t, "not-mixed", p.Charge.Gravity.Cells[2].Verdict.String())
}

// TestLateSheetIsNotNow: its readings are of that day, so neither level nor gravity
// of the pack moves, and it grants nothing.
func TestLateSheetIsNotNow(t *testing.T) {
	d := baytest.New(baytest.Setup("bay-1"))
	d.Values.LevelMM = -5
	before := d.Run(time.Minute).Clone()
	p, events := d.Ask(order.Order{Kind: order.Entry, DoneBy: "Ramón", DoneAt: "2026-03-01T14:30:00Z", Cells: []order.CellEntry{
		{Cell: 1, LevelMM: new(13.0), Gravity: new(1.28), AtC: new(25.0)}, {Cell: 2, How: order.ToMark, LevelMM: new(13.0)},
	}})
	require.Equal(t, order.NoCode, refusedAs(events))
	require.Equal(t, before.Water.LevelMM, p.Water.LevelMM)
	require.Nil(t, p.Charge.Gravity)
	require.False(t, p.Permit.Granted)
}

// TestLateSheetWaits: not while a visit is open, whose water it would mix with, and
// not while the pack is unknown.
func TestLateSheetWaits(t *testing.T) {
	d := baytest.New(baytest.Setup("bay-1"))
	d.Run(time.Minute)
	d.Ask(order.Order{Kind: order.VisitOpen})
	_, events := d.Ask(lateSheet(12, 0, 0))
	require.Equal(t, order.VisitIsOpen, refusedAs(events))

	setup := baytest.Setup("bay-1")
	setup.Packs = baytest.Packs("lift-a", "lift-b")
	d = baytest.New(setup)
	d.Run(time.Minute)
	_, events = d.Ask(lateSheet(12, 0, 0))
	require.Equal(t, order.PackUnknown, refusedAs(events))
}

// sheet is one line for each cell, the same for all.
func sheet(line order.CellEntry) (lines []order.CellEntry) {
	for cell := 1; cell <= 12; cell++ {
		line.Cell = cell
		lines = append(lines, line)
	}
	return lines
}

// TestAVisitTypedInAfterPouring: all cells are filled by 7 mm (91 ml at 13 ml a
// millimetre), and then a visit is opened, on the phone. Whether the rise was seen for a
// minute or an hour, no cell counts as higher than it is, none as overfilled, and the probe
// that did not rise in the visit is not doubted.
func TestAVisitTypedInAfterPouring(t *testing.T) {
	for _, row := range []struct {
		roseMM float64
		typed  time.Duration
	}{{7, 2 * time.Minute}, {7, time.Hour}, {3.5, 5 * time.Minute}, {2.5, 5 * time.Minute}, {2.5, time.Hour}} {
		d := probedBay()
		d.Run(time.Hour)
		d.Values.LevelMM += row.roseMM
		d.Run(row.typed)
		d.Ask(order.Order{Kind: order.VisitOpen})
		_, events := d.Ask(order.Order{Kind: order.Entry, Cells: sheet(order.CellEntry{ML: new(13 * row.roseMM), How: order.Measured}), Sure: true})
		require.Equal(t, order.NoCode, refusedAs(events), "%+v: %v", row, events)
		d.Ask(order.Order{Kind: order.VisitClose})
		p := d.Run(time.Hour)
		for cell := range 12 {
			require.InDelta(t, d.Values.LevelMM, p.Water.LevelMM[cell], 0.3, "%+v, cell %d", row, cell+1)
		}
		require.Zero(t, p.Water.UnrecordedMM, "%+v", row)
		require.Zero(t, p.Water.Over, "%+v", row)
		require.True(t, p.Permit.Granted, "%+v: %v", row, p.Codes())
	}
}

// TestWaterOnTopOfARiseCounts: somebody filled the probe's cell alone, by 5 mm, and the next
// visit gives it 4 mm more. That is its own water, and the question who watered stays.
func TestWaterOnTopOfARiseCounts(t *testing.T) {
	d := probedBay()
	d.Run(time.Hour)
	d.Values.LevelMM += 5
	d.Run(time.Hour)
	d.Ask(order.Order{Kind: order.VisitOpen})
	d.Values.LevelMM += 4
	d.Run(time.Minute)
	d.Ask(order.Order{Kind: order.Entry, Cells: []order.CellEntry{{Cell: 4, ML: new(52.0)}}, Sure: true})
	d.Ask(order.Order{Kind: order.VisitClose})
	p := d.Run(time.Hour)
	require.InDelta(t, 15, p.Water.LevelMM[3], 0.3)
	require.InDelta(t, 6, p.Water.LevelMM[0], 0.3)
	require.InDelta(t, 5, p.Water.UnrecordedMM, 0.3)
}

// TestASheetToTheMark levels all cells: those that were lower got more water.
func TestASheetToTheMark(t *testing.T) {
	for _, roseMM := range []float64{7, 2} {
		d := probedBay()
		d.Values.LevelMM = 13 - roseMM
		d.Run(time.Hour)
		for range 2 {
			_, events := d.Ask(order.Order{Kind: order.Level, Cell: 9, LevelMM: 4})
			require.Equal(t, order.NoCode, refusedAs(events))
		}
		d.Values.LevelMM = 13
		d.Run(time.Hour)
		_, events := d.Ask(order.Order{Kind: order.Entry, Cells: sheet(order.CellEntry{How: order.ToMark}), DoneBy: "Ramón", DoneAt: "2026-03-01T14:30:00Z"})
		require.Equal(t, order.NoCode, refusedAs(events))
		p := d.Run(time.Hour)
		for cell := range 12 {
			require.InDelta(t, 13, p.Water.LevelMM[cell], 0.3, "a rise of %v mm, cell %d", roseMM, cell+1)
		}
	}
}

// TestFilledToTheMarkProvesNoProbe wrong by what the eye and the probe may be off: the
// water is worked out from the probe's own level. One that stays far below the mark is.
func TestFilledToTheMarkProvesNoProbe(t *testing.T) {
	for _, row := range []struct {
		fromMM, toMM float64
		doubted      bool
	}{{9, 10, false}, {11, 11.4, false}, {5, 5, true}} {
		d := probedBay()
		d.Values.LevelMM = row.fromMM
		d.Run(time.Hour)
		d.Ask(order.Order{Kind: order.VisitOpen})
		d.Values.LevelMM = row.toMM
		d.Run(time.Minute)
		_, events := d.Ask(order.Order{Kind: order.Entry, Cells: sheet(order.CellEntry{How: order.ToMark}), Sure: true})
		require.Equal(t, order.NoCode, refusedAs(events))
		d.Ask(order.Order{Kind: order.VisitClose})
		p := d.Run(20 * time.Minute)
		require.Equal(t, row.doubted, slices.Contains(p.Codes(), "level-unknown"), "%+v: %v", row, p.Codes())
	}
}
